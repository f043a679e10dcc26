"""Rings of fixed memory: the samples around a trip, and running means over any window without a loop."""

import numpy as np

from wattproof.capture.contract import Samples


class Ring:
    """The last samples of several rows; before the first sample there are zeros."""

    def __init__(self, *, n_rows: int, size: int) -> None:
        self._kept = np.zeros((n_rows, size))
        self._size = size
        self.count = 0

    def push(self, rows: Samples) -> None:
        """Keep rows of shape (n_rows, n <= size)."""
        n_new = rows.shape[1]
        at = self.count % self._size
        head = min(n_new, self._size - at)
        self._kept[:, at : at + head] = rows[:, :head]
        self._kept[:, : n_new - head] = rows[:, head:]
        self.count += n_new

    def read(self, start: int, n_samples: int, rows: slice | list[int] | int = slice(None)) -> Samples:
        """Give `n_samples` from sample `start` on, no older than the ring holds."""
        at = start % self._size
        head = min(n_samples, self._size - at)
        kept = self._kept[rows]
        first = kept[..., at : at + head]
        if head == n_samples:
            return first
        return np.concatenate([first, kept[..., : n_samples - head]], axis=-1)


class RunningSums:
    """Sums since the first sample, of several rows: any running mean is the difference of two of them."""

    def __init__(self, *, n_rows: int, longest: int, block: int) -> None:
        self._ring = Ring(n_rows=n_rows, size=longest + block)
        self._last = np.zeros((n_rows, 1))
        self._now = np.zeros((n_rows, 0))

    def push(self, rows: Samples) -> None:
        """Add a block of shape (n_rows, n)."""
        self._now = np.cumsum(rows, axis=1) + self._last
        self._last = self._now[:, -1:].copy()
        self._ring.push(self._now)

    def mean(self, row: int, window: int) -> Samples:
        """Mean over the last `window` samples up to each sample of the block; zeros stand before the first sample."""
        n_new = self._now.shape[1]
        before = self._ring.read(self._ring.count - n_new - window, n_new, row)
        return np.asarray((self._now[row] - before) / window)

    def latest(self, row: int) -> float:
        """Sum since the first sample, up to the last one seen."""
        return float(self._last[row, 0])

    def total(self, row: int) -> Samples:
        """Sum since the first sample, up to each sample of the block."""
        return np.asarray(self._now[row])


class Lasting:
    """Finds where a condition has held for so many samples in a row, across blocks."""

    def __init__(self, samples: int) -> None:
        self._needed = max(1, samples)
        self._run = 0

    def first(self, held: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> int | None:
        """Give the first sample of this block at which it has lasted long enough; None where it has not."""
        if not held.any():
            self._run = 0
            return None
        places = np.arange(len(held))
        broken = np.maximum.accumulate(np.where(held, -1 - self._run, places))
        runs = places - broken
        self._run = int(runs[-1])
        long_enough = runs >= self._needed
        return int(np.argmax(long_enough)) if long_enough.any() else None
