"""What is looked at before anything moves: each fault is found, told with its numbers, and gone once cured."""

from datetime import date

import pytest

from wattproof.bench import Bench, Limits, Load, RigSettings, Supply
from wattproof.plan import SheetWishes, make_run_sheet
from wattproof.testing import clipped_power, overdrive_at

FOUR = (Load(name="4 ohm", resistance_ohm=4.0, resistance_u_ohm=0.008, continuous_w=1000, rise_k=80),)


def found(sheet, code, state=None):
    return [check for check in sheet.checks if check.code == code and state in (None, check.state)]


def one(sheet, code):
    (check,) = found(sheet, code)
    return check


@pytest.fixture
def thing(amplifier, make_stated, make_rated):
    band = make_rated("frequency_low", 15, "Hz"), make_rated("frequency_high", 250, "Hz")
    return amplifier(make_stated(300, 4), make_rated("gain", 32, "dB"), *band)


def sheet_of(thing, bench, **wishes):
    return make_run_sheet(thing, bench, wishes=SheetWishes(**wishes), day=date(2031, 5, 14))


def test_a_bench_that_fits_has_good_checks_only(thing, bench):
    sheet = sheet_of(thing, bench(loads=FOUR))
    assert [check for check in sheet.checks if check.state != "good"] == []
    codes = {check.code for check in sheet.checks}
    assert codes >= {
        "supply-current", "supply-limit", "supply-setting", "fuse", "claim-fuse", "load-power", "load-heat",
        "range-load-voltage", "range-load-current", "range-supply-voltage", "range-supply-current", "generator",
        "tone-mains", "limits-missing", "calibration",
    }  # fmt: skip


def test_refused_checks_stand_first(thing, bench):
    sheet = sheet_of(thing, bench(channels=(), loads=FOUR))
    states = [check.state for check in sheet.checks]
    assert states == sorted(states, key=("refused", "doubtful", "good").index)
    assert states[0] == "refused"


@pytest.mark.parametrize(("max_a", "state"), [(20, "refused"), (40, "doubtful"), (200, "good")])
def test_the_supply_must_carry_the_mean_current_and_its_pulses(thing, bench, max_a, state):
    check = one(
        sheet_of(thing, bench(loads=FOUR, supply=Supply(nominal_v=14.4, max_current_a=max_a))), "supply-current"
    )
    assert check.state == state
    assert check.numbers["mean_a"] == pytest.approx(300 / 0.85 / 14.4, rel=1e-3)
    assert check.numbers["peak_a"] == pytest.approx(2 * check.numbers["mean_a"])
    assert check.numbers["limit_a"] == max_a


def test_a_supply_that_states_nothing_is_doubtful(thing, bench):
    sheet = sheet_of(thing, bench(loads=FOUR, supply=Supply()))
    assert one(sheet, "supply-current").state == "doubtful"
    assert one(sheet, "supply-setting").state == "doubtful"


def test_the_guard_s_own_supply_limit_is_looked_at_too(thing, bench):
    limits = bench().limits.model_copy(update={"supply_current_a": 15})
    assert one(sheet_of(thing, bench(loads=FOUR, limits=limits)), "supply-limit").state == "refused"


@pytest.mark.parametrize(("fuse_a", "state"), [(19, "doubtful"), (60, "good")])
def test_the_fuse_is_a_doubt_and_no_verdict(amplifier, bench, make_stated, fuse_a, state):
    sheet = sheet_of(amplifier(make_stated(300, 4), fuse_a=fuse_a), bench(loads=FOUR))
    assert one(sheet, "fuse").state == state
    assert not [check for check in sheet.checks if check.state == "refused"]


def test_a_claim_is_weighed_against_fuse_volts_and_efficiency(amplifier, bench, make_stated):
    sheet = sheet_of(amplifier(make_stated(500, 4), fuse_a=5), bench(loads=FOUR))
    check = one(sheet, "claim-fuse")
    assert check.state == "doubtful"
    assert "no verdict" in check.hint
    assert check.numbers["best_w"] == pytest.approx(5 * 14.4 * 0.9)
    assert check.numbers["need_a"] == pytest.approx(500 / 0.9 / 14.4)
    assert "7.72 times the fuse" in check.message


def test_a_claim_of_four_outputs_at_once_counts_four_times(amplifier, bench, make_stated):
    thing = amplifier(make_stated(100, 4, channels_driven=4), fuse_a=30, outputs=tuple("ABCD"))
    check = one(sheet_of(thing, bench("ABCD", loads=FOUR)), "claim-fuse")
    assert check.numbers["claimed_w"] == 400
    assert check.state == "doubtful"


