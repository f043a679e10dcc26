"""Whether a bench can judge a rating: its interval beforehand is what measuring then finds."""

from math import sqrt

import pytest

from wattproof.bench import Load
from wattproof.measure import lay_on_bench, measure
from wattproof.plan import SheetWishes, make_run_sheet
from wattproof.testing import Recorder, clipped_power, clipped_ramp, overdrive_at, steady_tone

K95 = 1.959964
LOADS = (
    Load(name="2 ohm", resistance_ohm=2.0, resistance_u_ohm=0.008, tempco_per_k=60e-6, rise_k=80, continuous_w=1000),
)


def only(amplifier, bench):
    (found,) = make_run_sheet(amplifier, bench).decidable
    return found


def measured(capture, bench, name):
    record, _ = lay_on_bench(capture.recording, bench=bench, load=bench.loads[0])
    return next(figure for figure in measure(record).figures if figure.name == name)


def without(bench, *roles):
    return tuple(channel for channel in bench.channels if channel.role not in roles)


def renumbered(channels):
    return tuple(channel.model_copy(update={"input": n}) for n, channel in enumerate(channels, start=1))


def with_u(channels, **scale_u):
    return tuple(c.model_copy(update={"scale_u": scale_u.get(c.role, c.scale_u)}) for c in channels)


@pytest.mark.parametrize(("volts_u", "amps_u"), [(0.001, 0.002), (0.01, 0.003), (0.002, 0.02)])
def test_the_interval_of_v_times_i_is_the_one_that_a_steady_tone_gives(amplifier, bench, make_stated, volts_u, amps_u):
    channels = with_u(bench().channels, load_voltage=volts_u, load_current=amps_u)
    table = bench(loads=LOADS, channels=channels)
    told = only(amplifier(make_stated(520, 2)), table)
    capture = steady_tone(
        tone_hz=47.0, load_v_rms=sqrt(520 * 2), resistance_ohm=2.0, wiring=channels,
        recorder=Recorder(rate_hz=48000.0, seconds=1.0, noise_rms={"load_voltage": 0.002, "load_current": 0.002}),
    )  # fmt: skip
    seen = measured(capture, table, "load_power")
    assert seen.value == pytest.approx(520, rel=1e-3)
    assert told.interval95 == pytest.approx(seen.k95 * seen.u / seen.value, rel=0.1)
    assert told.interval95 == pytest.approx(K95 * sqrt(volts_u**2 + amps_u**2))
    assert told.u == pytest.approx(520 * sqrt(volts_u**2 + amps_u**2))


def test_the_interval_of_v_squared_over_r_is_the_one_that_a_steady_tone_gives(amplifier, bench, make_stated):
    channels = renumbered(without(bench(), "load_current"))
    table = bench(loads=LOADS, channels=channels)
    told = only(amplifier(make_stated(520, 2)), table)
    capture = steady_tone(
        tone_hz=47.0, load_v_rms=sqrt(520 * 2), resistance_ohm=2.0, wiring=channels,
        recorder=Recorder(rate_hz=48000.0, seconds=1.0, noise_rms={"load_voltage": 0.002}),
    )  # fmt: skip
    seen = measured(capture, table, "load_power_v2r")
    assert told.interval95 == pytest.approx(seen.k95 * seen.u / seen.value, rel=0.1)
    # the voltage's scale counts twice: it is the same twice
    assert told.interval95 == pytest.approx(K95 * sqrt((2 * 0.001) ** 2 + 0.004**2 + (60e-6 * 80) ** 2 / 3))


def test_the_interval_is_also_that_of_the_power_at_1_per_cent_of_a_ramp(amplifier, bench, make_stated):
    table = bench(loads=LOADS)
    told = only(amplifier(make_stated(520, 2)), table)
    limit_v = sqrt(2 * 2.0 * 520 / clipped_power(overdrive_at(0.01)))
    capture = clipped_ramp(
        tone_hz=47.0, slope_db_per_s=2.0, limit_v=limit_v, start_v_peak=0.375 * limit_v, resistance_ohm=2.0,
        wiring=table.channels, recorder=Recorder(rate_hz=48000.0, seconds=5.6),
    )  # fmt: skip
    seen = measured(capture, table, "power_at_thd_1")
    assert seen.value == pytest.approx(520, rel=5e-3)
    assert told.interval95 == pytest.approx(seen.k95 * seen.u / seen.value, rel=0.1)


def test_the_sentence_says_what_cannot_be_told(amplifier, bench, make_stated):
    channels = with_u(bench().channels, load_voltage=0.0075, load_current=0.0075)
    told = only(amplifier(make_stated(520, 2)), bench(loads=LOADS, channels=channels))
    assert told.decides
    assert told.message.startswith(
        "At 520 W into 2 ohm this bench's 95 % interval is ±2.1 %: "
        "a rating met or missed by less than that cannot be told."
    )


def test_a_rating_that_says_too_little_is_told_what_is_missing(amplifier, bench, make_power):
    told = only(amplifier(make_power(520, 2)), bench(loads=LOADS))
    assert not told.decides
    assert "leaves out supply voltage and distortion" in told.message
    bare = only(amplifier(make_power(1100)), bench(loads=LOADS))
    assert not bare.decides
    assert bare.interval95 is None
    assert "load, supply voltage and distortion" in bare.message


