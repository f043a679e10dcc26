"""Published worked examples of claims, supplies and fuses, as an amplifier file would have them."""

import json
from math import log10
from pathlib import Path

import pytest

from wattproof.amplifier import Amplifier, Inside, Rating, clipped_share, direct_power, heat, supply_current
from wattproof.judge import plausible

CASES = Path(__file__).parents[2].parent / "shared" / "data" / "cases.jsonl"

pytestmark = [
    pytest.mark.shared,
    pytest.mark.skipif(not CASES.exists(), reason="the cases that stand beside the project are absent"),
]


@pytest.fixture(scope="module")
def cases():
    return {case["id"]: case for case in map(json.loads, CASES.read_text(encoding="utf-8").splitlines())}


def given_of(case, name):
    value = case["inputs"][name]
    return value["value"] if isinstance(value, dict) else value


def close(case, name, found):
    expected = case["expected"][name]
    assert found == pytest.approx(expected["value"], abs=expected["tol"] or 1e-9)


def power(value, **more):
    return Rating(quantity="power", value=value, unit="W", **more)


def amplifier(*ratings, inside=None, **more):
    return Amplifier(maker="Sorrel Thaw", model="Dunlin 1", ratings=ratings, inside=inside, **more)


def one(code, thing):
    (finding,) = [finding for finding in plausible(thing).findings if finding.code == code]
    return finding


def test_p02_the_volts_for_a_rated_power(cases):
    case = cases["P02"]
    thing = amplifier(power(given_of(case, "power"), load_ohm=given_of(case, "r"), thd_percent=1e-6))
    close(case, "v_rms", one("rail-volts", thing).numbers["peak_v"] / 2**0.5)


def test_p06_a_row_that_cannot_be_and_the_load_that_would_make_it_true(cases):
    case = cases["P06"]
    load_ohm = given_of(case, "r_stated")
    for number, row in enumerate(case["inputs"]["rows"], start=1):
        volts = Rating(quantity="output_voltage", value=row["v_rms"]["value"], unit="V", load_ohm=load_ohm)
        finding = one("volts-power", amplifier(power(row["p"]["value"], load_ohm=load_ohm), volts))
        close(case, f"p_row{number}", finding.numbers["implied_w"])
        assert (finding.strength == "fits") is case["expected"][f"row{number}_consistent"]["value"]
        if number == 1:
            close(case, "r_that_makes_row1_true", finding.numbers["true_ohm"])


def test_p07_a_bridged_rating_against_a_single_one(cases):
    case = cases["P07"]
    ratings = (
        power(given_of(case, "p_single_8ohm"), load_ohm=8),
        power(given_of(case, "p_bridged_8ohm"), load_ohm=8, bridged=True),
    )
    finding = one("bridged-ratio", amplifier(*ratings, outputs=("A", "B")))
    close(case, "ratio", finding.numbers["ratio"])
    close(case, "ideal_ratio", finding.numbers["most"])
    close(case, "swing_kept", finding.numbers["swing_kept"])
    close(case, "ohms_seen_per_side", finding.numbers["side_ohm"])
    assert finding.strength == "fits"


def test_p12_two_definitions_of_clipping(cases):
    case = cases["P12"]
    pairs = [(given_of(case, f"p_{x}"), given_of(case, f"clip_at_thd_{x}")) for x in "ab"]
    ratings = [power(watts, load_ohm=4, supply_v=14.4, thd_percent=percent) for watts, percent in pairs]
    finding = one("distortion-ratio", amplifier(*ratings))
    close(case, "ratio_reported", finding.numbers["ratio"])
    close(case, "ratio_if_pure_hard_clip", finding.numbers["hard_clipping"])
    assert finding.strength == "doubtful"
    assert "soft knee" in finding.hint


