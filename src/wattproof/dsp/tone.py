"""A tone, its harmonics, DC and drift fitted together, with the frequency free: the heart of every figure."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp.blocksum import BlockClock, correlate, moments, synthesise
from wattproof.dsp.tone_search import COARSE_SAMPLES, coarse_frequency, refuse_silent
from wattproof.errors import NoToneError, TooFewCyclesError

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

FEWEST_CYCLES = 3.0
_DRIFT_ORDER = 2
_MANY_CYCLES = 100
_SEARCH_HARMONICS = 3
_SMALL_STEP = 1e-4
_SURE_CYCLES = 8
"""A piece of the record may stand for the whole where it holds more cycles than this."""

_NARROWING = 8
"""Each stage of the frequency search uses this many times more samples than the one before."""


@dataclass(frozen=True, kw_only=True, eq=False)
class ToneFit:
    """One tone with harmonics fitted to all channels of a record at one common frequency.

    Attributes
    ----------
    frequency_hz, frequency_u_hz : float
        Fundamental and its standard uncertainty from the reference channel's residual (white noise assumed).
    rate_hz : float
    n_samples : int
    phasors : Complex of shape (n_channels, n_harmonics)
        Peak amplitude and phase of harmonic 1, 2, ... at the record's first sample, each in its channel's unit.
    drift : Real of shape (n_channels, 3)
        Coefficients of 1, tau, tau**2 of the slow part, tau from -1 to 1 over the record.
    residual_ms : Real of shape (n_channels,)
        Mean square of what is left, divided by the degrees of freedom.
    dof : int
        Samples less fitted parameters.
    dc_spread : float
        Standard uncertainty of `dc` where the residual's r.m.s. is 1: 1/sqrt(N), more where few cycles lean on it.
    """

    frequency_hz: float
    frequency_u_hz: float
    rate_hz: float
    n_samples: int
    phasors: Complex
    drift: Real
    residual_ms: Real
    dof: int
    dc_spread: float

    @property
    def cycles(self) -> float:
        """Cycles of the tone in the record."""
        return self.n_samples * self.frequency_hz / self.rate_hz

    @property
    def n_harmonics(self) -> int:
        """Harmonics fitted, the fundamental counted."""
        return int(self.phasors.shape[1])

    @property
    def amplitude_u(self) -> Real:
        """Standard uncertainty of a harmonic's peak amplitude by channel, sqrt(2/N) sigma, shape (n_channels,)."""
        return np.sqrt(2 * self.residual_ms / self.n_samples)

    @property
    def dc(self) -> Real:
        """Mean of the slow part over the record, shape (n_channels,)."""
        return np.asarray(self.drift[:, 0] + self.drift[:, 2] * _mean_tau2(self.n_samples))

    @property
    def dc_u(self) -> Real:
        """Standard uncertainty of `dc` by channel, white noise assumed, shape (n_channels,)."""
        return np.asarray(np.sqrt(self.residual_ms) * self.dc_spread)

    def centred(self, channel: int) -> Complex:
        """Phasors of a channel turned to the record's centre, shape (n_harmonics,)."""
        order = np.arange(1, self.n_harmonics + 1)
        turn = 2 * np.pi * self.frequency_hz / self.rate_hz * (self.n_samples - 1) / 2
        return np.asarray(self.phasors[channel] * np.exp(1j * order * turn))

    def carrier(self, channel: int, *, ahead_rad: float = 0.0) -> Real:
        """Give a cosine of peak 1 in phase with the channel's fundamental, or ahead of it, shape (N,)."""
        phasor = self.centred(channel)[:1] * np.exp(1j * ahead_rad)
        angle = 2 * np.pi * self.frequency_hz / self.rate_hz
        return synthesise(BlockClock(n_samples=self.n_samples), phasor / np.abs(phasor), angle_rad=angle)

    def residual(self, samples: Real, channel: int, *, harmonics: int | None = None) -> Real:
        """Take the fitted drift and the first `harmonics` (all when left out) off a channel's samples of shape (N,)."""
        kept = self.n_harmonics if harmonics is None else harmonics
        angle = 2 * np.pi * self.frequency_hz / self.rate_hz
        clock = BlockClock(n_samples=self.n_samples)
        slow = self.drift[channel] / clock.half ** np.arange(_DRIFT_ORDER + 1.0)
        model = synthesise(clock, self.centred(channel)[:kept], angle_rad=angle, slow=slow)
        np.subtract(samples, model, out=model)
        return model


