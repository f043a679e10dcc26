"""The knee against the closed form of a clipped sine, and against laws that hold for every soft limit."""

from math import log, sqrt, tanh

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wattproof.dsp import clipped_power, clipped_thd, overdrive_for_thd
from wattproof.fit.knee import SOFTEST, _sine_with, at_limit, bend, bent_sine
from wattproof.fit.rail import soft_minimum


@pytest.mark.parametrize("overdrive", [0.5, 1.0, 1.0293, 1.2843, 3.0])
def test_a_hard_knee_is_the_closed_form(overdrive):
    bent = bent_sine(overdrive, 0.0)
    assert bent.thd_f == pytest.approx(clipped_thd(max(overdrive, 1.0)), abs=2e-6)
    clean = 2 * bent.rms**2
    assert clean == pytest.approx(clipped_power(overdrive) if overdrive > 1 else overdrive**2, rel=2e-6)


@pytest.mark.parametrize(("thd_f", "power"), [(0.01, 1.0475), (0.1, 1.2878)])
def test_powers_at_the_usual_limits(thd_f, power):
    bent = at_limit(thd_f / sqrt(1 + thd_f**2), 0.0)
    assert bent.thd_f == pytest.approx(thd_f, rel=1e-9)
    assert 2 * bent.rms**2 == pytest.approx(power, abs=1e-4)
    assert bent.rms == pytest.approx(sqrt(clipped_power(overdrive_for_thd(thd_f)) / 2), rel=1e-5)


@pytest.mark.parametrize("thd_n", [0.005, 0.01, 0.03, 0.1])
@pytest.mark.parametrize("knee", [0.004, 0.021, 0.077, 0.31])
def test_the_table_is_what_it_stands_for(thd_n, knee):
    assert at_limit(thd_n, knee).rms == pytest.approx(_sine_with(thd_n, knee).rms, rel=1e-5)


@given(knee=st.floats(0.001, SOFTEST), values=st.lists(st.floats(-50, 50), min_size=2, max_size=20))
def test_a_knee_is_odd_rising_and_within_its_limit(knee, values):
    given = np.sort(np.array(values))
    bent = bend(given, knee)
    assert np.all(np.abs(bent) <= 1 + 1e-12)
    assert np.all(np.diff(bent) >= -1e-12)
    assert np.allclose(bend(-given, knee), -bent, atol=1e-12)


def test_the_slope_of_a_small_signal_is_that_of_the_smeared_limit():
    for knee in (0.1, 0.3, 0.6):
        slope = float(bend(np.array([1e-6]), knee)[0]) / 1e-6
        assert slope == pytest.approx(tanh(1 / knee), rel=1e-6)


def test_a_soft_minimum_is_below_both_and_near_the_smaller():
    assert soft_minimum(3.0, 3.0) == pytest.approx(3.0 * (1 - 0.01 * log(2)), rel=1e-9)
    for first, second in ((1.0, 1.2), (5.0, 5.05), (7.0, 2.0)):
        least = soft_minimum(first, second)
        assert least <= min(first, second)
        assert least == pytest.approx(min(first, second), rel=0.007)
