"""Running statistics of a record, block by block: extremes, mean, r.m.s., and the samples that cannot be trusted."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wattproof.waveform import Channel, Recording

OFF_SCALE = 9.9e36  # recorders mark what ran off their screen with 9.9E+37; nothing on a bench is near it
FLOAT_STEP = 2.0**-15  # a float file made from a 16-bit recorder clips one such step below full scale
LEAST_LEVELS = 32  # fewer are DC or logic: standing at an extreme means nothing there
LEAST_FLAT = 8
LEAST_RUNS = 3
STEEPER = 5.0  # the top code of an unclipped sine holds at most 2.42 times as many samples as the next one

Floats = NDArray[np.float32] | NDArray[np.float64]
Rows = NDArray[np.float64]


class Tally:
    """Statistics of each channel; NaN and off-scale samples are counted and left out of the rest.

    All arrays have shape (n_channels,).
    """

    def __init__(self, channels: Sequence[Channel]) -> None:
        n = len(channels)
        self.count = np.zeros(n, dtype=np.int64)
        self.nan = np.zeros(n, dtype=np.int64)
        self.off_scale = np.zeros(n, dtype=np.int64)
        self.above = np.zeros(n, dtype=np.int64)
        self.total = np.zeros(n)
        self.squares = np.zeros(n)
        self.low = np.full(n, np.inf)
        self.high = np.full(n, -np.inf)
        self.full_scale = np.array([channel.full_scale or np.inf for channel in channels])
        steps = np.array([channel.step or FLOAT_STEP * (channel.full_scale or 0.0) for channel in channels])
        self.rails = RailCount(self.full_scale - 1.25 * steps)

    def add(self, block: Floats) -> None:
        """Add samples of shape (n_samples, n_channels)."""
        with np.errstate(invalid="ignore"):  # some NaN complain when touched
            rows = np.ascontiguousarray(block.T, dtype=np.float64)
            low, high = rows.min(axis=1), rows.max(axis=1)
            largest = np.maximum(-low, high)
        if not (largest < OFF_SCALE).all():  # NaN among the samples makes this false as well
            rows, low, high = self._without_bad(rows)
            largest = np.maximum(-low, high)
        else:
            self.count += rows.shape[1]
        self.low, self.high = np.minimum(self.low, low), np.maximum(self.high, high)
        self.total += rows.sum(axis=1)
        self.squares += np.einsum("ij,ij->i", rows, rows)
        if (largest > self.full_scale).any():
            self.above += (np.abs(rows) > self.full_scale[:, None]).sum(axis=1)
        self.rails.add(rows, largest)

    def _without_bad(self, rows: Rows) -> tuple[Rows, Rows, Rows]:
        """Count NaN and off-scale samples; give the rest with zeros in their place, and its extremes."""
        with np.errstate(invalid="ignore"):
            good = np.abs(rows) < OFF_SCALE
        missing = np.isnan(rows)
        self.nan += missing.sum(axis=1)
        self.off_scale += (~good & ~missing).sum(axis=1)
        self.count += good.sum(axis=1)
        low = np.where(good, rows, np.inf).min(axis=1)
        high = np.where(good, rows, -np.inf).max(axis=1)
        return np.where(good, rows, 0.0), low, high


class RailCount:
    """Samples that stand at a limit: equal to their neighbour, and at least `threshold` in magnitude."""

    def __init__(self, threshold: Rows) -> None:
        self.threshold = threshold
        self.samples = np.zeros(threshold.size, dtype=np.int64)
        self.runs = np.zeros(threshold.size, dtype=np.int64)
        self._last = np.full((threshold.size, 1), np.nan)
        self._last_counted = np.zeros(threshold.size, dtype=bool)

    def add(self, rows: Rows, largest: Rows) -> None:
        """Add samples of shape (n_channels, n_samples), which follow those of the last call, and their magnitudes."""
        if (largest >= self.threshold).any():
            self._count(np.concatenate([self._last, rows], axis=1))
        else:
            self._last_counted = np.zeros_like(self._last_counted)
        self._last = rows[:, -1:].copy()

    def _count(self, joined: Rows) -> None:
        pairs = (joined[:, 1:] == joined[:, :-1]) & (np.abs(joined[:, 1:]) >= self.threshold[:, None])
        inside = np.zeros(joined.shape, dtype=bool)
        inside[:, 1:] |= pairs
        inside[:, :-1] |= pairs
        starts = pairs.copy()
        starts[:, 1:] &= ~pairs[:, :-1]
        starts[:, 0] &= ~self._last_counted
        self.samples += inside[:, 1:].sum(axis=1) + (inside[:, 0] & ~self._last_counted)
        self.runs += starts.sum(axis=1)
        self._last_counted = pairs[:, -1]


def flat_extremes(recording: Recording, low: float, high: float, *, index: int, block_samples: int) -> tuple[int, int]:
    """Count samples that stand at the lowest or highest value as a recorder at its limit would, not as a signal does.

    For a channel whose full scale is unknown. Standing at an extreme is suspicious only where the record has many
    levels, comes back to the very same value in several places, and has far more samples there than at the next value
    inwards: an unclipped sine has at most 2.42 times as many, seen through any step; logic and DC have few levels.

    Returns
    -------
    samples, runs
        (0, 0) where nothing is suspicious.
    """
    sides = [_Side(1.0, high), _Side(-1.0, low)]
    levels: set[float] = set()
    for block in recording.blocks(block_samples):
        with np.errstate(invalid="ignore"):  # some NaN complain when touched
            values = block[:, index].astype(np.float64)
            for side in sides:
                side.add(values)
        if len(levels) < LEAST_LEVELS:
            levels.update(np.unique(values[np.isfinite(values)]).tolist())
    if len(levels) < LEAST_LEVELS:
        return 0, 0
    return sum(side.suspicious()[0] for side in sides), sum(side.suspicious()[1] for side in sides)


class _Side:
    """The highest value (of the samples times `sign`), and the next one inwards."""

    def __init__(self, sign: float, extreme: float) -> None:
        self.sign = sign
        self.extreme = sign * extreme
        self.at_extreme = 0
        self.next_value = -np.inf
        self.at_next = 0
        self.rails = RailCount(np.zeros(1))

    def add(self, values: NDArray[np.float64]) -> None:
        signed = self.sign * values
        at = signed == self.extreme
        self.at_extreme += int(at.sum())
        self.rails.add(np.where(at, signed, np.nan)[None, :], np.full(1, np.inf))
        inner = signed[signed < self.extreme]
        if inner.size:
            highest = float(inner.max())
            if highest > self.next_value:
                self.next_value, self.at_next = highest, 0
            self.at_next += int((inner == self.next_value).sum())

    def suspicious(self) -> tuple[int, int]:
        samples, runs = int(self.rails.samples[0]), int(self.rails.runs[0])
        if self.extreme == 0 or runs < LEAST_RUNS or samples < max(LEAST_FLAT, 2 * runs):
            return 0, 0
        enough = samples >= 0.9 * self.at_extreme and self.at_extreme >= STEEPER * self.at_next
        return (samples, runs) if enough else (0, 0)
