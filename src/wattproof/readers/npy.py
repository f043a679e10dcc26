"""NPY and NPZ, never with pickled objects: an object from a stranger could run code."""

import math
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import IO, Any

import numpy as np

from wattproof.errors import BrokenFileError, Notice
from wattproof.readers.arrays import ArrayLike, ArrayRecording
from wattproof.readers.contract import Answers
from wattproof.readers.foreign import refuse_too_large, translated
from wattproof.readers.variables import Variable, assemble, fault_of

MAGIC = b"\x93NUMPY"
ZIP_NAME_AT = 30


@dataclass(frozen=True, kw_only=True)
class _Header:
    shape: tuple[int, ...]
    dtype: np.dtype[Any]
    column_major: bool

    @property
    def n_bytes(self) -> int:
        return math.prod(self.shape) * self.dtype.itemsize  # Python integers: a claim of 10**30 does not wrap round


class NpyReader:
    """Reads one array, mapped from disk."""

    name = "npy"
    suffixes = (".npy",)

    def sniff(self, head: bytes) -> bool:
        """Say whether the first bytes are the format's mark."""
        return head[: len(MAGIC)] == MAGIC

    def open(self, path: Path, answers: Answers) -> ArrayRecording:
        """Open an NPY file."""
        with translated(path.name, "an NPY array"):
            with path.open("rb") as file:
                header = _header(file)
                offset = file.tell()
            array, notices = (None, []) if header.dtype.hasobject else _mapped(path, header, offset)
            recording = assemble(_variables(array, header), path=path, reader=self.name, answers=answers)
        return replace(recording, notices=(*notices, *recording.notices))


class NpzReader:
    """Reads several named arrays; only those needed are unpacked."""

    name = "npz"
    suffixes = (".npz",)

    def sniff(self, head: bytes) -> bool:
        """Say whether the first bytes are a ZIP archive whose first member is an NPY array."""
        size = int.from_bytes(head[26:28], "little")
        return head[:4] == b"PK\x03\x04" and head[ZIP_NAME_AT : ZIP_NAME_AT + size].endswith(b".npy")

    def open(self, path: Path, answers: Answers) -> ArrayRecording:
        """Open an NPZ file."""
        with translated(path.name, "an NPZ archive"):
            with zipfile.ZipFile(path) as archive:
                members = [info for info in archive.infolist() if info.filename.endswith(".npy")]
                variables = [_member(path, archive, info) for info in members]
            return assemble(variables, path=path, reader=self.name, answers=answers)


def _header(file: IO[bytes]) -> _Header:
    version = np.lib.format.read_magic(file)
    read = np.lib.format.read_array_header_1_0 if version == (1, 0) else np.lib.format.read_array_header_2_0
    shape, column_major, dtype = read(file)
    if any(side < 0 for side in shape):
        raise ValueError(f"the shape {shape} has a negative side")
    return _Header(shape=shape, dtype=dtype, column_major=column_major)


def _mapped(path: Path, header: _Header, offset: int) -> tuple[ArrayLike, list[Notice]]:
    """Map the array; of a cut-off file whose first axis is time, what is there."""
    there = path.stat().st_size - offset
    shape, notices = header.shape, []
    if header.n_bytes > there:
        shape = _rows_present(header, there, path.name)
        notices.append(
            Notice(
                code="cut-off",
                message=f"The file is cut off: it claims {header.shape[0]} samples and holds {shape[0]}.",
                hint="Use what is there with care, or copy the file again.",
                numbers={"claimed_samples": header.shape[0], "present_samples": shape[0]},
            )
        )
    if 0 in shape or not shape:  # nothing to map: it will be refused for that
        return np.zeros(shape, dtype=header.dtype), notices
    mapped: ArrayLike = np.memmap(
        path, dtype=header.dtype, mode="r", offset=offset, shape=shape, order="F" if header.column_major else "C"
    )
    return mapped, notices


def _rows_present(header: _Header, there: int, source: str) -> tuple[int, ...]:
    row_bytes = header.n_bytes // max(header.shape[0], 1) if header.shape else header.n_bytes
    one_row = not header.column_major or len(header.shape) == 1
    rows = there // row_bytes if row_bytes else 0
    if not header.shape or not one_row or rows < 1 or header.shape[0] < max(header.shape):
        raise BrokenFileError(
            f"{source} is cut off.",
            why=f"Its array claims {header.n_bytes} bytes, {there} are there, and they do not hold every channel.",
            hint="Copy the file again, or export it again.",
        )
    return (rows, *header.shape[1:])


def _variables(array: ArrayLike | None, header: _Header) -> Sequence[Variable]:
    """One variable, or one for each field of a structured array."""
    if array is None:
        return [Variable(name="", shape=header.shape, fault="objects", load=_never)]
    if header.dtype.names is None:
        return [Variable(name="", shape=array.shape, fault=fault_of(header.dtype, array.shape), load=lambda: array)]
    return [
        Variable(
            name=name,
            shape=array.shape,
            fault=fault_of(header.dtype[name], array.shape),
            load=partial(_field, array, name),
            table=True,
        )
        for name in header.dtype.names
    ]


def _field(array: ArrayLike, name: str) -> ArrayLike:
    field: ArrayLike = array[name]
    return field


def _never() -> ArrayLike:
    raise TypeError("objects are never loaded")


def _member(path: Path, archive: zipfile.ZipFile, info: zipfile.ZipInfo) -> Variable:
    name = info.filename.removesuffix(".npy")
    with archive.open(info) as file:
        header = _header(file)
    fault = fault_of(header.dtype, header.shape)
    if not fault and info.file_size < header.n_bytes:
        fault = f"cut off: {header.n_bytes} bytes claimed, {info.file_size} there"
    return Variable(name=name, shape=header.shape, fault=fault, load=partial(_unpacked, path, info.filename, header))


def _unpacked(path: Path, member: str, header: _Header) -> ArrayLike:
    refuse_too_large(path.name, member.removesuffix(".npy"), header.n_bytes, path)
    with zipfile.ZipFile(path) as archive, archive.open(member) as file:
        array: ArrayLike = np.lib.format.read_array(file, allow_pickle=False)
        return array
