"""Plausibility: every finding can and cannot fire, numbers found another way, and no larger claim looks better."""

import re
from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import wattproof.judge as room
from wattproof.amplifier import Amplifier, Inside, Rating
from wattproof.judge import Plausibility, plausible

WORSE_FIRST = ("contradiction", "doubtful", "fits")


def power(value, load_ohm=None, **more):
    return Rating(quantity="power", value=value, unit=more.pop("unit", "W"), load_ohm=load_ohm, **more)


def stated(value, load_ohm, **more):
    return power(value, load_ohm, **{"supply_v": 14.4, "thd_percent": 1, "channels_driven": 1, **more})


def rated(quantity, value, unit, **more):
    return Rating(quantity=quantity, value=value, unit=unit, **more)


def amplifier(*ratings, inside=None, **more):
    more = {"class": "D", "supply": "unregulated", **more}
    seen = None if inside is None else Inside(**inside)
    return Amplifier(maker="Sorrel Thaw", model="Dunlin 1", ratings=ratings, inside=seen, **more)


def found(code, *ratings, inside=None, **more):
    return [one for one in plausible(amplifier(*ratings, inside=inside, **more)).findings if one.code == code]


def one(code, *ratings, inside=None, **more):
    findings = found(code, *ratings, inside=inside, **more)
    assert len(findings) == 1, [finding.message for finding in findings]
    return findings[0]


RAIL = {"rail_v": 45.0, "rail_at_supply_v": 14.4, "full_bridge": False}
CAPACITORS = {"rail_capacitor_v": 50.0, "full_bridge": False}
STORE = {"rail_capacitance_f": 0.0033, "rail_v": 45.0}

