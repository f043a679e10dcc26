"""The chunks of a RIFF-like file: where each one lies, and how long it really is.

A chunk is a name, a length and that many bytes. Writers get the length wrong in every way there is, so the walk trusts
the file's own size over what it claims, tries a chunk's end with and without its pad byte, and never takes more than
`MOST_CHUNKS` steps.
"""

import struct
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import BinaryIO

from wattproof.errors import Notice

MOST_CHUNKS = 4096
UNKNOWN_SIZE = 0xFFFFFFFF
WRAP = 1 << 32

KNOWN_NAMES = frozenset({
    "data", "fmt ", "fact", "LIST", "list", "bext", "iXML", "axml", "JUNK", "junk", "PAD ", "FLLR", "cue ", "smpl",
    "inst", "cart", "PEAK", "id3 ", "ID3 ", "ds64", "chna", "minf", "afsp", "COMM", "SSND", "FVER", "MARK", "NAME",
    "AUTH", "ANNO", "COMT", "APPL", "(c) ", "MIDI", "AESD", "INST",
})  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Layout:
    """How a family writes its chunks.

    Attributes
    ----------
    order : "<" or ">"
        Byte order of lengths and samples.
    name_bytes, size_bytes : int
        Widths of the name and of the length.
    size_has_header : bool
        Whether the length counts the chunk's own header.
    align : int
        Chunks start on multiples of this many bytes from the file's start.
    sound : str
        Name of the chunk that holds the samples.
    """

    order: str = "<"
    name_bytes: int = 4
    size_bytes: int = 4
    size_has_header: bool = False
    align: int = 2
    sound: str = "data"

    @property
    def header_bytes(self) -> int:
        """Width of name and length together."""
        return self.name_bytes + self.size_bytes


@dataclass(frozen=True, kw_only=True)
class Chunk:
    """A chunk: its name, where its content starts, and how many bytes it claims and has."""

    name: str
    offset: int
    claimed: int
    present: int


@dataclass(frozen=True, kw_only=True)
class ChunkMap:
    """All chunks of a file in order, and what is doubtful about them."""

    chunks: tuple[Chunk, ...]
    notices: tuple[Notice, ...] = field(default=())

    def first(self, name: str) -> Chunk | None:
        """Give the first chunk of that name."""
        return next((chunk for chunk in self.chunks if chunk.name == name), None)


def walk(file: BinaryIO, layout: Layout, *, start: int, end: int) -> ChunkMap:
    """Find the chunks between `start` and `end` (the file's size, bytes)."""
    return _Walk(file, layout, end).run(start)


