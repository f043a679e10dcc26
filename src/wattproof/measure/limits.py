"""Where on a ramp a limit of distortion is crossed, and how well the frames tell it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]

NEAR = 2.0
"""Frames whose distortion lies within this factor of the limit make the local curve."""

MOST_NEAR = 24
"""More frames than this on one side are too far away in time to tell anything about the crossing."""

FEWEST_TO_FIT = 4

READ_FROM = 3
"""Frames on either side of a point from which the other quantities there are read: about a third of a decibel."""

OVERLAP_DOF = 2.0
"""Frames overlap by half, so that their scatter holds about half as much news as their number."""

CLEAR = 3.0
"""A crossing counts when the local curve rises by so many times the scatter about it."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Crossing:
    """A point on a ramp between its frames.

    Attributes
    ----------
    t_s : float
        When, seconds from the record's first sample.
    t_u_s : float
        Standard uncertainty from the scatter of the frames about the local curve.
    dof : float
        Its degrees of freedom.
    frame_u_s : float
        Standard uncertainty from the frames' length: a frame shows the mean of what it holds.
    times_s : Real of shape (n_frames,)
        Centres of all frames.
    near : slice
        The frames around the point.
    """

    t_s: float
    t_u_s: float
    dof: float
    frame_u_s: float
    times_s: Real
    near: slice

    def at(self, values: Real) -> float:
        """Read a smooth quantity of all frames, shape (n_frames,), at this point."""
        return float(np.polyval(self._local(values), 0.0))

    def slope(self, values: Real) -> float:
        """Change of a quantity a second at this point."""
        return float(np.polyval(np.polyder(self._local(values)), 0.0)) / self._scale

    @property
    def _scale(self) -> float:
        return max(float(self.times_s[self.near][-1] - self.times_s[self.near][0]), 1e-9)

    def _local(self, values: Real) -> Real:
        t = (self.times_s[self.near] - self.t_s) / self._scale
        return np.asarray(np.polyfit(t, values[self.near], min(2, t.size - 1)))


def crossing(t_s: Real, thd_n: Real, limit: float, *, frame_s: float, n_cycles: int) -> Crossing | None:
    """Find where distortion passes a limit on its way up for the last time.

    Crossings on the noise-limited part, where the ratio falls with rising level, are passed over: the local curve must
    rise by more than the frames scatter. Around the crossing log(distortion) is a polynomial of time, fitted to
    the frames within a factor of two of the limit; with fewer than four of them, a straight line between two.

    Parameters
    ----------
    t_s, thd_n : Real of shape (n_frames,)
        Centres of the frames, seconds; distortion in them, V/V.
    limit : float > 0, V/V
    frame_s : float, seconds
        Length of a frame.
    n_cycles : int
        Cycles a frame: what a frame shows is the mean over the peaks that lie in it.

    Returns
    -------
    Crossing, or None where the limit is not crossed.
    """
    logs = np.log(np.maximum(thd_n, 1e-15) / limit)
    (upward,) = np.nonzero((logs[:-1] < 0) & (logs[1:] >= 0))
    for k in upward[::-1]:
        found = _local_crossing(t_s, logs, int(k), blur_s2=_blur(frame_s, n_cycles))
        if found is not None:
            return found
    return None


def _blur(frame_s: float, n_cycles: int) -> float:
    """Variance of the times of the peaks in a frame, s²: two a cycle, evenly about its centre."""
    return frame_s**2 / 12 * (1 - 1 / (2 * n_cycles) ** 2)


def _local_crossing(t_s: Real, logs: Real, k: int, *, blur_s2: float) -> Crossing | None:
    first, last = _near(logs, k)
    if last - first < FEWEST_TO_FIT:
        return _between_two(t_s, logs, k)
    t = t_s[first:last] - t_s[k]
    degree = 1 if t.size < 5 else 2 if t.size < 9 else 3
    scale = max(-t[0], t[-1])
    curve = np.polynomial.Polynomial.fit(t / scale, logs[first:last], degree, domain=(-1, 1), window=(-1, 1))
    dof = (t.size - degree - 1) / OVERLAP_DOF
    scatter = float(np.sqrt(np.sum((logs[first:last] - curve(t / scale)) ** 2) / max(t.size - degree - 1, 1)))
    rise = float(curve(1.0 if t[-1] > 0 else 0.0) - curve(max(t[0] / scale, -1.0)))
    if rise < CLEAR * scatter:
        return None
    at = _root(curve, t[max(k - first, 0)] / scale, t[min(k + 1 - first, t.size - 1)] / scale)
    slope = float(curve.deriv()(at)) / scale
    if slope <= 0:
        return _between_two(t_s, logs, k)
    bend = float(curve.deriv(2)(at)) / scale**2
    # a frame shows the mean of the squares: y**2 + blur/2 (y**2)''
    relative = min(max(blur_s2 / 2 * (2 * bend + (2 * slope) ** 2), 0.0), 1.0)
    shift_s = 0.5 * np.log1p(relative) / slope
    columns = np.vander(t / scale, degree + 1)
    lever = np.vander([at], degree + 1)[0]
    spread = float(np.sqrt(OVERLAP_DOF * lever @ np.linalg.solve(columns.T @ columns, lever))) * scatter
    return Crossing(
        t_s=float(t_s[k] + at * scale + shift_s),
        t_u_s=spread / slope,
        dof=max(dof, 1.0),
        frame_u_s=shift_s / 2,
        times_s=t_s,
        near=around(k, t_s.size),
    )


def _near(logs: Real, k: int) -> tuple[int, int]:
    """Find the first and one past the last of the frames next to k and k + 1 that lie within the factor `NEAR`."""
    close = np.abs(logs) < np.log(NEAR)
    first, last = k + 1, k + 1
    while first > 0 and close[first - 1] and k + 1 - first < MOST_NEAR:
        first -= 1
    while last < logs.size and close[last] and last - k - 1 < MOST_NEAR:
        last += 1
    return first, last


def _root(curve: "np.polynomial.Polynomial", low: float, high: float) -> float:
    """Where the curve is zero, nearest to the two frames between which the data cross it."""
    middle = (low + high) / 2
    roots = curve.roots()
    real = roots[np.abs(roots.imag) < 1e-9].real
    return float(real[np.argmin(np.abs(real - middle))]) if real.size else middle


def _between_two(t_s: Real, logs: Real, k: int) -> Crossing:
    """Draw a straight line from one frame to the next: all that is known is that it lies between them."""
    gap_s = float(t_s[k + 1] - t_s[k])
    share = float(-logs[k] / (logs[k + 1] - logs[k]))
    return Crossing(
        t_s=float(t_s[k] + share * gap_s),
        t_u_s=0.0,
        dof=1.0,
        frame_u_s=gap_s / np.sqrt(12),
        times_s=t_s,
        near=around(k, t_s.size),
    )


def around(k: int, n_frames: int) -> slice:
    """Frames `READ_FROM` on each side of the gap between k and k + 1, from which other quantities are read."""
    first = max(min(k - READ_FROM + 1, n_frames - 2 * READ_FROM), 0)
    return slice(first, min(first + 2 * READ_FROM, n_frames))
