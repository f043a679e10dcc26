"""The course of a step's level and of its power, by which seconds, joules and heat are reckoned."""

from dataclasses import dataclass
from math import log10

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import clipped_power

Real = NDArray[np.float64]

FAST_DB_PER_S = 12.0
SLOW_DB_PER_S = 2.0
SLOW_FROM_DB = 3.0
"""The slow part begins so far below the expected knee."""

_POINTS = 2000


@dataclass(frozen=True, kw_only=True)
class RampLaw:
    """The level asked of an output over time: straight lines in decibels, fast and then slow.

    Attributes
    ----------
    from_v, to_v : float, V rms
        Asked for at the beginning, and at most.
    knee_v : float or None, V rms
        Where clipping is expected; None: slow all the way.
    """

    from_v: float
    to_v: float
    knee_v: float | None
    fast_db_per_s: float = FAST_DB_PER_S
    slow_db_per_s: float = SLOW_DB_PER_S

    @property
    def slow_from_v(self) -> float:
        """Level at which the slow part begins, V rms."""
        if self.knee_v is None:
            return self.from_v
        return min(max(self.knee_v * 10 ** (-SLOW_FROM_DB / 20), self.from_v), self.to_v)

    @property
    def seconds(self) -> float:
        """Seconds to the highest level."""
        return self.time_at(self.to_v)

    def time_at(self, level_v: float) -> float:
        """Seconds after which a level is asked for.

        Parameters
        ----------
        level_v : float, V rms
            From the lowest level up.
        """
        fast = decibels(min(level_v, self.slow_from_v) / self.from_v) / self.fast_db_per_s
        return fast + decibels(max(level_v / self.slow_from_v, 1.0)) / self.slow_db_per_s

    def level_at(self, t_s: Real) -> Real:
        """Level asked for, V rms, at times, s, of any shape."""
        turn_s = self.time_at(self.slow_from_v)
        gain_db = self.fast_db_per_s * np.minimum(t_s, turn_s) + self.slow_db_per_s * np.maximum(t_s - turn_s, 0.0)
        return np.asarray(self.from_v * 10 ** (gain_db / 20))


def decibels(ratio: float) -> float:
    """Give 20 lg of a ratio of voltages."""
    return 20 * log10(ratio)


def delivered_w(level_v: Real, *, knee_v: float | None, load_ohm: float) -> Real:
    """Power into one load, W, when a level is asked for: clean up to the knee, hard-clipped above it.

    Parameters
    ----------
    level_v : Real of shape (n,), V rms
        The sine that the output would give if it could.
    knee_v : float or None, V rms
        Largest clean sine; None: never clipped.
    load_ohm : float, ohm

    Returns
    -------
    Real of shape (n,), W
    """
    clean = level_v**2 / load_ohm
    if knee_v is None:
        return np.asarray(clean)
    overdrive = level_v / knee_v
    clipped = [clipped_power(x) if x >= 1 else x * x for x in overdrive]
    return np.array(clipped) * knee_v**2 / load_ohm


def ramp_power(law: RampLaw, *, end_v: float, load_ohm: float) -> tuple[Real, Real]:
    """Give times, s, and the power into one load, W, of a ramp that ends at a level, each of shape (n,)."""
    t_s = np.linspace(0.0, law.time_at(end_v), _POINTS)
    return t_s, delivered_w(law.level_at(t_s), knee_v=law.knee_v, load_ohm=load_ohm)
