"""The demonstration's bench days: each may begin as its sheet stands; a short one is carried out and found again."""

from dataclasses import replace
from datetime import date

import pytest

from wattproof.plan import SheetWishes
from wattproof.sim import write_benches
from wattproof.tasks import plan, session_figures
from wattproof.tasks.demo_days import DAYS, _known, carry_out_day


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    folder = tmp_path_factory.mktemp("days")
    write_benches(folder / "benches")
    return folder


@pytest.mark.parametrize("day", DAYS, ids=lambda day: day.name)
def test_every_day_may_begin_with_its_answers(day, home):
    files = home / "benches" / day.name
    sheet = plan(files / "amplifier.toml", files / "bench.toml", wishes=day.wishes).sheet
    assert [check.message for check in sheet.checks if check.state == "refused"] == []
    given = dict(answer.split("=", 1) for answer in day.answers)
    for question in sheet.questions:
        assert question.code in given
        assert not question.allows or given[question.code] in question.allows


def test_a_day_is_carried_out_and_found_again(home):
    whole = next(day for day in DAYS if day.name == "dabchick-600")
    short = replace(whole, wishes=SheetWishes(loads=("4 ohm",), hold_s=0.0, burst="none"))
    shown = carry_out_day(short, home / "benches", home, None)
    assert shown.ran.state == "complete"
    assert "<svg" in shown.page.read_text(encoding="utf-8")
    names = {f.name for r in session_figures(shown.session, archive=home / "archive").captures for f in r.figures}
    assert {"power_at_thd_1", "power_at_thd_10", "gain", "idle_current", "efficiency"} <= names
    assert _known(home / "archive", date(2031, 5, 14)) == {"dabchick-600": shown.session}
    again = carry_out_day(short, home / "benches", home, shown.session)
    assert (again.session, again.ran) == (shown.session, None)