def test_s01_a_rail_that_follows_the_supply(cases):
    case = cases["S01"]
    low_v, high_v = (one["value"] for one in case["inputs"]["v_batt"])
    load_ohm, rails = given_of(case, "r"), case["expected"]["rail"]["value"]
    assert [given_of(case, "turns_ratio") * volts for volts in (low_v, high_v)] == pytest.approx(rails)
    assert [direct_power(rail_v, load_ohm) for rail_v in rails] == pytest.approx(
        case["expected"]["p_sine"]["value"], abs=0.01
    )
    inside = Inside(rail_v=rails[0], rail_at_supply_v=low_v, full_bridge=False)
    claims = [
        power(watts, load_ohm=load_ohm, supply_v=volts, thd_percent=1e-6)
        for watts, volts in zip(case["expected"]["p_sine"]["value"], (low_v, high_v), strict=True)
    ]
    thing = amplifier(*claims, inside=inside, supply="unregulated")
    findings = plausible(thing).findings
    assert {finding.strength for finding in findings if finding.code == "rail-volts"} == {"fits"}
    close(case, "ratio", one("supply-ratio", thing).numbers["square"])
    more = claims[0].model_copy(update={"value": 1.1 * claims[0].value})
    assert one("rail-volts", thing.model_copy(update={"ratings": (more,)})).strength == "contradiction"


def test_s05_and_s06_heat_at_an_efficiency(cases):
    case = cases["S05"]
    powers = [one["value"] for one in case["inputs"]["p_out"]]
    assert [heat(watts, efficiency=given_of(case, "efficiency")) for watts in powers] == pytest.approx(
        case["expected"]["heat"]["value"], abs=0.01
    )
    case = cases["S06"]
    watts, shares = given_of(case, "p_out"), case["inputs"]["efficiency"].values()
    found = [heat(watts, efficiency=share) for share in shares]
    assert found == pytest.approx(case["expected"]["heat"]["value"], abs=1)
    assert [watts + one for one in found] == pytest.approx(case["expected"]["p_in"]["value"], abs=1)
    used = one("heat", amplifier(power(watts, load_ohm=4), **{"class": "AB"})).numbers
    assert used["usual_w"] == pytest.approx(case["expected"]["heat"]["value"][1], abs=1)


def test_s08_watts_taken_in_told_as_watts_given(cases):
    case = cases["S08"]
    current = Rating(quantity="supply_current", value=given_of(case, "i_dc"), unit="A", supply_v=given_of(case, "v_dc"))
    thing = amplifier(power(case["expected"]["p_in"]["value"], load_ohm=1), current)
    finding = one("efficiency", thing)
    close(case, "p_in", finding.numbers["drawn_w"])
    assert [finding.numbers["drawn_w"] * share for share in case["inputs"]["efficiency_range"]] == pytest.approx(
        case["expected"]["p_out_range"]["value"], abs=1
    )
    assert finding.strength == "doubtful"
    assert "taken in" in finding.hint


def test_f01_a_sticker_on_a_small_fuse(cases):
    case = cases["F01"]
    claim = power(given_of(case, "claim"), load_ohm=4, supply_v=given_of(case, "v"))
    finding = one("supply-current", amplifier(claim, fuse_a=given_of(case, "fuse"), **{"class": "AB"}))
    close(case, "p_out_max_avg", finding.numbers["usual_w"])
    assert (finding.strength == "fits") is case["expected"]["claim_plausible"]["value"]
    assert finding.strength == "doubtful"


def test_f03_music_draws_less_than_a_sine(cases):
    case = cases["F03"]
    claim = power(given_of(case, "p_sine"), load_ohm=1, supply_v=given_of(case, "v"))
    efficiency = Rating(quantity="efficiency", value=100 * given_of(case, "efficiency"), unit="%")
    assert given_of(case, "average_below_full_power") == 6
    close(case, "i_in", one("supply-current", amplifier(claim, efficiency, **{"class": "D"})).numbers["music_a"])