def test_a_rating_for_a_load_that_is_not_there_is_told(amplifier, bench, make_stated):
    sheet = sheet_of(amplifier(make_stated(300, 4), make_stated(450, 3)), bench(loads=FOUR))
    assert one(sheet, "rating-load").numbers == {"load_ohm": 3}


@pytest.mark.parametrize(
    ("continuous_w", "state"), [(1000, "good"), (200, "doubtful"), (60, "refused"), (None, "doubtful")]
)
def test_the_load_must_bear_what_the_ramp_reaches_when_clipped(thing, bench, continuous_w, state):
    load = FOUR[0].model_copy(update={"continuous_w": continuous_w})
    check = one(sheet_of(thing, bench(loads=(load,))), "load-power")
    clean_w = 300 / clipped_power(overdrive_at(0.01))
    assert check.state == state
    assert check.numbers["end_w"] == pytest.approx(clean_w * clipped_power(overdrive_at(0.12, form="r")), rel=1e-6)
    assert check.numbers["square_w"] == pytest.approx(2 * clean_w, rel=1e-6)


def test_a_load_that_gets_too_hot_is_refused(thing, bench):
    load = FOUR[0].model_copy(update={"continuous_w": 300, "rise_k": 1.0})
    sheet = sheet_of(thing, bench(loads=(load,)), burst="none")
    assert one(sheet, "load-heat").state == "good"  # the hold is cut short, the rests are long
    light = sheet_of(thing, bench(loads=(load.model_copy(update={"continuous_w": 100}),)), burst="none", load_tau_s=3.0)
    assert one(light, "load-heat").state == "refused"
    assert one(light, "load-heat").numbers["rise_k"] > 1.0


def test_inductance_and_drift_are_told_where_they_count(thing, bench):
    coil = FOUR[0].model_copy(update={"inductance_h": 1e-3, "tempco_per_k": 4e-3, "continuous_w": 400})
    table = bench(loads=(coil,))
    without = [channel for channel in table.channels if channel.role != "load_current"]
    sheet = sheet_of(thing, bench(loads=(coil,), channels=tuple(without)))
    assert one(sheet, "load-inductance").numbers["reactance_over_resistance"] == pytest.approx(0.0738, abs=1e-4)
    assert one(sheet, "load-drift").state == "doubtful"
    assert not found(sheet_of(thing, table), "load-drift")


@pytest.mark.parametrize(
    ("scale", "state"), [(40.0, "refused"), (50.0, "doubtful"), (90.0, "good"), (900.0, "doubtful")]
)
def test_the_load_voltage_must_fit_its_range_and_use_it(thing, bench, scale, state):
    channels = tuple(
        channel.model_copy(update={"scale": scale}) if channel.role == "load_voltage" else channel
        for channel in bench().channels
    )
    check = one(sheet_of(thing, bench(loads=FOUR, channels=channels)), "range-load-voltage")
    assert check.state == state
    assert check.numbers["expected"] == pytest.approx(
        (2 * 4 * 300 / clipped_power(overdrive_at(0.01))) ** 0.5, rel=1e-6
    )
    assert check.numbers["reach"] == scale


def test_a_claim_beyond_the_range_is_a_doubt(amplifier, bench, make_stated, make_power):
    thing = amplifier(make_stated(300, 4), make_power(1500, 4, note="MAX"), fuse_a=None)
    assert one(sheet_of(thing, bench(loads=FOUR)), "range-load-voltage").state == "doubtful"


def test_a_range_that_nobody_states_is_a_doubt_except_for_the_rig_s_own_tracks(thing, bench):
    channels = tuple(channel.model_copy(update={"full_scale": None}) for channel in bench().channels)
    assert one(sheet_of(thing, bench(loads=FOUR, channels=channels)), "range-load-voltage").state == "good"
    by_hand = sheet_of(thing, bench(loads=FOUR, channels=channels, rig=None))
    assert one(by_hand, "range-load-voltage").state == "doubtful"
    assert one(by_hand, "no-rig").state == "doubtful"


@pytest.mark.parametrize("role", ["load_voltage", "load_current", "supply_voltage", "supply_current", "drive_voltage"])
def test_a_missing_channel_is_told_with_what_is_lost(thing, bench, role):
    channels = tuple(channel for channel in bench().channels if channel.role != role)
    check = one(sheet_of(thing, bench(loads=FOUR, channels=channels)), f"no-{role.replace('_', '-')}")
    assert check.state == ("refused" if role == "load_voltage" else "doubtful")
    assert f'role = "{role}"' in check.hint


