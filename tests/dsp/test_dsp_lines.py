"""Lines found where they were put, none where there are none, and the noise beneath them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.dsp.lines import Line, find_lines, find_mains, noise_without_lines
from wattproof.dsp.spectrum import band_power, spectrum_of
from wattproof.dsp.weighting import a_weighting

RATE_HZ = 48_000.0


def noise(seed=0, *, n=96_000, rms=1e-3):
    return rms * np.random.default_rng(seed).normal(size=n)


def line(frequency_hz, rms, *, n=96_000, phase=0.3):
    return np.sqrt(2) * rms * np.sin(2 * np.pi * frequency_hz * np.arange(n) / RATE_HZ + phase)


def found_in(wave, **limits):
    return find_lines(spectrum_of(wave, rate_hz=RATE_HZ), **({"low_hz": 10, "high_hz": 20_000} | limits))


def test_noise_alone_makes_a_line_in_a_hundredth_of_records():
    records_with_a_line = sum(bool(found_in(noise(seed, n=12_000))) for seed in range(200))
    assert records_with_a_line <= 8  # 2 expected; more than 8 by chance: 1 in 4,000


@pytest.mark.parametrize("window", ["hann", "blackman-harris-7"])
def test_lines_are_found_with_their_frequency_and_level(window):
    put = {50.03: 2e-3, 150.1: 1e-3, 799.0: 1e-2, 16_000.3: 5e-4}
    wave = noise() + sum(line(f, rms) for f, rms in put.items())
    lines = find_lines(spectrum_of(wave, rate_hz=RATE_HZ, window=window), low_hz=10, high_hz=20_000)
    assert [found.frequency_hz for found in lines] == pytest.approx(list(put), abs=0.05)
    # a bin of noise is 1e-3 · √(1.5 / 48000) = 5.6e-6, its interference with a line a few times that
    assert [found.rms for found in lines] == pytest.approx(list(put.values()), abs=3e-5)


def test_a_line_in_noise_that_rises_towards_low_frequencies_is_found_and_the_noise_is_not():
    red = np.cumsum(noise(4, rms=1e-4))
    red -= red.mean()
    spectrum = spectrum_of(red + line(7_003.2, 3e-5), rate_hz=RATE_HZ)
    lines = find_lines(spectrum, low_hz=20, high_hz=20_000)
    assert [found.frequency_hz for found in lines] == pytest.approx([7_003.2], abs=0.1)


def test_only_the_strongest_are_listed_and_the_weak_are_left_out():
    wave = noise() + sum(line(f, rms) for f, rms in {400.0: 2e-3, 800.0: 1e-3, 1600.0: 4e-3}.items())
    assert [round(found.frequency_hz) for found in found_in(wave, most=2)] == [400, 1600]
    assert [round(found.frequency_hz) for found in found_in(wave, fewest_rms=3e-3)] == [1600]
    assert found_in(wave, low_hz=2_000) == ()


def test_a_record_too_short_for_the_band_has_no_lines():
    assert found_in(noise(n=64), low_hz=10, high_hz=900) == ()


def test_digital_silence_has_no_lines():
    assert found_in(np.zeros(4_800)) == ()


@settings(max_examples=25, deadline=None)
@given(scale=st.floats(1e-5, 1e5), frequency_hz=st.floats(100, 19_000))
def test_lines_follow_the_scale(scale, frequency_hz):
    (found,) = found_in(scale * (noise(n=24_000, rms=1e-4) + line(frequency_hz, 1, n=24_000)), most=1)
    assert found.rms == pytest.approx(scale, rel=4e-4)  # Hann's side lobes are left out
    assert found.frequency_hz == pytest.approx(frequency_hz, abs=0.2)


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_hum_is_recognised_as_a_family(mains_hz):
    wave = noise() + line(1.001 * mains_hz, 2e-3) + line(3.003 * mains_hz, 1e-3) + line(300 * 1.001, 1e-4)
    spectrum = spectrum_of(wave, rate_hz=RATE_HZ)
    hum = find_mains(find_lines(spectrum, low_hz=20, high_hz=20_000), bin_hz=spectrum.bin_hz, tone_hz=47)
    assert hum is not None
    assert hum.mains_hz == mains_hz
    assert hum.rms == pytest.approx(np.sqrt(5.01) * 1e-3, rel=0.02)
    assert len(hum.lines) == 3


def test_the_tones_own_harmonics_and_a_stray_line_are_no_hum():
    own = tuple(Line(frequency_hz=order * 25.0, rms=1.0) for order in range(1, 9))
    assert find_mains(own, bin_hz=0.5, tone_hz=25.0) is None
    assert find_mains(own, bin_hz=0.5) is not None
    assert find_mains([Line(frequency_hz=650.0, rms=1.0)], bin_hz=0.5) is None
    assert find_mains([], bin_hz=0.5) is None


def test_wide_bins_cannot_tell_hum():
    assert find_mains([Line(frequency_hz=50.0, rms=1.0)], bin_hz=6.0) is None


@pytest.mark.parametrize("weighting", [None, a_weighting])
def test_the_noise_is_what_it_was_before_the_harmonics_came(weighting):
    wave = noise(7)
    band = {"low_hz": 10, "high_hz": 20_000, "weighting": weighting}
    before = band_power(spectrum_of(wave, rate_hz=RATE_HZ), **band)
    harmonics = sum(line(47.01 * order, 1 / order**2) for order in range(1, 400))
    tone = {"tone_hz": 47.01}
    spectrum = spectrum_of(wave + harmonics, rate_hz=RATE_HZ, window="blackman-harris-7")
    after = noise_without_lines(spectrum, **band, **tone)
    # 16 % of the bins lie clear of the seven-term lobes' 14 in 94; the floor stands in for the others
    assert after == pytest.approx(before, rel=0.02)
    assert band_power(spectrum, **band) > 10 * before


def test_noise_without_lines_is_the_band_power_where_there_are_none():
    spectrum = spectrum_of(noise(2), rate_hz=RATE_HZ)
    plain = band_power(spectrum, low_hz=20, high_hz=20_000)
    assert noise_without_lines(spectrum, low_hz=20, high_hz=20_000, tone_hz=997) == pytest.approx(plain, rel=5e-3)


def test_harmonics_already_taken_out_are_not_masked():
    wave = noise(3) + line(500, 1e-2)
    spectrum = spectrum_of(wave, rate_hz=RATE_HZ)
    band = {"low_hz": 20, "high_hz": 20_000, "tone_hz": 100}
    kept = noise_without_lines(spectrum, **band, first_harmonic=6)
    gone = noise_without_lines(spectrum, **band, first_harmonic=5)
    assert kept - gone == pytest.approx(1e-4, rel=0.01)


def test_a_record_of_a_few_cycles_does_not_show_the_noise_between_the_lines():
    spectrum = spectrum_of(noise(n=4_800), rate_hz=RATE_HZ)
    assert noise_without_lines(spectrum, low_hz=7, high_hz=20_000, tone_hz=40) is None
    assert noise_without_lines(spectrum, low_hz=7, high_hz=20_000, tone_hz=400) is not None
    assert noise_without_lines(spectrum, low_hz=30_000, high_hz=40_000, tone_hz=400) is None
