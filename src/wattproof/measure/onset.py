"""Where on a ramp clipping begins: the level from which a hard limit would give the distortion that is seen."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import clipped_residue
from wattproof.measure.limits import Crossing, around

Real = NDArray[np.float64]

FLOOR = 0.002
SPAN = 10.0
"""The frames used lie between this distortion, or twice the floor, and ten times as much."""

FEWEST_FRAMES = 3
CLEAN = (0.3, 0.65)
"""Shares of the highest voltage between which there is no clipping yet: the floor is read there."""

FLOOR_SLOPES = (-1.5, 0.5)
"""Noise falls as 1/V against a rising tone, crossover about as fast; growing distortion foretells no clipping."""

BEFORE = 12
"""Frames before the rise from which the drive's slope is read."""

OVERLAP_DOF = 2.0
"""Frames overlap by half, so that their scatter holds about half as much news as their number."""

LAW_HALF = 0.0005
"""How far the closed form itself may be off, relative, of the voltage: frames do not hold whole numbers of samples."""

NOISE_POWER = 1.2
"""Noise moves the distortion d of a frame by as much as 1/d, and the limit, which goes by d**0.8, by d**-1.2."""

FEWEST_TO_BEND = 8
BEND_SCORE = 40.0
"""F value from which a bend is one: noise in eight overlapping frames looks like it in less than one of a hundred."""

SOFT_SHARE = 0.5
"""A knee that is no hard limit bends the local limit; half of what the line is followed back counts as doubt."""

BLUR_HALF = 1.0
"""What correcting for the frames' length leaves, times the square of the relative rise within a frame."""

SMEARED = 1.4
"""What a slope at the band's edge was seen to do to the onset, over the rule of thumb, at most."""

SEEN = 0.5
"""Gain of the band for the third harmonic from which a clipped wave is told by it."""

GRID = 1 + np.geomspace(1e-5, 1.5, 400)


@dataclass(frozen=True, kw_only=True, eq=False)
class Onset:
    """Where clipping begins.

    Attributes
    ----------
    volts : float
        Output voltage there, r.m.s., in the unit of the frames' volts.
    scatter_u : float
        Standard uncertainty from the scatter of the frames, same unit, with `dof` degrees of freedom.
    law_u : float
        The same from the law of the knee and from the frames' length.
    point : Crossing
        The place on the ramp.
    """

    volts: float
    scatter_u: float
    dof: float
    law_u: float
    point: Crossing


def clip_onset(
    t_s: Real, thd_n: Real, volts: Real, *, frame_s: float, n_cycles: int, gains: Real, nearby: Real, edge_hz: float
) -> Onset | None:
    """Find the level at which clipping begins.

    Every frame of the steep rise tells by its distortion how far a hard limit is exceeded in it, and so by its voltage
    where that limit lies; a straight line through these limits is followed back to no distortion.

    Parameters
    ----------
    t_s, thd_n, volts : Real of shape (n_frames,)
        Centres of the frames, seconds; distortion and noise over the total, V/V; output voltage, r.m.s.
    frame_s : float, seconds
        Length of a frame.
    n_cycles : int
        Cycles a frame.
    gains : Real of shape (n_harmonics,), V/V
        Of the measuring band for the harmonics 1, 2, 3 ...: a narrow band sees less of a clipped wave, and of a
        harmonic at its edge a part.
    nearby : Real of shape (2, n_harmonics), V/V
        The gains a little lower and a little higher in frequency, as far as a rising harmonic reaches.
    edge_hz : float > 0, Hz
        Width of the slope at the band's upper edge.

    Returns
    -------
    Onset, or None where distortion does not rise through that span.

    References
    ----------
    The closed form of the clipped sine (`wattproof.dsp.clipped_residue`); docs/methods/power_at_clip_onset.md.
    """
    floor = _floor(thd_n, volts)
    if floor is None:
        return None
    low = np.maximum(FLOOR, 2 * floor)
    (under,) = np.nonzero(thd_n < low)
    if under.size == 0 or under[-1] + FEWEST_FRAMES > thd_n.size:
        return None
    first = int(under[-1]) + 1
    (over,) = np.nonzero(thd_n[first:] > SPAN * low[first:])
    steep = slice(first, first + int(over[0]) if over.size else thd_n.size)
    if steep.stop - steep.start < FEWEST_FRAMES or gains.size < 3 or gains[2] < SEEN:
        return None
    clipping = np.sqrt(np.maximum(thd_n[steep] ** 2 - floor[steep] ** 2, 0.0))
    per_frame = _drive_slope(t_s, volts, first) * frame_s
    growth = _growth(clipping, per_frame=per_frame, n_cycles=n_cycles, gains=gains)
    found = _followed_back(t_s, volts, growth, steep, weights=clipping**NOISE_POWER, per_frame=per_frame)
    edge_half = _edge_half(np.vstack([gains, nearby]), rise_per_s=per_frame / frame_s, edge_hz=edge_hz)
    return found and replace(found, law_u=float(np.hypot(found.law_u, found.volts * edge_half / np.sqrt(3))))


def _edge_half(gains: Real, *, rise_per_s: float, edge_hz: float) -> float:
    """Say how far a harmonic on the slope at the band's edge moves the onset, relative, of the voltage.

    A slope of so many hertz spreads what it passes over as many seconds' inverse, before and after, as the level rises.
    """
    odd = gains[:, 2::2]
    share = float((odd[:, -1] ** 2 / (odd**2).sum(axis=1)).max())
    steepness = float(np.sqrt(np.maximum(odd[:, -1] * (1 - odd[:, -1]), 0.0)).max())
    return SMEARED * share * abs(rise_per_s) * steepness / edge_hz


