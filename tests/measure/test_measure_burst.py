"""Tone bursts: the power in them, droop, recovery, headroom and the pattern's mean, against closed forms."""

from math import log, log10, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.bench import Bench, Load
from wattproof.errors import MeasureError, NoToneError, WattproofError
from wattproof.measure.burst import measure_burst
from wattproof.measure.record import lay_on_bench
from wattproof.testing import Recorder, burst_train, wire, workshop_wiring
from wattproof.testing.asserts import assert_within
from wattproof.waveform import Channel, MemoryRecording, Waveform

RATE_HZ = 48_000.0
LOAD = Load(name="two", resistance_ohm=2.0)


def measured(capture, **more):
    record, _ = lay_on_bench(capture.recording, bench=capture.bench, load=capture.bench.loads[0], **more)
    return measure_burst(record)


def found(*rows, roles=("load_voltage",), **more):
    samples = np.stack(rows)
    channels = tuple(Channel(name=str(n + 1)) for n in range(len(rows)))
    wave = Waveform(samples=samples, rate_hz=RATE_HZ, channels=channels)
    bench = Bench(name="made", channels=wire(*roles), loads=(LOAD,)) if roles else None
    recording = MemoryRecording(waveform=wave, source="made")
    record, _ = lay_on_bench(recording, bench=bench, load=LOAD if roles else None, **more)
    return measure_burst(record)


def value(result, name, output="A"):
    return next((f for f in result.figures if (f.name, f.output) == (name, output)), None)


def codes(result):
    return [notice.code for notice in result.warnings]


@pytest.mark.parametrize(("tone_hz", "cycles_on", "cycles_period"), [(47.0, 8, 47), (997.0, 20, 500), (47.0, 4, 20)])
@pytest.mark.parametrize("low_db", [-20.0, -200.0])
def test_power_duration_and_period_are_what_was_put_in(tone_hz, cycles_on, cycles_period, low_db):
    capture = burst_train(
        tone_hz=tone_hz, cycles_on=cycles_on, cycles_period=cycles_period, low_db=low_db, lead_cycles=20.3
    )
    result, truth = measured(capture), capture.truth
    power = value(result, "burst_power")
    assert_within(power, truth.mean_power(), relative=20e-6)
    assert_within(power.conditions["frequency_hz"], tone_hz, relative=1e-5)
    assert power.conditions["bursts"] == len(truth.starts_s) == len(result.curve)
    assert power.conditions["burst_cycles"] == cycles_on
    assert power.conditions["settled_cycles"] == cycles_on - 2
    assert_within(value(result, "burst_duration"), truth.burst_s, absolute=0.05 / tone_hz)
    assert_within(value(result, "burst_period"), truth.period_s, absolute=0.05 / tone_hz)
    assert value(result, "thd_n").value < 1e-4
    for point, start_s in zip(result.curve, truth.starts_s, strict=True):
        assert_within(point.t_s, start_s, absolute=0.05 / tone_hz)
        assert_within(point.load_power, truth.mean_power(), relative=20e-6)


def test_twenty_cycles_of_five_hundred_at_minus_20_db_have_a_mean_of_4_96_percent():
    # the pattern of case P09
    capture = burst_train(tone_hz=1000.0, cycles_on=20, cycles_period=500, low_db=-20.0)
    share = value(measured(capture), "mean_over_burst_power")
    assert_within(share, 0.0496, absolute=1e-6)
    assert_within(10 * log10(share.value), -13.05, absolute=0.01)


def test_a_burst_of_four_times_the_steady_power_has_6_db_headroom():
    # case P11 has seven clean cycles, 116.7 ms
    capture = burst_train(tone_hz=60.0, cycles_on=7, cycles_period=60, load_v_rms=sqrt(8.0), resistance_ohm=2.0)
    result = measured(capture, steady_power_w=1.0)
    headroom = value(result, "burst_headroom")
    assert_within(10 * log10(headroom.value), 6.02, absolute=0.03)
    assert headroom.unit == "W/W"
    assert_within(value(result, "burst_duration"), 0.1167, absolute=0.0005)
    assert "no-steady-power" not in codes(result)


def test_the_headroom_is_missed_aloud():
    result = measured(burst_train())
    assert value(result, "burst_headroom") is None
    assert "no-steady-power" in codes(result)


