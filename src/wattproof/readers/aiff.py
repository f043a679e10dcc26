"""AIFF and AIFC: the same chunks as WAV, big-endian, with the rate as an 80-bit number."""

import math
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from wattproof.errors import BrokenFileError, Notice, UnknownFormatError
from wattproof.readers.chunks import Chunk, ChunkMap, Layout, walk
from wattproof.readers.contract import Answers
from wattproof.readers.overrule import audio_answers
from wattproof.readers.pcm import Coding, PcmRecording
from wattproof.readers.wav_text import plain
from wattproof.waveform import Channel

LAYOUT = Layout(order=">", sound="SSND")
WORDS = {"NAME": "title", "AUTH": "artist", "ANNO": "comment", "(c) ": "copyright"}
CODINGS = {
    b"NONE": ("i", ">", 0), b"twos": ("i", ">", 0), b"in24": ("i", ">", 24), b"in32": ("i", ">", 32),
    b"sowt": ("i", "<", 0), b"raw ": ("u", ">", 8), b"fl32": ("f", ">", 32), b"FL32": ("f", ">", 32),
    b"fl64": ("f", ">", 64), b"FL64": ("f", ">", 64), b"42n1": ("i", "<", 24), b"23ni": ("i", "<", 32),
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class _Common:
    n_channels: int
    n_samples: int
    rate_hz: float
    bits: int
    coding: Coding


class AiffReader:
    """Reads AIFF and uncompressed AIFC; values are fractions of full scale."""

    name = "aiff"
    suffixes = (".aif", ".aiff", ".aifc")

    def sniff(self, head: bytes) -> bool:
        """Say whether the first bytes name the family and one of its two forms."""
        return head[:4] == b"FORM" and head[8:12] in {b"AIFF", b"AIFC"}

    def open(self, path: Path, answers: Answers) -> PcmRecording:
        """Open an AIFF file."""
        with path.open("rb") as file:
            chunks = walk(file, LAYOUT, start=12, end=path.stat().st_size)
            common = _common(_content(file, chunks, "COMM"), path.name)
            words = {WORDS[c.name]: plain(_bytes(file, c, 4096)) for c in chunks.chunks if c.name in WORDS}
            skip = int.from_bytes(_content(file, chunks, "SSND")[:4], "big")
        sound = chunks.first("SSND")
        there = max(0, sound.present - 8 - skip) if sound else 0
        frame_bytes = common.coding.n_bytes * common.n_channels
        n_samples = there // frame_bytes
        if n_samples < 1 or sound is None:
            raise BrokenFileError(
                f"{path.name} holds no samples.",
                why=f"It claims {common.n_samples} samples of {frame_bytes} bytes; {there} bytes are there.",
                hint="Record it again, or copy the file again.",
            )
        step = None if common.coding.kind == "f" else float(2.0 ** (1 - common.bits))  # the bits sit at the top
        rate_hz, overruled = audio_answers(answers, common.rate_hz)
        return PcmRecording(
            path=path,
            reader=self.name,
            rate_hz=rate_hz,
            n_samples=n_samples,
            channels=tuple(
                Channel(name=str(number + 1), unit="FS", full_scale=1.0, step=step)
                for number in range(common.n_channels)
            ),
            coding=common.coding,
            offset=sound.offset + 8 + skip,
            metadata={
                "coding": f"{common.bits}-bit {'float' if common.coding.kind == 'f' else 'PCM'}",
                **{name: text for name, text in words.items() if text},
            },
            notices=(*chunks.notices, *_lengths(chunks, common, n_samples), *overruled),
        )


def _bytes(file: BinaryIO, chunk: Chunk, most: int) -> bytes:
    file.seek(chunk.offset)
    return file.read(min(chunk.present, most))


def _content(file: BinaryIO, chunks: ChunkMap, name: str) -> bytes:
    chunk = chunks.first(name)
    least = 18 if name == "COMM" else 8
    if chunk is None or chunk.present < least:
        what = "has no" if chunk is None else f"has only {chunk.present} bytes of its"
        raise BrokenFileError(
            f"{file.name.rpartition('/')[2]} {what} {name} chunk.",
            why=f"Found: {', '.join(repr(other.name) for other in chunks.chunks[:8]) or 'none'}.",
            hint="Copy the file again, or export it again.",
        )
    return _bytes(file, chunk, 64)


def _common(content: bytes, source: str) -> _Common:
    n_channels, n_samples, bits = struct.unpack_from(">HIH", content)
    kind, order, fixed_bits = _coding(content[18:22] or b"NONE", source)
    bits = fixed_bits or bits
    rate_hz = _extended(content[8:18])
    n_bytes = -(-bits // 8)
    if n_channels == 0 or not math.isfinite(rate_hz) or rate_hz <= 0 or not 1 <= n_bytes <= 8:
        raise BrokenFileError(
            f"The header of {source} cannot be right.",
            why=f"It says {n_channels} channels of {bits} bits at {rate_hz:g} Hz.",
            hint="Export or record the file again.",
        )
    coding = Coding(kind=kind, n_bytes=n_bytes, order=order)
    return _Common(n_channels=n_channels, n_samples=n_samples, rate_hz=rate_hz, bits=bits, coding=coding)


def _coding(name: bytes, source: str) -> tuple[str, str, int]:
    if name not in CODINGS:
        raise UnknownFormatError(
            f"The samples of {source} are compressed: {plain(name)!r}.",
            why="Only whole numbers and floating point are read; what a coding loses cannot be measured.",
            hint="Record or export it as PCM (16 or 24 bits), 32-bit float or FLAC.",
        )
    return CODINGS[name]


def _extended(raw: bytes) -> float:
    """Read an 80-bit floating-point number: sign and exponent in two bytes, then all 64 bits of the mantissa."""
    exponent, mantissa = struct.unpack(">HQ", raw)
    sign = -1.0 if exponent & 0x8000 else 1.0
    power = (exponent & 0x7FFF) - 16383 - 63
    return sign * math.ldexp(mantissa, power) if abs(power) < 900 else math.nan


def _lengths(chunks: ChunkMap, common: _Common, n_samples: int) -> list[Notice]:
    if n_samples == common.n_samples or any(notice.code == "cut-off" for notice in chunks.notices):
        return []
    return [
        Notice(
            code="length-contradicts",
            message=f"The header claims {common.n_samples} samples; the sound chunk holds {n_samples}, all read.",
            hint="Check that the record has the length you expect.",
            numbers={"claimed_samples": common.n_samples, "present_samples": n_samples},
        )
    ]
