"""The widths of a printed table's columns: what cannot wrap has its room, and the rest goes to the wordy."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.publish.print_columns import columns_of

WORDS = "supply 14.31 V behind two metres of cable, gain full, filter off, one output driven"
VALUE = "0.046211 ± 0.000035 %".replace(" ", "\N{NO-BREAK SPACE}")


def rows(*cells, times=3):
    return [[[cell] for cell in cells]] * times


def test_short_cells_stand_as_they_are_in_the_largest_letters():
    chosen = columns_of(rows("ramp", "1 %", "520 W"))
    assert chosen.shares == (0.0, 0.0, 0.0)
    assert chosen.size_pt == 9.5
    assert chosen.whole


def test_numbers_never_wrap_and_words_do():
    chosen = columns_of(rows("Frequency", VALUE, WORDS, WORDS * 2))
    assert chosen.shares[:2] == (0.0, 0.0)
    assert 0 < chosen.shares[2] < chosen.shares[3]


def test_a_long_head_wraps_over_its_column_and_does_not_widen_it():
    under = rows(VALUE, WORDS, WORDS)
    short, long = (columns_of([[[head], ["a"], ["b"]], *under]) for head in ("Value", "the largest value of all " * 3))
    assert short.shares[0] == 0.0
    assert 0 < long.shares[0] < long.shares[1]


def test_many_numbers_make_smaller_letters():
    sizes = [columns_of(rows(*[VALUE] * number)).size_pt for number in (2, 6, 9)]
    assert all(later <= earlier for earlier, later in pairwise(sizes))
    assert sizes[0] > sizes[-1]


@pytest.mark.parametrize(("times", "words", "whole"), [(15, "x", True), (40, "x", False), (5, WORDS * 9, False)])
def test_only_a_short_table_is_kept_on_one_page(times, words, whole):
    assert columns_of(rows("a", words, WORDS, times=times)).whole is whole


@settings(max_examples=50, deadline=None)
@given(
    st.integers(1, 8).flatmap(
        lambda across: st.lists(
            st.lists(
                st.lists(st.text("ab \N{NO-BREAK SPACE}", max_size=30), max_size=3), min_size=across, max_size=across
            ),
            min_size=1,
            max_size=5,
        )
    )
)
def test_any_table_gets_a_width_for_each_column(cells):
    chosen = columns_of(cells)
    assert len(chosen.shares) == len(cells[0])
    assert all(share >= 0 for share in chosen.shares)
    assert chosen.size_pt in (9.5, 8.5, 7.5)
