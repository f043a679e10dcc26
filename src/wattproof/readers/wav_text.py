"""Words kept beside the samples of a WAV file: broadcast extension, INFO list and iXML, decoded leniently."""

import re
from typing import BinaryIO

from wattproof.readers.chunks import Chunk, ChunkMap

LONGEST = 1 << 16
BEXT = (
    ("description", 0, 256),
    ("originator", 256, 288),
    ("reference", 288, 320),
    ("date", 320, 330),
    ("time", 330, 338),
)
INFO = {
    "INAM": "title", "IART": "artist", "ICMT": "comment", "ICRD": "date", "ISFT": "software", "IENG": "engineer",
    "ISBJ": "subject", "ISRC": "source", "ITCH": "technician", "IPRD": "product", "IKEY": "keywords",
    "ICOP": "copyright",
}  # fmt: skip


def metadata_of(file: BinaryIO, chunks: ChunkMap, order: str) -> dict[str, str]:
    """Collect the words of all chunks that hold any; unknown and broken ones are skipped, for no figure needs them."""
    words: dict[str, str] = {}
    for chunk in chunks.chunks:
        if chunk.name == "bext":
            words |= _bext(_content(file, chunk))
        elif chunk.name in {"LIST", "list"}:
            words |= _info(_content(file, chunk), order)
        elif chunk.name == "iXML":
            words |= _ixml(_content(file, chunk))
    return {name: text for name, text in words.items() if text}


def plain(raw: bytes) -> str:
    """Decode text that ends at its first null: UTF-8 where it is valid, else one byte a character; controls removed."""
    raw = raw.partition(b"\0")[0]
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return " ".join("".join(mark if mark.isprintable() else " " for mark in text).split())


def _content(file: BinaryIO, chunk: Chunk) -> bytes:
    file.seek(chunk.offset)
    return file.read(min(chunk.present, LONGEST))


def _bext(content: bytes) -> dict[str, str]:
    words = {f"bext_{name}": plain(content[start:stop]) for name, start, stop in BEXT}
    if len(content) >= 346:
        samples = int.from_bytes(content[338:346], "little")
        words["bext_samples_since_midnight"] = str(samples) if samples else ""
    return words


def _info(content: bytes, order: str) -> dict[str, str]:
    words: dict[str, str] = {}
    at = 4
    while content[:4] == b"INFO" and at + 8 <= len(content):
        name = content[at : at + 4].decode("latin-1")
        size = int.from_bytes(content[at + 4 : at + 8], "little" if order == "<" else "big")
        if name in INFO:
            words[f"info_{INFO[name]}"] = plain(content[at + 8 : at + 8 + size])
        at += 8 + size + size % 2
    return words


def _ixml(content: bytes) -> dict[str, str]:
    """Take simple elements out of iXML by pattern: a full parser would let a stranger's file expand entities."""
    text = content.decode("utf-8", errors="replace")
    wanted = r"<(PROJECT|SCENE|TAKE|TAPE|NOTE|FILE_SAMPLE_RATE)>([^<]{0,1000})</\1>"
    return {f"ixml_{name.lower()}": plain(value.encode()) for name, value in re.findall(wanted, text)}
