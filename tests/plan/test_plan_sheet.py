"""The sheet itself: its steps and their order, what is planned for how many outputs, its limits, its round trip."""

import itertools

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wattproof.bench import Bench, Limits, Load, Supply
from wattproof.errors import RefusedError, SettingsError
from wattproof.plan import RunSheet, SheetWishes, mains_distance, make_run_sheet, recheck, refusals
from wattproof.testing import clipped_power, overdrive_at


def names(sheet):
    return [step.name for step in sheet.steps]


def step(sheet, name):
    return next(step for step in sheet.steps if step.name == name)


def test_the_order_is_floor_idle_gain_and_then_each_load_from_the_highest_down(amplifier, bench, make_stated):
    sheet = make_run_sheet(amplifier(make_stated(520, 2), make_stated(300, 4)), bench())
    each = [f"{what} {ohm} ohm" for ohm in (8, 4, 2) for what in ("ramp", "burst", "hold")]
    assert names(sheet) == ["recorder floor", "idle", "gain 8 ohm", *each]
    assert [one.number for one in sheet.steps] == list(range(1, 13))
    assert all(one.level_from == f"ramp {one.load}" for one in sheet.steps if one.kind in {"burst", "hold"})
    assert sheet.steps[-1].rest_s == 0
    assert all(one.rest_s >= 5 for one in sheet.steps[:-1])


def test_the_order_of_the_bench_s_loads_does_not_matter(amplifier, bench, make_stated):
    thing, table = amplifier(make_stated(520, 2)), bench()
    sheets = [make_run_sheet(thing, bench(loads=order)) for order in itertools.permutations(table.loads)]
    assert all(sheet == sheets[0] for sheet in sheets)


def test_a_load_below_the_minimum_is_left_out_refused_by_name_and_marked_when_meant(amplifier, bench, make_stated):
    thing, table = amplifier(make_stated(520, 2)), bench()
    assert not any(one.load == "1 ohm" for one in make_run_sheet(thing, table).steps)
    with pytest.raises(RefusedError, match=r'"1 ohm" is below') as caught:
        make_run_sheet(thing, table, wishes=SheetWishes(loads=("1 ohm",)))
    assert "--below-minimum" in caught.value.hint
    sheet = make_run_sheet(thing, table, wishes=SheetWishes(loads=("1 ohm", "2 ohm"), below_minimum=True))
    assert [one.load for one in sheet.steps if one.kind == "ramp"] == ["2 ohm", "1 ohm"]
    assert all(one.below_minimum == (one.load == "1 ohm") for one in sheet.steps)
    assert [one.code for one in sheet.questions].count("below-minimum") == 1
    assert "below-minimum" not in [one.code for one in make_run_sheet(thing, table).questions]


def test_the_wishes_choose_loads_bursts_holds_supply_and_tone(amplifier, bench, make_stated):
    wishes = SheetWishes(loads=("4 ohm",), hold_s=0, burst="both", supply_v=12.6, tone_hz=73.0)
    sheet = make_run_sheet(amplifier(make_stated(300, 4)), bench(), wishes=wishes)
    assert names(sheet)[3:] == ["ramp 4 ohm", "burst 4 ohm", "burst 1 kHz 4 ohm"]
    assert sheet.supply_v == 12.6
    assert [one.tone_hz for one in sheet.steps[3:]] == [73.0, 73.0, 1000.0]
    assert step(sheet, "burst 1 kHz 4 ohm").expected.full_power_s == pytest.approx(0.2)
    none = make_run_sheet(amplifier(make_stated(300, 4)), bench(), wishes=SheetWishes(burst="none", loads=("4 ohm",)))
    assert names(none)[3:] == ["ramp 4 ohm", "hold 4 ohm"]


def test_1_khz_is_not_offered_outside_the_band_and_that_is_told(amplifier, bench, make_stated, make_rated):
    thing = amplifier(make_stated(300, 4), make_rated("frequency_high", 150, "Hz"))
    sheet = make_run_sheet(thing, bench(), wishes=SheetWishes(burst="1-khz"))
    assert not any(one.kind == "burst" for one in sheet.steps)
    assert "burst-band" in [check.code for check in sheet.checks]


