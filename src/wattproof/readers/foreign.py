"""The edge where faults of other people's decoders become ours: a broken file must not end in a traceback."""

import struct
import tokenize
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from wattproof.errors import BrokenFileError, InputError

MOST_PACKED = 1100  # deflate packs zeros at most 1032 to 1
MOST_BYTES = 1 << 30  # of one array that has to be unpacked into memory; files read in place have no such limit

# What numpy, scipy.io, zipfile and h5py raise on bytes that make no sense.
FOREIGN: tuple[type[Exception], ...] = (
    ArithmeticError, AssertionError, AttributeError, EOFError, LookupError, MemoryError, NotImplementedError, OSError,
    RuntimeError, SyntaxError, TypeError, ValueError, struct.error, tokenize.TokenError, zipfile.BadZipFile, zlib.error,
)  # fmt: skip


@contextmanager
def translated(source: str, kind: str, also: tuple[type[Exception], ...] = ()) -> Iterator[None]:
    """Turn the faults of a foreign decoder into a `BrokenFileError`, and silence its warnings: we say it better."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except InputError:
        raise
    except (*FOREIGN, *also) as error:
        raise BrokenFileError(
            f"{source} is broken.",
            why=f"It starts as {kind}, but its content cannot be decoded: {str(error).splitlines()[0][:200]}."
            if str(error)
            else f"It starts as {kind}, but its content cannot be decoded.",
            hint="Copy the file again, or export it again.",
        ) from error


def refuse_too_large(source: str, name: str, declared_bytes: int, path: Path) -> None:
    """Refuse an array that claims more than memory should hold, or more than its file could ever unpack to."""
    size = path.stat().st_size
    if declared_bytes > MOST_BYTES:
        raise BrokenFileError(
            f"{source} is too large to unpack.",
            why=f"Array {name!r} claims {declared_bytes} bytes from a file of {size}; the limit is {MOST_BYTES}.",
            hint="Save it as WAV, RF64 or plain NPY, which are read in place, or save a part of it.",
        )
    if declared_bytes > MOST_PACKED * size:
        raise BrokenFileError(
            f"{source} is broken.",
            why=f"Array {name!r} claims {declared_bytes} bytes; a file of {size} cannot hold them, however packed.",
            hint="Copy the file again, or export it again.",
        )
