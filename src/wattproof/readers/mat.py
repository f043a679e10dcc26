"""MAT 5 files by a parser of our own: only real numeric arrays are ever decoded, within the bounds of the file.

A damaged file can crash the general decoders for this format; its numeric arrays need only a small part of them.
A file is a header of 128 bytes and then elements, each a type, a length and its content; an array is an element made of
elements: flags, sides, name, real part, imaginary part; and any array may be packed by deflate.
"""

import math
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import BinaryIO

import numpy as np

from wattproof.readers.arrays import ArrayLike, ArrayRecording
from wattproof.readers.contract import Answers
from wattproof.readers.foreign import refuse_too_large, translated
from wattproof.readers.variables import Variable, assemble, fault_of
from wattproof.readers.wav_text import plain

HEADER_BYTES = 128
MOST_ELEMENTS = 10_000
PREFIX_BYTES = 4096  # flags, sides and name, and the start of the values
MATRIX, COMPRESSED = 14, 15
STORED = {1: "i1", 2: "u1", 3: "i2", 4: "u2", 5: "i4", 6: "u4", 7: "f4", 9: "f8", 12: "i8", 13: "u8"}
NUMBERS = {6: "f8", 7: "f4", 8: "i1", 9: "u1", 10: "i2", 11: "u2", 12: "i4", 13: "u4", 14: "i8", 15: "u8"}
FAULTS = {1: "a cell array", 2: "a structure", 3: "an object", 4: "text", 5: "a sparse matrix", 16: "a function"}
COMPLEX, LOGICAL = 0x0800, 0x0200


@dataclass(frozen=True, kw_only=True)
class _Element:
    """Where an array lies in the file, and whether it is packed."""

    offset: int
    n_bytes: int
    packed: bool


@dataclass(frozen=True, kw_only=True)
class _Array:
    """What an array says of itself; `at` and `n_bytes` place its real part within its element."""

    name: str
    shape: tuple[int, ...]
    fault: str
    number: str = "f8"
    stored: str = "f8"
    at: int = 0
    n_bytes: int = 0


class MatReader:
    """Reads the real numeric arrays of a MAT 5 file; objects, structures and functions are never opened."""

    name = "mat5"
    suffixes = (".mat",)

    def sniff(self, head: bytes) -> bool:
        """Say whether the first bytes are a MAT 5 header: its text, and its version with the byte-order mark."""
        return head[:6] == b"MATLAB" and head[124:128] in {b"\x00\x01IM", b"\x01\x00MI"}

    def open(self, path: Path, answers: Answers) -> ArrayRecording:
        """Open a MAT 5 file."""
        with translated(path.name, "a MAT 5 file"):
            variables = list(_variables(path))
            with path.open("rb") as file:
                header = plain(file.read(116))
            return assemble(variables, path=path, reader=self.name, answers=answers, metadata={"header": header})


def _variables(path: Path) -> Iterator[Variable]:
    with path.open("rb") as file:
        file.seek(126)
        order = "<" if file.read(2) == b"IM" else ">"
        for element in _elements(file, order, path.stat().st_size):
            array = _described(_content(file, element, PREFIX_BYTES), element, order)
            yield Variable(
                name=array.name,
                shape=array.shape,
                fault=array.fault,
                load=partial(_loaded, path, element, array, order),
            )


def _elements(file: BinaryIO, order: str, size: int) -> Iterator[_Element]:
    at = HEADER_BYTES
    for _ in range(MOST_ELEMENTS):
        file.seek(at)
        tag = np.frombuffer(file.read(8), dtype=f"{order}u4")
        if tag.size < 2:
            return
        kind, n_bytes = int(tag[0]), int(tag[1])
        if kind in {MATRIX, COMPRESSED} and n_bytes:
            there = min(n_bytes, size - at - 8)
            yield _Element(offset=at + 8, n_bytes=there, packed=kind == COMPRESSED)
        at += 8 + n_bytes


def _content(file: BinaryIO, element: _Element, most: int) -> bytes:
    """Give the first `most` bytes of an array's content, unpacked."""
    file.seek(element.offset)
    if not element.packed:
        return file.read(min(element.n_bytes, most))
    unpacked = zlib.decompressobj().decompress(file.read(element.n_bytes), most + 8)
    return unpacked[8:]  # past the tag of the array within


def _described(content: bytes, element: _Element, order: str) -> _Array:
    """Read flags, sides and name, and find the values."""
    _, at, n_bytes, after = _part(content, 0, order)
    flags = int.from_bytes(content[at : at + 4], "little" if order == "<" else "big")
    _, at, n_bytes, after = _part(content, after, order)
    shape = tuple(int(side) for side in np.frombuffer(content[at : at + n_bytes], dtype=f"{order}i4"))
    _, at, n_bytes, after = _part(content, after, order)
    name = plain(content[at : at + n_bytes]) or "unnamed"
    if any(side < 0 for side in shape):
        raise ValueError(f"array {name!r} has the sides {shape}")
    kind = flags & 0xFF
    if kind not in NUMBERS:
        return _Array(name=name, shape=shape, fault=FAULTS.get(kind, "an object"))
    fault = "complex numbers" if flags & COMPLEX else "yes/no" if flags & LOGICAL else ""
    fault = fault or fault_of(np.dtype(NUMBERS[kind]), shape)
    if fault not in {"", "one number"}:
        return _Array(name=name, shape=shape, fault=fault)
    stored, at, n_bytes, _ = _part(content, after, order)
    claimed = math.prod(shape) * np.dtype(STORED.get(stored, "u1")).itemsize
    if stored not in STORED or claimed != n_bytes:
        raise ValueError(f"array {name!r} has {n_bytes} bytes for {math.prod(shape)} values")
    if not element.packed and at + n_bytes > element.n_bytes:
        fault = f"cut off: {n_bytes} bytes claimed, {max(element.n_bytes - at, 0)} there"
    return _Array(
        name=name,
        shape=shape,
        fault=fault,
        number=NUMBERS[kind],
        stored=STORED[stored],
        at=at,
        n_bytes=n_bytes,
    )


def _part(content: bytes, at: int, order: str) -> tuple[int, int, int, int]:
    """Give type, place and length of a part, and where the next one starts.

    A part of four bytes or less shares the eight bytes of its tag.
    """
    words = np.frombuffer(content[at : at + 8], dtype=f"{order}u4")
    if words.size < 2:
        raise ValueError("an array ends within its own header")
    first, second = int(words[0]), int(words[1])
    if first >> 16:
        return first & 0xFFFF, at + 4, min(first >> 16, 4), at + 8
    return first, at + 8, second, at + 8 + second + -second % 8


def _loaded(path: Path, element: _Element, array: _Array, order: str) -> ArrayLike:
    refuse_too_large(path.name, array.name, array.n_bytes, path)
    with path.open("rb") as file:
        content = _content(file, element, array.at + array.n_bytes)
    values = np.frombuffer(content[array.at :], dtype=f"{order}{array.stored}", count=math.prod(array.shape))
    return values.reshape(array.shape, order="F").astype(array.number, copy=False)
