"""Writing so that a power cut, a full disk or a second process never leaves anything half-written in sight.

One way for all: write aside under a name that starts with ``.part-``, flush it to the disk, then rename. What a killed
process leaves is therefore always a ``.part-`` name, which nobody reads and `sweep` takes away once it is old.
"""

import errno
import hashlib
import os
import secrets
import shutil
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from wattproof.archive.names import PART
from wattproof.errors import ArchiveError, FileMissingError

STALE_AFTER_S = 3600.0
"""A ``.part-`` name untouched for this long belongs to nobody: a copy that is alive touches its file all the time."""

_CHUNK_BYTES = 1 << 20
_TAKEN = frozenset({errno.EEXIST, errno.ENOTEMPTY, errno.ENOTDIR})
_FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
_NO_SUCH_CALL = frozenset({errno.EINVAL, errno.ENOTSUP})  # some network file systems cannot flush a folder
_FORBIDDEN = frozenset({errno.EACCES, errno.EPERM, errno.EROFS})


@contextmanager
def explained(doing: str, where: Path) -> Iterator[None]:
    """Turn the system's refusals inside into an `ArchiveError` that says what to do.

    Parameters
    ----------
    doing : str
        What was tried, in the words of the message: "store the figures".
    where : Path
        The file or folder that was to be written or read.

    Raises
    ------
    ArchiveError
        The system refused.
    """
    try:
        yield
    except OSError as error:
        message = f"Could not {doing} in {where}."
        raise ArchiveError(message, why=error.strerror or str(error), hint=_hint(error)) from error


def _hint(error: OSError) -> str:
    if error.errno in _FULL:
        return "Free some space on that disk and repeat the command; nothing half-written was left."
    if error.errno in _FORBIDDEN:
        return "Allow yourself to write there, or choose another archive folder (WATTPROOF_ARCHIVE), and repeat it."
    return "Check that the folder is there and its disk connected, then repeat the command."


def write_file(path: Path, data: bytes) -> None:
    """Write a file whole or not at all, in place of what stood there.

    Raises
    ------
    OSError
        The system refused; what stood there still does.
    """
    with staged(path, data) as aside:
        aside.replace(path)
    flush_folder(path.parent)


@contextmanager
def staged(path: Path, data: bytes) -> Iterator[Path]:
    """Write a file aside, down to the disk, and hand out where; what was not renamed by then is taken away again."""
    aside = path.with_name(f"{PART}{secrets.token_hex(4)}-{path.name}")
    try:
        write_new(aside, data)
        yield aside
    finally:
        with suppress(OSError):
            aside.unlink(missing_ok=True)


def write_new(path: Path, data: bytes) -> None:
    """Write a file that must not be there yet, down to the disk."""
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    with os.fdopen(descriptor, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def copy_new(source: Path, target: Path) -> tuple[str, int]:
    """Copy a file byte for byte, in blocks, down to the disk.

    Returns
    -------
    str, int
        SHA-256 of the bytes written, as hexadecimal digits, and their number.

    Raises
    ------
    FileMissingError
        The source is not a file, or may not be read.
    OSError
        The target could not be written.
    """
    digest, size = hashlib.sha256(), 0
    descriptor = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    with os.fdopen(descriptor, "wb") as file:
        for block in _blocks(source):
            file.write(block)
            digest.update(block)
            size += len(block)
        file.flush()
        os.fsync(file.fileno())
    return digest.hexdigest(), size


def _blocks(source: Path) -> Iterator[bytes]:
    """Read in blocks, so that a fault of the source is told from one of the archive's disk."""
    try:
        with source.open("rb") as file:
            while block := file.read(_CHUNK_BYTES):
                yield block
    except OSError as error:
        raise FileMissingError(
            f"Cannot read {source}.", why=error.strerror or str(error), hint="Check the path and that it may be read."
        ) from error


def sha256_of(path: Path) -> str:
    """SHA-256 of a file's bytes, as hexadecimal digits.

    Raises
    ------
    OSError
        It cannot be read.
    """
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def publish_folder(aside: Path, final: Path) -> bool:
    """Put a finished folder in place, unless something stands there already; say whether it was done.

    A rename never replaces a folder that holds files, so two processes cannot both succeed.
    """
    flush_folder(aside)
    try:
        aside.rename(final)
    except OSError as error:
        if error.errno in _TAKEN:
            return False
        raise
    flush_folder(final.parent)
    return True


def discard_folder(aside: Path) -> None:
    """Take away a folder that was being built, as far as the system lets us."""
    shutil.rmtree(aside, ignore_errors=True)


def flush_folder(folder: Path) -> None:
    """Bring a folder's list of names to the disk, where the system has such a call."""
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        if error.errno not in _NO_SUCH_CALL:
            raise
    finally:
        os.close(descriptor)


def free_bytes(folder: Path) -> int:
    """Give the space left where a folder is, or will be made."""
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    return shutil.disk_usage(folder).free


def need_free(folder: Path, wanted_bytes: int) -> None:
    """Refuse as a full disk does where less than that is free.

    Raises
    ------
    OSError
        It is, with the numbers.
    """
    free = free_bytes(folder)
    if free < wanted_bytes:
        numbers = f"{free / 1e6:.1f} MB are free, {wanted_bytes / 1e6:.1f} MB are needed"
        raise OSError(errno.ENOSPC, f"{os.strerror(errno.ENOSPC)}: {numbers}")


def leftovers(folder: Path) -> list[Path]:
    """List what killed processes (or running ones) left half-written directly in a folder."""
    return sorted(folder.glob(f"{PART}*")) if folder.is_dir() else []


def sweep(folder: Path, *, now_s: float | None = None) -> None:
    """Take away half-written things in a folder that nobody has touched for an hour.

    Parameters
    ----------
    folder : Path
        Its direct entries are looked at.
    now_s : float or None, seconds
        The time to reckon from, since the epoch; None takes the clock's.
    """
    now = time.time() if now_s is None else now_s
    for part in leftovers(folder):
        with suppress(OSError):
            if now - _last_touch_s(part) > STALE_AFTER_S:
                discard_folder(part) if part.is_dir() else part.unlink()


def _last_touch_s(part: Path) -> float:
    """Latest change of a file, or of a folder and what it holds; seconds since the epoch."""
    inside: Iterable[Path] = part.rglob("*") if part.is_dir() else ()
    return max(float(entry.stat().st_mtime) for entry in (part, *inside))
