"""How a limit bends a sine: distortion and power against how far the drive goes past it, for hard and for soft knees.

The transfer is hard clipping at ±1 smeared by a bell of width `knee`, whose integral is in closed form::

    y(u) = knee/2 · ( ln cosh((u + 1)/knee) − ln cosh((u − 1)/knee) )

At ``knee = 0`` it is hard clipping: 1 % of distortion comes at 1.0475 times the power where clipping begins, 10 % at
1.2878 times (both checked in the tests against the closed form in `dsp`).
"""

from collections.abc import Callable
from functools import cache
from math import pi, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]

SOFTEST = 0.6
"""A knee wider than this has no flat top left at any drive of practice."""

_ANGLES = 4096
_MOST_DRIVE = 1e3
_NODES = 33


class Bent(NamedTuple):
    """A sine after the limit, in units of the limit.

    Attributes
    ----------
    rms, fundamental_rms : float
        Of all, and of the fundamental.
    thd_f, thd_r : float, V/V
        Over the fundamental, and over all (what THD+N without noise reads).
    overdrive : float
        Peak of the sine before the limit.
    """

    rms: float
    fundamental_rms: float
    thd_f: float
    thd_r: float
    overdrive: float


def bend(values: Real, knee: float) -> Real:
    """Limit values, in units of the limit.

    Parameters
    ----------
    values : Real
        Any shape.
    knee : float, 0 to SOFTEST
        Width of the smearing, in units of the limit.
    """
    if knee == 0:
        return np.clip(values, -1.0, 1.0)
    up, down = (values + 1) / knee, (values - 1) / knee
    bent: Real = knee / 2 * (np.logaddexp(up, -up) - np.logaddexp(down, -down))
    return bent


def bent_sine(overdrive: float, knee: float) -> Bent:
    """Give what becomes of a sine whose peak would be `overdrive` times the limit.

    Averages over one cycle by the rectangle rule, which is exact to the rule's order for a periodic function: 4,096
    angles leave 1e-7 of a hard clip's distortion.
    """
    sine = np.sin((np.arange(_ANGLES) + 0.5) * (2 * pi / _ANGLES))
    bent = bend(overdrive * sine, knee)
    square = float(np.mean(bent**2))
    fundamental = sqrt(2) * float(np.mean(bent * sine))
    rest = sqrt(max(square - fundamental**2, 0.0))
    return Bent(
        rms=sqrt(square),
        fundamental_rms=fundamental,
        thd_f=rest / fundamental,
        thd_r=rest / sqrt(square),
        overdrive=overdrive,
    )


@cache
def _tables(thd_n: float) -> Callable[[float], Real]:
    """Give r.m.s., fundamental and overdrive at a limit as smooth functions of the knee, through 33 exact values."""
    from scipy.interpolate import CubicSpline

    knees = SOFTEST * np.linspace(0.0, 1.0, _NODES) ** 2
    exact = [_sine_with(thd_n, float(knee)) for knee in knees]
    spline = CubicSpline(np.sqrt(knees), [[bent.rms, bent.fundamental_rms, bent.overdrive] for bent in exact])
    return lambda knee: np.asarray(spline(sqrt(knee)), dtype=np.float64)


def _sine_with(thd_n: float, knee: float) -> Bent:
    from scipy.optimize import brentq

    def excess(overdrive: float) -> float:
        return bent_sine(overdrive, knee).thd_r - thd_n

    return bent_sine(float(brentq(excess, 1e-3, _MOST_DRIVE, xtol=1e-10)), knee)


def at_limit(thd_n: float, knee: float) -> Bent:
    """Give the sine whose distortion is just `thd_n`.

    Parameters
    ----------
    thd_n : float, V/V of the total, 0.0001 to 0.4
    knee : float, 0 to SOFTEST

    Raises
    ------
    ValueError
        The limit is out of that range.
    """
    if not 1e-4 <= thd_n <= 0.4:
        raise ValueError(f"a distortion limit of {thd_n:g} V/V is out of 0.0001 to 0.4")
    rms, fundamental, overdrive = (float(value) for value in _tables(float(thd_n))(knee))
    thd_f = thd_n / sqrt(1 - thd_n**2)
    return Bent(rms=rms, fundamental_rms=fundamental, thd_f=thd_f, thd_r=thd_n, overdrive=overdrive)