def test_droop_and_recovery_follow_their_time_constants():
    capture = burst_train(tone_hz=997.0, cycles_on=100, cycles_period=1500, droop=0.1, droop_tau_s=0.03, recovery=0.3)
    result, truth = measured(capture), capture.truth
    assert_within(value(result, "burst_power"), truth.mean_power(1, 99), relative=2e-4)
    wanted = truth.cycle_power(98) / truth.cycle_power(1)
    assert_within(value(result, "burst_droop"), wanted, relative=1e-3)
    # 0.3 exp(-t / tau) = 0.01, with tau = 0.1 s
    assert_within(value(result, "burst_recovery"), 0.1 * log(30), relative=0.005)


@pytest.mark.parametrize("cycles_on", [4, 6, 8, 12])
def test_the_power_of_a_drooping_burst_lies_within_its_uncertainty(cycles_on):
    capture = burst_train(cycles_on=cycles_on, droop=0.1, droop_tau_s=0.1)
    power = value(measured(capture), "burst_power")
    assert_within(power, capture.truth.mean_power(1, cycles_on - 1), times_u=2)
    assert power.u < 0.01 * power.value


@pytest.mark.parametrize("cycles_on", [1, 2])
def test_bursts_too_short_to_settle_are_used_whole_and_it_is_said(cycles_on):
    capture = burst_train(cycles_on=cycles_on)
    result = measured(capture)
    assert_within(value(result, "burst_power"), capture.truth.mean_power(), relative=0.001)
    assert "short-bursts" in codes(result)
    assert "short-bursts" not in codes(measured(burst_train(cycles_on=3)))


def test_noise_of_minus_60_db_shows_as_distortion_and_hardly_moves_the_power():
    wiring = wire("load_voltage", "load_current")
    rms = {"load_voltage": 0.028, "load_current": 0.014}
    capture = burst_train(wiring=wiring, recorder=Recorder(rate_hz=48_000.0, seconds=6.0, noise_rms=rms))
    result = measured(capture)
    # white noise to 24 kHz, of which 20 kHz count
    assert_within(value(result, "thd_n"), 1e-3 * sqrt(20 / 24), relative=0.05)
    assert_within(value(result, "burst_power"), capture.truth.mean_power(), times_u=3, relative=1e-6)
    assert_within(value(result, "burst_power"), capture.truth.mean_power(), relative=2e-4)


def pattern(levels, *, tone_hz=470.0, on_s=0.1, period_s=0.5, low=0.05):
    """Volts of bursts of the given peaks over a low tone."""
    t_s = np.arange(round((len(levels) + 0.5) * period_s * RATE_HZ)) / RATE_HZ
    index, into_s = np.divmod(t_s - 0.2, period_s)
    peak = np.asarray(levels)[np.clip(index.astype(int), 0, len(levels) - 1)]
    on = (into_s < on_s) & (index >= 0) & (index < len(levels))
    return t_s, np.where(on, peak, low) * np.sin(2 * np.pi * tone_hz * t_s)


def test_the_scatter_from_burst_to_burst_is_the_type_a_uncertainty():
    levels = [20.0, 20.3, 19.8, 20.1, 19.9, 20.2]
    _, volts = pattern(levels)
    power = value(found(volts), "burst_power")
    powers = np.square(levels) / 2 / LOAD.resistance_ohm
    assert_within(power, powers.mean(), relative=1e-5)
    (line,) = [line for line in power.budget if line.type == "A"]
    assert_within(line.u, powers.std(ddof=1) / sqrt(6), relative=1e-3)
    assert line.dof == 5


def test_the_supply_dips_comes_back_and_its_minimum_is_told():
    t_s, volts = pattern([20.0] * 4)
    into_s = np.mod(t_s - 0.2, 0.5)
    sag = np.where(into_s < 0.1, 1.2 * (1 - np.exp(-into_s / 0.02)), 1.2 * np.exp(-(into_s - 0.1) / 0.04))
    sag[t_s < 0.2] = 0.0
    supply_v = 14.0 - sag
    result = found(volts, supply_v, roles=("load_voltage", "supply_voltage"))
    assert_within(value(result, "supply_voltage_min", None), supply_v.min(), relative=2e-3)
    # 1.2 exp(-t / 40 ms) = 0.14
    assert_within(value(result, "burst_recovery", None), 0.04 * log(1.2 / 0.14), absolute=0.003)
    assert {trace.name for trace in result.views.supply} == {"supply_voltage"}
    settled = (into_s > 1 / 470) & (into_s < 0.1 - 1 / 470) & (t_s >= 0.2) & (t_s < 0.3)
    assert_within(result.curve[0].supply_voltage, supply_v[settled].mean(), relative=1e-3)


