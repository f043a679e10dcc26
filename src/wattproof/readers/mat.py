"""MAT 5 files through scipy; variables are listed first, and only those needed are unpacked."""

import math
from functools import partial
from pathlib import Path

import numpy as np

from wattproof.errors import NotAWaveformError
from wattproof.readers.arrays import ArrayLike, ArrayRecording
from wattproof.readers.contract import Answers
from wattproof.readers.foreign import refuse_too_large, translated
from wattproof.readers.variables import Variable, assemble, fault_of
from wattproof.readers.wav_text import plain

TYPES = {"double": "f8", "single": "f4", "int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2", "int32": "i4",
         "uint32": "u4", "int64": "i8", "uint64": "u8"}  # fmt: skip
FAULTS = {
    "char": "text",
    "struct": "a structure",
    "cell": "a cell array",
    "logical": "yes/no",
    "sparse": "a sparse matrix",
    "function": "a function",
    "object": "an object",
    "opaque": "an object",
}


class MatReader:
    """Reads the numeric variables of a MAT 5 file; objects, structures and functions are never opened."""

    name = "mat5"
    suffixes = (".mat",)

    def sniff(self, head: bytes) -> bool:
        """Say whether the first bytes are a MAT 5 header: its text, and its version with the byte-order mark."""
        return head[:6] == b"MATLAB" and head[124:128] in {b"\x00\x01IM", b"\x01\x00MI"}

    def open(self, path: Path, answers: Answers) -> ArrayRecording:
        """Open a MAT 5 file."""
        import scipy.io

        with translated(path.name, "a MAT 5 file", also=(scipy.io.matlab.MatReadError,)):
            with path.open("rb") as file:
                header = plain(file.read(116))
            listed = scipy.io.whosmat(path, appendmat=False)
            variables = [_variable(path, name, shape, kind) for name, shape, kind in listed]
            return assemble(variables, path=path, reader=self.name, answers=answers, metadata={"header": header})


def _variable(path: Path, name: str, shape: tuple[int, ...], kind: str) -> Variable:
    shape = tuple(int(side) for side in shape)
    fault = fault_of(np.dtype(TYPES[kind]), shape) if kind in TYPES else FAULTS.get(kind, f"values of class {kind}")
    return Variable(name=name, shape=shape, fault=fault, load=partial(_loaded, path, name, shape, kind))


def _loaded(path: Path, name: str, shape: tuple[int, ...], kind: str) -> ArrayLike:
    import scipy.io

    refuse_too_large(path.name, name, math.prod(shape) * np.dtype(TYPES[kind]).itemsize, path)
    array = scipy.io.loadmat(path, appendmat=False, variable_names=[name])[name]
    if not isinstance(array, np.ndarray) or array.shape != shape:
        raise ValueError(f"variable {name!r} is not the {shape} array it was listed as")
    if array.dtype.kind == "c":
        raise NotAWaveformError(
            f"{name!r} in {path.name} is no record in time.",
            why="It holds complex numbers: a spectrum or an impedance.",
            hint="Save the samples themselves.",
        )
    return array
