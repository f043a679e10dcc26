"""Ramps beside the plain hard limit: a soft knee, humps, noise, silence, an overdriven recorder, no ramp at all."""

from math import sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.bench import Bench, Load
from wattproof.errors import MeasureError, NoToneError, TooFewCyclesError, WattproofError
from wattproof.measure.ramp import limit_name, measure_ramp
from wattproof.measure.record import lay_on_bench
from wattproof.testing import Recorder, clipped_ramp, wire, workshop_wiring
from wattproof.testing.asserts import assert_within
from wattproof.waveform import Channel, MemoryRecording, Waveform

RATE_HZ, TONE_HZ = 48_000.0, 997.0
LOAD = Load(name="four", resistance_ohm=4.0)


def drive(seconds=1.0, *, start_v=0.02, db_per_s=34.0, tone_hz=TONE_HZ):
    """Peak and angle of a rising generator."""
    t_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return start_v * 10 ** (db_per_s * t_s / 20), 2 * np.pi * tone_hz * t_s + 0.4


def found(volts, *more, roles=("load_voltage",), load=LOAD, **options):
    rows = np.stack([volts, *more])
    channels = tuple(Channel(name=str(n + 1)) for n in range(len(rows)))
    recording = MemoryRecording(waveform=Waveform(samples=rows, rate_hz=RATE_HZ, channels=channels), source="made")
    bench = Bench(name="made", channels=wire(*roles), loads=(LOAD,)) if roles else None
    record, _ = lay_on_bench(recording, bench=bench, load=load if roles else None, **options)
    return measure_ramp(record)


def value(result, name, output="A"):
    return next((f for f in result.figures if (f.name, f.output) == (name, output)), None)


def codes(result):
    return [notice.code for notice in result.warnings]


def test_a_cubic_bend_gives_the_powers_and_the_compression_of_its_closed_form():
    # v = x - a x**3 of x = d cos: fundamental d (1 - 3/4 a d**2), third harmonic a d**3 / 4, nothing else
    a = 0.2
    level, angle = drive(1.0)
    x = level * np.cos(angle)
    result = found(20 * (x - a * x**3), x, roles=("load_voltage", "drive_voltage"), thd_limits=(0.001, 0.01, 0.03))
    for limit in (0.001, 0.01, 0.03):
        ratio = limit / sqrt(1 - limit**2)  # third over fundamental
        square = ratio / (a / 4 + ratio * 3 / 4 * a)  # d**2
        fundamental = 20 * sqrt(square) * (1 - 3 / 4 * a * square)
        power = fundamental**2 / 2 * (1 + ratio**2) / 4.0
        assert_within(value(result, f"power_at_thd_{limit_name(limit)}"), power, relative=3e-4)
        compression = value(result, f"gain_compression_at_thd_{limit_name(limit)}")
        # "small" is under a quarter of the top, and a cubic bends even there, by 3/4 a d**2 < 0.9 %
        assert_within(compression, 1 - 3 / 4 * a * square, relative=0.009)


def test_of_a_curve_with_a_hump_the_last_crossing_upwards_counts():
    level, angle = drive(1.0)
    third = 0.03 * np.exp(-((np.log(level / 0.1) / 0.4) ** 2))  # 3 % around a tenth of a volt, as a crossover has it
    hump = level * third * np.cos(3 * angle)
    clean = level * np.cos(angle)
    bent = 20 * (clean - 0.2 * clean**3)
    with_hump = value(found(bent + 20 * hump, thd_limits=(0.01,)), "power_at_thd_1")
    without = value(found(bent, thd_limits=(0.01,)), "power_at_thd_1")
    assert_within(with_hump, without.value, relative=1e-3)


@pytest.mark.parametrize("seed", range(6))
def test_crossings_in_the_noise_are_never_taken_for_a_limit(seed):
    level, angle = drive(1.0)
    noise = np.random.default_rng(seed).normal(size=angle.size)
    result = found(20 * level * np.cos(angle) + 0.02 * noise, thd_limits=(0.003, 0.01, 0.03))
    assert not [f.name for f in result.figures if f.name.startswith("power_at")]
    assert {"limit-not-reached", "clip-onset-not-found"} <= set(codes(result))
    # the hint is to let the level rise further: then all of them are there
    x = np.minimum(level, 0.5) * np.cos(angle)  # and clipped softly, by the fourth power's bend
    further = found(20 * (x - 0.3 * x**3) + 0.02 * noise, thd_limits=(0.01,))
    assert value(further, "power_at_thd_1") is not None


def test_a_ramp_that_starts_above_the_limit_says_so():
    level, angle = drive(1.0)
    result = found(level * (np.cos(angle) + 0.02 * np.cos(2 * angle)), thd_limits=(0.01,))
    (notice,) = [n for n in result.warnings if n.code == "limit-not-reached"]
    assert "above 1 % all along" in notice.message
    assert_within(notice.numbers["lowest_thd_n"], 0.02, relative=0.002)