@pytest.mark.parametrize("wish", [{"hold_s": -1}, {"supply_v": 0.0}, {"tone_hz": 1e9}, {"load_tau_s": 0.0}])
def test_wishes_without_sense_are_refused_by_their_option(wish):
    with pytest.raises(SettingsError, match="--" + next(iter(wish)).replace("_", "-")):
        SheetWishes(**wish)


def test_a_load_that_the_bench_does_not_have_is_refused(amplifier, bench):
    with pytest.raises(SettingsError, match="no load named"):
        make_run_sheet(amplifier(), bench(), wishes=SheetWishes(loads=("5 ohm",)))
    with pytest.raises(SettingsError, match="has no load"):
        make_run_sheet(amplifier(), bench(loads=()))


def test_two_outputs_are_driven_together_or_one_after_the_other(amplifier, bench, make_stated):
    thing = amplifier(make_stated(60, 4), outputs=("A", "B"), minimum_load_ohm=4, **{"class": "AB"})
    wishes = {"loads": ("4 ohm",)}
    both = make_run_sheet(thing, bench("AB"), wishes=SheetWishes(**wishes))
    each = make_run_sheet(thing, bench("AB"), wishes=SheetWishes(driven="each", **wishes))
    assert step(both, "hold 4 ohm").outputs == ("A", "B")
    assert names(each)[2:] == [
        *("gain 4 ohm A", "gain 4 ohm B"),
        *(f"{what} 4 ohm {o}" for o in "AB" for what in ("ramp", "burst", "hold")),
    ]
    together, alone = step(both, "hold 4 ohm").expected, step(each, "hold 4 ohm A").expected
    assert together.power_w == pytest.approx(2 * alone.power_w) == pytest.approx(120 / 1.005)
    assert together.supply_current_a == pytest.approx(2 * alone.supply_current_a)
    assert together.load_heat_j == pytest.approx(alone.load_heat_j)
    assert {"load-each"} == {q.code for q in both.questions} - {
        q.code for q in make_run_sheet(amplifier(make_stated(60, 4)), bench()).questions
    }


def test_four_outputs_bridge_into_two_pairs_with_twice_the_minimum(amplifier, bench, make_stated):
    thing = amplifier(make_stated(60, 4), make_stated(90, 2), make_stated(180, 4, bridged=True), outputs=tuple("ABCD"))
    sheet = make_run_sheet(thing, bench("ABCD"), wishes=SheetWishes(bridged=True))
    assert [one.load for one in sheet.steps if one.kind == "ramp"] == ["8 ohm", "4 ohm"]
    assert step(sheet, "hold 4 ohm").outputs == ("A", "C")
    assert step(sheet, "hold 4 ohm").expected.power_w == pytest.approx(2 * 180 / 1.005)
    assert sheet.bridged
    assert next(q for q in sheet.questions if q.code == "bridged").allows == ("yes",)
    with pytest.raises(SettingsError, match="cannot be bridged"):
        make_run_sheet(amplifier(make_stated(60, 4)), bench(), wishes=SheetWishes(bridged=True))


def test_some_outputs_only_are_driven_where_that_is_wished(amplifier, bench, make_stated):
    thing = amplifier(make_stated(60, 4), outputs=tuple("ABCDE"), minimum_load_ohm=4)
    sheet = make_run_sheet(thing, bench("AC"), wishes=SheetWishes(outputs=("C", "A"), loads=("4 ohm",)))
    assert step(sheet, "hold 4 ohm").outputs == ("A", "C")
    assert not [check for check in sheet.checks if check.state == "refused"]
    pairs = make_run_sheet(thing, bench("AC"), wishes=SheetWishes(bridged=True))
    assert step(pairs, "ramp 8 ohm").outputs == ("A", "C")  # E has no partner
    for wishes in (SheetWishes(outputs=("F",)), SheetWishes(outputs=("B",), bridged=True)):
        with pytest.raises(SettingsError, match="has no output") as caught:
            make_run_sheet(thing, bench("AC"), wishes=wishes)
        assert "--outputs A" in caught.value.hint