FIRES = {
    "supply-current": [("fits", (stated(500, 2),), {"fuse_a": 60}), ("doubtful", (stated(1500, 2),), {"fuse_a": 60})],
    "fuse-sum": [
        ("fits", (), {"fuse_a": 60, "inside": {"fuses_a": (30, 30)}}),
        ("doubtful", (), {"fuse_a": 60, "inside": {"fuses_a": (25, 25)}}),
    ],
    "conductor": [
        ("fits", (stated(500, 2),), {"inside": {"cable_mm2": 21}}),
        ("doubtful", (stated(3000, 1),), {"inside": {"cable_mm2": 8.37}}),
        ("doubtful", (stated(3000, 1),), {"inside": {"terminal_mm2": 8.37}}),
    ],
    "heat": [
        ("fits", (stated(500, 2),), {"mass_kg": 3.0}),
        ("doubtful", (stated(1500, 2, seconds=600),), {"mass_kg": 0.8}),
    ],
    "rail-volts": [
        ("fits", (stated(500, 2),), {}),
        ("fits", (stated(500, 2),), {"inside": RAIL}),
        ("contradiction", (stated(600, 4),), {"inside": RAIL}),
        ("doubtful", (stated(600, 4),), {"inside": {"rail_v": 45.0, "rail_at_supply_v": 14.4}}),
        ("doubtful", (stated(600, 4),), {"inside": {"rail_v": 45.0, "full_bridge": False}}),
        ("contradiction", (stated(600, 4),), {"inside": {"rail_v": 45.0, "full_bridge": False}, "supply": "regulated"}),
        ("fits", (stated(600, 4),), {"inside": {**RAIL, "full_bridge": True}}),
        ("fits", (stated(27, 4),), {"inside": {"converter": False}}),
        ("contradiction", (stated(45, 4),), {"inside": {"converter": False}}),
        ("doubtful", (power(45, 4, supply_v=14.4),), {"inside": {"converter": False}}),
        ("contradiction", (stated(27, 4),), {"inside": {"converter": False, "full_bridge": False}}),
    ],
    "capacitor-volts": [
        ("fits", (stated(500, 2),), {"inside": CAPACITORS}),
        ("contradiction", (stated(900, 4),), {"inside": CAPACITORS}),
        ("doubtful", (stated(900, 4),), {"inside": {"rail_capacitor_v": 50.0}}),
        ("fits", (stated(900, 4, bridged=True),), {"inside": CAPACITORS, "outputs": ("A", "B")}),
    ],
    "capacitor-rail": [
        ("fits", (), {"inside": {"rail_v": 30.0, "rail_capacitor_v": 35.0}}),
        ("contradiction", (), {"inside": {"rail_v": 60.0, "rail_capacitor_v": 35.0}}),
    ],
    "rail-store": [
        ("fits", (stated(500, 2),), {"inside": STORE, "fuse_a": 60}),
        ("doubtful", (stated(3000, 2),), {"inside": STORE, "fuse_a": 60}),
        ("fits", (stated(3000, 2),), {"inside": STORE}),
    ],
    "load-ratio": [
        ("fits", (stated(500, 2), stated(300, 4)), {}),
        ("fits", (stated(600, 2), stated(300, 4)), {}),
        ("contradiction", (stated(750, 2), stated(240, 4)), {}),
        ("doubtful", (power(750, 2, thd_percent=1), power(240, 4, thd_percent=1, supply_v=14.4)), {}),
        ("doubtful", (stated(1500, 1, thd_percent=10), stated(240, 4)), {}),
    ],
    "distortion-ratio": [
        ("fits", (stated(100, 4), stated(122, 4, thd_percent=10)), {}),
        ("doubtful", (stated(80, 4, thd_percent=0.1), stated(100, 4)), {}),
        ("contradiction", (stated(100, 4), stated(80, 4, thd_percent=10)), {}),
    ],
    "supply-ratio": [
        ("fits", (stated(100, 4), stated(80, 4, supply_v=12.6)), {}),
        ("doubtful", (stated(100, 4), stated(60, 4, supply_v=12.6)), {}),
        ("doubtful", (stated(100, 4), stated(120, 4, supply_v=12.6)), {}),
        ("doubtful", (stated(100, 4), stated(80, 4, supply_v=12.6)), {"supply": "regulated"}),
        ("fits", (stated(100, 4), stated(100, 4, supply_v=12.6)), {"supply": "regulated"}),
    ],
    "channels-ratio": [
        ("fits", (stated(75, 4), stated(50, 4, channels_driven=4)), {"outputs": tuple("ABCD")}),
        ("contradiction", (stated(50, 4), stated(75, 4, channels_driven=4)), {"outputs": tuple("ABCD")}),
    ],
    "same-conditions": [
        ("fits", (stated(500, 4), stated(505, 4)), {}),
        ("contradiction", (stated(500, 4), stated(750, 4)), {}),
        ("doubtful", (stated(500, 4), power(750, 4, thd_percent=1)), {}),
    ],
    "bridged-ratio": [
        ("fits", (stated(50, 8), stated(120, 8, bridged=True)), {"outputs": ("A", "B")}),
        ("contradiction", (stated(50, 8), stated(250, 8, bridged=True)), {"outputs": ("A", "B")}),
        ("doubtful", (power(50, 8), power(250, 8, bridged=True)), {"outputs": ("A", "B")}),
        ("contradiction", (stated(100, 4), stated(250, 8, bridged=True)), {"outputs": ("A", "B")}),
    ],
    "unstated": [
        ("fits", (stated(500, 4), power(490, 4)), {}),
        ("doubtful", (stated(500, 4), power(950, 4)), {}),
        ("doubtful", (power(950, 4),), {}),
    ],
    "lowest-load": [
        ("contradiction", (stated(500, 1),), {"minimum_load_ohm": 2}),
        ("contradiction", (stated(500, 2, bridged=True),), {"minimum_load_ohm": 2, "outputs": ("A", "B")}),
    ],
    "efficiency": [
        ("fits", (rated("efficiency", 85, "%"),), {}),
        ("doubtful", (rated("efficiency", 96, "%"),), {}),
        ("contradiction", (rated("efficiency", 104, "%"),), {}),
        ("fits", (rated("efficiency", 60, "%"),), {"class": "AB"}),
        ("doubtful", (rated("efficiency", 80, "%"),), {"class": "AB"}),
        ("contradiction", (rated("efficiency", 80, "%", thd_percent=0.1),), {"class": "AB"}),
        ("contradiction", (rated("efficiency", 92, "%"),), {"class": "AB"}),
        ("fits", (stated(400, 4), rated("supply_current", 40, "A")), {}),
        ("contradiction", (stated(700, 4), rated("supply_current", 40, "A")), {}),
        ("doubtful", (power(700, 4, supply_v=14.4), rated("supply_current", 40, "A")), {}),
    ],
    "frequency-order": [
        ("fits", (rated("frequency_low", 20, "Hz"), rated("frequency_high", 20, "kHz")), {}),
        ("contradiction", (rated("frequency_low", 250, "Hz"), rated("frequency_high", 0.2, "kHz")), {}),
    ],
    "filter-corner": [
        (
            "doubtful",
            (rated("frequency_low", 20, "Hz"), rated("frequency_high", 200, "Hz"), rated("filter", 3, "kHz")),
            {},
        ),
    ],
    "filter-slope": [
        ("fits", (rated("filter_slope", 18, "dB/octave"),), {}),
        ("doubtful", (rated("filter_slope", 20, "dB/octave"),), {}),
    ],
    "noise-level": [
        ("fits", (rated("noise", 100, "uV"), rated("noise", -80, "dBV")), {}),
        ("contradiction", (rated("noise", 65, "uV"), rated("noise", -80, "dBV")), {}),
        ("doubtful", (rated("noise", 65, "uV", note="A-weighted"), rated("noise", -80, "dBV")), {}),
    ],
    "snr-reference": [
        ("doubtful", (stated(400, 4), rated("snr", 120, "dB")), {}),
        ("fits", (stated(400, 4), rated("snr", 120, "dB", note="re rated power")), {}),
        ("doubtful", (stated(400, 4), rated("snr", 120, "dB", note="reference is not stated")), {}),
    ],
    "snr-noise": [
        ("fits", (stated(400, 4), rated("snr", 120, "dB"), rated("noise", 40, "uV")), {}),
        ("doubtful", (stated(400, 4), rated("snr", 120, "dB"), rated("noise", 400, "uV")), {}),
    ],
    "gain-sensitivity": [
        ("fits", (stated(400, 4), rated("gain", 26, "dB"), rated("sensitivity", 2, "V")), {}),
        ("doubtful", (stated(400, 4), rated("gain", 26, "dB"), rated("sensitivity", 200, "mV")), {}),
        (
            "fits",
            (
                stated(400, 4),
                rated("gain", 26, "dB"),
                rated("sensitivity", 200, "mV"),
                rated("sensitivity", 4, "V"),
            ),
            {},
        ),
    ],
    "volts-power": [
        ("fits", (power(1, 8), rated("output_voltage", 2.82, "V", load_ohm=8)), {}),
        ("contradiction", (power(1, 4), rated("output_voltage", 2.82, "V", load_ohm=4)), {}),
    ],
    "damping": [
        ("fits", (rated("damping_factor", 200, "1", load_ohm=4),), {}),
        ("doubtful", (rated("damping_factor", 200, "1"),), {}),
    ],
    "damping-resistance": [
        ("fits", (rated("damping_factor", 200, "1"), rated("output_resistance", 40, "mohm")), {}),
        (
            "contradiction",
            (rated("damping_factor", 200, "1", load_ohm=4), rated("output_resistance", 40, "mohm")),
            {},
        ),
    ],
}
CASES = [(code, *case) for code, cases in FIRES.items() for case in cases]