def test_a_load_that_is_not_driven_and_a_peak_out_of_reach_are_told(amplifier, bench, make_stated):
    assert "drives 4 ohm" in only(amplifier(make_stated(300, 4)), bench(loads=LOADS)).message
    small = tuple(c.model_copy(update={"scale": 40.0}) if c.role == "load_voltage" else c for c in bench().channels)
    told = only(amplifier(make_stated(520, 2)), bench(loads=LOADS, channels=small))
    assert not told.decides
    assert "peaks at 45.6 V, and the load voltage reaches 40 V" in told.message


def test_without_an_uncertainty_nothing_is_decided(amplifier, bench, make_stated):
    channels = with_u(bench().channels, load_current=0.0)
    told = only(amplifier(make_stated(520, 2)), bench(loads=LOADS, channels=channels))
    assert not told.decides
    assert told.u is None
    assert "states no uncertainty for load current" in told.message


def test_the_supply_s_own_doubt_is_told_unless_rails_are_regulated(amplifier, bench, make_stated):
    assert "square of the supply voltage" in only(amplifier(make_stated(520, 2)), bench(loads=LOADS)).message
    regulated = amplifier(make_stated(520, 2), supply="regulated")
    assert "square of the supply voltage" not in only(regulated, bench(loads=LOADS)).message


def test_a_rating_for_other_wiring_is_told(amplifier, bench, make_stated):
    thing = amplifier(make_stated(200, 2, bridged=True), make_stated(90, 2), outputs=("A", "B"), minimum_load_ohm=1)
    bridged, plain = make_run_sheet(thing, bench("AB", loads=LOADS)).decidable
    assert not bridged.decides
    assert "--bridged" in bridged.message
    assert plain.decides
    again, other = make_run_sheet(thing, bench("AB", loads=LOADS), wishes=SheetWishes(bridged=True)).decidable
    assert again.decides
    assert not other.decides


def steady(table, load_v_rms=20.0):
    recorder = Recorder(rate_hz=48000.0, seconds=1.0)
    return steady_tone(
        tone_hz=47.0, load_v_rms=load_v_rms, resistance_ohm=2.0, wiring=table.channels, recorder=recorder
    )


def test_gain_and_efficiency_are_known_as_well_as_measuring_then_finds(amplifier, bench, make_stated, make_rated):
    thing = amplifier(
        make_stated(520, 2), make_rated("gain", 26, "dB"), make_rated("gain", 20, "V/V"),
        make_rated("efficiency", 85, "%", load_ohm=2),
    )  # fmt: skip
    table = bench(loads=LOADS)
    _, gain_db, gain, efficiency = make_run_sheet(thing, table).decidable
    seen = measured(steady(table), table, "gain")
    assert gain.interval95 == pytest.approx(seen.k95 * seen.u / seen.value, rel=0.1)
    assert gain_db.u == pytest.approx(20 / 2.302585 * gain.interval95 / K95, rel=1e-5)
    assert "dB" in gain_db.message
    seen = measured(steady(table, load_v_rms=sqrt(520 * 2)), table, "efficiency")
    assert efficiency.interval95 == pytest.approx(seen.k95 * seen.u / seen.value, rel=0.1)
    assert efficiency.decides


def test_idle_current_is_known_to_the_scale_and_the_offset(amplifier, bench, make_rated):
    told = only(amplifier(make_rated("idle_current", 900, "mA")), bench(loads=LOADS))
    assert told.interval95 == pytest.approx(K95 * sqrt(0.001**2 + (0.002 / 0.9) ** 2))
    assert told.u == pytest.approx(900 * told.interval95 / K95)


@pytest.mark.parametrize(
    ("quantity", "value", "unit", "roles"),
    [
        ("power", 520, "W", ("load_voltage",)),
        ("efficiency", 85, "%", ("supply_current",)),
        ("gain", 26, "dB", ("drive_voltage",)),
        ("idle_current", 0.9, "A", ("supply_current",)),
        ("thd", 0.05, "%", ("load_voltage",)),
        ("snr", 95, "dB", ("load_voltage",)),
    ],
)
def test_a_missing_channel_decides_nothing(amplifier, bench, make_rated, quantity, value, unit, roles):
    channels = without(bench(), *roles)
    told = only(amplifier(make_rated(quantity, value, unit, load_ohm=2)), bench(loads=LOADS, channels=channels))
    assert not told.decides
    assert told.u is None
    assert "recorded" in told.message


@pytest.mark.parametrize(
    ("note", "decides"), [(None, False), ("re 1 W, A-weighted", True), ("reference not stated", False)]
)
def test_a_signal_to_noise_ratio_needs_its_reference(amplifier, bench, make_rated, note, decides):
    assert only(amplifier(make_rated("snr", 95, "dB", note=note)), bench(loads=LOADS)).decides is decides


@pytest.mark.parametrize(("quantity", "unit"), [("damping_factor", "1"), ("filter", "Hz"), ("hum_at_full_moon", "V")])
def test_what_no_step_measures_is_told(amplifier, bench, make_rated, quantity, unit):
    told = only(amplifier(make_rated(quantity, 80, unit)), bench(loads=LOADS))
    assert not told.decides
    assert "No step of this sheet" in told.message
