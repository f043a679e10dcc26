"""The tone fit against what was put in, against a plain least-squares solution, and against the Cramér-Rao bound."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2

from wattproof.dsp import fit_at, fit_tone
from wattproof.dsp.blocksum import BlockClock, correlate, moments, synthesise
from wattproof.errors import NoToneError, TooFewCyclesError

RATE_HZ = 48_000.0


def tone(hz, n, *, parts=((1, 1.0, 0.3),), dc=0.0, slope=0.0, bend=0.0, rate_hz=RATE_HZ):
    """dc + slope * tau + bend * tau**2 + sum of peak * cos(order * w t + phase), tau from -1 to 1."""
    t_s, tau = np.arange(n) / rate_hz, np.linspace(-1, 1, n)
    wave = dc + slope * tau + bend * tau**2
    for order, peak, phase in parts:
        wave = wave + peak * np.cos(2 * np.pi * order * hz * t_s + phase)
    return wave


PARTS = ((1, 20.0, 0.3), (2, 0.02, 1.0), (3, 0.2, -2.0), (7, 2e-4, 0.5))


@pytest.mark.parametrize(
    ("hz", "n"),
    [(30.0, 5_760), (30.0, 4_830), (47.0, 48_000), (997.0, 200), (997.0, 48_000), (5_000.3, 2_000), (0.51, 480_000)],
    ids=["3.6 cycles", "3.02 cycles", "46.9", "4.2", "many", "high", "slow"],
)
@pytest.mark.parametrize("phase", [-3.0, -1.2, 0.0, 1.6])
def test_frequency_amplitude_and_harmonics_are_what_was_put_in(hz, n, phase):
    parts = tuple((order, peak, order * phase + start) for order, peak, start in PARTS if order * hz < RATE_HZ / 2)
    wave = tone(hz, n, parts=parts, dc=0.7, slope=0.3, bend=-0.2)
    fit = fit_tone(wave[np.newaxis], rate_hz=RATE_HZ)
    assert fit.frequency_hz == pytest.approx(hz, rel=1e-8)
    for order, peak, start in parts:
        found = fit.phasors[0, order - 1]
        # the phase at the first sample moves with the frequency's last digits
        assert abs(found - peak * np.exp(1j * start)) <= 1e-7 * 20.0, order
    assert fit.dc[0] == pytest.approx(np.mean(0.7 - 0.2 * np.linspace(-1, 1, n) ** 2), abs=1e-7)
    assert fit.cycles == pytest.approx(n * hz / RATE_HZ, rel=1e-8)


@pytest.mark.parametrize("n", [600, 1023, 1024, 1025, 4096, 5000])
def test_the_fit_is_the_plain_least_squares_solution(n):
    rng = np.random.default_rng(n)
    hz = 231.7
    samples = np.stack([tone(hz, n, parts=PARTS) + rng.normal(0, 0.1, n), rng.normal(0, 1, n)])
    fit = fit_at(samples, rate_hz=RATE_HZ, frequency_hz=hz, n_harmonics=5)
    angle = 2 * np.pi * hz / RATE_HZ * np.outer(np.arange(n), np.arange(1, 6))
    tau = np.linspace(-1, 1, n)
    design = np.column_stack([np.ones(n), tau, tau**2, np.cos(angle), np.sin(angle)])
    solution, *_ = np.linalg.lstsq(design, samples.T, rcond=None)
    np.testing.assert_allclose(fit.drift, solution[:3].T, atol=1e-9)
    np.testing.assert_allclose(fit.phasors, (solution[3:8] - 1j * solution[8:]).T, atol=1e-9)
    left = samples.T - design @ solution
    np.testing.assert_allclose(fit.residual_ms, (left**2).sum(axis=0) / fit.dof, rtol=1e-9)
    np.testing.assert_allclose(fit.residual(samples[0], 0), left[:, 0], atol=1e-9)
    # the mean's spread: g' (X'X)^-1 g with the design that was really solved
    g = np.zeros(13)
    g[0], g[2] = 1.0, np.mean(tau**2)
    assert fit.dc_spread == pytest.approx(math.sqrt(g @ np.linalg.inv(design.T @ design) @ g), rel=1e-8)


def test_the_carrier_is_in_phase_with_the_fundamental():
    wave = tone(333.3, 5000, parts=((1, 2.0, 1.1), (2, 0.5, 0.0)))
    fit = fit_tone(wave[np.newaxis], rate_hz=RATE_HZ)
    np.testing.assert_allclose(fit.carrier(0), np.cos(2 * np.pi * 333.3 * np.arange(5000) / RATE_HZ + 1.1), atol=1e-6)


@pytest.mark.parametrize("n", [1, 5, 1023, 1024, 1025, 3000])
def test_block_sums_are_the_plain_sums(n):
    clock, rng = BlockClock(n_samples=n), np.random.default_rng(n)
    m, samples, angle = np.arange(n) - (n - 1) / 2, rng.normal(0, 1, (2, n)), 0.0371
    scale = max(n / 2, 1.0)
    for k, row in enumerate(moments(clock, angle * np.arange(3.0), 4)):
        expected = [(m**k * np.exp(1j * angle * g * m)).sum() for g in range(3)]
        np.testing.assert_allclose(row, expected, atol=1e-11 * n * scale**k)
    phase = np.exp(-1j * angle * np.outer([1, 2, 3], m))
    sums, sloped, powers = correlate(clock, samples, angle_rad=angle, n_harmonics=3, with_slope=True, highest=2)
    np.testing.assert_allclose(sums, samples @ phase.T, atol=1e-11 * n)
    assert sloped is not None
    np.testing.assert_allclose(sloped, (samples * m) @ phase.T, atol=1e-11 * n * scale)
    np.testing.assert_allclose(powers, np.stack([samples @ m**k for k in range(3)], axis=1), atol=1e-11 * n * scale**2)
    phasor = np.array([1.0 + 2j, -0.5j])
    expected = sum((phasor[h - 1] * np.exp(1j * angle * h * m)).real for h in (1, 2))
    np.testing.assert_allclose(synthesise(clock, phasor, angle_rad=angle), expected, atol=1e-11)
    slow = np.array([0.3, -0.2 / scale, 0.1 / scale**2])
    with_drift = synthesise(clock, phasor, angle_rad=angle, slow=slow)
    np.testing.assert_allclose(with_drift, expected + slow @ np.stack([m**0, m, m**2]), atol=1e-11)


def scatter_of(*, cycles, n, sigma, trials, seed):
    """Errors of frequency (Hz) and amplitude over many noisy records, and what each fit says of them."""
    rng, hz = np.random.default_rng(seed), cycles * RATE_HZ / n
    errors, stated = [], []
    for _ in range(trials):
        phase = rng.uniform(-np.pi, np.pi)
        wave = tone(hz, n, parts=((1, 1.0, phase), (3, 0.01, 0.0))) + rng.normal(0, sigma, n)
        fit = fit_tone(wave[np.newaxis], rate_hz=RATE_HZ, tone_hz=hz)
        errors.append((fit.frequency_hz - hz, abs(fit.phasors[0, 0]) - 1))
        stated.append((fit.frequency_u_hz, fit.amplitude_u[0]))
    return np.array(errors), np.array(stated)


TRIALS = 120


@pytest.mark.parametrize(
    ("cycles", "n", "sigma"), [(10.3, 2_000, 0.1), (10.3, 2_000, 1e-3), (30.7, 4_000, 1e-5), (97.1, 6_000, 0.01)]
)
def test_scatter_is_at_most_a_tenth_over_the_cramer_rao_bound(cycles, n, sigma):
    """Bounds of a real sinusoid in white noise; the allowance is what 120 trials let a scatter be over the truth by."""
    errors, stated = scatter_of(cycles=cycles, n=n, sigma=sigma, trials=TRIALS, seed=7)
    bounds = np.array([math.sqrt(24 * sigma**2 / (n * (n**2 - 1))) * RATE_HZ / (2 * np.pi), math.sqrt(2 / n) * sigma])
    scatter = np.sqrt(np.mean(errors**2, axis=0))
    luck = math.sqrt(chi2.ppf(0.9995, TRIALS) / TRIALS)
    assert (scatter <= 1.1 * bounds * luck).all(), scatter / bounds
    # nor can it be under the bound by more than luck: a fit that knew better would have been told the answer
    assert (scatter >= bounds * math.sqrt(chi2.ppf(0.0005, TRIALS) / TRIALS)).all(), scatter / bounds
    np.testing.assert_allclose(stated.mean(axis=0), bounds, rtol=0.06)


def test_a_short_record_pays_for_its_drift_and_harmonics_and_says_so():
    """At 3.6 cycles the bound of a lone sinusoid is out of reach; what the fit states still is what scatters."""
    errors, stated = scatter_of(cycles=3.6, n=2_000, sigma=0.01, trials=TRIALS, seed=8)
    scatter = np.sqrt(np.mean(errors**2, axis=0))
    luck = math.sqrt(chi2.ppf(0.9995, TRIALS) / TRIALS)
    ratio = scatter / stated.mean(axis=0)
    assert ((ratio < 1.06 * luck) & (ratio > 1 / (1.06 * luck))).all(), ratio
    bound_hz = math.sqrt(24 * 0.01**2 / (2_000 * (2_000**2 - 1))) * RATE_HZ / (2 * np.pi)
    assert 1.03 < stated[:, 0].mean() / bound_hz < 1.25


def test_other_channels_are_fitted_at_the_reference_channels_frequency():
    hz, n = 441.9, 6_000
    quiet = np.random.default_rng(3).normal(0, 1.0, n)
    fit = fit_tone(np.stack([quiet, tone(hz, n)]), rate_hz=RATE_HZ, reference=1)
    assert fit.frequency_hz == pytest.approx(hz, rel=1e-9)
    assert np.abs(fit.phasors[0, 0]) < 5 * fit.amplitude_u[0]


@given(scale=st.floats(1e-6, 1e6), cycles=st.floats(3.05, 60.0), phase=st.floats(-3.1, 3.1), third=st.floats(0.0, 0.3))
@settings(max_examples=40, deadline=None)
def test_a_larger_signal_gives_larger_phasors_and_nothing_else(scale, cycles, phase, third):
    n = 4_000
    wave = tone(cycles * RATE_HZ / n, n, parts=((1, 1.0, phase), (3, third, 0.0)), dc=0.1)
    one, other = (fit_tone((k * wave)[np.newaxis], rate_hz=RATE_HZ) for k in (1.0, scale))
    assert other.frequency_hz == pytest.approx(one.frequency_hz, rel=1e-9)
    np.testing.assert_allclose(other.phasors / scale, one.phasors, atol=1e-8)


def test_a_record_of_less_than_three_cycles_is_refused_and_the_hint_cures_it():
    wave = tone(30.0, 4_600)
    with pytest.raises(TooFewCyclesError) as refused:
        fit_tone(wave[np.newaxis], rate_hz=RATE_HZ, tone_hz=30.0)
    seconds = float(refused.value.hint.split("Capture ")[1].split(" s")[0])
    longer = tone(30.0, round(seconds * RATE_HZ))
    assert fit_tone(longer[np.newaxis], rate_hz=RATE_HZ, tone_hz=30.0).frequency_hz == pytest.approx(30.0, rel=1e-8)


@pytest.mark.parametrize(
    "samples", [np.zeros(1000), np.full(1000, 3.3), np.ones(1), np.zeros(7), np.full(1000, 1e-170)]
)
def test_a_silent_channel_has_no_tone(samples):
    with pytest.raises(NoToneError):
        fit_tone(samples[np.newaxis], rate_hz=RATE_HZ)


def test_a_tone_too_small_to_square_is_no_tone():
    with pytest.raises(NoToneError):
        fit_tone(1e-170 * tone(997.0, 4_800)[np.newaxis], rate_hz=RATE_HZ)


def test_a_nominal_tone_leads_to_it_although_another_is_stronger():
    n = 48_000
    wave = tone(100.3, n, parts=((1, 1.0, 0.2),)) + tone(631.7, n, parts=((1, 5.0, 0.0),))
    assert fit_tone(wave[np.newaxis], rate_hz=RATE_HZ, tone_hz=100.2, n_harmonics=1).frequency_hz == pytest.approx(
        100.3, abs=2e-3
    )
    assert fit_tone(wave[np.newaxis], rate_hz=RATE_HZ).frequency_hz == pytest.approx(631.7, abs=2e-3)
