"""Differences of figures made by hand: what is shared cancels, what is not adds up; and how terms are chosen."""

from math import hypot, log10, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.amplifier import Amplifier
from wattproof.errors import MeasureError
from wattproof.judge import Subject, Terms, compare
from wattproof.measure import CaptureResult, Figure
from wattproof.quantity import BudgetLine

K = 1.959964
BITTERN = Amplifier(maker="Saltmarsh & Daughter", model="Bittern 1", controls={"gain": "minimum"})
HERON = Amplifier(maker="Reedmace Works", model="Heron 2")
SCALE = "bench Boathouse bench 1f3a: scale of load_voltage A"


def figure(name, value, *, shared=0.0, own=0.0, source=SCALE, unit="W", output="A", file="ramp.wav", **conditions):
    """Make a figure of which `shared` (relative) comes from a calibration and `own` from its own record."""
    lines = [(source, shared, "B"), (f"{file}: frames", own, "A")]
    budget = tuple(BudgetLine(source=s, label=s, u=u * abs(value), type=kind) for s, u, kind in lines if u)
    return Figure(
        name=name, value=value, u=hypot(shared, own) * abs(value), unit=unit, budget=budget, output=output,
        conditions=conditions, origin=f"{file} 1-2 s",
    )  # fmt: skip


def power(value, *, thd_n=0.01, **more):
    stated = {"load_ohm": 4.0, "supply_v": 14.4, "frequency_hz": 47.0, "thd_basis": "total", **more}
    return figure(f"power_at_thd_{100 * thd_n:g}", value, thd_n=thd_n, **stated)


def session(*figures, name="one", amplifier=BITTERN, bench="Boathouse bench", kind="ramp", more=()):
    results = [CaptureResult(file="ramp.wav", kind=kind, figures=figures), *more]
    return Subject(name=name, amplifier=amplifier, results=results, bench=bench)


def side_by_side(*subjects, **terms):
    return compare(subjects, terms=Terms(**{"thd_n": (0.01,), **terms}))


def only(found, name="power_at_thd_1"):
    (one,) = [one for one in found if one.name == name]
    return one


# --- differences ----------------------------------------------------------------------------------------------------


def test_a_calibration_that_both_share_cancels_in_the_ratio():
    found = side_by_side(
        session(power(100.0, shared=0.01)), session(power(105.0, shared=0.01), name="two", amplifier=HERON)
    )
    told = only(found.differences)
    assert told.ratio.value == pytest.approx(1.05)
    assert told.ratio.u == 0.0
    assert told.difference.u == pytest.approx(0.01 * 5.0)  # the scale's error is that of the difference alone
    assert told.correlation == pytest.approx(1.0)
    assert told.distinguishable


@pytest.mark.parametrize(("other_scale", "told_apart"), [(SCALE, True), ("bench Slipway bench 77: scale", False)])
def test_a_small_difference_is_told_on_one_bench_and_not_on_two(other_scale, told_apart):
    first = session(power(100.0, shared=0.005, own=0.001))
    second = session(power(101.2, shared=0.005, own=0.001, source=other_scale), name="two", amplifier=HERON)
    told = only(side_by_side(first, second).differences)
    shared = 0.005 * 1.2 if told_apart else hypot(0.5, 0.506)
    assert told.difference.u == pytest.approx(hypot(shared, 0.1, 0.1012), rel=1e-6)
    assert told.distinguishable is told_apart
    low, high = told.difference.interval95
    assert (low <= 0 <= high) is not told_apart


def test_two_amplifiers_have_a_known_ratio_and_no_en():
    told = only(
        side_by_side(session(power(80.0, own=0.001)), session(power(100.0, own=0.001), amplifier=HERON)).differences
    )
    assert told.relation == "two amplifiers"
    assert told.en is None
    assert 10 * log10(told.ratio.value) == pytest.approx(0.9691, abs=1e-4)
    assert told.ratio.u == pytest.approx(1.25 * 0.001 * sqrt(2), rel=1e-4)


def test_en_of_independent_benches_is_that_of_the_formula():
    first = session(power(300.0, shared=0.01, source="bench Boathouse bench: a"))
    second = session(power(309.0, shared=0.015, source="bench Slipway bench: b"), name="two", bench="Slipway bench")
    told = only(side_by_side(first, second).differences)
    expanded = sqrt((K * 3.0) ** 2 + (K * 0.015 * 309.0) ** 2)
    assert told.relation == "one amplifier on two benches"
    assert told.en == pytest.approx(9.0 / expanded, rel=1e-6)
    assert told.en < 1
    assert not told.distinguishable


def test_a_part_that_both_benches_share_is_left_out_of_en():
    """Both borrowed one load: its error moves both powers alike and explains no difference."""
    load = "bench Boathouse bench: load 4 ohm 4 ohm"
    first = session(power(300.0, shared=0.02, own=0.004, source=load))
    second = session(power(309.0, shared=0.02, own=0.004, source=load), name="two", bench="Slipway bench")
    told = only(side_by_side(first, second).differences)
    own = K * sqrt(1.2**2 + 1.236**2 + (0.02 * 9.0) ** 2)
    assert told.en == pytest.approx(9.0 / own, rel=1e-6)
    assert told.en > 1
    assert 9.0 / (K * hypot(0.0204 * 300, 0.0204 * 309)) < 1  # what it would have been with the shared part left in


def test_values_without_any_doubt_give_no_en_unless_they_are_equal():
    pair = [session(power(300.0)), session(power(301.0), name="two")]
    assert only(side_by_side(*pair).differences).en is None
    assert only(side_by_side(*pair).differences).distinguishable
    assert only(side_by_side(pair[0], pair[0]).differences).en == 0.0