def test_silence_before_and_after_the_ramp_changes_nothing():
    capture = clipped_ramp(recorder=Recorder(rate_hz=RATE_HZ, seconds=0.63), wiring=wire("load_voltage"))
    quiet = np.random.default_rng(3).normal(scale=1e-3, size=9_000)
    volts = capture.waveform.samples[0]
    plain, padded = found(volts), found(np.concatenate([quiet, volts, quiet]))
    for name in ("power_at_thd_1", "power_at_clip_onset"):
        assert_within(value(padded, name), value(plain, name).value, relative=2e-4)
    # the ramp ends at 3 %: the cut itself is no distortion that crosses 10 %
    assert value(plain, "power_at_thd_10") is None
    assert value(padded, "power_at_thd_10") is None


def test_an_overdriven_recorder_gives_no_power_beyond_its_limit():
    # the recorder clips at 30 V, the amplifier at 40 V
    channel = workshop_wiring("load_voltage")[0].model_copy(update={"scale": 30.0})
    capture = clipped_ramp(recorder=Recorder(rate_hz=RATE_HZ, seconds=0.75, bits=16), wiring=(channel,))
    record, _ = lay_on_bench(capture.recording, bench=capture.bench, load=capture.bench.loads[0])
    result = measure_ramp(record)
    assert not [f.name for f in result.figures if f.name.startswith("power_at")]
    assert "clipped-input" in codes(result)
    assert max(point.load_power for point in result.curve) < 30**2 / 2 / 4.0
    assert max(point.thd_n for point in result.curve[-20:]) < 0.001


def test_a_tone_without_harmonics_in_the_band_is_told():
    level, angle = drive(1.0, tone_hz=9_970.0)
    result = found(20 * level * np.cos(angle))
    (notice,) = [n for n in result.warnings if n.code == "limit-not-reached"]
    assert "third harmonic of 9970 Hz" in notice.hint


def test_without_a_bench_levels_are_given_in_the_files_unit():
    capture = clipped_ramp(recorder=Recorder(rate_hz=RATE_HZ, seconds=0.75), wiring=wire("load_voltage"))
    result = found(capture.waveform.samples[0] / 50, roles=())
    assert {f.unit for f in result.figures} == {"1", "V/V"}
    assert_within(value(result, "load_voltage_at_clip_onset", "1"), 40 / sqrt(2) / 50, relative=1e-3)
    assert value(result, "load_voltage_at_thd_1", "1").conditions["thd_n"] == 0.01
    assert {point.load_power for point in result.curve} == {None}
    assert "no-power" in codes(result)


def test_a_reversed_current_and_too_good_an_efficiency_speak_up():
    level, angle = drive(1.0)
    x = level * np.cos(angle)
    volts = 20 * (x - 0.2 * x**3)
    assert "negative-power" in codes(found(volts, -volts / 4, roles=("load_voltage", "load_current")))
    starved = np.full_like(volts, 14.4), np.full_like(volts, 0.01)
    roles = ("load_voltage", "load_current", "supply_voltage", "supply_current")
    assert "efficiency-over-1" in codes(found(volts, volts / 4, *starved, roles=roles))


def test_a_tone_that_moves_is_told():
    level, angle = drive(1.0)
    bend = 8 * np.linspace(0, 1, angle.size) ** 2  # radians: 2.5 Hz faster at the end than at the start
    assert "tone-not-steady" in codes(found(level * np.cos(angle + bend)))
    assert "tone-not-steady" not in codes(found(level * np.cos(angle)))


def test_a_channel_without_a_tone_is_left_out_and_the_other_measured():
    level, angle = drive(1.0)
    result = found(level * np.cos(angle), np.zeros(angle.size), roles=())
    assert any("Output 2 is left out" in n.message for n in result.warnings)
    assert {point.output for point in result.curve} == {"1"}


@pytest.mark.parametrize(
    ("volts", "error"),
    [
        (np.zeros(48_000), NoToneError),
        (np.full(48_000, 3.0), NoToneError),
        (np.cos(2 * np.pi * TONE_HZ / RATE_HZ * np.arange(120)), TooFewCyclesError),
        (np.where(np.arange(48_000) == 20_000, np.nan, 1.0), MeasureError),
    ],
)
def test_what_is_no_ramp_is_refused_with_a_reason_and_a_hint(volts, error):
    with pytest.raises(error) as caught:
        found(volts)
    assert caught.value.why
    assert caught.value.hint


@settings(max_examples=40, deadline=None)
@given(
    n=st.integers(2, 6_000),
    kind=st.sampled_from(["noise", "tone", "step", "impulse", "falling", "square", "huge", "tiny"]),
    seed=st.integers(0, 99),
)
def test_any_samples_give_findings_or_a_refusal(n, kind, seed):
    rng = np.random.default_rng(seed)
    ramp = np.linspace(0, 1, n)
    tone = np.sin(0.3 * np.arange(n))
    made = {
        "noise": rng.normal(size=n),
        "tone": tone,
        "step": (ramp > 0.5) * tone,
        "impulse": np.eye(1, n, n // 2)[0],
        "falling": (1 - ramp) * tone,
        "square": ramp * np.sign(tone),
        "huge": 1e150 * ramp * tone,
        "tiny": 1e-150 * ramp * tone,
    }[kind]
    try:
        result = found(made, made / 3, roles=("load_voltage", "load_current"))
    except WattproofError as refusal:
        hint = refusal.hint
    else:
        hint = "none needed"
        assert all(np.isfinite(f.value) and f.u >= 0 for f in result.figures)
    assert hint
