"""Frames of whole cycles: the fundamental at their centres, what it leaves, and where they lie."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.dsp import cut_frames, fit_frames, frame_means, whole_cycles


def rising(n, *, rate_hz, tone_hz, db_per_s, phase_rad=0.3, third=0.0, dc=0.0):
    t_s = np.arange(n) / rate_hz
    level = 10 ** (db_per_s * t_s / 20)
    angle = 2 * np.pi * tone_hz * t_s + phase_rad
    return level * (np.cos(angle) + third * np.cos(3 * angle)) + dc


@settings(max_examples=30, deadline=None)
@given(
    tone_hz=st.floats(30, 3000),
    step_db=st.floats(0.0, 0.15),
    phase_rad=st.floats(0, 6.28),
    dc=st.floats(-2, 2),
)
def test_level_and_phase_of_a_rising_tone_come_back_at_the_frames_centres(tone_hz, step_db, phase_rad, dc):
    rate_hz, n_cycles = 48_000.0, whole_cycles(tone_hz, rate_hz=48_000.0, most_s=0.0)
    frame_s = n_cycles / tone_hz
    n = int(12 * frame_s * rate_hz)
    db_per_s = step_db / frame_s
    values = rising(n, rate_hz=rate_hz, tone_hz=tone_hz, db_per_s=db_per_s, phase_rad=phase_rad, dc=dc)
    grid = cut_frames(0, n, rate_hz=rate_hz, tone_hz=tone_hz, n_cycles=n_cycles)
    fit = fit_frames(values[np.newaxis], grid)
    truth = 10 ** (db_per_s * grid.centres_s / 20) * np.exp(1j * (2 * np.pi * tone_hz * grid.centres_s + phase_rad))
    inner = slice(1, -1)  # the outermost frames have a neighbour on one side only
    # the cubic term of the level's growth is what the model leaves out: a few millionths
    np.testing.assert_allclose(fit.phasors[0, inner], truth[inner], rtol=6e-6)
    assert fit.distortion(0)[inner].max() < 6e-5


def test_a_free_slope_would_swallow_distortion_and_the_fixed_one_does_not():
    rate_hz, tone_hz = 96_000.0, 47.0
    values = rising(96_000, rate_hz=rate_hz, tone_hz=tone_hz, db_per_s=11.0, third=0.01)
    fit = fit_frames(values[np.newaxis], cut_frames(0, 96_000, rate_hz=rate_hz, tone_hz=tone_hz, n_cycles=1))
    np.testing.assert_allclose(fit.distortion(0)[2:-2], 0.01 / np.sqrt(1 + 0.01**2), rtol=2e-3)


def test_two_channels_share_power_fundamental_and_harmonics_together():
    rate_hz, tone_hz, n = 96_000.0, 997.0, 9_600
    volts = rising(n, rate_hz=rate_hz, tone_hz=tone_hz, db_per_s=0.0, third=0.1)
    fit = fit_frames(np.stack([volts, volts / 4]), cut_frames(0, n, rate_hz=rate_hz, tone_hz=tone_hz, n_cycles=10))
    np.testing.assert_allclose(fit.complex_power(0, 1).real, 0.5 * (1 + 0.1**2) / 4, rtol=1e-4)
    np.testing.assert_allclose(fit.complex_power(0, 1).imag, 0.0, atol=1e-12)


def test_a_quarter_cycle_between_volts_and_amperes_is_reactive():
    n, rate_hz, tone_hz = 4_800, 48_000.0, 100.0
    angle = 2 * np.pi * tone_hz * np.arange(n) / rate_hz
    volts, amps = 20 * np.cos(angle), 3 * np.sin(angle)  # current lags: inductive, Q > 0
    fit = fit_frames(np.stack([volts, amps]), cut_frames(0, n, rate_hz=rate_hz, tone_hz=tone_hz, n_cycles=1))
    np.testing.assert_allclose(fit.complex_power(0, 1), 30j, atol=1e-9)


def test_frames_overlap_by_half_and_stay_inside_the_span():
    grid = cut_frames(100.4, 5_000, rate_hz=48_000.0, tone_hz=997.0, n_cycles=3)
    assert grid.starts[0] == 100
    assert grid.starts[-1] + grid.length <= 5_000
    assert np.mean(np.diff(grid.starts)) == pytest.approx(1.5 * 48_000 / 997, rel=1e-2)
    assert cut_frames(0, 100, rate_hz=48_000.0, tone_hz=47.0, n_cycles=1).n_frames == 0


def test_a_frame_takes_as_many_cycles_as_fit_and_never_less_than_one():
    assert whole_cycles(47.0, rate_hz=96_000.0, most_s=0.0) == 1
    assert whole_cycles(10_000.0, rate_hz=48_000.0, most_s=0.0) == 7  # 32 samples at least
    assert whole_cycles(1_000.0, rate_hz=48_000.0, most_s=0.0101) <= 10
    # 997 Hz at 48 kHz: 7 cycles are 337.01 samples, the others up to 8 are further from a whole number
    assert whole_cycles(997.0, rate_hz=48_000.0, most_s=0.0081) == 7


def test_means_over_frames_are_the_frames_own():
    rng = np.random.default_rng(5)
    values = 1e6 + rng.normal(size=3_000)
    grid = cut_frames(7, 3_000, rate_hz=48_000.0, tone_hz=480.0, n_cycles=2)
    direct = [values[s : s + grid.length].mean() for s in grid.starts]
    np.testing.assert_allclose(frame_means(values, grid), direct, rtol=1e-14)


@pytest.mark.parametrize("tone_hz", [997.0, 1_999.0, 47.0])
def test_a_pulsing_current_has_its_mean_over_cycles_that_are_no_whole_samples(tone_hz):
    # a supply's current pulses at twice the tone; one sample too many in a frame of 48.14 would make it 1.5 % wrong
    t_s = np.arange(48_000) / 48_000.0
    pulsing = 10.0 * (1 - np.cos(4 * np.pi * tone_hz * t_s))
    grid = cut_frames(0.0, t_s.size, rate_hz=48_000.0, tone_hz=tone_hz, n_cycles=2 if tone_hz > 1_000 else 1)
    np.testing.assert_allclose(frame_means(pulsing, grid), 10.0, rtol=2e-3)


def test_silence_has_no_distortion_and_breaks_nothing():
    grid = cut_frames(0, 4_800, rate_hz=48_000.0, tone_hz=480.0, n_cycles=1)
    assert not fit_frames(np.zeros((1, 4_800)), grid).distortion(0).any()