SENSELESS = {
    "no output": {"outputs": ()},
    "no such output": {"outputs": ("Z",)},
    "no tone": {"tone_hz": None},
    "no start": {"from_v_rms": None},
    "falling": {"from_v_rms": 50.0, "to_v_rms": 5.0},
}


@pytest.mark.parametrize("how", SENSELESS)
def test_an_edited_ramp_that_nobody_could_carry_out_is_refused_with_its_number(amplifier, bench, make_stated, how):
    thing = amplifier(make_stated(300, 4))
    sheet = make_run_sheet(thing, bench(), wishes=SheetWishes(loads=("4 ohm",)))
    steps = tuple(one.model_copy(update=SENSELESS[how]) if one.kind == "ramp" else one for one in sheet.steps)
    with pytest.raises(SettingsError, match="Step 4 of the run sheet, ramp 4 ohm") as caught:
        recheck(sheet.model_copy(update={"steps": steps}), thing, bench())
    assert caught.value.why
    assert caught.value.hint


def test_two_steps_of_one_name_are_refused(amplifier, bench, make_stated):
    thing = amplifier(make_stated(300, 4))
    sheet = make_run_sheet(thing, bench(), wishes=SheetWishes(loads=("4 ohm",)))
    twice = (*sheet.steps, sheet.steps[-1].model_copy(update={"number": 7}))
    assert "step-name" in [
        check.code for check in refusals(recheck(sheet.model_copy(update={"steps": twice}), thing, bench()), {})
    ]


def test_no_edit_draws_full_power_wider(amplifier, bench, make_stated):
    thing = amplifier(make_stated(300, 4))
    sheet = make_run_sheet(thing, bench(), wishes=SheetWishes(loads=("4 ohm",)))
    for wider in (None, 1e9):
        steps = tuple(
            one.model_copy(update={"limits": one.limits.model_copy(update={"full_power_w": wider})})
            if one.load else one for one in sheet.steps
        )  # fmt: skip
        assert recheck(sheet.model_copy(update={"steps": steps}), thing, bench()).steps == sheet.steps


def test_without_any_rating_the_ramp_rises_slowly_from_a_small_level_and_stops_by_the_limits(amplifier, bench):
    sheet = make_run_sheet(amplifier(fuse_a=None, minimum_load_ohm=None), bench())
    ramp = step(sheet, "ramp 4 ohm")
    assert ramp.knee_v_rms is None
    assert ramp.fast_db_per_s is None
    assert ramp.slow_db_per_s == 2.0
    assert ramp.from_v_rms == pytest.approx(ramp.to_v_rms / 100)
    assert ramp.seconds == pytest.approx(20.0)
    assert ramp.limits.load_voltage_v <= 90
    assert ramp.limits.full_power_w > 0
    assert sheet.decidable == ()
    assert [one.load for one in sheet.steps if one.kind == "ramp"] == ["8 ohm", "4 ohm"]
    assert "minimum-load" in [check.code for check in sheet.checks]


@pytest.mark.parametrize("claim_w", [1, 300, 3000, 1e6])
@pytest.mark.parametrize("how", ["stated", "bare", "loud"])
def test_absurd_claims_still_give_a_sheet_within_the_bench(amplifier, bench, make_power, make_stated, claim_w, how):
    rating = {
        "stated": make_stated(claim_w, 4), "bare": make_power(claim_w, 4), "loud": make_power(claim_w, note="max")
    }[how]  # fmt: skip
    sheet, limits = make_run_sheet(amplifier(rating), bench()), bench().limits
    for one in sheet.steps:
        for name in ("load_voltage_v", "load_current_a", "supply_current_a", "full_power_s", "temperature_c"):
            allowed, drawn = getattr(limits, name), getattr(one.limits, name)
            assert drawn is None or drawn <= allowed, (one.name, name)
        assert one.expected.full_power_s <= (one.limits.full_power_s or 1e9)
        if one.kind == "ramp":
            assert one.from_v_rms < one.to_v_rms


