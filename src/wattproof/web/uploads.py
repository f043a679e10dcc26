"""Files on their way in: each under a random name in a folder of the server's own, what it was called kept beside."""

import re
import secrets
import shutil
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock

from starlette.datastructures import UploadFile

from wattproof.errors import FileMissingError, PageError
from wattproof.tasks import GivenFile
from wattproof.web.shelf import Shelf

MOST_TRAYS = 20
MOST_FILES = 200
_SUFFIX = re.compile(r"\.[a-z0-9]{1,8}")
_LONGEST_NAME = 160


@dataclass(kw_only=True)
class Tray:
    """Files that were handed over together.

    Attributes
    ----------
    key, browser : str
    folder : Path
    session : str
        Into which they are meant to go; empty: not said.
    files : list of GivenFile
    """

    key: str
    browser: str
    folder: Path
    session: str = ""
    files: list[GivenFile] = field(default_factory=list)


class Trays:
    """Holds what was handed over and is neither kept nor dropped yet.

    Parameters
    ----------
    shelf : Shelf
        Gives the folders, and takes them away at the end.
    """

    def __init__(self, shelf: Shelf) -> None:
        self._shelf = shelf
        self._trays: dict[str, Tray] = {}
        self._lock = Lock()

    def new(self, browser: str, session: str) -> Tray:
        """Give an empty tray."""
        tray = Tray(key=secrets.token_urlsafe(9), browser=browser, folder=self._shelf.folder(), session=session)
        with self._lock:
            self._trays[tray.key] = tray
            surplus = list(self._trays.values())[:-MOST_TRAYS]
        for old in surplus:
            self.drop(old)
        return tray

    def find(self, browser: str, key: str) -> Tray | None:
        """Give a tray of this browser; None of another's or of none."""
        tray = self._trays.get(key)
        return tray if tray is not None and tray.browser == browser else None

    def of(self, browser: str) -> list[Tray]:
        """Give the trays of a browser that hold something, the newest first."""
        with self._lock:
            return [one for one in self._trays.values() if one.browser == browser and one.files][::-1]

    def drop(self, tray: Tray) -> None:
        """Throw the files away."""
        with self._lock:
            self._trays.pop(tray.key, None)
        shutil.rmtree(tray.folder, ignore_errors=True)


def take(tray: Tray, given: Sequence[UploadFile]) -> None:
    """Put files that came with a form into a tray.

    Raises
    ------
    PageError
        There are more of them than a tray holds.
    FileMissingError
        The disk refuses.
    """
    if len(tray.files) + len(given) > MOST_FILES:
        raise PageError(
            "Those are too many files at once.",
            why=f"at most {MOST_FILES} are taken",
            hint="Keep these first, then add more.",
        )
    for one in given:
        tray.files.append(_taken(tray.folder, one))


def _taken(folder: Path, given: UploadFile) -> GivenFile:
    name = shown_name(given.filename or "")
    key = secrets.token_hex(6)
    suffix = Path(name).suffix.lower()
    path = folder / f"{key}{suffix if _SUFFIX.fullmatch(suffix) else ''}"
    try:
        with path.open("xb") as out:
            shutil.copyfileobj(given.file, out, 1 << 20)
        return GivenFile(key=key, name=name, path=path, size_bytes=path.stat().st_size)
    except OSError as error:
        path.unlink(missing_ok=True)
        raise FileMissingError(
            f"{name} could not be taken.",
            why=error.strerror or str(error),
            hint="Make room on the disk, and try again.",
        ) from error


def shown_name(said: str) -> str:
    r"""Give the last part of what a file is called, as words and nothing else.

    Examples
    --------
    >>> shown_name("../../etc/ramp 4 ohm.wav"), shown_name("C:\\bench\\idle.wav"), shown_name("..")
    ('ramp 4 ohm.wav', 'idle.wav', 'file')
    """
    last = said.replace("\\", "/").rpartition("/")[2]
    plain = "".join(letter for letter in last if letter.isprintable()).strip()
    if len(plain) > _LONGEST_NAME:
        stem, dot, suffix = plain.rpartition(".")
        plain = f"{stem[:_LONGEST_NAME]}{dot}{suffix[:10]}" if dot else plain[:_LONGEST_NAME]
    return plain if plain.strip(".") else "file"
