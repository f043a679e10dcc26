"""Peaks between the samples, against sines whose amplitude is known."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.dsp.peaks import crest_factor, true_peak

CASES = Path(__file__).parents[3] / "shared" / "data" / "cases.jsonl"


def sine(samples_a_cycle, phase=0.0, *, n=4_800):
    return np.sin(2 * np.pi * np.arange(n) / samples_a_cycle + phase)


@settings(max_examples=50, deadline=None)
@given(samples_a_cycle=st.floats(2.33, 400), phase=st.floats(0, 6.3), n=st.integers(1_000, 20_000))
def test_a_sine_peaks_at_its_amplitude(samples_a_cycle, phase, n):
    assert true_peak(sine(samples_a_cycle, phase, n=n)) == pytest.approx(1, abs=1e-4)


@pytest.mark.parametrize("phase", np.linspace(0, 3, 7))
def test_a_sine_at_4_3_samples_a_cycle_peaks_at_its_amplitude_from_96_samples_up(phase):
    assert true_peak(sine(4.3, phase, n=96)) == pytest.approx(1, abs=1e-4)


def test_a_peak_that_falls_between_all_samples_is_found():
    wave = sine(4, np.pi / 4)  # every sample is ±0.707
    assert np.abs(wave).max() == pytest.approx(np.sqrt(0.5))
    assert true_peak(wave) == pytest.approx(1, abs=1e-4)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 999), n=st.integers(1, 700), scale=st.floats(1e-6, 1e6))
def test_it_is_never_less_than_a_sample_and_follows_scale_polarity_and_time_reversed(seed, n, scale):
    wave = np.random.default_rng(seed).normal(size=n)
    peak = true_peak(wave)
    assert peak >= np.abs(wave).max()
    assert true_peak(-scale * wave) == pytest.approx(scale * peak, rel=1e-9)
    assert true_peak(wave[::-1]) == pytest.approx(peak, rel=1e-9) or n > 256  # blocks fall elsewhere


def test_a_peak_at_the_very_end_of_a_record_is_not_missed():
    wave = np.zeros(1_000)
    wave[-1] = -3.0
    assert true_peak(wave) == 3.0


def test_a_single_burst_in_a_long_quiet_record_is_found():
    wave = 1e-3 * sine(7.1, n=200_000)
    wave[123_000:124_000] += np.hanning(1_000) * np.cos(2 * np.pi * (np.arange(1_000) - 499.5) / 4.3)
    assert true_peak(wave) == pytest.approx(1, abs=2e-3)


def test_the_peak_agrees_with_sixteen_times_the_rate():
    noise = np.random.default_rng(5).normal(size=4_096)
    bins = np.fft.rfft(noise)
    bins[1_600:] = 0  # band-limited to 0.39 of the rate, so that both ways know the same wave
    coarse, fine = np.fft.irfft(bins, 4_096), np.fft.irfft(16 * bins, 65_536)
    inner = fine[16 * 40 : -16 * 40]
    assert true_peak(coarse[8:-8]) == pytest.approx(np.abs(inner).max(), rel=2e-3)


def test_crest_factors_of_known_waves():
    assert crest_factor(sine(100.0)) == pytest.approx(np.sqrt(2), rel=1e-4)
    assert crest_factor(np.full(1_000, -2.0)) == pytest.approx(1, rel=1e-4)
    triangle = 2 * np.abs(2 * (np.arange(48_000) / 1_000 % 1) - 1) - 1
    assert crest_factor(triangle) == pytest.approx(np.sqrt(3), rel=2e-3)


def cosines():
    t = np.arange(48_000) / 48_000
    wave = sum(np.cos(2 * np.pi * f * t) for f in range(501, 900))
    return np.roll(wave + 0.5 * (np.cos(2 * np.pi * 500 * t) + np.cos(2 * np.pi * 900 * t)), 20_000)


def test_401_cosines_in_phase_have_the_crest_factor_of_their_sum():
    amplitudes = np.r_[0.5, np.ones(399), 0.5]
    exact = amplitudes.sum() / np.sqrt(np.sum(amplitudes**2) / 2)
    assert exact == pytest.approx(28, abs=0.5)
    assert crest_factor(cosines()) == pytest.approx(exact, rel=1e-4)


@pytest.mark.shared
def test_the_shared_case_of_401_cosines():
    if not CASES.exists():
        pytest.skip("the shared cases are not here")
    (expected,) = [json.loads(row)["expected"] for row in CASES.read_text().splitlines() if '"id": "K01"' in row]
    wanted = expected["crest_factor"]
    assert crest_factor(cosines()) == pytest.approx(wanted["value"], abs=wanted["tol"])
