"""The hard-clipped sine in closed form, distortion ratios, and flat tops in a waveform."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wattproof.errors import MeasureError

__all__ = [
    "SQUARE_THD",
    "FlatTop",
    "clipped_crest_factor",
    "clipped_fundamental",
    "clipped_harmonic",
    "clipped_power",
    "clipped_residue",
    "clipped_thd",
    "flat_top",
    "highest_harmonic_in_band",
    "overdrive_for_thd",
    "thd_f_from_harmonics",
    "thd_f_from_rms",
    "thd_f_to_r",
    "thd_r_to_f",
]

SQUARE_THD = math.sqrt(math.pi**2 / 8 - 1)
"""THD_F of a square wave, the most that symmetrical clipping can reach: 0.4834."""

LARGEST_OVERDRIVE = 1e9

NODES, NODE_WEIGHTS = np.polynomial.legendre.leggauss(24)


def clipped_fundamental(overdrive: float) -> float:
    """Give the amplitude of the fundamental of a sine of amplitude `overdrive` cut off at ±1.

    With θ = asin(1 / x), the angle at which the sine x sin φ reaches the limit::

        b₁ = 2 / π · (x θ + cos θ)

    Parameters
    ----------
    overdrive : float >= 1, V/V
        x, the amplitude before clipping over the limit.

    Returns
    -------
    float, V/V
        Over the limit; 1 without clipping, 4/π for a square wave.
    """
    angle = _limit_angle(overdrive)
    return 2 / math.pi * (overdrive * angle + math.cos(angle))


def clipped_harmonic(order: int, overdrive: float) -> float:
    """Give the amplitude of one harmonic of a hard-clipped sine, with its sign in the series of sin nφ.

    For odd n > 1::

        bₙ = 4 / π · [ x/2 · (sin((n-1)θ)/(n-1) - sin((n+1)θ)/(n+1)) + cos(nθ)/n ]

    Parameters
    ----------
    order : int >= 1
        n; even orders are zero.
    overdrive : float >= 1, V/V
        As in `clipped_fundamental`.

    Returns
    -------
    float, V/V
        Over the limit.
    """
    if order == 1:
        return clipped_fundamental(overdrive)
    if order % 2 == 0:
        return 0.0
    angle = _limit_angle(overdrive)
    slope = math.sin((order - 1) * angle) / (order - 1) - math.sin((order + 1) * angle) / (order + 1)
    return 4 / math.pi * (overdrive / 2 * slope + math.cos(order * angle) / order)


def clipped_power(overdrive: float) -> float:
    """Give the power of a hard-clipped sine over that of the largest clean sine, harmonics and all.

    Parameters
    ----------
    overdrive : float >= 1, V/V
        As in `clipped_fundamental`.

    Returns
    -------
    float, W/W
        1 without clipping, 2 for a square wave.

    Examples
    --------
    >>> round(clipped_power(overdrive_for_thd(0.01)), 4), round(clipped_power(overdrive_for_thd(0.10)), 4)
    (1.0475, 1.2878)
    """
    angle = _limit_angle(overdrive)
    return 2 / math.pi * (overdrive**2 * angle - overdrive * math.cos(angle) + math.pi - 2 * angle)


def clipped_crest_factor(overdrive: float) -> float:
    """Give peak over rms of a hard-clipped sine: √2 without clipping, 1 for a square wave.

    Parameters
    ----------
    overdrive : float >= 1, V/V
        As in `clipped_fundamental`.

    Returns
    -------
    float, V/V
    """
    return math.sqrt(2 / clipped_power(overdrive))


def clipped_thd(overdrive: float) -> float:
    """Give THD_F of a hard-clipped sine, all harmonics counted.

    Little clipping is reckoned from the part cut off rather than from what is left, so that the ratio stays right
    down to 1e-12.

    Parameters
    ----------
    overdrive : float >= 1, V/V
        As in `clipped_fundamental`.

    Returns
    -------
    float, V/V, 0 to `SQUARE_THD`
    """
    fundamental = clipped_fundamental(overdrive)
    if overdrive < 2:
        # What lies above the limit is x cos ψ - 1 for |ψ| < α, with cos α = 1/x; as a product nothing cancels in it.
        half_width = math.atan(math.sqrt((overdrive - 1) * (overdrive + 1)))
        psi = half_width / 2 * (NODES + 1)
        excess = 2 * overdrive * np.sin((half_width + psi) / 2) * np.sin((half_width - psi) / 2)
        mean_square = float(half_width / math.pi * (NODE_WEIGHTS @ excess**2))
        first = float(2 * half_width / math.pi * (NODE_WEIGHTS @ (excess * np.cos(psi))))
        harmonics = mean_square - first**2 / 2
    else:
        harmonics = (clipped_power(overdrive) - fundamental**2) / 2
    return math.sqrt(2 * harmonics) / fundamental


def clipped_residue(overdrive: NDArray[np.float64], *, gains: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the mean square of a hard-clipped sine's harmonics as a band shows them, the fundamental left out.

    Parameters
    ----------
    overdrive : NDArray[np.float64] of shape (n,), >= 1, V/V
        As in `clipped_fundamental`.
    gains : NDArray[np.float64] of shape (n_harmonics,), V/V
        Of the band for the harmonics 1, 2, 3 ...; ones up to its edge.

    Returns
    -------
    NDArray[np.float64] of shape (n,), V²/V²
        Over the limit squared.

    Examples
    --------
    >>> x = overdrive_for_thd(0.01)
    >>> round(float(np.sqrt(2 * clipped_residue(np.array([x]), gains=np.ones(999))[0])) / clipped_fundamental(x), 5)
    0.01
    """
    order = np.arange(3, gains.size + 1, 2)[:, np.newaxis]
    angle = np.arcsin(1 / overdrive)
    slope = np.sin((order - 1) * angle) / (order - 1) - np.sin((order + 1) * angle) / (order + 1)
    amplitude = 4 / np.pi * (overdrive / 2 * slope + np.cos(order * angle) / order)
    return np.asarray(((gains[2::2, np.newaxis] * amplitude) ** 2).sum(axis=0) / 2)


