"""The hard-clipped sine in closed form: its harmonics, power and distortion, and the overdrive for a distortion.

A sine of peak x is limited at ±1. With the clipping angle ``a = asin(1/x)`` its odd Fourier coefficients are::

    b_1 = (2/pi) * (x * (a - sin a cos a) + 2 cos a)
    b_n = (4/pi) * (x/2 * (sin((n-1)a)/(n-1) - sin((n+1)a)/(n+1)) + cos(n a)/n)      n = 3, 5, ...

and twice its mean square, the power over that of the largest clean sine, is
``p = (2/pi) * (x**2 * (a - sin a cos a) + pi - 2 a)``. Elementary integrals all; the tests repeat them by quadrature.
"""

from math import asin, cos, pi, sin, sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Form = Literal["f", "r"]
"""Distortion over the fundamental, or over the total r.m.s."""
_CHUNK = 4096
"""Samples worked on at a time: the phasors of one chunk stay in the processor's cache."""


def harmonic_peak(order: int, x: float) -> float:
    """Peak of one harmonic of a sine of peak `x` clipped at 1; zero for even orders."""
    if order % 2 == 0:
        return 0.0
    if x <= 1:
        return x if order == 1 else 0.0
    a = asin(1 / x)
    if order == 1:
        return (2 / pi) * (x * (a - sin(a) * cos(a)) + 2 * cos(a))
    below = x / 2 * (sin((order - 1) * a) / (order - 1) - sin((order + 1) * a) / (order + 1))
    return (4 / pi) * (below + cos(order * a) / order)


def clipped_power(x: float, *, n_harmonics: int | None = None) -> float:
    """Power over that of the largest clean sine, W/W; of the harmonics up to `n_harmonics` only, where given."""
    if n_harmonics is not None:
        return sum(harmonic_peak(order, x) ** 2 for order in range(1, n_harmonics + 1, 2))
    if x <= 1:
        return x * x
    a = asin(1 / x)
    return (2 / pi) * (x * x * (a - sin(a) * cos(a)) + pi - 2 * a)


def clipped_thd(x: float, *, form: Form = "f", n_harmonics: int | None = None, noise: float = 0.0) -> float:
    """Distortion (and noise) of the clipped sine, V/V.

    Parameters
    ----------
    x : float > 0
        Peak before clipping over the limit.
    form : "f" or "r"
        Over the fundamental, or over the total (noise included).
    n_harmonics : int or None
        Highest order counted: the band's upper edge over the tone.
    noise : float >= 0
        R.m.s. of the noise in the band over that of the largest clean sine.
    """
    fundamental = harmonic_peak(1, x) ** 2
    total = clipped_power(x, n_harmonics=n_harmonics) + noise**2
    residue = max(total - fundamental, 0.0)
    return sqrt(residue / (fundamental if form == "f" else total))


def overdrive_at(thd: float, *, form: Form = "f", n_harmonics: int | None = None, noise: float = 0.0) -> float:
    """Find the overdrive x >= 1 at which the distortion is `thd`, by bisection down to the last bits.

    Examples
    --------
    >>> round(overdrive_at(0.01), 4), round(clipped_power(overdrive_at(0.01)), 4)
    (1.0293, 1.0475)
    >>> round(overdrive_at(0.10), 4), round(clipped_power(overdrive_at(0.10)), 4)
    (1.2843, 1.2878)
    """
    low, high = 1.0, 1000.0
    for _ in range(100):
        middle = 0.5 * (low + high)
        if clipped_thd(middle, form=form, n_harmonics=n_harmonics, noise=noise) < thd:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def clipped_sine(x: NDArray[np.float64], angle_rad: NDArray[np.float64], *, n_harmonics: int) -> NDArray[np.float64]:
    """Evaluate a clipped sine whose overdrive may change from sample to sample, without aliases.

    The limiter has no memory, so the sample at angle θ with overdrive x is ``sum b_n(x) sin(n θ)`` exactly, whatever x
    does elsewhere. The sum stops at `n_harmonics`, under half the sampling rate: nothing is left to fold back.

    Parameters
    ----------
    x : NDArray[np.float64] of shape (n_samples,)
        Peak before clipping over the limit, > 0.
    angle_rad : NDArray[np.float64] of shape (n_samples,)
    n_harmonics : int >= 1
        Highest order; ``ceil(rate / 2 / tone) - 1`` fills the band.

    Returns
    -------
    NDArray[np.float64] of shape (n_samples,)
        In units of the limit; may pass 1 a little, as every band-limited clipped sine does.
    """
    values = x * np.sin(angle_rad)
    (clipped,) = np.nonzero(x > 1)
    for start in range(0, clipped.size, _CHUNK):
        part = clipped[start : start + _CHUNK]
        values[part] = _series(x[part], angle_rad[part], n_harmonics)
    return values


def _series(x: NDArray[np.float64], theta: NDArray[np.float64], n_harmonics: int) -> NDArray[np.float64]:
    """Sum the series by rotating phasors two orders at a time, so that no sine is evaluated twice."""
    a = np.arcsin(1 / x)
    total: NDArray[np.float64] = (2 / pi) * (x * (a - np.sin(a) * np.cos(a)) + 2 * np.cos(a)) * np.sin(theta)
    even_step, theta_step = np.exp(2j * a), np.exp(2j * theta)
    below = even_step.copy()  # exp(j (n - 1) a), n = 3 first
    odd = np.exp(3j * a)
    tone = np.exp(3j * theta)
    for order in range(3, n_harmonics + 1, 2):
        above = below * even_step
        peak = 0.5 * x * (below.imag / (order - 1) - above.imag / (order + 1)) + odd.real / order
        total += (4 / pi) * peak * tone.imag
        below = above
        odd *= even_step
        tone *= theta_step
    return total
