"""Tones: in the band, away from the mains; bursts of whole cycles with the standard's mean power."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.plan.tones import (
    HARMONICS_CLEAR,
    STANDARD_BURST,
    choose_tone,
    clean_tone,
    mains_distance,
    mean_share,
    whole_cycle_burst,
)


def distance_by_listing(tone_hz, harmonics=HARMONICS_CLEAR):
    """Every multiple of 50 and 60 Hz up to past the last harmonic, written out."""
    multiples = np.concatenate([np.arange(m, harmonics * tone_hz + 2 * m, m) for m in (50.0, 60.0)])
    return min(np.abs(order * tone_hz - multiples).min() for order in range(1, harmonics + 1))


@given(st.floats(5, 20000))
@settings(max_examples=50, deadline=None)
def test_the_distance_is_that_of_a_list_of_all_multiples(tone_hz):
    assert mains_distance(tone_hz) == pytest.approx(distance_by_listing(tone_hz), abs=1e-6)


@pytest.mark.parametrize("tone_hz", [25.0, 50.0, 60.0, 100.0, 1000.0, 16.6667])
def test_tones_whose_harmonics_fall_on_the_mains_are_told(tone_hz):
    assert mains_distance(tone_hz) < 0.01


@given(st.floats(20, 20000))
@settings(max_examples=50, deadline=None)
def test_a_clean_tone_is_clear_and_near(near_hz):
    tone_hz = clean_tone(near_hz)
    assert distance_by_listing(tone_hz) >= 2.5
    assert 20 <= tone_hz <= 20000
    assert abs(tone_hz - near_hz) <= 20


@given(st.floats(20, 15000), st.floats(1.3, 10))
@settings(max_examples=50, deadline=None)
def test_a_clean_tone_keeps_to_the_band(low_hz, ratio):
    tone_hz = clean_tone(low_hz * 0.5, low_hz=low_hz, high_hz=low_hz * ratio)
    assert low_hz <= tone_hz <= low_hz * ratio


def test_a_band_without_a_clear_tone_gives_what_was_wanted():
    assert clean_tone(50.2, low_hz=49.9, high_hz=50.4) == 50.2


@pytest.mark.parametrize(
    ("band", "stated_hz", "tone_hz"),
    [
        (None, None, 47.0),
        ((20, 20000), None, 997.0),
        ((20, 250), None, 47.0),
        ((20, 20000), 1000, 997.0),
        (None, 50, 47.0),
        (None, 1000, 997.0),
    ],
)
def test_the_tone_follows_what_is_stated(amplifier, make_stated, make_rated, band, stated_hz, tone_hz):
    edges = [] if band is None else [
        make_rated("frequency_low", band[0], "Hz"), make_rated("frequency_high", band[1], "Hz")
    ]  # fmt: skip
    assert choose_tone(amplifier(make_stated(300, 4, frequency_hz=stated_hz), *edges)) == tone_hz


def test_a_band_above_bass_and_below_the_middle_has_its_own_tone(amplifier, make_rated):
    tone_hz = choose_tone(amplifier(make_rated("frequency_low", 80, "Hz"), make_rated("frequency_high", 0.5, "kHz")))
    assert 80 <= tone_hz <= 500
    assert mains_distance(tone_hz) >= 2.5


def test_the_standard_burst_is_20_ms_in_500_ms_with_4_96_per_cent_of_its_power():
    assert STANDARD_BURST.cycles_on / STANDARD_BURST.tone_hz == 0.020
    assert STANDARD_BURST.cycles_period / STANDARD_BURST.tone_hz == 0.500
    assert mean_share(STANDARD_BURST) == pytest.approx((20 * 1 + 480 * 0.01) / 500)
    assert round(100 * mean_share(STANDARD_BURST), 2) == 4.96


@given(st.floats(20, 20000))
@settings(max_examples=50, deadline=None)
def test_our_bursts_are_no_shorter_than_the_standard_s_and_have_its_mean_power(tone_hz):
    pattern = whole_cycle_burst(tone_hz)
    assert pattern.cycles_on / tone_hz >= 0.020 - 1e-9
    assert pattern.cycles_on >= 8
    assert mean_share(pattern) == pytest.approx(mean_share(STANDARD_BURST))


def test_the_mean_share_is_that_of_the_wave_itself():
    pattern = whole_cycle_burst(47.0)
    t = np.arange(pattern.cycles_period * 1000) / 1000  # cycles
    wave = np.sin(2 * np.pi * t) * np.where(t < pattern.cycles_on, 1.0, 10 ** (pattern.low_db / 20))
    assert 2 * np.mean(wave**2) == pytest.approx(mean_share(pattern), rel=1e-9)