def test_doubts_of_scale_and_load_reach_the_power():
    _, volts = pattern([20.0] * 3)
    wave = Waveform(samples=volts[np.newaxis], rate_hz=RATE_HZ, channels=(Channel(name="1"),))
    load = LOAD.model_copy(update={"resistance_u_ohm": 0.01})
    bench = Bench(name="made", channels=wire("load_voltage", scale_u=0.002), loads=(load,))
    record, _ = lay_on_bench(MemoryRecording(waveform=wave), bench=bench, load=load)
    power = value(measure_burst(record), "burst_power")
    assert power.conditions["basis"] == "v^2/r"
    parts = {line.label: line.u / power.value for line in power.budget}
    assert_within(parts["scale of load_voltage A"], 0.004, relative=1e-3)
    assert_within(parts["resistance of two"], 0.005, relative=1e-3)


def test_without_a_bench_a_level_is_given_and_power_is_missed_aloud():
    _, volts = pattern([0.5] * 3, low=0.0)
    result = found(volts, roles=())
    assert_within(value(result, "burst_voltage_rms", "1"), 0.5 / sqrt(2), relative=1e-5)
    assert value(result, "burst_power", "1") is None
    assert "no-power" in codes(result)
    assert value(result, "burst_recovery", "1") is None  # nothing sounds between the bursts


def test_an_overdriven_recorder_gives_no_power():
    channel = workshop_wiring("load_voltage")[0].model_copy(update={"scale": 30.0})
    result = measured(burst_train(wiring=(channel,), recorder=Recorder(seconds=4.0, bits=16)))
    assert "clipped-input" in codes(result)
    assert value(result, "burst_power") is None
    assert value(result, "thd_n") is None


def test_a_single_burst_is_measured_and_its_loneliness_told():
    _, volts = pattern([20.0])
    result = found(volts)
    assert_within(value(result, "burst_power"), 20.0**2 / 4, relative=1e-5)
    assert "one-burst" in codes(result)
    assert value(result, "burst_period") is None


def test_the_views_show_one_burst():
    views = measured(burst_train()).views
    assert [trace.name for trace in views.waveform] == ["load_voltage", "load_current"]
    trace = views.waveform[0]
    assert_within(max(trace.y), 28 * sqrt(2), relative=0.05)
    assert_within(trace.x[-1] - trace.x[0], 2 * 8 / 47, relative=0.02)
    assert max(views.spectrum[0].y) == 1.0


@pytest.mark.parametrize(
    ("volts", "error"),
    [
        (np.zeros(20_000), NoToneError),
        (np.sin(0.1 * np.arange(20_000)), NoToneError),
        (np.full(20_000, np.nan), MeasureError),
        (np.sin(0.1 * np.arange(20)), NoToneError),
    ],
)
def test_what_shows_no_burst_is_refused_with_a_reason_and_a_hint(volts, error):
    with pytest.raises(error) as caught:
        found(volts)
    assert caught.value.why
    assert caught.value.hint


@settings(max_examples=40, deadline=None)
@given(
    n=st.integers(2, 8_000),
    edges=st.lists(st.floats(0, 1), min_size=0, max_size=8),
    step=st.floats(0.01, 3.0),
    noise=st.sampled_from([0.0, 1e-3, 0.3]),
)
def test_any_gating_gives_findings_or_a_refusal(n, edges, step, noise):
    gate = np.searchsorted(np.sort(edges), np.linspace(0, 1, n)) % 2
    volts = gate * np.sin(step * np.arange(n)) + noise * np.random.default_rng(1).normal(size=n)
    try:
        result = found(volts, volts / 2, roles=("load_voltage", "load_current"))
    except WattproofError as refusal:
        hint = refusal.hint
    else:
        hint = "none needed"
        assert all(np.isfinite(f.value) and f.u >= 0 for f in result.figures)
    assert hint
