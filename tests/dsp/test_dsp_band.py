"""The band limit: gain 1 inside, nothing outside, the skew gone, and the ends as good as stated."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.dsp.band import band_limit, tone_band
from wattproof.errors import MeasureError

RATE_HZ = 48_000.0


def sine(frequency_hz, *, n=48_000, phase=0.0, delay_s=0.0):
    return np.sin(2 * np.pi * frequency_hz * (np.arange(n) / RATE_HZ - delay_s) + phase)


@pytest.mark.parametrize(
    ("tone_hz", "low_hz"),
    [(47, 10), (30, 7), (997, 20), (40, 10), (39.97, 10), (28, 7), (27, 6), (80, 20), (8, 2), (2, 0.5), (None, 20)],
)
def test_the_lower_edge_is_a_quarter_of_the_tone_rounded_down_to_one_digit(tone_hz, low_hz):
    assert tone_band(tone_hz, rate_hz=96_000)[0] == low_hz


@given(tone_hz=st.floats(0.5, 20_000))
def test_the_lower_edge_stays_clear_of_the_tone_and_is_one_digit(tone_hz):
    low_hz, _ = tone_band(tone_hz, rate_hz=96_000)
    assert min(20.0, tone_hz / 8) < low_hz <= tone_hz / 4 * 1.001 or low_hz == 20.0
    assert low_hz == float(f"{low_hz:.0e}")


def test_the_upper_edge_is_what_the_record_can_hold():
    assert tone_band(997, rate_hz=44_100)[1] == 20_000
    assert tone_band(997, rate_hz=8_000)[1] == pytest.approx(3_920)
    assert tone_band(997, rate_hz=96_000, high_hz=40_000)[1] == 40_000


@pytest.mark.parametrize("frequency_hz", [20.0, 47.0, 997.0, 19_999.0, 20_000.0])
def test_the_gain_inside_the_band_is_exactly_one(frequency_hz):
    wave = sine(frequency_hz)  # whole cycles, named: nothing is left for the ends to disturb
    kept = band_limit(wave, rate_hz=RATE_HZ, low_hz=10, high_hz=20_000, tone_hz=frequency_hz)
    np.testing.assert_allclose(kept, wave, atol=1e-11)


@pytest.mark.parametrize("frequency_hz", [47.0, 997.0, 12_345.0])
def test_the_middle_is_right_without_naming_the_tone(frequency_hz):
    wave = sine(frequency_hz, phase=0.7) + 0.3
    kept = band_limit(wave, rate_hz=RATE_HZ, low_hz=20, high_hz=20_000)
    for periods, atol in ((2, 6e-4), (3, 2e-4)):  # of the lower edge, left out at either end
        inner = slice(periods * 2_400, -periods * 2_400)
        np.testing.assert_allclose(kept[inner], sine(frequency_hz, phase=0.7)[inner], atol=atol)


@pytest.mark.parametrize("cycles", [3.6, 7.3])
def test_a_part_of_a_cycle_does_not_ring_when_the_tone_is_named(cycles):
    n = round(cycles / 30 * RATE_HZ)
    wave = sine(30, n=n, phase=1.1) + 0.01 * sine(90, n=n, phase=0.4)
    kept = band_limit(wave + 0.5, rate_hz=RATE_HZ, low_hz=7, high_hz=20_000, tone_hz=30)
    assert np.max(np.abs(kept - wave)) < 0.01  # an unnamed tone is 7 % out at the ends
    assert np.sqrt(np.mean((kept - wave) ** 2)) < 2e-3
    pure = band_limit(sine(30, n=n, phase=1.1) + 0.5, rate_hz=RATE_HZ, low_hz=7, high_hz=20_000, tone_hz=30)
    np.testing.assert_allclose(pure, sine(30, n=n, phase=1.1), atol=1e-10)


def test_the_ends_of_an_unnamed_tone_are_out_by_a_tenth_at_most():
    for phase in np.linspace(0, 2 * np.pi, 13):
        wave = sine(47, phase=phase)
        kept = band_limit(wave, rate_hz=RATE_HZ, low_hz=10, high_hz=20_000)
        assert np.max(np.abs(kept - wave)) < 0.1


@pytest.mark.parametrize("frequency_hz", [20_400.0, 21_000.0, 23_999.0])
def test_nothing_above_the_fall_is_left(frequency_hz):
    wave = sine(frequency_hz)
    kept = band_limit(wave, rate_hz=RATE_HZ, low_hz=20, high_hz=20_000)
    assert np.max(np.abs(kept[4_800:-4_800])) < 1e-4


def test_dc_goes_with_a_lower_edge_and_stays_without():
    wave = sine(997) + 2.0
    inner = slice(4_800, -4_800)
    without = band_limit(wave, rate_hz=RATE_HZ, low_hz=20, high_hz=20_000)
    kept = band_limit(wave, rate_hz=RATE_HZ, low_hz=0, high_hz=20_000)
    np.testing.assert_allclose(without[inner], sine(997)[inner], atol=3e-5)
    np.testing.assert_allclose(kept[inner], wave[inner], atol=3e-5)


@pytest.mark.parametrize("tone_hz", [None, 997.0])
@pytest.mark.parametrize("delay_s", [-7.3e-6, 0.37 / RATE_HZ, 1e-3])
def test_a_lagging_channel_is_advanced_by_any_part_of_a_sample(delay_s, tone_hz):
    lagging = sine(997, delay_s=delay_s, phase=0.2) + 0.1 * sine(5_003, delay_s=delay_s)
    prompt = sine(997, phase=0.2) + 0.1 * sine(5_003)
    atol = 3e-5 if tone_hz is None else 2e-6  # what the ends still do, 0.1 s inwards
    moved = band_limit(lagging, rate_hz=RATE_HZ, low_hz=20, high_hz=20_000, delay_s=delay_s, tone_hz=tone_hz)
    np.testing.assert_allclose(moved[4_800:-4_800], prompt[4_800:-4_800], atol=atol)


def test_each_channel_has_its_own_lag():
    delays_s = np.array([0.0, 4e-6])
    both = np.stack([sine(997), sine(997, delay_s=4e-6)])
    moved = band_limit(both, rate_hz=RATE_HZ, low_hz=20, high_hz=20_000, delay_s=delays_s, tone_hz=997.0)
    np.testing.assert_allclose(moved[0], moved[1], atol=1e-10)


def test_true_power_of_noise_comes_out_the_same_however_the_channels_lag():
    noise = np.random.default_rng(3).normal(size=48_000)
    volts = band_limit(noise, rate_hz=RATE_HZ, low_hz=100, high_hz=19_000)
    late = band_limit(volts, rate_hz=RATE_HZ, low_hz=20, high_hz=20_000, delay_s=-11e-6)
    back = band_limit(late, rate_hz=RATE_HZ, low_hz=20, high_hz=20_000, delay_s=11e-6)
    inner = slice(2_400, -2_400)
    assert np.mean(volts[inner] * back[inner]) == pytest.approx(np.mean(volts[inner] ** 2), rel=1e-3)
    assert np.mean(volts[inner] * late[inner]) < 0.9 * np.mean(volts[inner] ** 2)


def test_following_the_hint_about_the_lag_cures_the_error():
    with pytest.raises(MeasureError) as refused:
        band_limit(sine(997), rate_hz=RATE_HZ, low_hz=20, high_hz=20_000, delay_s=3.0)
    allowed_s = float(refused.value.hint.split("less than ")[1].split(" s")[0])
    band_limit(sine(997), rate_hz=RATE_HZ, low_hz=20, high_hz=20_000, delay_s=allowed_s)


@settings(max_examples=30, deadline=None)
@given(scale=st.floats(1e-3, 1e3), seed=st.integers(0, 99), n=st.integers(2, 3_000))
def test_scale_and_polarity_pass_through(scale, seed, n):
    noise = np.random.default_rng(seed).normal(size=n)
    once = band_limit(noise, rate_hz=RATE_HZ, low_hz=20, high_hz=20_000)
    scaled = band_limit(-scale * noise, rate_hz=RATE_HZ, low_hz=20, high_hz=20_000)
    np.testing.assert_allclose(scaled, -scale * once, atol=1e-12 * scale)