def overdrive_for_thd(thd_f: float) -> float:
    """Find how far a sine must exceed a hard limit to be distorted so much.

    Parameters
    ----------
    thd_f : float, V/V, 0 <= thd_f < SQUARE_THD
        Wanted THD_F.

    Returns
    -------
    float >= 1, V/V
        Amplitude before clipping over the limit.

    Raises
    ------
    MeasureError
        Not even a square wave is distorted so much.

    Examples
    --------
    >>> round(overdrive_for_thd(0.01), 4), round(overdrive_for_thd(0.10), 4)
    (1.0293, 1.2843)
    """
    from scipy.optimize import brentq

    if thd_f <= 0:
        return 1.0
    largest = clipped_thd(LARGEST_OVERDRIVE)
    if not thd_f < largest:
        raise MeasureError(
            f"Clipping alone cannot distort a sine by {100 * thd_f:.4g} %.",
            why=f"Symmetrical hard clipping ends in a square wave, whose THD is {100 * SQUARE_THD:.2f} %.",
            hint="Choose a limit of 48 % or less.",
        )
    # In the logarithm of x - 1: the answer lies anywhere between 1 + 1e-13 and a billion.
    low, high = math.log(1e-13), math.log(LARGEST_OVERDRIVE - 1)
    root = brentq(lambda log_excess: clipped_thd(1 + math.exp(log_excess)) - thd_f, low, high, xtol=1e-13)
    return 1 + math.exp(root)


def _limit_angle(overdrive: float) -> float:
    if not overdrive >= 1:
        raise ValueError(f"an overdrive of {overdrive} does not clip")
    return math.asin(1 / overdrive)


def thd_f_to_r(thd_f: float) -> float:
    """Refer distortion to the total rms (IEC 60268-3) rather than to the fundamental.

    Examples
    --------
    >>> round(thd_f_to_r(0.20), 4)
    0.1961
    """
    return thd_f / math.hypot(1.0, thd_f)


