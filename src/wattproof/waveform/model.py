"""What every reader gives and every measurement takes, whatever the samples came from."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import Notice


@dataclass(frozen=True, kw_only=True)
class Channel:
    """One recorded track as its file describes it.

    Attributes
    ----------
    name : str
        The file's name for it, else its number counted from 1.
    unit : str or None
        Unit of the samples; "FS" for fractions of full scale; None where the file does not say.
    full_scale : float or None
        Magnitude, in the samples' unit, at which the recorder clips; None where unknown.
    step : float or None
        Size of one code of the recorder, in the samples' unit; None where unknown.
    """

    name: str
    unit: str | None = None
    full_scale: float | None = None
    step: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Waveform:
    """Samples of one or more channels on one clock.

    Attributes
    ----------
    samples : NDArray[np.float64] of shape (n_channels, n_samples)
        In each channel's own unit.
    rate_hz : float > 0
        Samples a second.
    channels : tuple of Channel, length n_channels
    start_s : float
        Time of the first sample on the recorder's clock, seconds.
    """

    samples: NDArray[np.float64]
    rate_hz: float
    channels: tuple[Channel, ...]
    start_s: float = 0.0

    def __post_init__(self) -> None:
        if self.samples.ndim != 2 or self.samples.shape[0] != len(self.channels):
            raise ValueError(f"{self.samples.shape} samples do not fit {len(self.channels)} channels")

    @property
    def n_samples(self) -> int:
        """Samples of each channel."""
        return int(self.samples.shape[1])

    @property
    def duration_s(self) -> float:
        """Length of the record, seconds."""
        return self.n_samples / self.rate_hz

    def __repr__(self) -> str:
        names = ", ".join(channel.name for channel in self.channels)
        return f"<Waveform {names} | {self.n_samples} samples at {self.rate_hz:g} Hz ({self.duration_s:.4g} s)>"


class Recording(Protocol):
    """A record that may be longer than memory: known at once, read in pieces.

    Readers return one; `MemoryRecording` makes one of samples at hand. Attributes as in `Waveform`, and:
    ``source`` the file's name, ``reader`` the reader's, ``metadata`` what the file says beside its samples,
    ``notices`` all that is doubtful about it.
    """

    @property
    def source(self) -> str: ...  # noqa: D102
    @property
    def reader(self) -> str: ...  # noqa: D102
    @property
    def rate_hz(self) -> float: ...  # noqa: D102
    @property
    def n_samples(self) -> int: ...  # noqa: D102
    @property
    def start_s(self) -> float: ...  # noqa: D102
    @property
    def channels(self) -> tuple[Channel, ...]: ...  # noqa: D102
    @property
    def metadata(self) -> Mapping[str, str]: ...  # noqa: D102
    @property
    def notices(self) -> tuple[Notice, ...]: ...  # noqa: D102

    def read(self, start: int = 0, stop: int | None = None) -> Waveform:
        """Give samples `start` to `stop` (exclusive; to the end when left out), float64."""
        ...

    def blocks(self, samples: int) -> Iterator[NDArray[np.float32] | NDArray[np.float64]]:
        """Give the record in order as arrays of shape (at most `samples`, n_channels), each valid until the next."""
        ...


@dataclass(frozen=True, kw_only=True, eq=False)
class MemoryRecording:
    """A recording whose samples are all in memory."""

    waveform: Waveform
    source: str = "memory"
    reader: str = "memory"
    metadata: Mapping[str, str] = field(default_factory=dict)
    notices: tuple[Notice, ...] = ()

    @property
    def rate_hz(self) -> float:
        """Samples a second."""
        return self.waveform.rate_hz

    @property
    def n_samples(self) -> int:
        """Samples of each channel."""
        return self.waveform.n_samples

    @property
    def start_s(self) -> float:
        """Time of the first sample, seconds."""
        return self.waveform.start_s

    @property
    def channels(self) -> tuple[Channel, ...]:
        """The recorded tracks."""
        return self.waveform.channels

    def read(self, start: int = 0, stop: int | None = None) -> Waveform:
        """Give samples `start` to `stop` (exclusive; to the end when left out); a view, not a copy."""
        stop = self.n_samples if stop is None else stop
        return Waveform(
            samples=self.waveform.samples[:, start:stop],
            rate_hz=self.rate_hz,
            channels=self.channels,
            start_s=self.start_s + start / self.rate_hz,
        )

    def blocks(self, samples: int) -> Iterator[NDArray[np.float64]]:
        """Give the record in order as arrays of shape (at most `samples`, n_channels)."""
        for start in range(0, self.n_samples, samples):
            yield self.waveform.samples[:, start : start + samples].T
