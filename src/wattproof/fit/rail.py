"""The limiting voltage of an output: what its rail, its resistance and its current limit let through."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.fit.knee import Bent, at_limit

Real = NDArray[np.float64]

_CORNER = 0.01
"""Relative width in which rail limit and current limit pass into each other."""


@dataclass(frozen=True, kw_only=True)
class Limit:
    """What limits an output.

    Attributes
    ----------
    rail_v : float, V peak
        Reached without load at `reference_v` of supply.
    rail_exponent : float
        How the rail follows the supply: 0 not at all, 1 in proportion.
    output_ohm : float
        Of the stage, its filter and its wiring, and of the converter as seen from the output.
    limit_a : float or None, A peak
        Current limit; None where none was seen.
    knee : float
        Softness, in units of the limit.
    reference_v : float, V
    """

    rail_v: float
    rail_exponent: float
    output_ohm: float
    limit_a: float | None
    knee: float
    reference_v: float

    def open_v(self, supply_v: float) -> float:
        """Peak volts that the output could reach without load."""
        return self.rail_v * float((supply_v / self.reference_v) ** self.rail_exponent)

    def peak_v(self, supply_v: float, load_ohm: float) -> float:
        """Peak volts at the load where the limit bites, whichever is nearer: rail or current."""
        from_rail = self.open_v(supply_v) * load_ohm / (load_ohm + self.output_ohm)
        if self.limit_a is None:
            return from_rail
        return soft_minimum(from_rail, self.limit_a * load_ohm)

    def peaks_v(self, supply_v: Real, load_ohm: Real) -> Real:
        """Give `peak_v` of many supply voltages and loads at once."""
        from_rail = self.rail_v * (supply_v / self.reference_v) ** self.rail_exponent * load_ohm
        from_rail /= load_ohm + self.output_ohm
        return from_rail if self.limit_a is None else _soft_minima(from_rail, self.limit_a * load_ohm)

    def limited_by_current(self, supply_v: float, load_ohm: float) -> bool:
        """Whether the current limit is the nearer one."""
        if self.limit_a is None:
            return False
        return self.limit_a * load_ohm < self.open_v(supply_v) * load_ohm / (load_ohm + self.output_ohm)

    def sine_at(self, thd_n: float) -> Bent:
        """Give the sine that just reaches a distortion limit, in units of `peak_v`."""
        return at_limit(thd_n, self.knee)

    def voltage_v_rms(self, supply_v: float, load_ohm: float, thd_n: float) -> float:
        """R.m.s. volts at the load at a limit of distortion."""
        return self.sine_at(thd_n).rms * self.peak_v(supply_v, load_ohm)


def soft_minimum(first: float, second: float) -> float:
    """Give the smaller of two positive numbers, rounded off where they are nearly equal.

    Examples
    --------
    >>> round(soft_minimum(10.0, 20.0), 6), round(soft_minimum(10.0, 10.0), 3)
    (10.0, 9.931)
    """
    return float(_soft_minima(np.array(first), np.array(second)))


def _soft_minima(first: Real, second: Real) -> Real:
    least = np.minimum(first, second)
    width = _CORNER * least
    minima: Real = least - width * np.logaddexp((least - first) / width, (least - second) / width)
    return minima