@pytest.mark.parametrize(("code", "strength", "ratings", "more"), CASES, ids=lambda it: it if type(it) is str else "")
def test_a_finding_has_its_strength_its_arithmetic_and_where_it_is_bad_its_advice(code, strength, ratings, more):
    finding = one(code, *ratings, **more)
    assert finding.strength == strength, finding.message
    assert finding.arithmetic or code == "unstated"
    assert all(any(sign.isdigit() for sign in line) for line in finding.arithmetic)
    assert bool(finding.hint) is (strength != "fits")
    assert finding.numbers
    assert finding.message[0].isupper() or finding.message[0].isdigit()


SILENT = [
    ("fuse-sum", (), {"fuse_a": 60}),
    ("conductor", (stated(500, 2),), {}),
    ("capacitor-volts", (stated(500, 2),), {}),
    ("capacitor-rail", (), {"inside": {"rail_v": 60.0}}),
    ("rail-volts", (power(500),), {}),
    ("rail-store", (stated(500, 2),), {"inside": {"rail_v": 45.0}}),
    ("load-ratio", (stated(750, 2), power(2000, 1, note="MAX")), {}),
    ("load-ratio", (stated(750, 2), stated(240, 4, supply_v=12.6)), {}),
    ("distortion-ratio", (stated(100, 4), stated(80, 2, thd_percent=10)), {}),
    ("channels-ratio", (stated(75, 4),), {}),
    ("same-conditions", (stated(500, 4), stated(500, 2)), {}),
    ("bridged-ratio", (stated(50, 2), stated(250, 8, bridged=True)), {"outputs": ("A", "B")}),
    ("unstated", (stated(500, 4),), {}),
    ("lowest-load", (stated(500, 2), stated(500, 4, bridged=True)), {"minimum_load_ohm": 2, "outputs": ("A", "B")}),
    ("filter-corner", (rated("frequency_low", 20, "Hz"), rated("filter", 3, "kHz")), {}),
    ("noise-level", (rated("noise", 65, "uV"),), {}),
    ("snr-noise", (rated("snr", 90, "dB"),), {}),
    ("gain-sensitivity", (rated("gain", 26, "dB"), rated("sensitivity", 2, "V")), {}),
    ("volts-power", (power(1, 4), rated("output_voltage", 2.82, "V")), {}),
    ("damping-resistance", (rated("damping_factor", 200, "1"),), {}),
    ("fuse-allows", (stated(500, 4),), {}),
]


