"""The level of a record against time: bursts, drops and slopes in it."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Burst",
    "Drop",
    "Envelope",
    "cycle_rms",
    "find_bursts",
    "find_drops",
    "level_slope_db_per_s",
    "rms_envelope",
]

LOWEST_LEVEL = 1e-9
"""Level, over the record's highest, below which silence is all the same."""

MUTED_RATIO = 0.01


@dataclass(frozen=True, kw_only=True, eq=False)
class Envelope:
    """Levels at even distances in time.

    Attributes
    ----------
    rms : NDArray[np.float64] of shape (m,)
        Level in each window, the samples' unit.
    hop_s : float > 0, seconds
        From window to window.
    window_s : float >= hop_s, seconds
        Length of a window.
    first_s : float, seconds
        Centre of the first window.
    """

    rms: NDArray[np.float64]
    hop_s: float
    window_s: float
    first_s: float

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Centre of each window, seconds."""
        return self.first_s + self.hop_s * np.arange(self.rms.size, dtype=np.float64)

    @property
    def reach(self) -> int:
        """Hops after which a sudden change is through a window altogether."""
        return max(1, math.ceil(self.window_s / self.hop_s * (1 - 1e-9))) + 1


@dataclass(frozen=True, kw_only=True)
class Burst:
    """A stretch of higher level with both its edges inside the record.

    Attributes
    ----------
    start_s, stop_s : float, seconds
        Where the power passes half way from one level to the other.
    rms : float, the samples' unit
        Median level in it.
    before_rms : float, the samples' unit
        Level just before it.
    """

    start_s: float
    stop_s: float
    rms: float
    before_rms: float


@dataclass(frozen=True, kw_only=True)
class Drop:
    """A sudden fall of level and, where there is one, its return.

    Attributes
    ----------
    start_s : float, seconds
        Where the power is half way down.
    stop_s : float, seconds, or None
        Where the level is half way back (on a logarithmic scale); None where it does not come back.
    before_rms, during_rms : float, the samples' unit
        Level before the fall and median level until its end.
    """

    start_s: float
    stop_s: float | None
    before_rms: float
    during_rms: float

    @property
    def muted(self) -> bool:
        """Whether next to nothing was left: under a hundredth."""
        return self.during_rms < MUTED_RATIO * self.before_rms


def rms_envelope(samples: NDArray[np.float64], *, rate_hz: float, window_s: float, hop_s: float) -> Envelope:
    """Measure the rms in windows that follow each other at a fixed hop.

    Parameters
    ----------
    samples : NDArray[np.float64] of shape (n,)
        Any unit; offset counts.
    rate_hz : float > 0, Hz
        Samples a second.
    window_s : float > 0, seconds
        Length of a window: whole cycles of a tone for a smooth result. Rounded to whole hops, at least one.
    hop_s : float >= 1 / rate_hz, seconds
        From window to window; need not be whole samples.

    Returns
    -------
    Envelope
        Without windows where the record is shorter than one.

    Raises
    ------
    ValueError
        The hop is shorter than a sample.
    """
    hop = hop_s * rate_hz
    if not hop >= 1:
        raise ValueError(f"a hop of {hop_s} s is shorter than a sample at {rate_hz} Hz")
    n_hops = max(1, round(window_s / hop_s))
    sums = _block_sums(np.square(samples), hop)
    power = np.convolve(sums, np.ones(n_hops), mode="valid") if sums.size >= n_hops else np.empty(0)
    # A block that holds nothing may come out a rounding error below zero.
    rms: NDArray[np.float64] = np.sqrt(np.maximum(power, 0.0) / (n_hops * hop))
    return Envelope(rms=rms, hop_s=hop_s, window_s=n_hops * hop_s, first_s=n_hops * hop_s / 2 - 0.5 / rate_hz)


def cycle_rms(samples: NDArray[np.float64], *, rate_hz: float, cycle_s: float) -> NDArray[np.float64]:
    """Measure the rms of every whole cycle; what is left of the last one is not used.

    Parameters
    ----------
    samples : NDArray[np.float64] of shape (n,)
        Any unit; offset counts.
    rate_hz : float > 0, Hz
        Samples a second.
    cycle_s : float >= 1 / rate_hz, seconds
        Length of a cycle; need not be whole samples.

    Returns
    -------
    NDArray[np.float64] of shape (m,)
    """
    return rms_envelope(samples, rate_hz=rate_hz, window_s=cycle_s, hop_s=cycle_s).rms


def _block_sums(power: NDArray[np.float64], hop: float) -> NDArray[np.float64]:
    """Sum blocks of `hop` samples, the samples at their edges shared out by the part in each."""
    n_blocks = math.floor(power.size / hop * (1 + 1e-12))
    if n_blocks == 0:
        return np.empty(0)
    edges = np.minimum(hop * np.arange(n_blocks + 1), power.size)
    whole = np.floor(edges).astype(np.int64)
    sums = np.add.reduceat(power[: whole[-1]], whole[:-1])
    shared = (edges - whole) * np.append(power, 0.0)[whole]
    return np.asarray(sums + np.diff(shared), dtype=np.float64)


def find_bursts(envelope: Envelope, *, least_rise: float = 1.5, least_share: float = 0.03) -> list[Burst]:
    """Find stretches that begin and end suddenly, over silence or over a lower tone.

    An edge is a change by `least_rise` within a window and two hops; a steady tone, a slow ramp or a tone that only
    begins or only ends has none or one, and gives no burst.

    Parameters
    ----------
    envelope : Envelope
        Windows of whole cycles, shorter than the bursts.
    least_rise : float > 1, V/V
        Least step at either edge.
    least_share : float, V/V
        Bursts below this share of the highest level are noise.

    Returns
    -------
    list of Burst, in time
        Edges are right to about a hop.
    """
    level = _log_level(envelope)
    if level.size <= envelope.reach:
        return []
    change = level[envelope.reach :] - level[: -envelope.reach]
    edges = [(at, True) for at in _steepest(change, math.log(least_rise), envelope.reach)]
    edges += [(at, False) for at in _steepest(-change, math.log(least_rise), envelope.reach)]
    bursts, rise = [], None
    for at, rising in sorted(edges):
        if rising:
            rise = at
        elif rise is not None:
            bursts.append(_burst(envelope, rise, at))
            rise = None
    highest = float(envelope.rms.max())
    return [burst for burst in bursts if burst.rms >= least_share * highest]


def _burst(envelope: Envelope, rise: int, fall: int) -> Burst:
    """Measure the burst whose rising edge lies within reach after `rise`, the falling one after `fall`."""
    reach = envelope.reach
    inner = envelope.rms[rise + reach : fall + 1]
    inside = float(np.median(inner)) if inner.size else float(envelope.rms[rise : fall + reach].max())
    before, after = float(envelope.rms[rise]), float(envelope.rms[min(fall + reach, envelope.rms.size - 1)])
    return Burst(
        start_s=_crossing_s(envelope, rise, math.sqrt((inside**2 + before**2) / 2), rising=True),
        stop_s=_crossing_s(envelope, fall, math.sqrt((inside**2 + after**2) / 2), rising=False),
        rms=inside,
        before_rms=before,
    )


def find_drops(envelope: Envelope, *, fall_ratio: float = 0.7, within_s: float = 0.0) -> list[Drop]:
    """Find sudden falls of a level, as a mute, a limiter or a protection makes them, and when the level comes back.

    Parameters
    ----------
    envelope : Envelope
        The level of a hold, or of its power or its gain.
    fall_ratio : float, V/V, 0 < fall_ratio < 1
        A fall to this share of the level before, or lower, counts.
    within_s : float, seconds
        How long a fall may take; never less than the window's own smear.

    Returns
    -------
    list of Drop, in time
        A fall within a fall is listed too. The end of the tone at the end of a record is a drop without a return.
    """
    level = _log_level(envelope)
    reach = max(envelope.reach, round(within_s / envelope.hop_s))
    if level.size <= reach:
        return []
    step = -math.log(fall_ratio)
    falls = _steepest(level[:-reach] - level[reach:], step, reach)
    return [_drop(envelope, level, at, reach, step) for at in falls]


def _drop(envelope: Envelope, level: NDArray[np.float64], at: int, reach: int, step: float) -> Drop:
    before = float(envelope.rms[at])
    low = at + 1 + int(np.argmax(level[at + 1 : at + reach + 1] <= level[at] - step))
    after = float(envelope.rms[at + reach])
    back = np.flatnonzero(level[low:] >= level[at] - step / 2)
    stop = low + int(back[0]) if back.size else level.size
    rms = float(np.median(envelope.rms[low:stop]))
    start_s = _crossing_s(envelope, at, math.sqrt((before**2 + min(after, rms) ** 2) / 2), rising=False)
    return Drop(
        start_s=start_s,
        stop_s=envelope.first_s + (stop - 0.5) * envelope.hop_s if back.size else None,
        before_rms=before,
        during_rms=rms,
    )


def _log_level(envelope: Envelope) -> NDArray[np.float64]:
    highest = float(envelope.rms.max(initial=0.0))
    level: NDArray[np.float64] = np.log(
        np.maximum(envelope.rms, max(LOWEST_LEVEL * highest, np.finfo(np.float64).tiny))
    )
    return level


def _steepest(change: NDArray[np.float64], least: float, reach: int) -> list[int]:
    """Index of the greatest change in each run of changes beyond `least`; noise at the brink does not split a run."""
    beyond = np.flatnonzero(change > least)
    runs = np.split(beyond, np.flatnonzero(np.diff(beyond) > 1 + reach // 4) + 1)
    return [int(run[np.argmax(change[run])]) for run in runs if run.size]


def _crossing_s(envelope: Envelope, at: int, threshold: float, *, rising: bool) -> float:
    """Time after index `at` when the power first passes a threshold, interpolated between the windows."""
    sign = 1 if rising else -1
    power = sign * np.square(envelope.rms[at:])
    past = power >= sign * threshold**2
    index = int(np.argmax(past)) if past.any() else power.size - 1
    part = 0.0
    if index > 0 and power[index] > power[index - 1]:
        part = float((power[index] - sign * threshold**2) / (power[index] - power[index - 1]))
    return envelope.first_s + (at + index - min(max(part, 0.0), 1.0)) * envelope.hop_s


def level_slope_db_per_s(envelope: Envelope) -> float:
    """Give the slope of a level, as the median over all pairs of windows half the record apart.

    Parameters
    ----------
    envelope : Envelope
        Two windows or more.

    Returns
    -------
    float, dB/s
        Untouched by glitches in up to a quarter of the windows; of a ramp that ends in clipping, the steep part's
        while that is the longer one.

    Raises
    ------
    ValueError
        Fewer than two windows have no slope.
    """
    half = envelope.rms.size // 2
    if half == 0:
        raise ValueError(f"{envelope.rms.size} windows have no slope")
    level = _log_level(envelope)
    rise = float(np.median(level[half:] - level[:-half]))
    return 20 / math.log(10) * rise / (half * envelope.hop_s)
