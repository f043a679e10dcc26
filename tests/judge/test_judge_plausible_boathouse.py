"""The boathouse's amplifiers read without a bench: what was seen inside is what they are made of."""

import pytest

from wattproof.amplifier import parse_amplifier
from wattproof.judge import plausible
from wattproof.sim.collection import COLLECTION, FOLDER


def amplifier(name):
    path = FOLDER / name / "amplifier.toml"
    return parse_amplifier(path.read_text(encoding="utf-8"), file=path.name)


@pytest.mark.parametrize("name", sorted(COLLECTION))
def test_what_was_seen_inside_is_what_is_simulated(name):
    thing, rail = amplifier(name), COLLECTION[name].rail
    rail_v = rail.ratio * (thing.inside.rail_at_supply_v - rail.converter_v)
    assert thing.inside.rail_capacitance_f == rail.store_f
    assert thing.inside.rail_v == pytest.approx(min(rail_v, rail.regulated_v or rail_v), abs=0.1)
    assert sum(thing.inside.fuses_a) == thing.fuse_a


@pytest.mark.parametrize("name", ["bittern-1", "dabchick-600", "redstart-4", "ptarmigan-350"])
def test_nothing_contradicts_an_honest_sheet(name):
    result = plausible(amplifier(name))
    assert [one.message for one in result.findings if one.strength == "contradiction"] == []


@pytest.mark.parametrize("name", ["dabchick-600", "redstart-4"])
def test_a_sheet_that_states_all_has_nothing_doubtful(name):
    assert [one.message for one in plausible(amplifier(name)).findings if one.strength != "fits"] == []


def test_three_thousand_watts_are_found_out_by_the_fuse_the_rail_and_the_sheet_itself():
    result = plausible(amplifier("whimbrel-3000"))
    bad = {(one.code, one.about[0]) for one in result.findings if one.strength != "fits"}
    assert {("supply-current", 0), ("rail-volts", 0), ("capacitor-volts", 0), ("unstated", 0)} <= bad
    (loads,) = [one for one in result.findings if one.code == "load-ratio" and one.strength == "contradiction"]
    assert (loads.about, loads.numbers["ratio"]) == ((2, 3), 3.125)
    leaflet = [one for one in result.findings if one.about == (3,)]
    assert {one.strength for one in leaflet} == {"fits"}