def test_d02_the_factor_between_two_limits(cases):
    case = cases["D02"]
    low, high = (given_of(case, f"thd_{x}") / 100 for x in "ab")
    close(case, "p10_over_p0p5", clipped_share(high) / clipped_share(low))
    ratings = [power(100, load_ohm=4, thd_percent=1), power(122.9, load_ohm=4, thd_percent=100 * high)]
    finding = one("distortion-ratio", amplifier(*ratings))
    close(case, "p10_over_p1", finding.numbers["hard_clipping"])
    assert finding.strength == "fits"


def test_d05_two_supply_voltages_of_a_small_amplifier(cases):
    case = cases["D05"]
    claims = [
        power(watts, load_ohm=given_of(case, "r"), supply_v=volts, thd_percent=given_of(case, "thd"))
        for watts, volts in (
            (given_of(case, "p_14v4"), given_of(case, "v1")),
            (case["expected"]["p_21v"]["value"], given_of(case, "v2")),
        )
    ]
    finding = one("supply-ratio", amplifier(*claims))
    close(case, "p_21v", claims[0].value * finding.numbers["square"])
    assert finding.strength == "fits"


def test_d07_a_stated_efficiency(cases):
    case = cases["D07"]
    watts, share, volts = given_of(case, "p_out"), given_of(case, "efficiency"), given_of(case, "v")
    close(case, "i_in", supply_current(watts, efficiency=share, supply_v=volts))
    close(case, "heat", heat(watts, efficiency=share))
    stated = Rating(quantity="efficiency", value=share, unit="1")
    numbers = one(
        "supply-current",
        amplifier(power(watts, load_ohm=given_of(case, "r"), supply_v=volts), stated, **{"class": "D"}),
    ).numbers
    close(case, "i_in", numbers["usual_a"])
    close(case, "p_in", numbers["usual_a"] * volts)


def test_d08_a_noise_line_that_contradicts_itself(cases):
    case = cases["D08"]
    ratings = (
        Rating(quantity="noise", value=given_of(case, "noise"), unit="uV"),
        Rating(quantity="noise", value=given_of(case, "stated_level"), unit="dBV"),
    )
    finding = one("noise-level", amplifier(*ratings))
    close(case, "level_true", finding.numbers["first_dbv"])
    close(case, "mismatch", finding.numbers["apart_db"])
    assert (finding.strength == "fits") is case["expected"]["consistent"]["value"]
    assert finding.strength == "contradiction"


def test_n01_signal_over_noise_from_rated_power_to_one_watt(cases):
    case = cases["N01"]
    claim = power(given_of(case, "p_rated"), load_ohm=given_of(case, "r"))
    thing = amplifier(claim, Rating(quantity="snr", value=given_of(case, "snr_rated"), unit="dB"))
    numbers = one("snr-reference", thing).numbers
    close(case, "snr_1w", numbers["re_1_w_db"])
    close(case, "noise", 1e6 * numbers["noise_v"])
    close(case, "v_rated", claim.target_voltage_v)
    assert numbers["shift_db"] == pytest.approx(10 * log10(given_of(case, "p_rated")))


@pytest.mark.parametrize(
    ("number", "ohms", "factor"), [("Z01", "r_out", "damping_factor"), ("Z02", "r_out_exact", "df_exact")]
)
def test_z01_and_z02_damping_and_output_resistance(cases, number, ohms, factor):
    case = cases[number]
    ratings = (
        Rating(
            quantity="damping_factor", value=case["expected"][factor]["value"], unit="1", load_ohm=given_of(case, "r")
        ),
        Rating(quantity="output_resistance", value=case["expected"][ohms]["value"], unit="ohm"),
    )
    finding = one("damping-resistance", amplifier(*ratings))
    close(case, factor, finding.numbers["factor"])
    assert finding.strength == "fits"
    close(case, ohms, one("damping", amplifier(*ratings)).numbers["output_ohm"])
