"""Interleaved samples in a file, one code after the other: decoded in blocks, never the whole file at once.

Full scale is 1.0 whatever the width: an integer code of `b` bytes is divided by ``2**(8 b - 1)``, so half scale reads
0.5 at every width. Blocks are float32 where that keeps every code (integers to 24 bits, float32) and float64 otherwise.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from io import BufferedReader
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import BrokenFileError, Notice
from wattproof.waveform import Channel, Waveform

Floats = NDArray[np.float32] | NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Coding:
    """How one sample is written.

    Attributes
    ----------
    kind : "i", "u" or "f"
        Signed integer, unsigned with its zero at half scale, or floating point.
    n_bytes : int
        Width of one sample: 1 to 8 for integers; 2, 4 or 8 for floating point.
    order : "<" or ">"
        Byte order.
    """

    kind: str
    n_bytes: int
    order: str = "<"

    @property
    def wide(self) -> bool:
        """Whether float32 would lose codes, so that float64 is given (which keeps the top 53 bits of 64)."""
        return self.n_bytes > (4 if self.kind == "f" else 3)

    @property
    def step(self) -> float | None:
        """One code, as a fraction of full scale; None for floating point."""
        return None if self.kind == "f" else float(2.0 ** (1 - 8 * self.n_bytes))

    def decode(self, raw: NDArray[np.uint8]) -> Floats:
        """Turn bytes into fractions of full scale.

        Parameters
        ----------
        raw : NDArray[np.uint8] of shape (n_samples * n_bytes,)

        Returns
        -------
        NDArray of shape (n_samples,), FS
        """
        if self.kind == "f":
            values: NDArray[np.floating] = raw.view(f"{self.order}f{self.n_bytes}")
            return values.astype(np.float64, copy=False) if self.wide else values.astype(np.float32, copy=False)
        if self.kind == "u":
            return (raw.astype(np.float32) - np.float32(128)) / np.float32(128)
        if self.n_bytes == 3:
            return _three_bytes(raw, self.order)
        codes = raw.view(f"{self.order}i{self.n_bytes}") if self.n_bytes in {1, 2, 4, 8} else _widened(raw, self)
        scale = 2.0 ** (1 - 8 * codes.itemsize)
        scaled: Floats = np.multiply(codes, scale, dtype=np.float64 if self.wide else np.float32, casting="unsafe")
        return scaled


def _three_bytes(raw: NDArray[np.uint8], order: str) -> NDArray[np.float32]:
    """Read each code as the top three bytes of an overlapping 32-bit word, and drop the neighbour's byte."""
    n_samples = raw.size // 3
    apart = np.zeros(raw.size + 1, dtype=np.uint8)
    first = 1 if order == "<" else 0
    apart[first : first + raw.size] = raw
    words: NDArray[np.int32] = np.ndarray((n_samples,), dtype=f"{order}i4", buffer=apart, strides=(3,))
    scaled: NDArray[np.float32] = np.multiply(
        words & np.int32(-256), np.float32(2.0**-31), dtype=np.float32, casting="unsafe"
    )
    return scaled


def _widened(raw: NDArray[np.uint8], coding: Coding) -> NDArray[np.int64]:
    """Put codes of 5 to 7 bytes into the top of 64-bit words, so that their sign and scale come out right."""
    width = coding.n_bytes
    wide = np.zeros((raw.size // width, 8), dtype=np.uint8)
    at = 8 - width if coding.order == "<" else 0
    wide[:, at : at + width] = raw.reshape(-1, width)
    return wide.view(f"{coding.order}i8").ravel()


@dataclass(frozen=True, kw_only=True, eq=False)
class PcmRecording:
    """A `Recording` whose samples lie interleaved in a file from `offset` on."""

    path: Path
    reader: str
    rate_hz: float
    n_samples: int
    channels: tuple[Channel, ...]
    coding: Coding
    offset: int
    start_s: float = 0.0
    metadata: Mapping[str, str] = field(default_factory=dict)
    notices: tuple[Notice, ...] = ()

    @property
    def source(self) -> str:
        """The file's name."""
        return self.path.name

    @property
    def frame_bytes(self) -> int:
        """Bytes of one sample of all channels."""
        return self.coding.n_bytes * len(self.channels)

    def read(self, start: int = 0, stop: int | None = None) -> Waveform:
        """Give samples `start` to `stop` (exclusive; to the end when left out), float64."""
        start, stop, _ = slice(start, stop).indices(self.n_samples)
        n_frames = max(stop - start, 0)
        raw = np.empty(n_frames * self.frame_bytes, dtype=np.uint8)
        with self.path.open("rb") as file:
            file.seek(self.offset + start * self.frame_bytes)
            self._fill(file, raw)
        frames = self.coding.decode(raw).reshape(n_frames, len(self.channels))
        with np.errstate(invalid="ignore"):  # some NaN complain when touched
            samples = np.ascontiguousarray(frames.T, dtype=np.float64)
        return Waveform(
            samples=samples, rate_hz=self.rate_hz, channels=self.channels, start_s=self.start_s + start / self.rate_hz
        )

    def blocks(self, samples: int) -> Iterator[Floats]:
        """Give the record in order as arrays of shape (at most `samples`, n_channels), each valid until the next."""
        raw = np.empty(min(samples, self.n_samples) * self.frame_bytes, dtype=np.uint8)
        with self.path.open("rb") as file:
            file.seek(self.offset)
            for start in range(0, self.n_samples, samples):
                n_frames = min(samples, self.n_samples - start)
                piece = raw[: n_frames * self.frame_bytes]
                self._fill(file, piece)
                yield self.coding.decode(piece).reshape(n_frames, len(self.channels))

    def _fill(self, file: BufferedReader, raw: NDArray[np.uint8]) -> None:
        got = file.readinto(raw.data) if raw.size else 0
        if got != raw.size:
            raise BrokenFileError(
                f"{self.source} became shorter while it was read.",
                why=f"{raw.size} bytes were asked for and {got} came.",
                hint="Wait until the recorder or the copy has finished, then read it again.",
            )


def codes_as_words(path: Path, *, offset: int, n_bytes: int, n_codes: int, order: str) -> NDArray[np.uint64]:
    """Give codes as unsigned words from places spread evenly over the file: a look without a full read.

    At most 64 pieces of 4096 codes.
    """
    pieces = min(64, -(-n_codes // 4096))
    words = []
    with path.open("rb") as file:
        for piece in range(pieces):
            first = 0 if pieces == 1 else (n_codes - min(n_codes, 4096)) * piece // (pieces - 1)
            file.seek(offset + first * n_bytes)
            raw = np.frombuffer(file.read(min(4096, n_codes) * n_bytes), dtype=np.uint8)
            words.append(_as_words(raw[: raw.size // n_bytes * n_bytes], n_bytes, order))
    return np.concatenate(words) if words else np.zeros(0, dtype=np.uint64)


def _as_words(raw: NDArray[np.uint8], n_bytes: int, order: str) -> NDArray[np.uint64]:
    wide = np.zeros((raw.size // n_bytes, 8), dtype=np.uint8)
    columns = raw.reshape(-1, n_bytes)
    wide[:, :n_bytes] = columns if order == "<" else columns[:, ::-1]
    return wide.view("<u8").ravel()
