"""The largest magnitude a wave reaches, between its samples too."""

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["crest_factor", "true_peak"]

BLOCK = 256
MOST_BLOCKS = 32
CANDIDATES_A_BLOCK = 4
CANDIDATES_AT_THE_END = 64
REACH = 32
"""Samples to either side that the interpolation weighs."""

STEPS = 32
"""Positions tried from one sample before a candidate to one after it, a side."""

KAISER_BETA = 8.0


def true_peak(samples: NDArray[np.float64]) -> float:
    """Find the largest magnitude of the band-limited wave that the samples stand for.

    Only the surroundings of the largest samples are interpolated, by a Kaiser-windowed sinc over 64 samples and a
    parabola through the best of its points: right to 1e-4 for tones up to 0.43 of the sample rate. Within 32 samples
    of an end nothing is interpolated, for what lies beyond is not known.

    Parameters
    ----------
    samples : NDArray[np.float64] of shape (n,), n >= 1
        Any unit, offset included.

    Returns
    -------
    float >= 0, the samples' unit
        Never less than the largest sample.

    References
    ----------
    docs/methods/crest-factor.md.
    """
    largest = float(max(samples.max(), -samples.min()))
    near = _candidates(samples)
    near = near[(near >= REACH) & (near < samples.size - REACH)]
    if near.size == 0:
        return largest
    around = samples[near[:, np.newaxis] + np.arange(-REACH, REACH + 1)]
    between = np.abs(around @ _kernels())
    best = np.argmax(between[:, 1:-1], axis=1) + 1
    rows = np.arange(near.size)
    before, top, after = between[rows, best - 1], between[rows, best], between[rows, best + 1]
    bend = 2 * top - before - after
    summit = top + (before - after) ** 2 / (8 * np.where((top >= before) & (top >= after) & (bend > 0), bend, np.inf))
    return max(largest, float(summit.max()))


def crest_factor(samples: NDArray[np.float64]) -> float:
    """Give the true peak over the rms: √2 for a sine, 1 for a square wave.

    Parameters
    ----------
    samples : NDArray[np.float64] of shape (n,)
        Whole cycles, offset included; not all zero.

    Returns
    -------
    float >= 1, V/V
    """
    return true_peak(samples) / math.sqrt(float(samples @ samples) / samples.size)


def _candidates(samples: NDArray[np.float64]) -> NDArray[np.int64]:
    """Pick the largest few samples of each of the blocks that reach highest."""
    whole = samples.size // BLOCK * BLOCK
    blocks = samples[:whole].reshape(-1, BLOCK)
    height = np.maximum(blocks.max(axis=1), -blocks.min(axis=1))
    chosen = np.argsort(height)[-MOST_BLOCKS:]
    inside = np.argpartition(np.abs(blocks[chosen]), -CANDIDATES_A_BLOCK, axis=1)[:, -CANDIDATES_A_BLOCK:]
    rest = samples.size - whole
    tail = whole + np.argsort(np.abs(samples[whole:]))[max(0, rest - CANDIDATES_AT_THE_END) :]
    return np.concatenate([(chosen[:, np.newaxis] * BLOCK + inside).ravel(), tail]).astype(np.int64)


def _kernels() -> NDArray[np.float64]:
    """Weights of the 65 samples around a candidate for each position between its neighbours."""
    position = np.linspace(-1, 1, 2 * STEPS + 1)
    distance = np.arange(-REACH, REACH + 1)[:, np.newaxis] - position
    inside = np.clip(1 - np.square(distance / (REACH + 1)), 0, None)
    window = np.i0(KAISER_BETA * np.sqrt(inside)) / np.i0(KAISER_BETA)
    weights: NDArray[np.float64] = np.sinc(distance) * window
    return weights