class _Walk:
    def __init__(self, file: BinaryIO, layout: Layout, end: int) -> None:
        self.file = file
        self.layout = layout
        self.end = end
        self.long_sizes: Mapping[str, int] = {}
        self.notices: list[Notice] = []

    def run(self, at: int) -> ChunkMap:
        chunks: list[Chunk] = []
        while len(chunks) < MOST_CHUNKS and (chunk := self.chunk_at(at)) is not None:
            if chunk.name == self.layout.sound and all(chunk.name != other.name for other in chunks):
                chunk = self.settle_sound(chunk)
            if chunk.name == "ds64":
                self.long_sizes = _long_sizes(self.bytes_at(chunk.offset, min(chunk.present, 1 << 16)))
            chunks.append(chunk)
            at = self.after(chunk)
        self.note_what_is_left(at, len(chunks))
        return ChunkMap(chunks=tuple(chunks), notices=tuple(self.notices))

    def bytes_at(self, at: int, count: int) -> bytes:
        self.file.seek(at)
        return self.file.read(max(count, 0))

    def chunk_at(self, at: int) -> Chunk | None:
        layout = self.layout
        header = self.bytes_at(at, layout.header_bytes)
        if at < 0 or len(header) < layout.header_bytes or (name := _name(header)) is None:
            return None
        claimed = int.from_bytes(header[layout.name_bytes :], "little" if layout.order == "<" else "big")
        claimed -= layout.header_bytes if layout.size_has_header else 0
        if claimed < 0:
            return None
        if claimed == UNKNOWN_SIZE and name in self.long_sizes:
            claimed = self.long_sizes[name]
        offset = at + layout.header_bytes
        return Chunk(name=name, offset=offset, claimed=claimed, present=min(claimed, self.end - offset))

    def after(self, chunk: Chunk) -> int:
        """Give where the next chunk starts: many writers forget the pad byte after an odd length."""
        at = chunk.offset + chunk.present
        padded = at + -at % self.layout.align
        if padded == at or self.layout.align != 2 or self.known_at(padded) or padded > self.end:
            return padded
        if self.known_at(at) or (self.bytes_at(at, 1) != b"\0" and self.chunk_at(at) is not None):
            self.notices.append(_unpadded(chunk))
            return at
        return padded

    def known_at(self, at: int) -> bool:
        header = self.bytes_at(at, self.layout.header_bytes)
        return len(header) == self.layout.header_bytes and _name(header) in KNOWN_NAMES

    def settle_sound(self, chunk: Chunk) -> Chunk:
        """Say how long the sound really is: cut off, never finished, or too long for its length field."""
        there = self.end - chunk.offset
        narrow = self.layout.size_bytes == 4 and chunk.name not in self.long_sizes
        following = chunk.offset + chunk.claimed
        if (narrow and chunk.claimed == UNKNOWN_SIZE) or (chunk.claimed == 0 < there and not self.known_at(following)):
            self.notices.append(_unfinished(chunk, there))
            return replace(chunk, present=there)
        if narrow and there - chunk.claimed >= WRAP and not self.known_at(following + chunk.claimed % 2):
            whole = chunk.claimed + (there - chunk.claimed) // WRAP * WRAP
            self.notices.append(_wrapped(chunk, whole))
            return replace(chunk, present=whole)
        if chunk.claimed > there:
            self.notices.append(_cut_off(chunk, there))
        return chunk

    def note_what_is_left(self, at: int, n_chunks: int) -> None:
        left = self.end - at
        if n_chunks >= MOST_CHUNKS and left > 0:
            self.notices.append(
                Notice(
                    code="many-chunks",
                    message=f"The file has more than {MOST_CHUNKS} chunks; {left} bytes after them were not looked at.",
                    hint="Export it again if something is missing.",
                    numbers={"bytes": left},
                )
            )
        elif left > 0:
            self.notices.append(
                Notice(
                    code="trailing-bytes",
                    message=f"{left} bytes at the end of the file belong to no chunk and were left out.",
                    hint="Check that the record has the length you expect.",
                    numbers={"bytes": left},
                )
            )


def _name(header: bytes) -> str | None:
    name = header[:4]
    return name.decode("ascii") if all(0x20 <= byte <= 0x7E for byte in name) else None


def _long_sizes(content: bytes) -> dict[str, int]:
    """Read a ds64 chunk: lengths too long for 32 bits, of the data and of chunks listed in its table."""
    if len(content) < 24:
        return {}
    _, data_bytes, _ = struct.unpack_from("<QQQ", content)
    sizes = {"data": data_bytes}
    for at in range(28, len(content) - 11, 12):
        name = _name(content[at : at + 4])
        if name is not None:
            sizes[name] = int.from_bytes(content[at + 4 : at + 12], "little")
    return sizes


def _unpadded(chunk: Chunk) -> Notice:
    return Notice(
        code="missing-pad",
        message=f"Chunk {chunk.name!r} has an odd length, {chunk.claimed} bytes, and no pad byte after it.",
        hint="Nothing to do: it was read without the pad.",
        numbers={"bytes": chunk.claimed},
    )


def _unfinished(chunk: Chunk, there: int) -> Notice:
    return Notice(
        code="unfinished-recording",
        message=f"The recorder did not finish: the length says {chunk.claimed:#x}; all {there} bytes were read.",
        hint="Check the end of the record: a chunk written after the samples would be read as sound.",
        numbers={"claimed_bytes": chunk.claimed, "present_bytes": there},
    )


def _wrapped(chunk: Chunk, whole: int) -> Notice:
    return Notice(
        code="length-wrapped",
        message=f"The length says {chunk.claimed} bytes, the file holds {whole}: 32 bits cannot count past 4 GiB.",
        hint="Nothing to do: the file's own size was used. Record long holds as RF64 or FLAC.",
        numbers={"claimed_bytes": chunk.claimed, "present_bytes": whole},
    )


def _cut_off(chunk: Chunk, there: int) -> Notice:
    return Notice(
        code="cut-off",
        message=f"The file is cut off: it claims {chunk.claimed} bytes of samples and holds {there}.",
        hint="Use what is there with care, or copy the file again.",
        numbers={"claimed_bytes": chunk.claimed, "present_bytes": there},
    )
