"""Where a run that is going on can be watched: an address and a secret, beside the sessions, gone when the run is."""

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from wattproof.archive.disk import explained, write_file, write_new
from wattproof.archive.model import Session

FOLDER = ".running"


@dataclass(frozen=True, kw_only=True)
class WindowAddress:
    """Where a run's window is.

    Attributes
    ----------
    session : str
        Which session is running.
    port : int
        On this machine's loopback.
    secret : str
        Who knows it may watch and stop the run.
    pid : int
        The process that runs.
    """

    session: str
    port: int
    secret: str
    pid: int


@contextmanager
def announced(root: Path, session: Session, *, port: int, secret: str) -> Iterator[None]:
    """Leave a run's address where only this person's programs read it, for as long as the block lasts."""
    folder = root / FOLDER
    path = folder / f"{session.id}.json"
    said = {"session": session.id, "port": port, "secret": secret, "pid": os.getpid()}
    with explained("tell where the run can be watched", path):
        folder.mkdir(mode=0o700, exist_ok=True)
        folder.chmod(0o700)
        write_file(path, json.dumps(said).encode())
    try:
        yield
    finally:
        with suppress(OSError):
            path.unlink(missing_ok=True)


def workbench_secret(root: Path, fresh: bytes) -> bytes:
    """Give the secret that the workbench signs with; `fresh` becomes it where there is none yet."""
    folder = root / FOLDER
    path = folder / "secret"
    with explained("keep the workbench's secret", path):
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        folder.chmod(0o700)
        with suppress(FileExistsError):
            write_new(path, fresh)
        return path.read_bytes()


def keep_token(root: Path, token: str) -> Path:
    """Leave the token that scripts bring to the workbench where only this person's programs read it."""
    path = root / FOLDER / "token"
    with explained("keep the token for scripts", path):
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        path.parent.chmod(0o700)
        if not path.is_file() or path.read_bytes() != token.encode():
            write_file(path, token.encode())
    return path


def window_addresses(root: Path) -> tuple[WindowAddress, ...]:
    """Give the addresses that were left; one whose process was killed may be among them: nobody answers there."""
    found = []
    for path in sorted((root / FOLDER).glob("*.json")):
        with suppress(OSError, ValueError, TypeError):
            found.append(WindowAddress(**json.loads(path.read_text(encoding="utf-8"))))
    return tuple(found)