@pytest.mark.parametrize(("code", "ratings", "more"), SILENT, ids=lambda it: it if type(it) is str else "")
def test_a_finding_says_nothing_where_nothing_is_stated_for_it(code, ratings, more):
    assert found(code, *ratings, **more) == []


def test_every_finding_there_is_has_its_place_in_the_method_and_is_tried_here(codes):
    assert set(FIRES) | {"fuse-allows"} == codes
    method = (Path(__file__).parents[2] / "docs" / "methods" / "plausibility.md").read_text(encoding="utf-8")
    assert [code for code in sorted(codes) if f"`{code}`" not in method] == []


@pytest.fixture
def codes():
    """All codes, as the sources have them."""
    files = Path(room.__file__).parent.glob("plausible*.py")
    return set().union(*(re.findall(r'code="([a-z-]+)"', path.read_text(encoding="utf-8")) for path in files))


def clipped_sine(overdrive):
    """A million instants of a sine cut off at 1."""
    return np.clip(overdrive * np.sin(2 * pi * (np.arange(1_000_000) + 0.5) / 1_000_000), -1, 1)


def test_the_bound_of_a_linear_stage_is_that_of_a_sampled_wave():
    wave = clipped_sine(1.2843)  # 10 % of distortion
    finding = one("efficiency", rated("efficiency", 60, "%", thd_percent=10), **{"class": "AB"})
    assert finding.numbers["bound"] == pytest.approx(np.mean(wave**2) / np.mean(np.abs(wave)), rel=1e-4)
    clean = one("efficiency", rated("efficiency", 60, "%", thd_percent=1e-6), **{"class": "B"})
    assert clean.numbers["bound"] == pytest.approx(pi / 4, rel=1e-4)


def test_the_volts_a_claim_needs_give_its_power_back():
    wave = clipped_sine(1.0293)  # 1 %
    peak_v = one("rail-volts", stated(520, 2)).numbers["peak_v"]
    assert np.mean((peak_v * wave) ** 2) / 2 == pytest.approx(520, rel=1e-3)
    square_v = one("rail-volts", power(520, 2)).numbers["least_v"]
    assert square_v**2 / 2 == pytest.approx(520)


def test_the_swing_of_energy_is_that_of_a_sine_integrated_and_the_sag_what_it_leaves():
    finding = one("rail-store", stated(200, 4), rated("frequency_low", 47, "Hz"), inside={**STORE, "rail_v": 60.0})
    t = (np.arange(200_000) + 0.5) / 200_000 / 47
    mean_w = 200 * (1 - np.cos(4 * pi * 47 * t))
    drawn_j = np.cumsum(mean_w - 200) / 200_000 / 47
    swing_j = drawn_j.max() - drawn_j.min()
    assert finding.numbers["tone_hz"] == 47
    assert finding.numbers["swing_j"] == pytest.approx(swing_j, rel=1e-4)
    left_j = 0.0033 * 60**2 / 2 - swing_j
    assert finding.numbers["sagged_v"] == pytest.approx(sqrt(2 * left_j / 0.0033), rel=1e-4)
    assert finding.numbers["lasts_s"] == pytest.approx(0.0033 * 60**2 / 2 / 200)