def thd_r_to_f(thd_r: float) -> float:
    """Refer distortion to the fundamental rather than to the total rms: the reverse of `thd_f_to_r`, for thd_r < 1."""
    return thd_r / math.sqrt((1 - thd_r) * (1 + thd_r))


def thd_f_from_harmonics(magnitudes: ArrayLike) -> float:
    """Sum harmonics to THD_F.

    Parameters
    ----------
    magnitudes : array of shape (n,)
        The fundamental first, then its harmonics, all rms or all amplitudes in one unit.

    Returns
    -------
    float, V/V
    """
    fundamental, *harmonics = np.asarray(magnitudes, dtype=np.float64)
    return float(np.linalg.norm(harmonics) / fundamental)


def thd_f_from_rms(*, total_rms: float, fundamental_rms: float) -> float:
    """Give THD_F of a wave without DC and noise from its total rms and its fundamental's, in one unit."""
    return math.sqrt(max(0.0, (total_rms - fundamental_rms) * (total_rms + fundamental_rms))) / fundamental_rms


def highest_harmonic_in_band(tone_hz: float, *, high_hz: float) -> int:
    """Say which harmonic of a tone is the last one inside a measuring band; 0 where the tone itself is outside.

    Examples
    --------
    >>> [highest_harmonic_in_band(tone_hz, high_hz=20_000) for tone_hz in (40, 6666, 7000, 10_001)]
    [500, 3, 2, 1]
    """
    return math.floor(high_hz / tone_hz * (1 + 1e-12))


@dataclass(frozen=True, kw_only=True)
class FlatTop:
    """How long a wave stays near its extremes.

    Attributes
    ----------
    upper, lower : float, s/s
        Part of the time spent near the upper and near the lower extreme.
    sine : float, s/s
        The same for an undistorted sine, one side.
    """

    upper: float
    lower: float
    sine: float

    @property
    def ratio(self) -> float:
        """The flatter side over a sine: 1 for a sine, 1.45 where it is clipped to 1 % THD, 3.3 at 10 %."""
        return max(self.upper, self.lower) / self.sine

    @property
    def clipped(self) -> bool:
        """Whether one side at least is as flat as only a limit makes it: from 0.7 % THD up in 50 dB of noise."""
        return self.ratio > CLIPPED_RATIO


CLIPPED_RATIO = 1.3
"""3 % of a soft third harmonic reaches 1.13, a noiseless sine of 3.6 cycles 1.1; a sine clipped to 0.7 % THD 1.33."""

EXTREME_PART = 0.025
"""Samples beyond what counts as the extreme: spikes and the noise on a flat top."""


def flat_top(samples: NDArray[np.float64], *, share: float = 0.02) -> FlatTop:
    """Measure how long a tone stays near its extremes, to see clipping in the wave itself.

    The extreme e is the level that 2.5 % of the samples exceed; near is whatever lies above ``(1 - share) e``. A sine
    spends ``acos((1 - share) cos(0.025 π)) / π`` of the time there, a clipped one longer. Noise only ever makes the
    top look less flat: it hides slight clipping and invents none.

    Parameters
    ----------
    samples : NDArray[np.float64] of shape (n,)
        A tone of even level, some hundreds of samples; three cycles or more, for parts of a cycle weigh too much in
        less. A second or two say as much as a minute.
    share : float, V/V, 0 < share < 1
        How near is near, as a share of half the distance between the extremes.

    Returns
    -------
    FlatTop
    """
    n = samples.size
    beyond = round(EXTREME_PART * n)
    ordered = np.partition(samples, (beyond, n - beyond - 1))
    low, high = float(ordered[beyond]), float(ordered[n - beyond - 1])
    near = share * (high - low) / 2
    return FlatTop(
        upper=float(np.count_nonzero(samples > high - near)) / n,
        lower=float(np.count_nonzero(samples < low + near)) / n,
        sine=math.acos((1 - share) * math.cos(math.pi * EXTREME_PART)) / math.pi,
    )