def test_every_driven_output_wants_its_channels_and_its_generator(amplifier, bench, make_stated):
    thing = amplifier(make_stated(60, 4), outputs=("A", "B"))
    sheet = sheet_of(thing, bench("A", loads=FOUR))
    assert one(sheet, "no-load-voltage").message.startswith("The bench records no load voltage of output B")
    assert one(sheet, "drive-outputs").state == "refused"
    assert not found(sheet_of(thing, bench("AB", loads=FOUR)), "drive-outputs")


@pytest.mark.parametrize(("gain_db", "state"), [(20, "refused"), (29, "doubtful"), (34, "good")])
def test_the_generator_must_reach_the_knee_and_past_it(amplifier, bench, make_stated, make_rated, gain_db, state):
    rig = RigSettings(kind="simulated", drive_v_full_scale=2.0)
    sheet = sheet_of(amplifier(make_stated(300, 4), make_rated("gain", gain_db, "dB")), bench(loads=FOUR, rig=rig))
    check = one(sheet, "generator")
    assert check.state == state
    knee_v = (4 * 300 / clipped_power(overdrive_at(0.01))) ** 0.5
    need_v = knee_v * overdrive_at(0.12, form="r") / 10 ** (gain_db / 20)
    assert check.numbers["need_v_rms"] == pytest.approx(need_v, rel=1e-5)
    assert check.numbers["reach_v_rms"] == pytest.approx(2**0.5)


def test_sensitivity_tells_the_gain_and_nothing_stated_is_a_doubt(amplifier, bench, make_stated, make_rated):
    rig = RigSettings(kind="simulated", drive_v_full_scale=2.0)
    sensitive = amplifier(make_stated(300, 4), make_rated("sensitivity", 500, "mV"))
    assert one(sheet_of(sensitive, bench(loads=FOUR, rig=rig)), "generator").numbers["need_v_rms"] == pytest.approx(
        0.5 * overdrive_at(0.12, form="r"), rel=1e-5
    )
    assert one(sheet_of(amplifier(make_stated(300, 4)), bench(loads=FOUR, rig=rig)), "generator").state == "doubtful"


def test_a_tone_on_the_mains_or_outside_the_band_is_told(thing, bench):
    on_mains = sheet_of(thing, bench(loads=FOUR), tone_hz=50.0)
    assert one(on_mains, "tone-mains").state == "doubtful"
    outside = sheet_of(thing, bench(loads=FOUR), tone_hz=997.0)
    assert one(outside, "tone-band").state == "doubtful"
    assert "15 to 250 Hz" in one(outside, "tone-band").message


def test_missing_limits_and_a_supply_outside_them_are_told(thing, bench):
    sheet = sheet_of(thing, bench(loads=FOUR, limits=Limits(load_voltage_v=90)))
    check = one(sheet, "limits-missing")
    assert check.state == "doubtful"
    assert check.numbers["missing"] == 5
    limits = bench().limits.model_copy(update={"supply_voltage_v": (10.0, 14.0)})
    assert one(sheet_of(thing, bench(loads=FOUR, limits=limits)), "supply-voltage").state == "refused"
    assert one(sheet_of(thing, bench(loads=FOUR), supply_v=12.6), "supply-setting").state == "doubtful"


def test_a_ramp_that_the_guard_would_stop_is_refused(thing, bench):
    sheet = sheet_of(thing, bench(loads=FOUR, limits=Limits(full_power_s=2)))
    assert [check.step for check in found(sheet, "full-power-time")] == [4]
    assert found(sheet, "full-power-time")[0].state == "refused"


def test_calibrations_that_ran_out_or_state_no_uncertainty_are_told(thing, bench):
    channels = list(bench().channels)
    channels[0] = channels[0].model_copy(update={"calibration_days": 30.0})
    overdue = sheet_of(thing, bench(loads=FOUR, channels=tuple(channels)))
    assert one(overdue, "calibration-overdue").numbers["age_days"] == 73
    assert not found(make_run_sheet(thing, bench(loads=FOUR, channels=tuple(channels))), "calibration-overdue")
    channels[0] = channels[0].model_copy(update={"calibration_days": None, "scale_u": 0.0})
    unsure = sheet_of(thing, bench(loads=FOUR, channels=tuple(channels)))
    assert "load_voltage A" in one(unsure, "uncertainty-missing").message


def test_a_bare_bench_gets_a_sheet_and_all_its_doubts(amplifier):
    bare = Bench(loads=(Load(name="4 ohm", resistance_ohm=4),), limits=Limits(load_voltage_v=40))
    sheet = make_run_sheet(amplifier(fuse_a=None, minimum_load_ohm=None), bare)
    codes = {check.code for check in sheet.checks if check.state != "good"}
    assert codes >= {"no-load-voltage", "no-rig", "limits-missing", "load-power", "supply-current", "minimum-load"}
    assert all(check.hint for check in sheet.checks if check.state != "good")
