"""Questions across sessions: the index is brought up to date with the folders, then asked.

Writing a session never touches the index, so that no locked or damaged database can keep evidence from being stored.
"""

import hashlib
import os
from collections.abc import Callable, Mapping
from contextlib import closing, suppress
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from wattproof.archive.captures import read_captures
from wattproof.archive.disk import explained
from wattproof.archive.figures import read_figures
from wattproof.archive.model import FoundFigure
from wattproof.archive.sessions import read_session, session_folders
from wattproof.errors import ArchiveError, Notice

if TYPE_CHECKING:
    from wattproof.archive.index import Index

Answer = TypeVar("Answer")
Bounds = Mapping[str, tuple[float, float]]


class BehindError(Exception):
    """So many sessions would have to be read that who asks would rather not wait; it never leaves this room."""

    def __init__(self, sessions: int) -> None:
        super().__init__(sessions)
        self.sessions = sessions


INDEX_FILE = "index.sqlite"
_PASSING = "sqlite://"


def ask(
    root: Path,
    url: str | None,
    question: "Callable[[Index], Answer]",
    *,
    anew: bool = False,
    most: int | None = None,
) -> tuple[Answer, tuple[Notice, ...]]:
    """Bring the index up to date and ask it; not where more than `most` sessions would have to be read for it.

    An index file that is damaged is made anew; where the database refuses (locked, read-only, out of reach), the
    answer comes from a passing index in memory, and a notice says so.

    Raises
    ------
    ArchiveError
        The address of the index makes no sense, or the folders cannot be listed.
    BehindError
        More than `most` sessions are new or have changed; nothing was read.
    """
    from wattproof.archive.index import DatabaseRefusal, is_damage, sqlite_url

    if url is None and not root.is_dir():
        return _asked(root, _PASSING, question, anew=anew, most=most)
    address = sqlite_url(root / INDEX_FILE) if url is None else url
    try:
        return _asked(root, address, question, anew=anew, most=most)
    except DatabaseRefusal as error:
        if url is None and is_damage(error):
            return _asked_anew(root, address, question)
        return _asked_in_memory(root, question, error.orig)


def ask_as_it_is(
    root: Path, url: str | None, question: "Callable[[Index], Answer]"
) -> tuple[Answer, tuple[Notice, ...]]:
    """Ask the index without bringing it up to date; one that cannot be used is as one that holds nothing."""
    from wattproof.archive.index import DatabaseRefusal, Index, sqlite_url

    address = sqlite_url(root / INDEX_FILE) if url is None and root.is_dir() else url or _PASSING
    for one in (address, _PASSING):
        with suppress(DatabaseRefusal), closing(Index(one)) as index:
            index.prepare()
            return question(index), ()
    raise AssertionError


def _asked_anew(root: Path, address: str, question: "Callable[[Index], Answer]") -> tuple[Answer, tuple[Notice, ...]]:
    from wattproof.archive.index import DatabaseRefusal

    file = root / INDEX_FILE
    message = f"The index {file} was damaged and has been made anew from the sessions; nothing is lost."
    notice = Notice(code="index-rebuilt", message=message, hint="Check that disk, if this comes again.")
    _remove(file)
    try:
        answer, notices = _asked(root, address, question, anew=True)
    except DatabaseRefusal as error:
        return _asked_in_memory(root, question, error.orig)
    return answer, (notice, *notices)


def _asked_in_memory(
    root: Path, question: "Callable[[Index], Answer]", cause: BaseException | None
) -> tuple[Answer, tuple[Notice, ...]]:
    message = f"The index could not be used ({cause}); the answer was read from the sessions themselves."
    hint = "Close the program that holds the index, or allow writing to it; until then questions take longer."
    answer, notices = _asked(root, _PASSING, question, anew=True)
    return answer, (Notice(code="index-unavailable", message=message, hint=hint), *notices)