def test_what_the_capacitors_cannot_hold_is_said():
    finding = one("rail-store", stated(3000, 1), inside=STORE)
    assert finding.numbers["sagged_v"] == 0
    assert any("they hold" in line for line in finding.arithmetic)


def test_a_rail_that_follows_is_carried_to_the_rated_supply():
    claim = stated(400, 4)  # 55.3 V peak
    at_12 = {"rail_v": 48.0, "rail_at_supply_v": 12.0, "full_bridge": False}
    assert one("rail-volts", claim, inside=at_12).strength == "fits"
    assert one("rail-volts", claim, inside=at_12, supply="regulated").strength == "contradiction"
    low = one("rail-volts", stated(400, 4, supply_v=12.0), inside={**at_12, "rail_v": 57.6, "rail_at_supply_v": 14.4})
    assert low.strength == "contradiction"


def test_a_sum_of_outputs_contradicts_no_rail_that_one_output_has():
    thing = {"inside": RAIL, "outputs": tuple("ABCD")}
    total = power(4 * 240, 4, supply_v=14.4, thd_percent=1)
    assert one("rail-volts", total, **thing).strength == "doubtful"
    each = power(4 * 240, 4, supply_v=14.4, thd_percent=1, channels_driven=4)
    assert one("rail-volts", each, **thing).strength == "contradiction"
    least_v = one("rail-volts", power(4 * 240, 4), **thing).numbers["least_v"]
    assert least_v == pytest.approx(sqrt(240 * 4))


def test_an_amplifier_for_24_volts_is_reckoned_with_them():
    claim, beside = power(1000, 4), stated(500, 4, supply_v=28.8)
    numbers = [finding.numbers for finding in found("supply-current", claim, beside, fuse_a=60)]
    assert [each["supply_v"] for each in numbers] == [28.8, 28.8]
    assert one("fuse-allows", claim, beside, fuse_a=60).numbers["through_w"] == pytest.approx(60 * 28.8)
    assert one("fuse-allows", claim, fuse_a=60).numbers["through_w"] == pytest.approx(60 * 14.4)
    assert found("supply-current", claim, inside={"rail_at_supply_v": 26.0})[0].numbers["supply_v"] == 26.0


@pytest.mark.parametrize(
    ("stated_v", "allowed_at_v"), [((12.0, 12.0), 12.0), ((12.6, 13.8), 13.8), ((12.0, None), 14.4), ((16.0, None), 16)]
)
def test_what_the_fuse_allows_is_told_at_the_highest_voltage_that_a_claim_is_for(stated_v, allowed_at_v):
    claims = [power(100, 4, supply_v=volts) for volts in stated_v]
    assert one("fuse-allows", *claims, fuse_a=20).numbers["through_w"] == pytest.approx(20 * allowed_at_v)


def test_several_outputs_at_once_draw_together():
    alone = one("supply-current", stated(100, 4, channels_driven=4), fuse_a=30)
    four = one("supply-current", stated(100, 4, channels_driven=4), fuse_a=30, outputs=tuple("ABCD"))
    assert four.numbers["claimed_w"] == 4 * alone.numbers["claimed_w"] == 400
    assert four.numbers["best_a"] == pytest.approx(4 * alone.numbers["best_a"])


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (2 / 1.04755 * 500, "a square wave"),
        (1.28784 / 1.04755 * 500, "a sine at 10 %"),
        (1000, "twice the stated power"),
        (500 * (16 / 14.4) ** 2, "16 V"),
        (500 / 0.85, "the power taken in"),
        (2000, "all 4 outputs added"),
    ],
)
def test_the_reading_that_makes_a_number_true_is_named(value, words):
    finding = one("unstated", stated(500, 4), power(value, 4), outputs=tuple("ABCD"))
    assert any("would be true" in line and words in line for line in finding.arithmetic), finding.arithmetic