def fit_tone(
    samples: Real,
    *,
    rate_hz: float,
    reference: int = 0,
    tone_hz: float | None = None,
    n_harmonics: int = 10,
    fewest_cycles: float = FEWEST_CYCLES,
) -> ToneFit:
    """Fit a tone with harmonics, DC and quadratic drift to every channel, the frequency free and common.

    Least squares in all parameters at once (the multi-harmonic form of the four-parameter sine fit of
    IEEE Std 1057, by Gauss-Newton steps in the frequency), so that neither whole cycles nor a window are needed. The
    reference channel finds the frequency; the others are linear fits at it.

    Parameters
    ----------
    samples : Real of shape (n_channels, N)
    rate_hz : float > 0
    reference : int
        The channel whose tone sets the frequency.
    tone_hz : float or None, Hz
        Nominal frequency, good to half a line width (rate / N / 2); searched for when left out.
    n_harmonics : int >= 1
        Harmonics to fit, the fundamental counted; those at or above rate / 2 are left out.
    fewest_cycles : float
        Refuse records shorter than this many cycles.

    Raises
    ------
    TooFewCyclesError
        The record holds less than `fewest_cycles` of the tone.
    NoToneError
        The reference channel is silent, or the search runs out of the band.

    References
    ----------
    .. [1] IEEE Std 1057-2017, sine fitting; P. Haendel, IEEE Trans. Instrum. Meas. 49 (2000) 1189.
    """
    clear = np.ascontiguousarray(samples, dtype=np.float64)
    refuse_silent(clear[reference])
    line = clear[reference : reference + 1]
    hz = coarse_frequency(line[0], rate_hz, fewest_cycles) if tone_hz is None else tone_hz
    _refuse_short(clear.shape[1], rate_hz, hz, fewest_cycles)
    n_used = _usable_harmonics(hz, rate_hz, n_harmonics, clear.shape[1])
    # harmonics lean on the frequency only where cycles are few: a long record needs but the strongest in the search
    n_search = n_used if clear.shape[1] * hz / rate_hz < _MANY_CYCLES else min(n_used, _SEARCH_HARMONICS)
    hz = _refined_frequency(line, hz, rate_hz, n_search, searched=tone_hz is None)
    _refuse_short(clear.shape[1], rate_hz, hz, fewest_cycles)
    return fit_at(clear, rate_hz=rate_hz, frequency_hz=hz, reference=reference, n_harmonics=n_used)