def _floor(thd_n: Real, volts: Real) -> Real | None:
    """Give what there is besides clipping in every frame: a power of the voltage, read well below the rise."""
    clean = (volts > CLEAN[0] * volts.max()) & (volts < CLEAN[1] * volts.max()) & (thd_n > 0)
    if not clean.any():
        return None
    middle = float(np.median(np.log(volts[clean])))
    level = float(np.median(np.log(thd_n[clean])))
    slope = 0.0
    if np.count_nonzero(clean) > FEWEST_FRAMES:
        slope = float(np.clip(np.polyfit(np.log(volts[clean]), np.log(thd_n[clean]), 1)[0], *FLOOR_SLOPES))
    # below the span the line says nothing that is needed, and a silent frame has no logarithm
    above = np.maximum(np.log(np.maximum(volts, 1e-300)) - middle, -1.0)
    return np.asarray(np.exp(level + slope * above))


def _drive_slope(t_s: Real, volts: Real, first: int) -> float:
    """Rise of the level just before the rise of distortion, nepers a second: that of the drive."""
    before = slice(max(first - BEFORE, 0), max(first, 2))
    return float(np.polyfit(t_s[before] - t_s[first], np.log(np.maximum(volts[before], 1e-300)), 1)[0])


def _growth(clipping: Real, *, per_frame: float, n_cycles: int, gains: Real) -> Real:
    """Voltage of a hard-clipped sine over that at its limit, from its distortion, V/V.

    A frame shows the mean of what its peaks lose, two a cycle and each at its own level.
    """
    residue = clipped_residue(GRID, gains=gains)
    peaks = (np.arange(2 * n_cycles) + 0.5) / (2 * n_cycles) - 0.5
    # as the square root the residue is nearly a power of the excess, which straight lines follow best
    at_peaks = np.interp(GRID[:, np.newaxis] * np.exp(per_frame * peaks), GRID, np.sqrt(residue), left=0.0) ** 2
    left = at_peaks.mean(axis=1)
    angle = np.arcsin(1 / GRID)
    fundamental = 2 / np.pi * (GRID * angle + np.cos(angle))
    total = fundamental**2 / 2 + left
    return np.asarray(np.interp(clipping, np.sqrt(left / total), np.sqrt(2 * total)))


def _followed_back(
    t_s: Real, volts: Real, growth: Real, steep: slice, *, weights: Real, per_frame: float
) -> Onset | None:
    x, limits = growth - 1, volts[steep] / growth
    if x.max() <= 0 or weights.max() <= 0:
        return None
    line = _line(x / x.max(), limits, weights / weights.max())
    foot, spread, dof = line.foot, line.foot_u, line.dof
    (below,) = np.nonzero(volts[: steep.stop] < foot)
    if foot <= 0 or below.size == 0:
        return None
    k = min(int(below[-1]), t_s.size - 2)
    share = float(np.clip((foot - volts[k]) / (volts[k + 1] - volts[k]), 0.0, 1.0))
    point = Crossing(
        t_s=float(t_s[k] + share * (t_s[k + 1] - t_s[k])),
        t_u_s=0.0,
        dof=1.0,
        frame_u_s=0.0,
        times_s=t_s,
        near=around(k, t_s.size),
    )
    soft = SOFT_SHARE * abs(line.lowest - foot)
    half = float(np.hypot(foot * np.hypot(LAW_HALF, BLUR_HALF * per_frame**2), soft))
    return Onset(volts=foot, scatter_u=spread, dof=max(dof / OVERLAP_DOF, 1.0), law_u=half / np.sqrt(3), point=point)


@dataclass(frozen=True, kw_only=True)
class _Line:
    """A weighted line, or a bent one, through the limits: its foot with standard uncertainty, and its lowest frame."""

    foot: float
    foot_u: float
    dof: int
    lowest: float


def _line(x: Real, limits: Real, weights: Real) -> _Line:
    """Fit a straight line, bent only where the frames show the bend clearly: a soft knee does, noise does not."""
    straight, left = _fitted(x, limits, weights, degree=1)
    if x.size < FEWEST_TO_BEND:
        return straight
    bent, less = _fitted(x, limits, weights, degree=2)
    if left - less <= BEND_SCORE * less / bent.dof:
        return straight
    # where the bend is clear the knee's shape outweighs the noise, and the lowest frames know best where it begins
    return _fitted(x, limits, np.ones_like(x), degree=2)[0]


def _fitted(x: Real, limits: Real, weights: Real, *, degree: int) -> tuple[_Line, float]:
    columns = np.vander(x, degree + 1, increasing=True)
    weighted = columns * weights[:, np.newaxis]
    terms, *_ = np.linalg.lstsq(weighted, limits * weights, rcond=None)
    left = float(np.sum(((limits - columns @ terms) * weights) ** 2))
    dof = max(x.size - degree - 1, 1)
    lever = float(np.linalg.pinv(weighted.T @ weighted)[0, 0])
    foot_u = float(np.sqrt(OVERLAP_DOF * lever * left / dof))
    return _Line(foot=float(terms[0]), foot_u=foot_u, dof=dof, lowest=float(columns[0] @ terms)), left
