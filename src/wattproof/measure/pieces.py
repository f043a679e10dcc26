"""A record cut into like pieces of whole cycles: how their means scatter is how well the record's mean is known."""

import numpy as np
from numpy.typing import NDArray

Real = NDArray[np.float64]

MOST_PIECES = 16
FEWEST_PIECES = 4


def piece_edges(n_samples: int, *, cycle_samples: float, fewest_cycles: float = 1.0) -> NDArray[np.int64] | None:
    """First samples of 4 to 16 pieces of equally many whole cycles, and the end of the last one.

    Parameters
    ----------
    n_samples : int
    cycle_samples : float > 0
        Samples in a cycle; pieces start at the nearest sample.
    fewest_cycles : float >= 1
        Cycles a piece has at least.

    Returns
    -------
    NDArray[np.int64] of shape (pieces + 1,), or None where the record is too short for four
    """
    pieces = int(min(MOST_PIECES, n_samples / cycle_samples / fewest_cycles))
    if pieces < FEWEST_PIECES:
        return None
    cycles = int(n_samples / pieces / cycle_samples)
    edges = np.round(np.arange(pieces + 1) * cycles * cycle_samples).astype(np.int64)
    return np.minimum(edges, n_samples)


def piece_means(values: Real, edges: NDArray[np.int64]) -> Real:
    """Mean of each piece, shape (pieces,)."""
    sums: Real = np.add.reduceat(values[: edges[-1]], edges[:-1])
    return sums / np.diff(edges)


def scatter_of_mean(values: Real, cycle_samples: float | None) -> tuple[float, float]:
    """Judge a record's mean: standard uncertainty and degrees of freedom from how its pieces scatter.

    A record too short for four pieces is judged by what its samples scatter, ripple and all: too much rather than too
    little.
    """
    edges = piece_edges(values.size, cycle_samples=max(cycle_samples or 1.0, 1.0))
    if edges is None:
        return float(values.std(ddof=1) / np.sqrt(values.size)) if values.size > 1 else 0.0, max(values.size - 1, 1)
    means = piece_means(values, edges)
    return float(means.std(ddof=1) / np.sqrt(means.size)), means.size - 1
