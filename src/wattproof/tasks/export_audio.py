"""Recordings written as files that any program reads, every sample exactly: FLAC, else WAV of floating point."""

import struct
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Literal

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import BrokenFileError
from wattproof.waveform import Recording

if TYPE_CHECKING:
    import soundfile

Floats = NDArray[np.float32] | NDArray[np.float64]
Coding = Literal["PCM_16", "PCM_24", "FLOAT", "DOUBLE"]

FLAC_TRACKS = 8
FLAC_RATE_HZ = 655_350
FLAC_WHOLE_RATE_HZ = 1 << 16
"""From this rate on FLAC states whole tens of hertz only."""

LARGEST_WAV_BYTES = (1 << 32) - (1 << 16)
"""A plain WAV counts its bytes in 32 bits; anything longer is written as RF64."""

BLOCK_SAMPLES = 1 << 16
BITS = {"PCM_16": 16, "PCM_24": 24, "FLOAT": 32, "DOUBLE": 64}


@dataclass(frozen=True, kw_only=True)
class AudioForm:
    """The smallest common form that holds a recording exactly."""

    container: Literal["FLAC", "WAV", "RF64"]
    coding: Coding

    @property
    def suffix(self) -> str:
        """Of the file's name."""
        return ".flac" if self.container == "FLAC" else ".wav"


def audio_form(recording: Recording) -> AudioForm:
    """Choose the form by reading all samples once, in pieces.

    FLAC where every sample is a code of 16 or 24 bits, and tracks and rate are such as FLAC has; else floating point of
    32 bits, or of 64 where that alone is exact.
    """
    n_tracks = len(recording.channels)
    steps = 15 if n_tracks <= FLAC_TRACKS and _flac_rate(recording.rate_hz) else 0  # bits behind the point; 0: no codes
    single = True
    for block in recording.blocks(BLOCK_SAMPLES):
        if steps and not _are_codes(block, steps):
            steps = 23 if steps == 15 and _are_codes(block, 23) else 0
        if not steps:
            single = single and _fits_single(block)
    if steps:
        return AudioForm(container="FLAC", coding="PCM_16" if steps == 15 else "PCM_24")
    # what came before the first sample that is no code was codes, which single precision holds
    coding: Coding = "FLOAT" if single else "DOUBLE"
    n_bytes = recording.n_samples * n_tracks * BITS[coding] // 8
    return AudioForm(container="WAV" if n_bytes < LARGEST_WAV_BYTES else "RF64", coding=coding)


def _flac_rate(rate_hz: float) -> bool:
    whole = rate_hz == int(rate_hz) and 1 <= rate_hz <= FLAC_RATE_HZ
    return whole and (rate_hz < FLAC_WHOLE_RATE_HZ or rate_hz % 10 == 0)


def _are_codes(block: Floats, steps: int) -> bool:
    """Tell whether every sample is a whole number of steps of 2**-steps from -1 up to, but without, +1."""
    if not np.all((block >= -1) & (block < 1)):
        return False
    codes = block * block.dtype.type(1 << steps)
    return bool(np.all(codes == np.rint(codes)))


def _fits_single(block: Floats) -> bool:
    if block.dtype == np.float32:
        return True
    with np.errstate(over="ignore"):
        return bool(np.array_equal(block.astype(np.float32), block, equal_nan=True))


def write_audio(recording: Recording, path: Path, form: AudioForm) -> None:
    """Write a recording in pieces, then read it back and compare every sample.

    Raises
    ------
    BrokenFileError
        What was written is not what was read.
    OSError
        The disk refuses.
    """
    import soundfile

    try:
        if form.container == "FLAC":
            _write_flac(recording, path, form)
        else:
            _write_wav(recording, path, form)
        same = _same(recording, path)
    except soundfile.LibsndfileError as error:
        raise OSError(f"the recording could not be written ({error})") from error
    if not same:
        raise BrokenFileError(
            f"{recording.source} does not come back as it was written.",
            why=f"{path.name} holds other samples than the recording",
            hint="Check the disk, then export again.",
        )


def _write_flac(recording: Recording, path: Path, form: AudioForm) -> None:
    import soundfile

    scale, shift = (1 << 15, 16) if form.coding == "PCM_16" else (1 << 23, 8)
    with soundfile.SoundFile(
        path, "w", samplerate=int(recording.rate_hz), channels=len(recording.channels), format="FLAC",
        subtype=form.coding,
    ) as file:  # fmt: skip
        for block in recording.blocks(BLOCK_SAMPLES):
            # whole codes in the upper bits of a word are taken as they are; floats would be rounded on the way
            file.write((block * block.dtype.type(scale)).astype(np.int32) << shift)


def _write_wav(recording: Recording, path: Path, form: AudioForm) -> None:
    """Write the chunks ourselves: libsndfile's WAV of floats holds the time of writing, and equal inputs must be equal.

    The rate in the head is a whole number; the sidecar states the true one.
    """
    kind = np.dtype("<f4" if form.coding == "FLOAT" else "<f8")
    n_tracks, n_samples = len(recording.channels), recording.n_samples
    n_bytes = n_samples * n_tracks * kind.itemsize
    rate = min(max(round(recording.rate_hz), 1), (1 << 32) // (n_tracks * kind.itemsize) - 1)
    with path.open("wb") as file:
        _write_head(file, form, n_tracks=n_tracks, rate=rate, item=kind.itemsize, n_samples=n_samples)
        for block in recording.blocks(BLOCK_SAMPLES):
            file.write(np.ascontiguousarray(block, dtype=kind).tobytes())
        file.write(b"\0" * (n_bytes % 2))


def _write_head(file: BinaryIO, form: AudioForm, *, n_tracks: int, rate: int, item: int, n_samples: int) -> None:
    frame = n_tracks * item
    n_bytes, long = n_samples * frame, form.container == "RF64"
    unknown = (1 << 32) - 1  # in RF64 the sizes stand in the ds64 chunk
    body = 4 + 36 * long + 26 + 12 + 8 + n_bytes + n_bytes % 2
    file.write(struct.pack("<4sI4s", b"RF64" if long else b"RIFF", unknown if long else body, b"WAVE"))
    if long:
        file.write(struct.pack("<4sIQQQI", b"ds64", 28, body, n_bytes, n_samples, 0))
    file.write(struct.pack("<4sIHHIIHHH", b"fmt ", 18, 3, n_tracks, rate, rate * frame, frame, 8 * item, 0))
    file.write(struct.pack("<4sII", b"fact", 4, unknown if long else n_samples))
    file.write(struct.pack("<4sI", b"data", unknown if long else n_bytes))


def _same(recording: Recording, path: Path) -> bool:
    import soundfile

    with soundfile.SoundFile(path) as file:
        pairs = ((block, _next(file, len(block))) for block in recording.blocks(BLOCK_SAMPLES))
        return file.frames == recording.n_samples and all(
            np.array_equal(written, read, equal_nan=True) for written, read in pairs
        )


def _next(file: "soundfile.SoundFile", n_samples: int) -> Floats:
    read: Floats = file.read(n_samples, dtype="float64", always_2d=True)
    return read