def _asked(
    root: Path, address: str, question: "Callable[[Index], Answer]", *, anew: bool, most: int | None = None
) -> tuple[Answer, tuple[Notice, ...]]:
    from wattproof.archive.index import Index

    with closing(Index(address)) as index:
        index.prepare(anew=anew)
        notices = _refresh(root, index, most)
        return question(index), notices


def _remove(file: Path) -> None:
    for name in (file, *(file.with_name(file.name + suffix) for suffix in ("-wal", "-shm", "-journal"))):
        with suppress(OSError):
            name.unlink(missing_ok=True)


def _refresh(root: Path, index: "Index", most: int | None) -> tuple[Notice, ...]:
    """Read anew what has changed on disk since the index was written, and forget what is gone."""
    known = index.stamps()
    there = session_folders(root)
    index.drop(sorted(set(known) - {folder.name for folder in there}))
    stamps, notices = {}, []
    for folder in there:
        try:
            stamps[folder] = _stamp(folder)
        except ArchiveError as error:
            notices.append(_left_out(folder, index, error))
    changed = [folder for folder, stamp in stamps.items() if known.get(folder.name) != stamp]
    if most is not None and len(changed) > most:
        raise BehindError(len(changed))
    for folder in changed:
        try:
            _read_anew(folder, stamps[folder], index)
        except ArchiveError as error:
            notices.append(_left_out(folder, index, error))
    return tuple(notices)


def _left_out(folder: Path, index: "Index", error: ArchiveError) -> Notice:
    index.drop([folder.name])
    message = f"Session {folder.name} is left out of the index: {error.message} {error.why}"
    return Notice(code="session-damaged", message=message, hint=error.hint)


def _read_anew(folder: Path, stamp: str, index: "Index") -> None:
    from wattproof.archive.index import Entry

    session = read_session(folder)
    figures = read_figures(session)
    index.put(Entry(stamp=stamp, session=session, captures=read_captures(session), figures=figures))


_DOCUMENTS = ("session.json", "figures.json", "model.json", "verdicts.json")


def _stamp(folder: Path) -> str:
    """Fingerprint of the sizes and times of a session's documents: cheap to take, and it changes when one of them does.

    Every write of ours makes a new file, so its number in the file system differs even within one tick of the clock.
    """
    home = str(folder)  # plain strings: a thousand sessions are looked at before a page is shown
    with explained("look at the documents", folder):
        found = [_state(f"{home}/{name}", name) for name in _DOCUMENTS]
        with suppress(FileNotFoundError):
            captures = sorted(os.listdir(f"{home}/captures"))  # noqa: PTH208
            found += [_state(f"{home}/captures/{name}/capture.json", name) for name in captures]
    return hashlib.sha256("\n".join(found).encode("utf-8", "replace")).hexdigest()


def _state(path: str, name: str) -> str:
    try:
        state = os.stat(path)  # noqa: PTH116  (a Path each would cost more than looking)
    except (FileNotFoundError, NotADirectoryError):
        return ""
    return f"{name} {state.st_size} {state.st_mtime_ns} {state.st_ino}"


def find_figures(
    root: Path,
    url: str | None,
    *,
    name: str | None,
    maker: str | None,
    model: str | None,
    output: str | None,
    between: Bounds,
) -> tuple[tuple[FoundFigure, ...], tuple[Notice, ...]]:
    """Find figures of all sessions; `between` keeps those whose numeric conditions lie within the bounds."""
    found, notices = ask(root, url, lambda index: index.find(name=name, maker=maker, model=model, output=output))
    return tuple(figure for figure in found if _within(figure, between)), notices


def _within(figure: FoundFigure, between: Bounds) -> bool:
    """Tell whether each named condition is stated, is a number and lies within its bounds, both ends included."""
    for key, (low, high) in between.items():
        stated = figure.conditions.get(key)
        if not isinstance(stated, int | float) or not low <= stated <= high:
            return False
    return True
