"""Spectra against Parseval, known noise and known lines."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.dsp.spectrum import (
    COSINES,
    alias_of,
    band_power,
    cross_band_power,
    display_spectrum,
    fast_length,
    frequencies_folding_to,
    noise_degrees_of_freedom,
    spectrum_of,
)

RATE_HZ = 48_000.0


def noise(seed=0, *, n=48_000):
    return np.random.default_rng(seed).normal(size=n)


def window_of(name, n=4096):
    angle = 2 * np.pi * np.arange(n) / n
    return sum((-1) ** k * term * np.cos(k * angle) for k, term in enumerate(COSINES[name]))


@pytest.mark.parametrize("window", COSINES)
@pytest.mark.parametrize("n", [4096, 4095, 999])
def test_the_whole_spectrum_holds_the_weighted_mean_square_exactly(window, n):
    wave = noise(n=n)
    spectrum = spectrum_of(wave, rate_hz=RATE_HZ, window=window)
    weights = window_of(window, spectrum.n_samples)
    expected = np.sum((weights * wave[: spectrum.n_samples]) ** 2) / np.sum(weights**2)
    assert band_power(spectrum, low_hz=0, high_hz=RATE_HZ) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("window", "bins"), [("hann", 1.5), ("blackman-harris-7", 2.632)])
def test_the_noise_bandwidth_is_the_windows_own(window, bins):
    spectrum = spectrum_of(noise(n=64), rate_hz=RATE_HZ, window=window)
    weights = window_of(window)
    assert spectrum.noise_bandwidth_bins == pytest.approx(bins, abs=5e-4)
    assert spectrum.noise_bandwidth_bins == pytest.approx(weights.size * np.sum(weights**2) / np.sum(weights) ** 2)


def test_the_seven_term_window_hides_nothing_above_its_stated_side_lobes():
    wave = np.sin(2 * np.pi * 1000.37 * np.arange(48_000) / RATE_HZ)
    spectrum = spectrum_of(wave, rate_hz=RATE_HZ, window="blackman-harris-7")
    far = np.r_[spectrum.power(20, 990), spectrum.power(1_012)]
    assert np.sqrt(far.max() * spectrum.noise_bandwidth_bins * 2) < 10 ** (-170 / 20)


def test_band_power_of_white_noise_agrees_with_its_stated_scatter():
    seen = []
    for seed in range(300):
        spectrum = spectrum_of(noise(seed, n=4_800), rate_hz=RATE_HZ)
        seen.append(band_power(spectrum, low_hz=1_000, high_hz=9_000))
    expected = 8_000 / 24_000
    relative_u = np.sqrt(2 / noise_degrees_of_freedom(spectrum, low_hz=1_000, high_hz=9_000))
    assert np.mean(seen) == pytest.approx(expected, rel=4 * relative_u / np.sqrt(300))
    assert np.std(seen) / expected == pytest.approx(relative_u, rel=0.15)


@given(edges_hz=st.lists(st.floats(0, 24_000), min_size=3, max_size=3).map(sorted))
def test_neighbouring_bands_add_up(edges_hz):
    low_hz, middle_hz, high_hz = edges_hz
    spectrum = spectrum_of(noise(n=2_000), rate_hz=RATE_HZ)
    parts = [
        band_power(spectrum, low_hz=a, high_hz=b)
        for a, b in ((low_hz, middle_hz), (middle_hz, high_hz), (low_hz, high_hz))
    ]
    assert parts[0] + parts[1] == pytest.approx(parts[2], abs=1e-12)
    assert min(parts) >= 0


def test_a_line_within_the_band_counts_with_its_mean_square_and_one_outside_does_not():
    wave = 0.3 * np.sqrt(2) * np.sin(2 * np.pi * 997.3 * np.arange(48_000) / RATE_HZ)
    spectrum = spectrum_of(wave, rate_hz=RATE_HZ)
    assert band_power(spectrum, low_hz=500, high_hz=2_000) == pytest.approx(0.09, rel=1e-6)
    assert band_power(spectrum, low_hz=2_000, high_hz=20_000) < 1e-10


def test_shared_power_is_the_mean_product_whatever_else_is_in_the_channels():
    t = np.arange(96_000) / RATE_HZ
    shared, stray = np.sin(2 * np.pi * 47 * t), np.sin(2 * np.pi * 700 * t)
    volts = spectrum_of(3 * shared + stray, rate_hz=RATE_HZ)
    amperes = spectrum_of(2 * np.sin(2 * np.pi * 47 * t - np.radians(50)), rate_hz=RATE_HZ)
    assert cross_band_power(volts, amperes, low_hz=10, high_hz=500) == pytest.approx(
        3 * np.cos(np.radians(50)), rel=1e-6
    )
    assert cross_band_power(volts, volts, low_hz=10, high_hz=5_000) == pytest.approx(
        band_power(volts, low_hz=10, high_hz=5_000)
    )


def test_spectra_of_different_stretches_are_not_multiplied():
    one, other = (spectrum_of(noise(n=n), rate_hz=RATE_HZ) for n in (4_800, 4_000))
    with pytest.raises(ValueError, match="same stretch"):
        cross_band_power(one, other, low_hz=20, high_hz=20_000)


@settings(max_examples=30, deadline=None)
@given(scale=st.floats(1e-6, 1e6), shift=st.integers(0, 2_399))
def test_power_follows_the_square_of_the_scale_and_no_circular_shift_of_whole_cycles(scale, shift):
    wave = np.sin(2 * np.pi * 1_000 * np.arange(2_400) / RATE_HZ)
    before = band_power(spectrum_of(wave, rate_hz=RATE_HZ), low_hz=500, high_hz=1_500)
    moved = spectrum_of(scale * np.roll(wave, shift), rate_hz=RATE_HZ)
    assert band_power(moved, low_hz=500, high_hz=1_500) == pytest.approx(scale**2 * before, rel=1e-9)


@given(n=st.integers(1, 3_000_000))
@settings(max_examples=40, deadline=None)
def test_fast_lengths_lose_next_to_nothing(n):
    length = fast_length(n)
    assert 0.99 * n < length <= n
    rest = length
    for factor in (2, 3, 5, 7, 11):
        while rest % factor == 0:
            rest //= factor
    assert rest == 1 or n < 65_536


def test_the_chart_keeps_every_line_and_its_level():
    t = np.arange(480_000) / RATE_HZ
    wave = np.sqrt(2) * (np.sin(2 * np.pi * 47 * t) + 1e-3 * np.sin(2 * np.pi * 9_001 * t)) + 1e-6 * noise(n=t.size)
    frequency_hz, rms = display_spectrum(spectrum_of(wave, rate_hz=RATE_HZ), low_hz=10)
    assert frequency_hz.size <= 600
    assert np.all(np.diff(frequency_hz) > 0)
    assert frequency_hz[0] >= 10
    assert rms[np.argmin(np.abs(frequency_hz - 47))] == pytest.approx(1, rel=0.01)
    assert rms[np.argmin(np.abs(frequency_hz - 9_001))] == pytest.approx(1e-3, rel=0.01)


@pytest.mark.parametrize("rate_hz", [48e3, 96e3, 192e3])
def test_400_khz_lands_on_16_khz_at_all_the_usual_rates(rate_hz):
    assert alias_of(400e3, rate_hz=rate_hz) == 16e3


@given(frequency_hz=st.floats(0, 3e6), rate_hz=st.floats(1e3, 1e6))
def test_a_folded_frequency_is_among_those_that_fold_there(frequency_hz, rate_hz):
    line_hz = alias_of(frequency_hz, rate_hz=rate_hz)
    assert 0 <= line_hz <= rate_hz / 2
    images = frequencies_folding_to(line_hz, rate_hz=rate_hz, low_hz=0, high_hz=3.1e6)
    assert np.min(np.abs(np.array(images) - frequency_hz)) < 1e-6


def test_folding_agrees_with_sampling():
    t = np.arange(4_800) / RATE_HZ
    spectrum = spectrum_of(np.cos(2 * np.pi * 410_300 * t), rate_hz=RATE_HZ)
    assert np.argmax(spectrum.power()) * spectrum.bin_hz == pytest.approx(alias_of(410_300, rate_hz=RATE_HZ), abs=5)
