"""How a take grows on the disk, chunk by chunk, and how it becomes an ordinary audio file.

A chunk is a head of 24 bytes (a mark, how many samples, the number of the first, a CRC-32 over these two and the
samples, four bytes of zero) and float32 samples, little-endian, track after track. Whatever stands behind the last
whole chunk is a torn end: of a process that was killed within a write, or a disk that lost power. The chunk before it
is whole, or its CRC would tell.
"""

import os
import struct
import zlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wattproof.archive.disk import need_free

Frames = NDArray[np.float32]
"""Samples of shape (n_samples, n_tracks), file units."""

FLAC_TRACKS = 8
FLAC_RATE_HZ = 655_350
WAV_BYTES = (1 << 32) - (1 << 20)
"""A plain WAV counts its bytes in 32 bits; anything longer, with room for its head, is written as RF64."""

LONG_SAMPLES = 1 << 16
"""Pieces of about so many samples are written to an audio file and read from it."""

_MARK = b"take"
_HEAD = struct.Struct("<4sIQII")
_CODES = 1 << 23


def chunk_bytes(frames: Frames, *, first: int) -> bytes:
    """Frame samples as one chunk.

    Parameters
    ----------
    frames : Frames of shape (n_samples, n_tracks)
        The samples.
    first : int >= 0
        Number of the first sample, counted from the take's first.
    """
    payload = np.ascontiguousarray(frames, dtype="<f4").tobytes()
    return _HEAD.pack(_MARK, frames.shape[0], first, _checked(frames.shape[0], first, payload), 0) + payload


def _checked(n_samples: int, first: int, payload: bytes) -> int:
    return zlib.crc32(payload, zlib.crc32(struct.pack("<IQ", n_samples, first)))


def read_chunks(path: Path, *, n_tracks: int) -> Iterator[Frames]:
    """Give the whole chunks of a growing or torn file in order; what stands behind them is passed over.

    Raises
    ------
    OSError
        The file cannot be read.
    """
    with path.open("rb") as file:
        left, first = os.fstat(file.fileno()).st_size, 0
        while left >= _HEAD.size:
            mark, n_samples, claimed, check, _ = _HEAD.unpack(file.read(_HEAD.size))
            size = n_samples * n_tracks * 4
            left -= _HEAD.size + size
            if mark != _MARK or claimed != first or left < 0:
                return
            payload = file.read(size)
            if check != _checked(n_samples, first, payload):
                return
            yield np.frombuffer(payload, dtype="<f4").reshape(n_samples, n_tracks)
            first += n_samples


def upto(chunks: Iterable[Frames], n_samples: int) -> Iterator[Frames]:
    """Give no more than the first `n_samples` of some chunks."""
    left = n_samples
    for frames in chunks:
        if left <= 0:
            return
        yield frames[:left]
        left -= frames.shape[0]


def gathered(chunks: Iterable[Frames]) -> Iterator[Frames]:
    """Give the same samples in few long pieces: a file is sought in after each, which costs more than writing."""
    waiting: list[Frames] = []
    n_waiting = 0
    for frames in chunks:
        waiting.append(frames)
        n_waiting += frames.shape[0]
        if n_waiting >= LONG_SAMPLES:
            yield np.concatenate(waiting)
            waiting, n_waiting = [], 0
    if waiting:
        yield np.concatenate(waiting)


def are_codes(frames: Frames) -> bool:
    """Tell whether every sample is exactly a 24-bit code within -1 and +1, as most recorders give."""
    if not np.all(np.abs(frames) <= 1):
        return False
    codes = frames * np.float32(_CODES)
    return bool(np.all((codes == np.rint(codes)) & (codes < _CODES)))


@dataclass(frozen=True, kw_only=True)
class Form:
    """How a take is kept for good.

    Attributes
    ----------
    container : "FLAC", "WAV" or "RF64"
    coding : "PCM_24" or "FLOAT"
    suffix : ".flac" or ".wav"
    n_samples : int
        How many there are.
    """

    container: str
    coding: str
    suffix: str
    n_samples: int


def chosen_form(chunks: Iterable[Frames], *, n_tracks: int, rate_hz: int) -> Form:
    """Choose the smaller file that holds every sample exactly: 24-bit FLAC, else float32 WAV (RF64 past 4 GiB)."""
    stated = rate_hz < 1 << 16 or not rate_hz % 10  # higher ones are stated in tens
    n_samples, exact = 0, n_tracks <= FLAC_TRACKS and rate_hz <= FLAC_RATE_HZ and stated
    for frames in gathered(chunks):
        n_samples += frames.shape[0]
        exact = exact and are_codes(frames)
    if exact:
        return Form(container="FLAC", coding="PCM_24", suffix=".flac", n_samples=n_samples)
    container = "WAV" if n_samples * n_tracks * 4 < WAV_BYTES else "RF64"
    return Form(container=container, coding="FLOAT", suffix=".wav", n_samples=n_samples)


def write_audio(path: Path, chunks: Callable[[], Iterable[Frames]], form: Form, *, n_tracks: int, rate_hz: int) -> None:
    """Write samples as an audio file, down to the disk, and read them back to see that each one is there.

    Parameters
    ----------
    path : Path
        File to make.
    chunks : callable
        Gives the samples from the first on, each time it is called.
    form : Form
        As `chosen_form` chose it.
    n_tracks : int >= 1
        Tracks.
    rate_hz : int > 0
        Samples a second.

    Raises
    ------
    OSError
        The disk refused, or what it gives back differs.
    """
    import soundfile

    need_free(path.parent, form.n_samples * n_tracks * (3 if form.coding == "PCM_24" else 4))
    try:
        with soundfile.SoundFile(
            path, "w", samplerate=rate_hz, channels=n_tracks, format=form.container, subtype=form.coding
        ) as file:
            for frames in gathered(chunks()):
                file.write(_as_codes(frames) if form.coding == "PCM_24" else frames)
        _flush(path)
        with soundfile.SoundFile(path) as file:
            pairs = ((file.read(len(frames), "float32", always_2d=True), frames) for frames in gathered(chunks()))
            whole = all(np.array_equal(*pair, equal_nan=True) for pair in pairs) and len(file) == form.n_samples
    except (soundfile.LibsndfileError, AssertionError) as error:  # its writer asserts that all was taken
        raise OSError(f"the audio file could not be written whole ({error})") from error
    if not whole:
        raise OSError("the disk gives back other samples than were written")


def _as_codes(frames: Frames) -> NDArray[np.int32]:
    """Give 24-bit codes in the upper bits of 32, which is taken bit for bit; floats would be cut downwards."""
    return (frames * np.float32(_CODES)).astype(np.int32) << 8


def _flush(path: Path) -> None:
    descriptor = os.open(path, os.O_RDWR | getattr(os, "O_BINARY", 0))
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
