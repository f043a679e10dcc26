"""The closed form of the clipped sine against quadrature of the clipped sine itself."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from wattproof.testing import clipped_power, clipped_sine, clipped_thd, harmonic_peak, overdrive_at


def quadrature(order, x):
    corner = np.arcsin(min(1.0, 1 / x))
    value, _ = quad(lambda a: min(1.0, x * np.sin(a)) * np.sin(order * a), 0, np.pi / 2, points=[corner], epsabs=1e-13)
    return 4 / np.pi * value


@pytest.mark.parametrize("x", [1.000001, 1.0293, 1.2843, 3.0, 50.0])
@pytest.mark.parametrize("order", [1, 3, 5, 9])
def test_harmonics_are_the_fourier_integrals(x, order):
    assert harmonic_peak(order, x) == pytest.approx(quadrature(order, x), abs=1e-11)


def test_even_harmonics_are_none():
    assert [harmonic_peak(order, 1.5) for order in (2, 4, 6)] == [0, 0, 0]


@pytest.mark.parametrize("x", [0.5, 1.0, 1.1, 2.0, 10.0])
def test_power_is_the_mean_square(x):
    mean_square, _ = quad(lambda a: min(1.0, x * np.sin(a)) ** 2, 0, np.pi / 2, points=[np.arcsin(min(1, 1 / x))])
    assert clipped_power(x) == pytest.approx(2 * mean_square * 2 / np.pi, rel=1e-10)


def test_all_harmonics_together_make_the_power():
    assert clipped_power(1.3, n_harmonics=4001) == pytest.approx(clipped_power(1.3), rel=1e-9)


def test_extremes_are_the_clean_sine_and_the_square_wave():
    assert clipped_thd(1.0) == 0
    assert clipped_power(1.0) == 1
    square = 1e6
    assert clipped_power(square) == pytest.approx(2, rel=1e-5)
    assert harmonic_peak(1, square) == pytest.approx(4 / np.pi, rel=1e-9)
    assert clipped_thd(square) == pytest.approx(np.sqrt(np.pi**2 / 8 - 1), rel=1e-4)


# limits over unclipped peak of a published set of clipped sines: distortion % and power over the largest clean sine
@pytest.mark.parametrize(
    ("limit", "thd", "power"), [(0.95, 1.92, 1.079), (0.9, 4.22, 1.146), (0.8, 8.98, 1.264), (0.4, 28.09, 1.655)]
)
def test_known_cases(limit, thd, power):
    assert 100 * clipped_thd(1 / limit) == pytest.approx(thd, abs=0.02)
    assert clipped_power(1 / limit) == pytest.approx(power, abs=0.002)


@given(thd=st.floats(1e-4, 0.4), form=st.sampled_from(["f", "r"]))
@settings(max_examples=30, deadline=None)
def test_overdrive_gives_back_its_distortion(thd, form):
    assert clipped_thd(overdrive_at(thd, form=form), form=form) == pytest.approx(thd, rel=1e-7)


def test_noise_brings_the_limit_forward():
    noisy = overdrive_at(0.01, noise=0.005)
    assert 1 < noisy < overdrive_at(0.01)
    assert clipped_thd(noisy, noise=0.005) == pytest.approx(0.01, rel=1e-9)


def test_series_is_the_clipped_sine_without_the_harmonics_above():
    n = 4096
    angle = 2 * np.pi * np.arange(n) / n
    series = clipped_sine(np.full(n, 1.4), angle, n_harmonics=101)
    spectrum = np.abs(np.fft.rfft(series)) / (n / 2)
    assert spectrum[101] == pytest.approx(abs(harmonic_peak(101, 1.4)), rel=1e-9)
    assert spectrum[102:].max() < 1e-13  # rounding of sums of a few hundred terms near 1
    naive = np.clip(1.4 * np.sin(angle), -1, 1)
    tail = 4 / np.pi * 1.4 * np.sum(1 / np.arange(103, 100001, 2.0) ** 2)  # bound on what was left out
    assert np.abs(series - naive).max() < tail


def test_unclipped_samples_stay_the_plain_sine():
    x = np.array([0.2, 1.0, 1.5])
    angle = np.array([0.4, 1.0, 0.1])
    assert clipped_sine(x, angle, n_harmonics=999)[:2].tolist() == (x * np.sin(angle))[:2].tolist()
