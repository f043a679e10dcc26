"""Levels, bursts, drops and slopes, found where they were put."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.dsp.envelope import (
    Envelope,
    cycle_rms,
    find_bursts,
    find_drops,
    level_slope_db_per_s,
    rms_envelope,
)

RATE_HZ = 48_000.0


def times_s(duration_s):
    return np.arange(round(duration_s * RATE_HZ)) / RATE_HZ


def tone(tone_hz, gain, t):
    return np.sqrt(2) * gain * np.sin(2 * np.pi * tone_hz * t)


def envelope_of(wave, tone_hz):
    return rms_envelope(wave, rate_hz=RATE_HZ, window_s=1 / tone_hz, hop_s=0.25 / tone_hz)


def bursts_of(tone_hz, *, starts_s, length_s, low, duration_s=3.0, noise=1e-4, high=1.0):
    t = times_s(duration_s)
    on = np.zeros(t.size, dtype=bool)
    for start_s in starts_s:
        on |= (t >= start_s) & (t < start_s + length_s)
    wave = tone(tone_hz, np.where(on, high, low), t) + noise * np.random.default_rng(1).normal(size=t.size)
    return find_bursts(envelope_of(wave, tone_hz))


@pytest.mark.parametrize("tone_hz", [47.0, 30.0, 997.0, 7_001.3])
def test_the_rms_of_every_cycle_of_a_sine_is_the_sines(tone_hz):
    found = cycle_rms(tone(tone_hz, 0.5, times_s(0.5)), rate_hz=RATE_HZ, cycle_s=1 / tone_hz)
    assert found.size == int(0.5 * tone_hz + 1e-9)
    # the sum over 2π in steps of up to a radian: ends are shared linearly
    np.testing.assert_allclose(found, 0.5, rtol=2e-3 if tone_hz < 1_000 else 0.1)


@settings(max_examples=40, deadline=None)
@given(n=st.integers(1, 3_000), hop=st.floats(1, 400), seed=st.integers(0, 99))
def test_whole_windows_hold_exactly_the_energy_of_their_samples(n, hop, seed):
    wave = np.random.default_rng(seed).normal(size=n)
    found = cycle_rms(wave, rate_hz=1.0, cycle_s=hop)
    assert found.size == int(n / hop * (1 + 1e-12))
    covered = found.size * hop
    part = np.clip(covered - np.arange(n), 0, 1)
    assert np.sum(found**2) * hop == pytest.approx(np.sum(part * wave**2), rel=1e-9, abs=1e-12)


def test_a_quiet_window_after_a_loud_one_keeps_its_digits():
    wave = np.r_[np.ones(48_000), np.full(48_000, 1e-9)]
    found = rms_envelope(wave, rate_hz=RATE_HZ, window_s=0.02, hop_s=0.005)
    assert found.rms[-1] == pytest.approx(1e-9, rel=1e-9)
    assert found.rms[0] == pytest.approx(1, rel=1e-12)


def test_the_times_are_the_windows_centres():
    t = times_s(1.0)
    found = rms_envelope(t, rate_hz=RATE_HZ, window_s=0.04, hop_s=0.01)
    np.testing.assert_allclose(found.rms, found.times_s, rtol=0.1, atol=2e-3)
    assert found.times_s[50] == pytest.approx(found.rms[50], rel=1e-3)  # the rms of a line is its centre's, nearly
    assert found.rms.size == found.times_s.size == 97


def test_a_hop_shorter_than_a_sample_is_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="shorter than a sample"):
        cycle_rms(np.ones(10), rate_hz=RATE_HZ, cycle_s=1e-6)


def test_a_record_shorter_than_a_window_has_no_levels_and_no_events():
    short = envelope_of(np.ones(10), 47.0)
    assert short.rms.size == 0
    assert find_bursts(short) == []
    assert find_drops(short) == []
    with pytest.raises(ValueError, match="no slope"):
        level_slope_db_per_s(short)


@pytest.mark.parametrize(("tone_hz", "length_s"), [(997.0, 0.02), (47.0, 6 / 47)])
@pytest.mark.parametrize("low", [0.1, 0.5, 0.0])
@pytest.mark.parametrize("n", [1, 4])
def test_bursts_are_found_over_a_lower_tone_or_silence(tone_hz, length_s, low, n):
    starts_s = [0.4 + 0.5 * index for index in range(n)]
    found = bursts_of(tone_hz, starts_s=starts_s, length_s=length_s, low=low)
    assert [burst.start_s for burst in found] == pytest.approx(starts_s, abs=0.3 / tone_hz)
    assert [burst.stop_s for burst in found] == pytest.approx([s + length_s for s in starts_s], abs=0.3 / tone_hz)
    for burst in found:
        assert burst.rms == pytest.approx(1, rel=5e-3)
        assert burst.before_rms == pytest.approx(low, abs=5e-3)


def test_a_silent_lead_in_and_digital_silence_do_no_harm():
    t = times_s(3.0)
    gain = np.where((t % 0.5 > 0.2) & (t % 0.5 < 0.22), 1.0, 0.1) * (t > 0.6)
    found = find_bursts(envelope_of(tone(997.0, gain, t), 997.0))
    assert [burst.start_s for burst in found] == pytest.approx([0.7, 1.2, 1.7, 2.2, 2.7], abs=1e-3)


def test_bursts_of_rising_level_are_all_found():
    t = times_s(3.0)
    steps = np.array([0.05, 0.1, 0.2, 0.4, 0.8, 1.6])[np.minimum((t / 0.5).astype(int), 5)]
    wave = tone(997.0, np.where(t % 0.5 > 0.4, steps, 0.005), t)[: int(2.95 * RATE_HZ)]
    found = find_bursts(envelope_of(wave, 997.0))
    assert [burst.rms for burst in found] == pytest.approx([0.05, 0.1, 0.2, 0.4, 0.8], rel=0.01)


def test_what_only_begins_or_only_ends_is_no_burst():
    assert bursts_of(997.0, starts_s=[1.0], length_s=5.0, low=0.0) == []
    assert bursts_of(997.0, starts_s=[-1.0], length_s=2.0, low=0.0) == []
    assert bursts_of(997.0, starts_s=[], length_s=1.0, low=0.1) == []


@pytest.mark.parametrize(("tone_hz", "slope_db_per_s"), [(997.0, 34.0), (47.0, 11.0), (47.0, 2.0)])
def test_a_clipping_ramp_is_no_burst_and_its_slope_is_known(tone_hz, slope_db_per_s):
    t = times_s(3.0)
    wave = np.clip(tone(tone_hz, 10 ** (slope_db_per_s * (t - 2.5) / 20), t), -1.41, 1.41)
    found = envelope_of(wave, tone_hz)
    assert find_bursts(found) == []
    assert find_drops(found) == []
    assert level_slope_db_per_s(found) == pytest.approx(slope_db_per_s, rel=0.01)


def test_a_steady_tone_has_no_slope_and_a_glitch_does_not_make_one():
    t = times_s(2.0)
    wave = tone(997.0, np.where((t > 1) & (t < 1.2), 0.2, 1), t)
    assert level_slope_db_per_s(envelope_of(wave, 997.0)) == pytest.approx(0, abs=1e-3)


@settings(max_examples=20, deadline=None)
@given(scale=st.floats(1e-6, 1e6), shift_s=st.floats(0, 0.8))
def test_bursts_follow_scale_and_time(scale, shift_s):
    t = times_s(1.5)
    inside = (t >= 0.3 + shift_s) & (t < 0.4 + shift_s)
    (burst,) = find_bursts(envelope_of(scale * tone(997.0, np.where(inside, 1, 0.1), t), 997.0))
    assert burst.start_s == pytest.approx(0.3 + shift_s, abs=4e-4)
    assert burst.stop_s == pytest.approx(0.4 + shift_s, abs=4e-4)
    assert burst.rms == pytest.approx(scale, rel=5e-3)


def trace(level, *, hop_s=0.1):
    wobble = 1 + 1e-3 * np.random.default_rng(1).normal(size=level.size)
    return Envelope(rms=level * wobble, hop_s=hop_s, window_s=hop_s, first_s=hop_s / 2)


def test_mutes_steps_and_retries_of_a_hold_are_found_with_their_times():
    level = np.ones(6_000)
    level[2_000:2_040] = 1e-3
    level[3_000:] *= 0.5
    level[4_000:4_100] = 1e-4
    level[5_000:] = 0
    found = find_drops(trace(level))
    assert [drop.start_s for drop in found] == pytest.approx([200, 300, 400, 500], abs=0.1)
    assert [drop.stop_s for drop in found] == [pytest.approx(204), None, pytest.approx(410), None]
    assert [drop.muted for drop in found] == [True, False, True, True]
    assert [drop.before_rms for drop in found] == pytest.approx([1, 1, 0.5, 0.5], rel=0.01)
    assert [drop.during_rms for drop in found] == pytest.approx([1e-3, 0.5, 1e-4, 0], rel=0.01)


def test_a_slow_foldback_is_a_slope_and_no_drop_unless_given_the_time():
    level = 10 ** (-np.arange(6_000) / 6_000 * 3 / 20)  # 3 dB in ten minutes
    assert find_drops(trace(level)) == []
    assert level_slope_db_per_s(trace(level)) == pytest.approx(-3 / 600, rel=0.01)
    level = np.interp(np.arange(6_000), [0, 2_000, 2_300, 6_000], [1, 1, 0.5, 0.5])  # half in thirty seconds
    assert find_drops(trace(level)) == []
    (drop,) = find_drops(trace(level), within_s=60)
    assert 200 <= drop.start_s <= 230
    assert drop.during_rms == pytest.approx(0.5, rel=0.01)


def test_a_mute_in_the_samples_themselves_is_timed_to_the_cycle():
    t = times_s(2.0)
    wave = tone(47.0, np.where((t >= 0.8) & (t < 1.3), 0.0, 1.0), t)
    (drop,) = find_drops(envelope_of(wave, 47.0))
    assert drop.muted
    assert drop.start_s == pytest.approx(0.8, abs=0.5 / 47)
    assert drop.stop_s == pytest.approx(1.3, abs=1 / 47)