def test_a_reading_stated_is_not_guessed_at():
    ratings = stated(500, 4), power(500 * 2 / 1.04755, 4, thd_percent=1)
    finding = one("unstated", *ratings)
    assert not any("square" in line for line in finding.arithmetic)


def test_where_no_reading_fits_the_nearest_is_told():
    finding = one("unstated", stated(500, 4), power(50_000, 4))
    assert "no reading" in finding.message
    assert any(line.startswith("nearest") for line in finding.arithmetic)


def test_a_bare_claim_leaves_open_what_it_leaves_open():
    finding = one("unstated", power(500), outputs=("A", "B"))
    for words in ("the load", "the supply voltage", "the distortion", "how many outputs"):
        assert words in finding.message


def test_a_grade_is_told_with_every_time_of_a_fuse():
    recalled = one("supply-current", stated(1500, 2), fuse_a=60, inside={"fuses_a": (30, 30)})
    assert any("recalled" in line for line in recalled.arithmetic)
    assert not any("no common blade" in line for line in recalled.arithmetic)
    one_fuse = one("supply-current", stated(1500, 2), fuse_a=60)
    assert any("no common blade" in line for line in one_fuse.arithmetic)


def test_a_fuse_alone_never_makes_a_contradiction():
    for value in (10, 1e3, 1e5, 1e7):
        findings = plausible(amplifier(stated(value, 4), fuse_a=5)).findings
        assert all(finding.strength != "contradiction" for finding in findings)


INSIDES = st.fixed_dictionaries(
    {},
    optional={
        "rail_v": st.sampled_from([20.0, 45.0, 80.0]),
        "rail_at_supply_v": st.sampled_from([12.0, 14.4]),
        "rail_capacitor_v": st.sampled_from([25.0, 50.0, 100.0]),
        "rail_capacitance_f": st.sampled_from([0.001, 0.01]),
        "converter": st.booleans(),
        "full_bridge": st.booleans(),
        "cable_mm2": st.sampled_from([8.37, 53.5]),
    },
)
WORLDS = st.fixed_dictionaries(
    {
        "class": st.sampled_from(["D", "AB", "A", "something"]),
        "supply": st.sampled_from(["regulated", "unregulated", "unknown"]),
        "outputs": st.sampled_from([("A",), ("A", "B", "C", "D")]),
    },
    optional={
        "fuse_a": st.sampled_from([5.0, 60.0]),
        "minimum_load_ohm": st.sampled_from([1.0, 4.0]),
        "mass_kg": st.sampled_from([0.8, 5.0]),
    },
)
CONDITIONS = st.fixed_dictionaries(
    {},
    optional={
        "load_ohm": st.sampled_from([1.0, 2.0, 4.0]),
        "supply_v": st.sampled_from([12.6, 14.4]),
        "thd_percent": st.sampled_from([0.1, 1.0, 10.0]),
        "channels_driven": st.sampled_from([1, 4]),
        "bridged": st.booleans(),
        "seconds": st.sampled_from([1.0, 600.0]),
    },
)


def worst_of(ratings, world, inside):
    strength = plausible(amplifier(*ratings, inside=inside, **world)).strength
    return WORSE_FIRST.index(strength)


@given(CONDITIONS, WORLDS, INSIDES, st.floats(1, 1e4), st.floats(1, 30))
@settings(max_examples=50, deadline=None)
def test_a_larger_claim_never_looks_more_plausible(conditions, world, inside, value, times):
    beside = rated("supply_current", 40, "A", supply_v=14.4)
    less, more = (worst_of((power(w, **conditions), beside), world, inside) for w in (value, value * times))
    assert more <= less


@given(st.lists(CONDITIONS, min_size=2, max_size=4), WORLDS, INSIDES, st.floats(1, 1e4), st.floats(1, 30))
@settings(max_examples=50, deadline=None)
def test_larger_claims_all_together_never_look_more_plausible(conditions, world, inside, value, times):
    less, more = (
        worst_of([power(w * (1 + k / 3), **each) for k, each in enumerate(conditions)], world, inside)
        for w in (value, value * times)
    )
    assert more <= less


