"""A recording over arrays: in memory, mapped from disk or read piece by piece; several may share one clock."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import Notice
from wattproof.waveform import Channel, Waveform

NARROW = frozenset({"float16", "float32", "int8", "uint8", "int16", "uint16"})  # float32 keeps every value


class ArrayLike(Protocol):
    """What a numpy array, a memory map and a lazily read data set have in common."""

    @property
    def shape(self) -> tuple[int, ...]: ...  # noqa: D102
    @property
    def dtype(self) -> np.dtype[Any]: ...  # noqa: D102
    def __getitem__(self, key: Any) -> Any: ...  # noqa: ANN401 - whatever numpy accepts


@dataclass(frozen=True, kw_only=True, eq=False)
class Part:
    """Some channels of a recording: one array, which of its axes is time, and which of its tracks are taken.

    Attributes
    ----------
    array : array of shape (n_samples,), (n_samples, n) or (n, n_samples)
    time_axis : 0 or 1
    tracks : sequence of int
        Positions along the other axis; ``(0,)`` for one dimension.
    """

    array: ArrayLike
    time_axis: int = 0
    tracks: Sequence[int] = (0,)

    @property
    def n_samples(self) -> int:
        """Samples of each track."""
        return int(self.array.shape[self.time_axis])

    @property
    def narrow(self) -> bool:
        """Whether float32 keeps every value."""
        return self.array.dtype.name in NARROW

    def take(self, start: int, stop: int) -> NDArray[Any]:
        """Give samples `start` to `stop`, shape (n, n_tracks)."""
        if len(self.array.shape) == 1:
            return np.asarray(self.array[start:stop])[:, None]
        piece = self.array[start:stop] if self.time_axis == 0 else self.array[:, start:stop].T
        return np.asarray(piece)[:, list(self.tracks)]


@dataclass(frozen=True, kw_only=True, eq=False)
class ArrayRecording:
    """A `Recording` over one or several arrays of equal length."""

    parts: tuple[Part, ...]
    rate_hz: float
    channels: tuple[Channel, ...]
    source: str
    reader: str
    start_s: float = 0.0
    metadata: Mapping[str, str] = field(default_factory=dict)
    notices: tuple[Notice, ...] = ()

    @property
    def n_samples(self) -> int:
        """Samples of each channel."""
        return self.parts[0].n_samples

    def read(self, start: int = 0, stop: int | None = None) -> Waveform:
        """Give samples `start` to `stop` (exclusive; to the end when left out), float64."""
        start, stop, _ = slice(start, stop).indices(self.n_samples)
        frames = self._frames(start, max(start, stop))
        with np.errstate(invalid="ignore"):  # some NaN complain when touched
            samples = np.ascontiguousarray(frames.T, dtype=np.float64)
        return Waveform(
            samples=samples, rate_hz=self.rate_hz, channels=self.channels, start_s=self.start_s + start / self.rate_hz
        )

    def blocks(self, samples: int) -> Iterator[NDArray[np.float32] | NDArray[np.float64]]:
        """Give the record in order as arrays of shape (at most `samples`, n_channels), each valid until the next."""
        narrow = all(part.narrow for part in self.parts)
        for start in range(0, self.n_samples, samples):
            frames = self._frames(start, min(start + samples, self.n_samples))
            yield frames.astype(np.float32, copy=False) if narrow else frames.astype(np.float64, copy=False)

    def _frames(self, start: int, stop: int) -> NDArray[Any]:
        pieces = [part.take(start, stop) for part in self.parts]
        return pieces[0] if len(pieces) == 1 else np.concatenate(pieces, axis=1)
