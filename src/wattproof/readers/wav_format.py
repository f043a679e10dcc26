"""The format chunk of a WAV file: what it says, and what a sample really is when it contradicts itself."""

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from wattproof.errors import BrokenFileError, Notice, UnknownFormatError
from wattproof.readers.chunks import Chunk
from wattproof.readers.pcm import Coding, codes_as_words

PCM, FLOAT, EXTENSIBLE = 1, 3, 0xFFFE
GUID_TAIL = bytes.fromhex("8000 00aa 0038 9b71")
FORMATS = {
    0x0002: "ADPCM", 0x0006: "A-law", 0x0007: "mu-law", 0x0011: "IMA ADPCM", 0x0020: "ADPCM", 0x0031: "GSM 6.10",
    0x0045: "G.726 ADPCM", 0x0050: "MPEG audio", 0x0055: "MP3", 0x0092: "AC-3", 0x00FF: "AAC", 0x0161: "WMA",
    0x0162: "WMA", 0x2000: "AC-3", 0xF1AC: "FLAC inside WAV",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class WavFormat:
    """The fields of a format chunk, as written."""

    tag: int
    n_channels: int
    rate_hz: int
    bytes_a_second: int
    frame_bytes: int
    bits: int
    valid_bits: int

    @property
    def container_bytes(self) -> int:
        """Bytes of one sample by its bits alone."""
        return -(-self.bits // 8)


def parse_format(content: bytes, order: str, source: str) -> WavFormat:
    """Read a format chunk, or say why its samples cannot be used."""
    if len(content) < 16:
        raise BrokenFileError(
            f"The format chunk of {source} is cut short.",
            why=f"It has {len(content)} bytes; 16 are the least.",
            hint="Export or record the file again.",
        )
    tag, n_channels, rate_hz, bytes_a_second, frame_bytes, bits = struct.unpack_from(f"{order}HHIIHH", content)
    valid_bits = 0
    if tag == EXTENSIBLE and len(content) >= 40:
        valid_bits = struct.unpack_from(f"{order}H", content, 18)[0]
        tag = _sub_format(content[24:40], order, source)
    found = WavFormat(
        tag=tag,
        n_channels=n_channels,
        rate_hz=rate_hz,
        bytes_a_second=bytes_a_second,
        frame_bytes=frame_bytes,
        bits=bits,
        valid_bits=valid_bits or bits,
    )
    _refuse_what_cannot_be(found, source)
    return found


def _sub_format(guid: bytes, order: str, source: str) -> int:
    if guid[8:] != GUID_TAIL:
        raise UnknownFormatError(
            f"The samples of {source} are in a format of their own.",
            why=f"Its sub-format is {guid.hex()}.",
            hint="Export it as plain PCM or 32-bit float.",
        )
    return int(struct.unpack_from(f"{order}I", guid)[0])


def _refuse_what_cannot_be(found: WavFormat, source: str) -> None:
    if found.tag not in {PCM, FLOAT}:
        name = FORMATS.get(found.tag, "an unlisted coding")
        raise UnknownFormatError(
            f"The samples of {source} are compressed: {name}.",
            why=f"Format tag {found.tag:#06x} is neither PCM nor float; what it loses cannot be measured.",
            hint="Record or export it as PCM (16 or 24 bits), 32-bit float or FLAC.",
        )
    if found.n_channels == 0 or found.rate_hz == 0:
        what = "no channels" if found.n_channels == 0 else "a sampling rate of 0 Hz"
        raise BrokenFileError(
            f"The header of {source} claims {what}.",
            why=f"It says {found.n_channels} channels at {found.rate_hz} Hz.",
            hint="Export or record the file again.",
        )
    possible = {2, 4, 8} if found.tag == FLOAT else range(1, 9)
    if found.container_bytes not in possible or (found.tag == FLOAT and found.bits % 8):
        raise BrokenFileError(
            f"The header of {source} claims samples of {found.bits} bits.",
            why="PCM has 1 to 64 bits; float has 16, 32 or 64.",
            hint="Export or record the file again.",
        )


def settle_coding(path: Path, found: WavFormat, sound: Chunk, order: str) -> tuple[Coding, float | None, list[Notice]]:
    """Decide how wide one sample is and how large one code, looking at the samples where the header is in doubt.

    Returns
    -------
    Coding, step (FS; None for float), notices
    """
    width, notices = _container(path, found, sound, order)
    kind = "f" if found.tag == FLOAT else "u" if width == 1 else "i"
    coding = Coding(kind=kind, n_bytes=width, order=order)
    step = coding.step
    if kind == "i" and 0 < found.valid_bits < 8 * width:
        low, extra = _unused_bits(path, found, sound, coding)
        notices += extra
        step = float(2.0 ** (1 - found.valid_bits)) if low else step
    if found.bytes_a_second not in {0, found.rate_hz * found.n_channels * width}:
        notices.append(_wrong_byte_rate(found, width))
    return coding, step, notices


def _container(path: Path, found: WavFormat, sound: Chunk, order: str) -> tuple[int, list[Notice]]:
    width = found.container_bytes
    claimed, over = divmod(found.frame_bytes, found.n_channels)
    if found.frame_bytes == width * found.n_channels:
        return width, []
    chosen = width
    if found.tag == PCM and not over and width < claimed <= 8 and _is_padded(path, sound, claimed, width, order):
        chosen = claimed
    return chosen, [
        Notice(
            code="frame-size",
            message=(
                f"The header contradicts itself: {found.n_channels} channels of {found.bits} bits do not make "
                f"frames of {found.frame_bytes} bytes; read as {chosen} bytes a sample."
            ),
            hint="Check the length and the frequency of a known tone in it.",
            numbers={"claimed_bytes": found.frame_bytes, "used_bytes": chosen * found.n_channels},
        )
    ]


def _is_padded(path: Path, sound: Chunk, claimed: int, width: int, order: str) -> bool:
    """Whether samples fill only `width` of `claimed` bytes: the others are then empty throughout."""
    words = codes_as_words(path, offset=sound.offset, n_bytes=claimed, n_codes=sound.present // claimed, order=order)
    used = np.bitwise_or.reduce(words) if words.size else np.uint64(0)
    spare = 8 * (claimed - width)
    return bool(used) and int(used) % (1 << spare) == 0


def _unused_bits(path: Path, found: WavFormat, sound: Chunk, coding: Coding) -> tuple[bool, list[Notice]]:
    """Whether the low bits are unused, as the rule has it; if not, whether the codes sit in the low bits instead."""
    bits, valid = 8 * coding.n_bytes, found.valid_bits
    words = codes_as_words(
        path,
        offset=sound.offset,
        n_bytes=coding.n_bytes,
        n_codes=sound.present // coding.n_bytes,
        order=coding.order,
    )
    if not words.size or not (words % np.uint64(1 << (bits - valid))).any():
        return True, []
    top = words >> np.uint64(valid)
    ones = np.uint64((1 << (bits - valid)) - 1)
    if ((top != 0) & (top != ones)).any():
        message = f"The header says {valid} of {bits} bits are used, but the samples use more; all {bits} were read."
        return False, [Notice(code="valid-bits", message=message, numbers={"valid_bits": valid, "bits": bits})]
    signed_away = not top.any() and bool((words >> np.uint64(valid - 1)).any())
    return False, [_right_justified(valid, bits, signed_away)]


def _right_justified(valid: int, bits: int, signed_away: bool) -> Notice:
    factor = 1 << (bits - valid)
    wrong = f"every value is {factor} times too small"
    wrong += " and those below zero read as positive" if signed_away else ""
    return Notice(
        code="upper-bits-unused",
        message=(
            f"The {valid} valid bits of {bits} should be the upper ones, but the upper {bits - valid} are unused: by "
            f"the rule nothing exceeds {2.0 ** (valid - bits + 1):.2g} of full scale; if the lower are meant, {wrong}."
        ),
        hint=(
            f"Export it again as plain {valid}-bit PCM."
            if signed_away
            else f"Record a known voltage and compare; a channel scale {factor} times larger puts it right."
        ),
        numbers={"valid_bits": valid, "bits": bits, "factor": factor},
    )


def _wrong_byte_rate(found: WavFormat, width: int) -> Notice:
    right = found.rate_hz * found.n_channels * width
    return Notice(
        code="byte-rate",
        message=(
            f"The header claims {found.bytes_a_second} bytes a second; {found.n_channels} channels of {width} bytes at "
            f"{found.rate_hz} Hz make {right}."
        ),
        hint="Check the frequency of a known tone in it: the sampling rate itself may be wrong.",
        numbers={"claimed": found.bytes_a_second, "computed": right},
    )
