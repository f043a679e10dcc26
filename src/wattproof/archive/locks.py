"""Locks that the system lets go of when their holder dies, however it dies: so none can go stale."""

import os
import sys
from contextlib import suppress
from pathlib import Path

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

_AWAY = 1 << 30
"""Byte that is locked where whole files cannot be: beyond all content, so that others may read who holds it."""


class FileLock:
    """A lock on a small file that names its holder; made by `take_lock`."""

    def __init__(self, path: Path, descriptor: int) -> None:
        self._path = path
        self._descriptor: int | None = descriptor

    def release(self, *, remove: bool = False) -> None:
        """Let go of it, once; with `remove` the file goes too, which is right only for a name never used again."""
        descriptor, self._descriptor = self._descriptor, None
        if descriptor is None:
            return
        if remove:
            with suppress(OSError):  # an open file cannot be unlinked everywhere; an empty lock file harms nobody
                self._path.unlink(missing_ok=True)
        os.close(descriptor)


def take_lock(path: Path) -> FileLock | None:
    """Lock a file and write this process's number into it; None where a living process holds it.

    Raises
    ------
    OSError
        The system refuses, or knows no locks there.
    """
    while True:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o666)
        try:
            mine = _locked(descriptor)
            if mine and _still_there(path, descriptor):
                os.truncate(descriptor, 0)
                os.write(descriptor, f"{os.getpid()}\n".encode("ascii"))
                return FileLock(path, descriptor)
        except BaseException:
            os.close(descriptor)
            raise
        os.close(descriptor)
        if not mine:
            return None


def _still_there(path: Path, descriptor: int) -> bool:
    """Tell whether what was locked still has its name: whoever held it before may have taken the file away."""
    try:
        return os.path.samestat(path.stat(), os.fstat(descriptor))
    except FileNotFoundError:
        return False


def holder(path: Path) -> str:
    """Say which process wrote itself into a lock file, "unknown" where none did."""
    try:
        text = path.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        return "unknown"
    return text if text.isdecimal() else "unknown"


if sys.platform == "win32":

    def _locked(descriptor: int) -> bool:
        os.lseek(descriptor, _AWAY, os.SEEK_SET)
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except PermissionError:
            return False
        finally:
            os.lseek(descriptor, 0, os.SEEK_SET)
        return True

else:

    def _locked(descriptor: int) -> bool:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True
