"""What pages have made: files in a folder of the server's own, offered for download and gone when it goes."""

import secrets
import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import mkdtemp
from threading import Lock
from typing import Any

MOST_KEPT = 60


@dataclass(frozen=True, kw_only=True)
class Made:
    """Something that was made.

    Attributes
    ----------
    key : str
        Its name in addresses; nobody can guess it.
    browser : str
        Who asked for it.
    session : str
        What it is of; empty: of the archive, or of a file that was given.
    title, told : str
        What it is, and what its task said.
    folder : Path
    files : tuple of Path
        In the order in which they are shown.
    answer : object
        What the task answered, for pages that show more than its words.
    """

    key: str
    browser: str
    session: str
    title: str
    told: str
    folder: Path
    files: tuple[Path, ...] = ()
    answer: Any = field(default=None, repr=False)


class Shelf:
    """Keeps what was made last; the oldest makes room.

    Only `archive` writes into the archive, so nothing of this lies there.
    """

    def __init__(self) -> None:
        self._root: Path | None = None
        self._made: dict[str, Made] = {}
        self._lock = Lock()

    def folder(self) -> Path:
        """Make a new folder that nobody else can look into."""
        with self._lock:
            if self._root is None:
                self._root = Path(mkdtemp(prefix="wattproof-workbench-"))
            made = self._root / secrets.token_hex(8)
        made.mkdir()
        return made

    def make(
        self, browser: str, session: str, title: str, work: Callable[[Path], tuple[str, Sequence[Path], object]]
    ) -> Made:
        """Let something be made in a new folder, which is gone again where it fails.

        Parameters
        ----------
        browser, session, title : str
        work : callable
            Gets the folder; gives what is to be said, the files and the task's answer.
        """
        folder = self.folder()
        try:
            told, files, answer = work(folder)
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        made = Made(
            key=secrets.token_urlsafe(12), browser=browser, session=session, title=title,
            told=told.replace(f"{folder}/", ""), folder=folder, files=tuple(files), answer=answer,
        )  # fmt: skip
        with self._lock:
            self._made[made.key] = made
            surplus = list(self._made.values())[:-MOST_KEPT]
        for old in surplus:
            self.drop(old)
        return made

    def find(self, browser: str, key: str) -> Made | None:
        """Give what was made for this browser; None of another's or of none."""
        made = self._made.get(key)
        return made if made is not None and made.browser == browser else None

    def of(self, browser: str, session: str) -> list[Made]:
        """Give what was made for a browser of a session, the newest first."""
        with self._lock:
            return [one for one in self._made.values() if (one.browser, one.session) == (browser, session)][::-1]

    def drop(self, made: Made) -> None:
        """Throw something away."""
        with self._lock:
            self._made.pop(made.key, None)
        shutil.rmtree(made.folder, ignore_errors=True)

    def close(self) -> None:
        """Throw everything away."""
        if self._root is not None:
            shutil.rmtree(self._root, ignore_errors=True)


def zipped(folder: Path) -> Path:
    """Put a folder into one file beside it, for a browser can take no folder."""
    file = shutil.make_archive(str(folder), "zip", folder.parent, folder.name)
    shutil.rmtree(folder, ignore_errors=True)
    return Path(file)