def test_limits_hold_what_a_wave_of_the_expected_power_needs(amplifier, bench, make_stated):
    sheet = make_run_sheet(amplifier(make_stated(300, 4)), bench(limits=Limits()))
    ramp = step(sheet, "ramp 4 ohm")
    peak_v = 2**0.5 * ramp.knee_v_rms
    assert peak_v * 1.2 < ramp.limits.load_voltage_v < peak_v * 1.3
    assert ramp.limits.load_current_a == pytest.approx(ramp.limits.load_voltage_v / ramp.load_ohm)
    assert 1.5 < ramp.limits.supply_current_a / ramp.expected.supply_current_a < 2
    assert ramp.limits.full_power_w == pytest.approx(150, rel=0.01)
    assert ramp.limits.energy_j > ramp.expected.energy_j
    assert ramp.limits.load_dc_v is None


def test_a_hold_is_cut_short_by_the_bench_s_limit_and_by_the_load_s_heat(amplifier, bench, make_stated):
    wishes = SheetWishes(loads=("4 ohm",), hold_s=40)
    thing = amplifier(make_stated(300, 4))
    by_time = make_run_sheet(thing, bench(limits=Limits(full_power_s=6)), wishes=wishes)
    assert step(by_time, "hold 4 ohm").seconds == pytest.approx(4.8)
    small = Load(name="4 ohm", resistance_ohm=4, continuous_w=100, rise_k=80)
    by_heat = make_run_sheet(thing, bench(loads=(small,)), wishes=wishes)
    hold = step(by_heat, "hold 4 ohm")
    assert 3 < hold.seconds < 40
    assert hold.expected.load_rise_k == pytest.approx(0.8 * 80, rel=1e-3)
    for sheet in (by_time, by_heat):
        assert "hold-shortened" in [check.code for check in sheet.checks]
        assert not [check.code for check in sheet.checks if check.state == "refused"]


def test_rests_let_a_small_load_cool(amplifier, bench, make_stated):
    small = Load(name="4 ohm", resistance_ohm=4, continuous_w=60, rise_k=80)
    thing = amplifier(make_stated(200, 4), outputs=("A", "B"))
    sheet = make_run_sheet(thing, bench("AB", loads=(small,)), wishes=SheetWishes(driven="each"))
    heat = next(check for check in sheet.checks if check.code == "load-heat")
    assert heat.state == "good"
    assert 60 < heat.numbers["rise_k"] <= 80 * (1 + 1e-9)
    hurried = sheet.model_copy(update={"steps": tuple(one.model_copy(update={"rest_s": 0}) for one in sheet.steps)})
    again = recheck(hurried, thing, bench("AB", loads=(small,)))
    assert next(check for check in again.checks if check.code == "load-heat").state == "refused"


def test_the_amplifier_rests_until_its_mean_heat_is_what_it_bears(amplifier, bench, make_stated):
    sheet = make_run_sheet(amplifier(make_stated(300, 4)), bench(), wishes=SheetWishes(loads=("4 ohm",), burst="none"))
    hold = make_run_sheet(
        amplifier(make_stated(300, 4), make_stated(520, 2)), bench(), wishes=SheetWishes(burst="none", hold_s=40)
    )
    one = step(hold, "hold 4 ohm")
    assert one.rest_s > 5
    assert one.expected.amplifier_heat_j / (one.seconds + one.rest_s) < one.expected.amplifier_heat_j / one.seconds
    assert sheet.seconds == pytest.approx(sum(one.seconds + one.rest_s for one in sheet.steps))


def test_a_hold_is_expected_at_1_per_cent_and_a_burst_at_10(amplifier, bench, make_stated):
    sheet = make_run_sheet(amplifier(make_stated(300, 4)), bench(loads=(Load(name="4 ohm", resistance_ohm=4.0),)))
    hold, burst = step(sheet, "hold 4 ohm").expected, step(sheet, "burst 4 ohm").expected
    assert hold.power_w == pytest.approx(300)
    ratio = clipped_power(overdrive_at(0.1, form="r")) / clipped_power(overdrive_at(0.01))
    assert burst.power_w / hold.power_w == pytest.approx(ratio, rel=1e-6)


def test_a_sheet_survives_its_file(amplifier, bench, make_stated):
    sheet = make_run_sheet(amplifier(make_stated(300, 4)), bench(), wishes=SheetWishes(burst="both"))
    text = sheet.model_dump_json(by_alias=True)
    assert RunSheet.model_validate_json(text) == sheet
    assert '"schema":1' in text


