"""A recording under another name: an archive keeps files as original.*, people know them by their own."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import Notice
from wattproof.waveform.model import Channel, Recording, Waveform


@dataclass(frozen=True, kw_only=True, eq=False)
class RenamedRecording:
    """All of `inner` but its `source`."""

    inner: Recording
    source: str

    @property
    def reader(self) -> str:
        """The reader that knew the file."""
        return self.inner.reader

    @property
    def rate_hz(self) -> float:
        """Samples a second."""
        return self.inner.rate_hz

    @property
    def n_samples(self) -> int:
        """Samples of each channel."""
        return self.inner.n_samples

    @property
    def start_s(self) -> float:
        """Time of the first sample, seconds."""
        return self.inner.start_s

    @property
    def channels(self) -> tuple[Channel, ...]:
        """The recorded tracks."""
        return self.inner.channels

    @property
    def metadata(self) -> Mapping[str, str]:
        """What the file says beside its samples."""
        return self.inner.metadata

    @property
    def notices(self) -> tuple[Notice, ...]:
        """All that is doubtful about the file."""
        return self.inner.notices

    def read(self, start: int = 0, stop: int | None = None) -> Waveform:
        """Give samples `start` to `stop` (exclusive; to the end when left out)."""
        return self.inner.read(start, stop)

    def blocks(self, samples: int) -> Iterator[NDArray[np.float32] | NDArray[np.float64]]:
        """Give the record in order as arrays of shape (at most `samples`, n_channels)."""
        return self.inner.blocks(samples)
