"""HDF5, and MAT 7.3 which is HDF5 behind a header of its own; data sets are read piece by piece."""

import math
import subprocess
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wattproof.readers.arrays import ArrayLike, ArrayRecording
from wattproof.readers.contract import Answers
from wattproof.readers.foreign import MOST_BYTES, MOST_PACKED, translated
from wattproof.readers.variables import Variable, assemble, fault_of
from wattproof.readers.wav_text import plain

if TYPE_CHECKING:
    import h5py

SIGNATURE = b"\x89HDF\r\n\x1a\n"
MOST_DATA_SETS = 1000
PROBE = Path(__file__).with_name("hdf5_probe.py")
PROBE_S = 20
MATLAB_NUMBERS = {"double", "single", "int8", "uint8", "int16", "uint16", "int32", "uint32", "int64", "uint64"}


class Hdf5Reader:
    """Reads real data sets of one or two axes, with rate, interval, start and unit from their attributes."""

    name = "hdf5"
    suffixes = (".h5", ".hdf5", ".hdf", ".he5")

    def sniff(self, head: bytes) -> bool:
        """Say whether the signature stands at the start, or behind a user block that is not MAT 7.3's."""
        at = next((at for at in (0, 512, 1024, 2048) if head[at : at + 8] == SIGNATURE), None)
        return at is not None and not head.startswith(b"MATLAB 7.3 MAT-file")

    def open(self, path: Path, answers: Answers) -> ArrayRecording:
        """Open an HDF5 file."""
        with translated(path.name, "an HDF5 file"):
            return assemble(list_variables(path), path=path, reader=self.name, answers=answers)


class Mat73Reader:
    """Reads the numeric variables of a MAT 7.3 file."""

    name = "mat73"
    suffixes = (".mat",)

    def sniff(self, head: bytes) -> bool:
        """Say whether the first bytes are MAT 7.3's own header with HDF5 behind it."""
        return head.startswith(b"MATLAB 7.3 MAT-file") and head[512:520] == SIGNATURE

    def open(self, path: Path, answers: Answers) -> ArrayRecording:
        """Open a MAT 7.3 file."""
        with translated(path.name, "a MAT 7.3 file"):
            with path.open("rb") as file:
                header = plain(file.read(116))
            return assemble(
                list_variables(path), path=path, reader=self.name, answers=answers, metadata={"header": header}
            )


def list_variables(path: Path) -> list[Variable]:
    """Give every data set of the file, hidden ones left out; links that lead elsewhere are not followed."""
    import h5py

    _survive(path)
    with h5py.File(path, "r") as file:
        return list(_walk(path, file, ""))


def _survive(path: Path) -> None:
    """Let another process go through the file first: its crash or its endless loop is only an answer."""
    try:
        done = subprocess.run(
            [sys.executable, "-I", str(PROBE), str(path.resolve())], timeout=PROBE_S, check=False, capture_output=True
        )
    except subprocess.TimeoutExpired as error:
        raise RuntimeError(f"reading it does not end within {PROBE_S} s") from error
    if done.returncode < 0 or done.returncode > 2:
        raise RuntimeError("reading it crashes the HDF5 library")


def _walk(path: Path, group: "h5py.Group", at: str, depth: int = 0) -> Iterator[Variable]:
    import h5py

    for name in list(group)[:MOST_DATA_SETS]:
        link = group.get(name, getlink=True)
        if name.startswith("#") or not isinstance(link, h5py.HardLink):
            continue
        item = group[name]
        if isinstance(item, h5py.Dataset):
            yield from _data_set(path, item, f"{at}{name}", at, _facts(group.attrs))
        elif isinstance(item, h5py.Group) and depth < 8:
            yield from _walk(path, item, f"{at}{name}/", depth + 1)


def _data_set(
    path: Path, item: "h5py.Dataset", name: str, group: str, inherited: Mapping[str, str | float]
) -> Iterator[Variable]:
    facts = {**inherited, **_facts(item.attrs)}
    shape, dtype = tuple(int(side) for side in item.shape or ()), np.dtype(item.dtype)
    fields = dtype.names or ("",)
    for field in fields:
        lazy = LazyDataSet(path=path, name=name, field=field, shape=shape, dtype=dtype[field] if field else dtype)
        yield Variable(
            name=f"{name}/{field}" if field else name,
            group=name if field else group,
            shape=shape,
            fault=_fault(item, facts) or fault_of(lazy.dtype, shape),
            load=partial(_same, lazy),
            facts=facts,
            table=bool(field),
        )


def _same(lazy: "LazyDataSet") -> ArrayLike:
    return lazy


def _fault(item: "h5py.Dataset", facts: Mapping[str, str | float]) -> str:
    """Say what, beside its values' kind, keeps a data set from being a record."""
    kind = facts.get("MATLAB_class")
    if isinstance(kind, str) and kind not in MATLAB_NUMBERS:
        return {"char": "text", "logical": "yes/no", "cell": "a cell array"}.get(kind, f"a {kind}")
    if item.shape is None or facts.get("MATLAB_empty") or item.size == 0:
        return "no values"
    if item.external or item.is_virtual:
        return "values kept in another file"
    stored = int(item.id.get_storage_size())
    claimed = int(item.size) * int(item.dtype.itemsize)
    most = stored if item.chunks is None else MOST_PACKED * stored
    if claimed > most:
        return f"{claimed} bytes claimed, {stored} stored"
    if item.chunks is not None and math.prod(item.chunks) * item.dtype.itemsize > MOST_BYTES:
        return f"pieces of more than {MOST_BYTES} bytes"
    return ""


def _facts(attributes: "h5py.AttributeManager") -> dict[str, str | float]:
    """Take plain numbers and words out of attributes; anything else is not needed."""
    facts: dict[str, str | float] = {}
    for name in list(attributes)[:200]:
        try:
            value = attributes[name]
        except (OSError, TypeError, ValueError, KeyError, RuntimeError):  # an attribute of a kind h5py cannot read
            continue
        value = value.item() if isinstance(value, np.ndarray | np.generic) and value.size == 1 else value
        if isinstance(value, bytes):
            facts[name] = plain(value)
        elif isinstance(value, str):
            facts[name] = plain(value.encode("utf-8", errors="replace"))
        elif isinstance(value, bool | int | float):
            facts[name] = float(value)
    return facts


@dataclass(frozen=True, kw_only=True)
class LazyDataSet:
    """A data set, or a field of one, that opens its file for each slice: it never holds more than is asked for."""

    path: Path
    name: str
    field: str
    shape: tuple[int, ...]
    dtype: np.dtype[Any]

    def __getitem__(self, key: Any) -> Any:  # noqa: ANN401 - whatever h5py accepts
        import h5py

        with translated(self.path.name, "an HDF5 file"), h5py.File(self.path, "r") as file:
            data = file[self.name]
            return data.fields(self.field)[key] if self.field else data[key]
