"""The conductor on a small bench in memory: every kind of step, what it learns, and how it goes on after faults."""

import pytest

from wattproof.run import carry_out


@pytest.fixture
def run(small_rig, archive, session, no_figures):
    told = []

    def go(sheet, **settings):
        settings = {"figures": no_figures, "tell": told.append, **settings}
        return carry_out(sheet, small_rig, archive, session, **settings)

    go.told = told
    return go


def named(told, word):
    return [event for event in told if event.event == word]


def test_a_whole_sheet_is_carried_out(run, short_sheet, archive, session, small_rig):
    carried = run(short_sheet)
    assert (carried.state, carried.done, carried.left) == ("complete", 6, 0)
    assert [e.state for e in named(run.told, "step-ended")] == ["done"] * 6
    captures = archive.captures(session)
    assert [c.description.step for c in captures] == [s.name for s in short_sheet.steps]
    assert all(c.description.void is None for c in captures)
