"""Axes of the growing curve: fixed from the first frame on, for the whole capture is known before."""

from dataclasses import dataclass
from math import ceil, floor, log10

import numpy as np
from numpy.typing import NDArray

from wattproof.publish.overlay_course import Course
from wattproof.publish.overlay_words import shown_unit

Real = NDArray[np.float64]

DEEPEST = 1e-4
"""Of the largest power: what is lower is not drawn."""


@dataclass(frozen=True, kw_only=True)
class Axis:
    """From its lower to its upper end, straight or by decades."""

    low: float
    high: float
    log: bool

    def place(self, values: Real) -> Real:
        """Give where values lie, 0 at the lower and 1 at the upper end; NaN outside."""
        with np.errstate(invalid="ignore", divide="ignore"):
            if self.log:
                places = np.log(values / self.low) / np.log(self.high / self.low)
            else:
                places = (values - self.low) / (self.high - self.low)
            return np.where((places >= -1e-9) & (places <= 1 + 1e-9), np.clip(places, 0, 1), np.nan)

    def ticks(self, most: int) -> list[tuple[float, str]]:
        """Give round numbers along the axis with what is written beside them."""
        values = self._decades(most) if self.log else self._steps(most)
        return [(value, f"{value:g}") for value in values]

    def _decades(self, most: int) -> list[float]:
        first, last = ceil(log10(self.low) - 1e-9), floor(log10(self.high) + 1e-9)
        every = max(ceil((last - first + 1) / most), 1)
        decades = [10.0**power for power in range(last, first - 1, -every)]
        return decades[::-1]

    def _steps(self, most: int) -> list[float]:
        step = _round_step((self.high - self.low) / most)
        count = floor((self.high - self.low) / step + 1e-9)
        return [round(self.low + k * step, 12) for k in range(count + 1)]


def _round_step(least: float) -> float:
    decade = 10.0 ** floor(log10(least))
    return next(m * decade for m in (1, 2, 2.5, 5, 10) if m * decade >= least * (1 - 1e-9))


@dataclass(frozen=True, kw_only=True, eq=False)
class Curve:
    """The growing curve: what stands on which axis, one point for each of the course's.

    Attributes
    ----------
    x, y : Real of shape (n_points,)
        0 to 1 from the lower left corner; NaN where a point lies outside or is not known.
    dots : bool
        True where points stand apart (bursts), False where a line joins them.
    claim : float or None
        Where the claimed power lies on its axis, 0 to 1.
    claim_upright : bool
        The mark is an upright line (power is on the lower axis).
    words : str
        Which chart it is, one of the words' `CHARTS`.
    """

    x_axis: Axis
    y_axis: Axis
    x: Real
    y: Real
    dots: bool
    claim: float | None
    claim_upright: bool
    words: str


def curve_of(course: Course, *, claim_w: float | None) -> Curve | None:
    """Choose the curve for a capture: distortion against power for ramps, power over time for others.

    Where there is no power it is distortion over time; None where there is neither.
    """
    power, thd_n = course.columns.get("load_power"), course.columns.get("thd_n")
    if course.kind == "ramp" and power is not None and thd_n is not None and np.nanmax(power) > 0:
        return _ramp(power, shown_unit("thd_n", 1.0) * thd_n, claim_w)
    chosen = power if power is not None else thd_n
    if chosen is None:
        return None
    quantity = "load_power" if power is not None else "thd_n"
    return _over_time(course, shown_unit(quantity, 1.0) * chosen, claim_w if power is not None else None, quantity)


def _ramp(power_w: Real, thd_percent: Real, claim_w: float | None) -> Curve:
    top_w = max(float(np.nanmax(power_w)), claim_w or 0.0)
    positive = thd_percent[thd_percent > 0]
    drawn = positive[power_w[thd_percent > 0] > DEEPEST * top_w]
    floor_percent = float(drawn.min()) if drawn.size else 0.01
    high = 10.0 ** ceil(log10(max(float(np.nanmax(drawn, initial=floor_percent)), 1.0) * 0.9999))
    x_axis = Axis(low=10.0 ** floor(log10(DEEPEST * 10 * top_w)), high=1.25 * top_w, log=True)
    y_axis = Axis(low=min(10.0 ** floor(log10(floor_percent)), high / 100), high=high, log=True)
    claim = None if claim_w is None else float(x_axis.place(np.array([claim_w]))[0])
    return Curve(
        x_axis=x_axis, y_axis=y_axis, x=x_axis.place(power_w), y=y_axis.place(thd_percent), dots=False, claim=claim,
        claim_upright=True, words="ramp",
    )  # fmt: skip


def _over_time(course: Course, values: Real, claim_w: float | None, quantity: str) -> Curve:
    top = max(float(np.nanmax(values)), claim_w or 0.0)
    step = _round_step(1.15 * top / 3) if top > 0 else 1.0
    x_axis = Axis(low=0.0, high=course.duration_s, log=False)
    y_axis = Axis(low=0.0, high=step * ceil(1.1 * top / step) if top > 0 else 1.0, log=False)
    claim = None if claim_w is None else float(y_axis.place(np.array([claim_w]))[0])
    return Curve(
        x_axis=x_axis,
        y_axis=y_axis,
        x=x_axis.place(course.known_s),
        y=y_axis.place(values),
        dots=course.kind == "burst",
        claim=claim,
        claim_upright=False,
        words="time" if quantity == "load_power" else "thd",
    )