def test_looking_anew_at_an_unedited_sheet_changes_nothing(amplifier, bench, make_stated, make_power):
    thing = amplifier(make_stated(300, 4), make_power(2000, note="MAX"))
    sheet = make_run_sheet(thing, bench(), wishes=SheetWishes(burst="both", loads=("4 ohm", "2 ohm")))
    again = recheck(sheet, thing, bench())
    assert again.steps == sheet.steps
    assert again == sheet


def test_an_edited_sheet_is_reckoned_anew(amplifier, bench, make_stated):
    thing = amplifier(make_stated(300, 4))
    sheet = make_run_sheet(thing, bench(), wishes=SheetWishes(loads=("4 ohm",)))
    hold = step(sheet, "hold 4 ohm")
    longer = hold.model_copy(update={"seconds": 3 * hold.seconds, "limits": hold.limits.model_copy(
        update={"full_power_s": 1000.0, "load_voltage_v": 500.0})})  # fmt: skip
    edited = sheet.model_copy(update={"steps": (*sheet.steps[:-1], longer)})
    again = recheck(edited, thing, bench())
    found = step(again, "hold 4 ohm")
    assert found.expected.energy_j == pytest.approx(3 * hold.expected.energy_j)
    assert found.limits.full_power_s == 60
    assert found.limits.load_voltage_v == 90
    assert "full-power-time" in [check.code for check in refusals(again, {})]
    assert again.energy_j > sheet.energy_j


def test_an_edited_order_that_cannot_be_carried_out_is_refused(amplifier, bench, make_stated):
    thing = amplifier(make_stated(300, 4))
    sheet = make_run_sheet(thing, bench(), wishes=SheetWishes(loads=("4 ohm",)))
    without = tuple(one for one in sheet.steps if one.kind != "ramp")
    codes = [check.code for check in recheck(sheet.model_copy(update={"steps": without}), thing, bench()).checks]
    assert codes.count("level-from") == 2
    assert "step-number" in codes


def test_the_supply_is_the_ratings_then_the_bench_s_then_14_4(amplifier, bench, make_power, make_stated):
    nothing = Bench(loads=bench().loads, limits=Limits(load_voltage_v=50))
    assert make_run_sheet(amplifier(make_stated(300, 4)), bench(supply=Supply(nominal_v=13.8))).supply_v == 14.4
    assert make_run_sheet(amplifier(make_power(300, 4)), bench(supply=Supply(nominal_v=13.8))).supply_v == 13.8
    assert make_run_sheet(amplifier(make_power(300, 4)), nothing).supply_v == 14.4


@given(
    st.lists(st.tuples(st.floats(5, 3000), st.sampled_from([1.0, 2.0, 4.0, 8.0])), max_size=3),
    st.sampled_from(["D", "AB", None]),
    st.sampled_from(["A", "AB", "ABCD"]),
    st.tuples(st.floats(15, 80), st.floats(120, 22000)),
    st.sampled_from(["all", "each"]),
)
@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_every_sheet_keeps_the_mains_away_its_numbers_whole_and_its_order(
    amplifier, bench, make_stated, make_rated, claims, kind, outputs, band, driven
):
    ratings = [make_stated(w, ohm) for w, ohm in claims]
    edges = [make_rated("frequency_low", band[0], "Hz"), make_rated("frequency_high", band[1], "Hz")]
    thing = amplifier(*ratings, *edges, outputs=tuple(outputs), minimum_load_ohm=1, **{"class": kind})
    sheet = make_run_sheet(thing, bench(outputs), wishes=SheetWishes(driven=driven, hold_s=2))
    ohms = [one.load_ohm for one in sheet.steps if one.kind == "ramp"]
    assert ohms == sorted(ohms, reverse=True)
    for one in sheet.steps:
        if one.tone_hz is not None:
            assert mains_distance(one.tone_hz) >= 2.5
            assert band[0] <= one.tone_hz <= band[1]
        if one.burst is not None:
            assert 0 < one.burst.cycles_on < one.burst.cycles_period
        assert one.expected.supply_power_w >= one.expected.power_w
    assert RunSheet.model_validate_json(sheet.model_dump_json(by_alias=True)) == sheet