@given(
    first_w=st.floats(1.0, 2000.0), share=st.floats(0.9, 1.1), shared=st.floats(1e-4, 0.05), own=st.floats(1e-4, 0.05)
)
@settings(max_examples=20, deadline=None)
def test_swapping_the_sessions_flips_the_sign_and_nothing_else(first_w, share, shared, own):
    one = session(power(first_w, shared=shared, own=own))
    other = session(power(first_w * share, shared=shared, own=own), name="two")
    ahead, back = (only(side_by_side(*pair).differences) for pair in ((one, other), (other, one)))
    assert ahead.difference.value == -back.difference.value
    assert ahead.difference.u == pytest.approx(back.difference.u)
    assert ahead.ratio.value * back.ratio.value == pytest.approx(1.0)
    assert (ahead.distinguishable, ahead.en) == (back.distinguishable, pytest.approx(back.en))


@given(value=st.floats(1e-3, 1e4), shared=st.floats(0, 0.1), own=st.floats(0, 0.1))
@settings(max_examples=20, deadline=None)
def test_a_session_does_not_differ_from_itself(value, shared, own):
    one = session(power(value, shared=shared, own=own), figure("gain", 20.0, own=own, unit="V/V", frequency_hz=47.0))
    found = side_by_side(one, one)
    assert {told.name for told in found.differences} == {"power_at_thd_1", "gain"}
    for told in found.differences:
        assert (told.difference.value, told.difference.u, told.distinguishable, told.en) == (0.0, 0.0, False, 0.0)


def test_records_of_one_file_name_in_two_sessions_share_nothing():
    pair = [session(power(100.0, own=0.01)), session(power(101.0, own=0.01), name="two")]
    assert only(side_by_side(*pair).differences).difference.u == pytest.approx(hypot(1.0, 1.01))


@pytest.mark.parametrize(("bench", "shares"), [("unnamed bench", False), ("quick look", False), ("Boathouse", True)])
def test_benches_without_a_name_share_no_calibration(bench, shares):
    source = f"bench {bench}: meter handheld: load_voltage accuracy"
    pair = [session(power(value, shared=0.01, source=source), name=str(value), bench=bench) for value in (100.0, 101.0)]
    told = only(side_by_side(*pair).differences)
    assert told.difference.u == pytest.approx(0.01 * 1.0 if shares else hypot(1.0, 1.01))
    assert told.relation == ("one amplifier on one bench" if shares else "one amplifier")


def test_a_doubt_that_the_budget_does_not_tell_is_no_shared_one():
    bare = [power(value).model_copy(update={"u": 2.0}) for value in (100.0, 110.0)]
    told = only(side_by_side(session(bare[0]), session(bare[1], name="two")).differences)
    assert told.difference.u == pytest.approx(hypot(2.0, 2.0))


def test_the_interval_of_a_difference_holds_the_true_one_as_often_as_it_says():
    rng = np.random.default_rng(7)
    held = 0
    for _ in range(200):
        scale = 0.01 * rng.normal()
        read = [true * (1 + scale) * (1 + 0.004 * rng.normal()) for true in (200.0, 204.0)]
        pair = [session(power(value, shared=0.01, own=0.004), name=str(n)) for n, value in enumerate(read)]
        low, high = only(side_by_side(*pair).differences).difference.interval95
        held += low <= 4.0 <= high
    assert 181 <= held <= 198  # 95 % of 200, three standard deviations of the count either way


# --- terms ----------------------------------------------------------------------------------------------------------


def test_loads_that_all_have_are_chosen_and_told():
    first = session(power(60.0, load_ohm=8.0), power(100.0, load_ohm=4.02))
    second = session(power(99.0, load_ohm=3.98), power(150.0, load_ohm=2.0), name="two")
    terms = side_by_side(first, second).terms
    assert terms.load_ohm == (4.0,)
    assert "loads that all sessions have" in terms.chosen
    assert side_by_side(first, session(power(150.0, load_ohm=2.0), name="two")).terms.load_ohm == (8.0, 4.02, 2.0)


@pytest.mark.parametrize(
    ("first", "second", "chosen"),
    [
        ((14.3, 14.5), (14.0, 14.4), 14.4),
        ((12.6, 13.8), (12.0, 13.5), 13.5),
        ((12.6,), (12.61,), 12.6),
        ((12.0,), (13.0,), 12.5),
        ((15.0, 15.5), (14.9, 15.2), 15.0),
    ],
)
def test_the_supply_voltage_is_the_usual_one_or_the_nearest_that_all_share(first, second, chosen):
    pair = [
        session(*(power(100.0, supply_v=volts) for volts in held), name=name)
        for name, held in (("one", first), ("two", second))
    ]
    assert side_by_side(*pair).terms.supply_v == pytest.approx(chosen, abs=0.011)
    assert side_by_side(*pair, supply_v=13.0).terms.supply_v == 13.0


def test_as_many_outputs_as_all_drove_at_once_are_chosen():
    both = session(
        power(90.0), power(92.0, output="B"), more=[CaptureResult(file="b", kind="ramp", figures=(power(100.0),))]
    )
    assert side_by_side(both, session(power(101.0), name="two")).terms.driven == 1
    assert side_by_side(both, both).terms.driven == 2
    (row,) = side_by_side(both, both).rows
    assert row.values[0].quantity.value == pytest.approx(91.0)


def test_one_session_is_nothing_to_compare():
    with pytest.raises(MeasureError, match="nothing to compare") as caught:
        compare([session(power(100.0))])
    assert "two or more" in caught.value.hint