def fit_at(samples: Real, *, rate_hz: float, frequency_hz: float, reference: int = 0, n_harmonics: int = 10) -> ToneFit:
    """Fit harmonics, DC and drift to every channel at a known frequency (the linear part of `fit_tone`).

    Parameters
    ----------
    samples : Real of shape (n_channels, N)
    rate_hz, frequency_hz : float > 0, Hz
    reference : int
        The channel whose residual sets the frequency's uncertainty.
    n_harmonics : int >= 1
    """
    n_used = _usable_harmonics(frequency_hz, rate_hz, n_harmonics, samples.shape[1])
    solver = _solver(samples.shape[1], frequency_hz, rate_hz, n_used)
    step = solver.solve(samples, with_slope=False)
    _, information = solver.frequency_step(step, reference)
    u_hz = np.sqrt(step.residual_ms[reference] / information) * rate_hz / (2 * np.pi) if information > 0 else 0.0
    return ToneFit(
        frequency_hz=frequency_hz,
        frequency_u_hz=float(u_hz),
        rate_hz=rate_hz,
        n_samples=samples.shape[1],
        phasors=step.phasors_at_first(solver),
        drift=step.drift,
        residual_ms=step.residual_ms,
        dof=solver.dof,
        dc_spread=solver.dc_spread(),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Step:
    """A linear fit at one frequency: coefficients [drift | cos | sin] by channel, and the sloped correlations."""

    coefficients: Real
    residual_ms: Real
    sloped: Complex | None

    @property
    def drift(self) -> Real:
        return self.coefficients[:, : _DRIFT_ORDER + 1]

    def phasors_at_first(self, solver: "_Solver") -> Complex:
        turn = np.exp(-1j * solver.order * solver.angle * solver.clock.centre)
        return np.asarray(self.phasors(solver) * turn)

    def phasors(self, solver: "_Solver") -> Complex:
        a, b = solver.cos_sin(self.coefficients)
        return np.asarray(a - 1j * b)


class _Solver:
    """Normal equations of one tone frequency over one record; their matrix comes from closed sums, not from samples."""

    def __init__(self, n_samples: int, frequency_hz: float, rate_hz: float, n_harmonics: int) -> None:
        self.clock = BlockClock(n_samples=n_samples)
        self.angle = 2 * np.pi * frequency_hz / rate_hz
        self.order = np.arange(1, n_harmonics + 1)
        self.n_columns = _DRIFT_ORDER + 1 + 2 * n_harmonics
        self.dof = max(n_samples - self.n_columns - 1, 1)
        self._half = self.clock.half
        # sums of m**k exp(jgwm) for g = 0 .. 2H: every entry of the matrix is a combination of them
        self._sums = moments(self.clock, self.angle * np.arange(2.0 * n_harmonics + 1), 2 * _DRIFT_ORDER)
        self._matrix = self._normal_matrix()

    def cos_sin(self, coefficients: Real) -> tuple[Real, Real]:
        first = _DRIFT_ORDER + 1
        middle = first + self.order.size
        return coefficients[..., first:middle], coefficients[..., middle:]

    def _normal_matrix(self) -> Real:
        h = self.order
        powers = np.arange(_DRIFT_ORDER + 1)
        scale = self._half ** -powers.astype(float)
        matrix = np.zeros((self.n_columns, self.n_columns))
        first = _DRIFT_ORDER + 1
        low, cos, sin = slice(0, first), slice(first, first + h.size), slice(first + h.size, None)
        matrix[low, low] = self._sums[powers[:, None] + powers, 0].real * np.outer(scale, scale)
        harmonic = self._sums[: _DRIFT_ORDER + 1][:, h] * scale[:, None]
        minus, plus = self._sums[0].real[np.abs(h[:, None] - h)], self._sums[0].real[h[:, None] + h]
        matrix[low, cos], matrix[low, sin] = harmonic.real, harmonic.imag
        matrix[cos, low], matrix[sin, low] = harmonic.real.T, harmonic.imag.T
        matrix[cos, cos], matrix[sin, sin] = (minus + plus) / 2, (minus - plus) / 2
        return matrix

    def solve(self, samples: Real, *, with_slope: bool) -> _Step:
        """Fit every channel of samples (n_channels, N)."""
        sums, sloped, low = correlate(
            self.clock,
            samples,
            angle_rad=self.angle,
            n_harmonics=self.order.size,
            with_slope=with_slope,
            highest=_DRIFT_ORDER,
        )
        low = low * self._half ** -np.arange(_DRIFT_ORDER + 1.0)
        right = np.hstack([low, sums.real, -sums.imag])
        coefficients: Real = np.linalg.solve(self._matrix, right.T).T.astype(np.float64, copy=False)
        square = np.einsum("cn,cn->c", samples, samples)
        left = np.maximum(square - np.einsum("ck,ck->c", coefficients, right), 0.0)
        return _Step(coefficients=coefficients, residual_ms=left / self.dof, sloped=sloped)

    def dc_spread(self) -> float:
        """Give the standard deviation of the slow part's mean for noise of r.m.s. 1: sqrt(g' (X'X)**-1 g)."""
        g = np.zeros(self.n_columns)
        g[0], g[_DRIFT_ORDER] = 1.0, _mean_tau2(self.clock.n_samples)
        return float(np.sqrt(max(float(g @ np.linalg.solve(self._matrix, g)), 0.0)))

    def frequency_step(self, step: _Step, channel: int) -> tuple[float, float]:
        """Gauss-Newton step in radians a sample, and the information (1/variance, times the noise variance) behind it.

        The derivative column is d = sum of h m (-a sin hwm + b cos hwm); X'd and d'd are again moments of the clock.
        """
        h = self.order
        a, b = self.cos_sin(step.coefficients[channel])
        cross = self._cross(a * h, b * h)
        quadratic = self._quadratic(a * h, b * h)
        information = quadratic - float(cross @ np.linalg.solve(self._matrix, cross))
        if step.sloped is None or information <= 0:
            return 0.0, information
        onto = float((h * (b * step.sloped[channel].real + a * step.sloped[channel].imag)).sum())
        return (onto - float(cross @ step.coefficients[channel])) / information, information

    def _cross(self, ha: Real, hb: Real) -> Real:
        """X'd: sums of a column times m(-ha sin hwm + hb cos hwm)."""
        h = self.order
        powers = np.arange(_DRIFT_ORDER + 1)
        low = self._sums[powers + 1][:, h]
        drift = (low.real @ hb - low.imag @ ha) * self._half ** -powers.astype(float)
        difference, first = h[:, None] - h, self._sums[1]
        minus_re, minus_im = first.real[np.abs(difference)], np.sign(difference) * first.imag[np.abs(difference)]
        plus_re, plus_im = first.real[h[:, None] + h], first.imag[h[:, None] + h]
        # rows: harmonic g of the column; columns: harmonic h of the derivative
        cos_cos, cos_sin = (minus_re + plus_re) / 2, (plus_im - minus_im) / 2
        sin_sin, sin_cos = (minus_re - plus_re) / 2, (plus_im + minus_im) / 2
        return np.concatenate([drift, cos_cos @ hb - cos_sin @ ha, sin_cos @ hb - sin_sin @ ha])

    def _quadratic(self, ha: Real, hb: Real) -> float:
        """d'd: the second moments."""
        h = self.order
        second = self._sums[2].real
        minus, plus = second[np.abs(h[:, None] - h)], second[h[:, None] + h]
        return float(hb @ ((minus + plus) / 2) @ hb + ha @ ((minus - plus) / 2) @ ha)


@lru_cache(maxsize=4)
def _solver(n_samples: int, frequency_hz: float, rate_hz: float, n_harmonics: int) -> _Solver:
    """Keep the last few solvers: the frames of a hold are all of one length and one frequency."""
    return _Solver(n_samples, frequency_hz, rate_hz, n_harmonics)


def _refined_frequency(line: Real, hz: float, rate_hz: float, n_harmonics: int, *, searched: bool) -> float:
    """Narrow the frequency on longer and longer pieces around the record's centre, the last one the whole record."""
    n_all = line.shape[1]
    lengths = [n_all]
    # a piece of few cycles would lead astray
    while searched and lengths[0] > COARSE_SAMPLES * 2 and lengths[0] // _NARROWING * hz / rate_hz > _SURE_CYCLES:
        lengths.insert(0, lengths[0] // _NARROWING)
    for length in lengths:
        start = (n_all - length) // 2
        hz = _iterate(np.ascontiguousarray(line[:, start : start + length]), hz, rate_hz, n_harmonics)
    return hz


def _iterate(line: Real, hz: float, rate_hz: float, n_harmonics: int) -> float:
    widest = np.pi / line.shape[1]
    for _ in range(30):
        solver = _Solver(line.shape[1], hz, rate_hz, n_harmonics)
        step, _ = solver.frequency_step(solver.solve(line, with_slope=True), 0)
        step = float(np.clip(step, -widest, widest))
        hz += step * rate_hz / (2 * np.pi)
        if not 0 < hz < rate_hz / 2:
            raise NoToneError(
                "No steady tone was found.",
                why=f"the frequency search left the band between 0 and {rate_hz / 2:g} Hz",
                hint="Give the tone with --tone-hz, or choose the kind with --kind idle if there is no tone.",
            )
        # the steps shrink by squares: after one this small the next would be lost in rounding
        if abs(step) < _SMALL_STEP * widest:
            break
    return hz


def _usable_harmonics(hz: float, rate_hz: float, n_harmonics: int, n_samples: int) -> int:
    """Limit the harmonics to those under half the rate, and to as many as the samples can tell apart."""
    below = int(np.ceil(rate_hz / 2 / hz)) - 1
    told_apart = (n_samples - _DRIFT_ORDER - 3) // 2
    return max(1, min(n_harmonics, below, told_apart))


def _refuse_short(n_samples: int, rate_hz: float, hz: float, fewest_cycles: float) -> None:
    if not 0 < hz < rate_hz / 2:
        raise NoToneError(
            f"A tone of {hz:.4g} Hz cannot be found.",
            why=f"the record is sampled at {rate_hz:g} Hz",
            hint=f"Give a tone between 0 and {rate_hz / 2:g} Hz.",
        )
    cycles = n_samples * hz / rate_hz
    if cycles < fewest_cycles * (1 - 1e-6):
        raise TooFewCyclesError(
            f"Cannot measure distortion at {hz:.4g} Hz.",
            why=f"{n_samples} samples at {rate_hz:g} Hz hold {cycles:.2f} cycles; it takes {fewest_cycles:g} or more",
            hint=f"Capture {np.ceil(1000 * 1.05 * fewest_cycles / hz) / 1000:g} s or longer.",
        )


def _mean_tau2(n_samples: int) -> float:
    """Mean of tau**2 over n points from -1 to 1."""
    return (n_samples + 1) / (3 * (n_samples - 1))
