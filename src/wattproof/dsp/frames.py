"""A tone whose level changes, cut into overlapping frames of whole cycles that are all fitted at once."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations_with_replacement

import numpy as np
from numpy.typing import NDArray

__all__ = ["FrameFit", "FrameGrid", "cut_frames", "fit_frames", "frame_length", "frame_means", "whole_cycles"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

OVERLAP = 2
"""Each frame starts half a frame after the one before: what happens at an edge of one is at the centre of another."""

CHUNK_SAMPLES = 1 << 18
"""Frames are worked on in groups of about so many samples, so that a group stays in the processor's cache."""

STEEPEST = 0.5
"""Nepers a frame beyond which a level's change is a switch, not a slope: its square is then left out of the model."""


@dataclass(frozen=True, kw_only=True, eq=False)
class FrameGrid:
    """Where the frames lie.

    Attributes
    ----------
    starts : NDArray[np.int64] of shape (n_frames,)
        First sample of each frame.
    length : int
        Samples a frame: `n_cycles` cycles rounded up.
    n_cycles : int
        Cycles a frame.
    tone_hz, rate_hz : float > 0, Hz
    """

    starts: NDArray[np.int64]
    length: int
    n_cycles: int
    tone_hz: float
    rate_hz: float

    @property
    def n_frames(self) -> int:
        """How many frames there are."""
        return int(self.starts.size)

    @cached_property
    def centres_s(self) -> Real:
        """Time of each frame's centre from the first sample, seconds, shape (n_frames,)."""
        return np.asarray((self.starts + (self.length - 1) / 2) / self.rate_hz)

    @property
    def frame_s(self) -> float:
        """Length of a frame, seconds."""
        return self.length / self.rate_hz

    @property
    def offsets_s(self) -> Real:
        """Time of a frame's samples from its centre, seconds, shape (length,)."""
        return np.asarray((np.arange(self.length) - (self.length - 1) / 2) / self.rate_hz)

    @property
    def weights(self) -> Real:
        """Weight of a frame's samples, shape (length,): 1, and less at both ends so that they sum to whole cycles."""
        weights = np.ones(self.length)
        surplus = self.length - self.n_cycles * self.rate_hz / self.tone_hz
        weights[0] -= surplus / 2
        weights[-1] -= surplus / 2
        return weights

    def chunks(self, n_channels: int) -> Iterator[slice]:
        """Give groups of frames that hold about `CHUNK_SAMPLES` samples in all channels."""
        size = max(1, CHUNK_SAMPLES // (self.length * n_channels))
        for first in range(0, self.n_frames, size):
            yield slice(first, min(first + size, self.n_frames))


@dataclass(frozen=True, kw_only=True, eq=False)
class FrameFit:
    """The tone in every frame of every channel, and what it leaves.

    Attributes
    ----------
    grid : FrameGrid
    phasors : Complex of shape (n_channels, n_frames)
        Peak amplitude and phase of the fundamental at each frame's centre.
    left : Real of shape (n_channels, n_channels, n_frames)
        Means of the products of what DC and fundamental leave: on the diagonal the mean squares of distortion and
        noise, beside it what two channels share of it.
    """

    grid: FrameGrid
    phasors: Complex
    left: Real

    @property
    def baseband(self) -> Complex:
        """Phasors with the rotation at the tone taken out, shape (n_channels, n_frames)."""
        return np.asarray(self.phasors * np.exp(-2j * np.pi * self.grid.tone_hz * self.grid.centres_s))

    def mean_square(self, channel: int) -> Real:
        """Mean square of a channel without its DC, at each frame's centre, shape (n_frames,)."""
        return np.asarray(np.abs(self.phasors[channel]) ** 2 / 2 + self.left[channel, channel])

    def distortion(self, channel: int) -> Real:
        """Distortion and noise over the total r.m.s., V/V, shape (n_frames,); 0 where the channel is silent."""
        total = self.mean_square(channel)
        ratio = np.divide(self.left[channel, channel], total, out=np.zeros_like(total), where=total > 0)
        return np.asarray(np.sqrt(ratio))

    def complex_power(self, volts: int, amps: int) -> Complex:
        """Active (real) and reactive (imaginary, of the fundamental) power at each frame's centre, (n_frames,)."""
        fundamental = self.phasors[volts] * self.phasors[amps].conj() / 2
        return np.asarray(fundamental + self.left[volts, amps])


def whole_cycles(tone_hz: float, *, rate_hz: float, most_s: float, fewest_samples: int = 32) -> int:
    """Choose how many cycles a frame holds.

    As many as fit into `most_s`, at least one, at least `fewest_samples`; from the upper half of that range the number
    that comes nearest to a whole number of samples.

    Parameters
    ----------
    tone_hz, rate_hz : float > 0, Hz
    most_s : float > 0, seconds
        Longest frame wanted.
    fewest_samples : int

    Examples
    --------
    >>> whole_cycles(47.0, rate_hz=96_000, most_s=0.01)
    1
    >>> whole_cycles(997.0, rate_hz=96_000, most_s=0.0044)
    4
    """
    cycle = rate_hz / tone_hz
    fewest = max(1, int(np.ceil(fewest_samples / cycle)))
    most = max(fewest, int(most_s * tone_hz))
    candidates = np.arange(max(fewest, (most + 1) // 2), most + 1)
    samples = candidates * cycle
    return int(candidates[np.argmin(np.abs(samples - np.round(samples)) / samples)])


def frame_length(n_cycles: int, *, rate_hz: float, tone_hz: float) -> int:
    """Count the samples that hold `n_cycles` cycles, the last one perhaps in part; two at least."""
    # a part of a millionth is rounding of the quotient, not a sample
    return max(int(np.ceil(n_cycles * rate_hz / tone_hz - 1e-6)), 2)


def cut_frames(
    start: float, stop: float, *, rate_hz: float, tone_hz: float, n_cycles: int, overlap: int = OVERLAP
) -> FrameGrid:
    """Lay frames of `n_cycles` cycles over a span, each starting `1/overlap` of a frame after the one before.

    Parameters
    ----------
    start, stop : float, samples
        The span; frames lie wholly inside, to the nearest sample. The first frame starts at `start`: put it where the
        tone crosses zero, and the peaks of every frame lie evenly about its centre, so that clipping in them counts
        for the level that the tone has there.
    rate_hz, tone_hz : float > 0, Hz
    n_cycles : int >= 1
    overlap : int >= 1
    """
    exact = n_cycles * rate_hz / tone_hz
    length = frame_length(n_cycles, rate_hz=rate_hz, tone_hz=tone_hz)
    count = max(int((stop - start - length) / (exact / overlap)) + 1, 0) if stop - start >= length else 0
    starts = np.round(start + np.arange(count) * exact / overlap).astype(np.int64)
    starts = starts[(starts >= 0) & (starts + length <= stop)]
    return FrameGrid(starts=starts, length=length, n_cycles=n_cycles, tone_hz=tone_hz, rate_hz=rate_hz)


def fit_frames(samples: Real, grid: FrameGrid) -> FrameFit:
    """Fit DC and a fundamental of changing level to every frame of every channel.

    Within a frame the tone is modelled as ``Re(A exp(s t) exp(j w t))`` with t from the frame's centre. The complex
    slope s (nepers and radians a second) comes from the fundamentals of the neighbouring frames and is held fixed: as
    a free parameter it would take up a part of the distortion. DC and A are found by least squares.

    Parameters
    ----------
    samples : Real of shape (n_channels, n_samples)
        Any unit; limited to the measuring band.
    grid : FrameGrid
        At least one frame; a single one has no neighbours and is taken as level.

    Returns
    -------
    FrameFit
    """
    model = _Model(grid)
    raw = np.concatenate([_frames(samples, grid, part) @ model.inverse.T for part in grid.chunks(len(samples))], axis=1)
    sloped = np.zeros((*raw.shape[:2], 4))
    for _ in range(2):
        sloped = model.sloped(model.phasors(raw - sloped @ model.overlap.T))
    fitted = raw - sloped @ model.overlap.T
    terms = np.concatenate([fitted, sloped], axis=2)
    left = []
    for part in grid.chunks(len(samples)):
        rest = _frames(samples, grid, part) - terms[:, part] @ model.basis
        rest *= np.sqrt(model.weights)
        left.append(_products(rest) / model.weights.sum())
    return FrameFit(grid=grid, phasors=model.phasors(fitted), left=np.concatenate(left, axis=2))


class _Model:
    """The columns common to all frames, since time runs from each frame's own centre: 1, cos, sin, and sloped ones."""

    def __init__(self, grid: FrameGrid) -> None:
        t_s = grid.offsets_s
        angle = 2 * np.pi * grid.tone_hz * t_s
        cos, sin = np.cos(angle), np.sin(angle)
        fitted: Real = np.stack([np.ones(t_s.size), cos, sin])
        sloped: Real = np.stack([t_s * cos, t_s * sin, t_s**2 * cos, t_s**2 * sin])
        self.grid = grid
        self.basis = np.concatenate([fitted, sloped])
        self.weights = grid.weights
        weighted = fitted * self.weights
        self.inverse: Real = np.linalg.solve(weighted @ fitted.T, weighted).astype(np.float64, copy=False)
        self.overlap: Real = self.inverse @ sloped.T
        """What a fit of the first three columns takes of each sloped one, shape (3, 4)."""

    @staticmethod
    def phasors(terms: Real) -> Complex:
        return np.asarray(terms[..., 1] - 1j * terms[..., 2])

    def sloped(self, phasors: Complex) -> Real:
        """Coefficients of the sloped columns, from how the fundamental changes from frame to frame."""
        turn = np.exp(2j * np.pi * self.grid.tone_hz * self.grid.centres_s)
        envelope = phasors / turn
        apart = self.grid.n_frames > 1 and bool(np.all(np.diff(self.grid.centres_s) != 0))
        first = np.gradient(envelope, self.grid.centres_s, axis=1) * turn if apart else np.zeros_like(phasors)
        small = np.abs(first) * self.grid.frame_s > STEEPEST * np.abs(phasors)
        second = np.divide(first**2, 2 * phasors, out=np.zeros_like(first), where=~small & (phasors != 0))
        return np.stack([first.real, -first.imag, second.real, -second.imag], axis=-1)


def _frames(samples: Real, grid: FrameGrid, part: slice) -> Real:
    windows = np.lib.stride_tricks.sliding_window_view(samples, grid.length, axis=1)
    return np.ascontiguousarray(windows[:, grid.starts[part]])


def _products(rest: Real) -> Real:
    """Sum the products of every two channels, rest of shape (n_channels, n_frames, length)."""
    n_channels, n_frames, _ = rest.shape
    sums = np.empty((n_channels, n_channels, n_frames))
    for c, d in combinations_with_replacement(range(n_channels), 2):
        sums[c, d] = sums[d, c] = np.einsum("fl,fl->f", rest[c], rest[d])
    return sums


def frame_means(values: Real, grid: FrameGrid) -> Real:
    """Mean of a quantity over the whole cycles of each frame, its first and last sample weighing less.

    A supply's current pulses at twice the tone: a sample too many in a cycle of 49 would shift its mean by 1.5 %.

    Parameters
    ----------
    values : Real of shape (n_samples,)
    grid : FrameGrid

    Returns
    -------
    Real of shape (n_frames,)
    """
    # running sums lose digits with the size of what they sum: the mean is taken out first
    middle = float(values.mean())
    centred = values - middle
    total = np.concatenate([[0.0], np.cumsum(centred)])
    first, last = grid.starts, grid.starts + grid.length - 1
    weights = grid.weights
    surplus = (1 - weights[0]) * centred[first] + (1 - weights[-1]) * centred[last]
    return np.asarray(middle + (total[last + 1] - total[first] - surplus) / weights.sum())
