"""Plausibility as text: every finding with its arithmetic, once, and within the terminal."""

import pytest

from wattproof.amplifier import Amplifier, Inside, Rating
from wattproof.judge import plausible
from wattproof.report.plausible import NO_VERDICT, plausible_text


def power(value, load_ohm, **more):
    return Rating(quantity="power", value=value, unit="W", load_ohm=load_ohm, supply_v=14.4, thd_percent=1, **more)


@pytest.fixture
def found():
    ratings = power(750, 2, source="shop page"), power(240, 4), Rating(quantity="idle_current", value=1, unit="A")
    inside = Inside(rail_v=46.9, rail_at_supply_v=14.4, rail_capacitance_f=0.0033, rail_capacitor_v=50)
    thing = {"class": "D", "supply": "unregulated", "fuse_a": 60, "inside": inside}
    return plausible(Amplifier(maker="Sorrel Thaw", model="Dunlin 1", ratings=ratings, **thing))


def words(text):
    return " ".join(text.split())


def test_every_finding_stands_there_once_with_its_steps(found):
    text = plausible_text(found)
    said = words(text)
    for finding in found.findings:
        assert said.count(words(f"({finding.code}): {finding.message}")) == 1
        assert all(words(line) in said for line in finding.arithmetic)
        assert not finding.hint or words(finding.hint) in said


def test_lines_fit_and_it_is_no_verdict(found):
    text = plausible_text(found)
    assert max(map(len, text.splitlines())) <= 120
    assert words(NO_VERDICT) in words(text)
    assert text.endswith("\n")


def test_the_first_lines_sum_up_every_rating(found):
    text = plausible_text(found)
    assert text.startswith("Sorrel Thaw Dunlin 1: 1 contradiction, ")
    assert "\n  CONTRADICTION  750 W into 2 ohm at 1 %, 14.4 V (shop page)\n" in text
    assert "\n  not looked at  idle current 1 A\n" in text


def test_a_rating_that_another_contradicts_points_to_it(found):
    section = plausible_text(found).split("\n240 W into 4 ohm at 1 %, 14.4 V\n")[1]
    assert section.startswith("  CONTRADICTION (load-ratio): told with 750 W into 2 ohm")


def test_an_amplifier_without_ratings_is_asked_for_them():
    text = plausible_text(plausible(Amplifier(maker="Sorrel Thaw", model="Dunlin 1")))
    assert "nothing to look at" in text
    assert "[[ratings]]" in text