def test_the_two_laws_above_are_of_claims_that_do_look_different():
    assert worst_of([stated(27, 4)], {}, {"converter": False}) == 2
    assert worst_of([stated(270, 4)], {}, {"converter": False}) == 0


@given(CONDITIONS, WORLDS, INSIDES, st.floats(1, 1e4))
@settings(max_examples=30, deadline=None)
def test_a_change_of_unit_changes_nothing_but_the_words(conditions, world, inside, value):
    def said(rating):
        findings = plausible(amplifier(rating, stated(300, 4), inside=inside, **world)).findings
        return [(one.code, one.strength, one.about) for one in findings], [one.numbers for one in findings]

    watts, kilowatts = power(value, **conditions), power(value / 1000, unit="kW", **conditions)
    (first, first_numbers), (second, second_numbers) = said(watts), said(kilowatts)
    assert second == first
    assert all(b == pytest.approx(a) for a, b in zip(first_numbers, second_numbers, strict=True))


def test_units_of_all_the_other_ratings_change_nothing():
    ratings = [("noise", 65e-6, "V", 65, "uV"), ("output_resistance", 0.04, "ohm", 40, "mohm"),
               ("frequency_high", 20_000, "Hz", 20, "kHz"), ("sensitivity", 0.2, "V", 200, "mV"),
               ("efficiency", 0.85, "1", 85, "%")]  # fmt: skip
    others = (stated(400, 4), rated("gain", 26, "dB"), rated("snr", 100, "dB"), rated("damping_factor", 100, "1"),
              rated("frequency_low", 20, "Hz"))  # fmt: skip
    first = plausible(amplifier(*others, *(rated(q, v, u) for q, v, u, _, _ in ratings)))
    second = plausible(amplifier(*others, *(rated(q, v, u) for q, _, _, v, u in ratings)))
    pairs = zip(first.findings, second.findings, strict=True)
    assert all(a.strength == b.strength and a.numbers == pytest.approx(b.numbers) for a, b in pairs)
    assert len(first.findings) > 8


def test_the_worst_stands_first_and_marks_its_ratings():
    result = plausible(amplifier(stated(750, 2), stated(240, 4), rated("idle_current", 1, "A"), fuse_a=30))
    order = [WORSE_FIRST.index(finding.strength) for finding in result.findings]
    assert order == sorted(order)
    assert [rating.strength for rating in result.ratings] == ["contradiction", "contradiction", None]
    assert result.strength == "contradiction"


def test_what_would_help_is_asked_for_and_what_is_there_is_not():
    bare = plausible(Amplifier(maker="Sorrel Thaw", model="Dunlin 1", ratings=(power(500),))).unknown
    for key in ("fuse_a", "class", "minimum_load_ohm", "rail_v", "rail_capacitor_v", "rail_capacitance_f"):
        assert any(key in line for line in bare)
    full = amplifier(stated(500, 4), fuse_a=60, inside={**STORE, **CAPACITORS})
    assert plausible(full).unknown == ()
    assert "[[ratings]]" in plausible(amplifier()).unknown[0]


def test_plausibility_survives_json():
    result = plausible(amplifier(stated(750, 2), power(3000, 1), fuse_a=60, inside={**STORE, **CAPACITORS}))
    assert Plausibility.model_validate_json(result.model_dump_json(by_alias=True)) == result
    assert result.model_dump(by_alias=True)["schema"] == 1


def test_a_band_below_zero_or_an_odd_value_raises_nothing():
    odd = [rated(q, v, u) for q, u in (("frequency_low", "Hz"), ("frequency_high", "Hz"), ("noise", "V"),
           ("sensitivity", "V"), ("gain", "1"), ("damping_factor", "1"), ("output_resistance", "ohm"),
           ("supply_current", "A"), ("efficiency", "1"), ("filter_slope", "dB/octave"), ("snr", "dB"),
           ("filter", "Hz")) for v in (-1, 0)]  # fmt: skip
    result = plausible(amplifier(stated(500, 4), power(0, 4), power(-5, 4), *odd))
    assert {finding.about for finding in result.findings if finding.code == "rail-volts"} == {(0,)}
