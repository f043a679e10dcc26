"""Session folders: made, found by name, listed."""

import hashlib
import os
import secrets
from datetime import datetime
from pathlib import Path

from wattproof import __version__
from wattproof.amplifier import Amplifier
from wattproof.archive.disk import discard_folder, explained, publish_folder, sweep, write_new
from wattproof.archive.documents import encode, read_document
from wattproof.archive.model import Listing, Session, SessionRecord
from wattproof.archive.names import PART, slug, storable
from wattproof.bench import Bench
from wattproof.errors import ArchiveError, Notice

_TRIES = 64
_SESSION_FILE = "session.json"


def default_root() -> Path:
    """Give the archive folder used when none is named: ``WATTPROOF_ARCHIVE``, else ``wattproof-archive`` at home.

    It does not depend on the folder one happens to work in, so that years of sessions stay together.

    Raises
    ------
    ArchiveError
        The system knows no home folder.
    """
    named = os.environ.get("WATTPROOF_ARCHIVE", "").strip()
    try:
        return Path(named).expanduser() if named else Path.home() / "wattproof-archive"
    except RuntimeError as error:
        raise ArchiveError(
            "Cannot tell where the archive is.",
            why=str(error),
            hint="Set WATTPROOF_ARCHIVE to a folder, without a leading ~.",
        ) from error


def new_session(
    root: Path,
    *,
    amplifier: Amplifier,
    bench: Bench,
    files: dict[str, bytes],
    started: datetime,
    note: str,
) -> Session:
    """Make a session's folder with all that it begins with, whole or not at all; no folder is ever written over."""
    with explained("begin a session", root):
        root.mkdir(parents=True, exist_ok=True)
        sweep(root)
        for _ in range(_TRIES):
            tag = secrets.token_hex(2)
            name = f"{started:%Y-%m-%d}-{slug(amplifier.model, fallback='amplifier')}-{tag}"
            record = SessionRecord(
                wattproof=__version__,
                id=name,
                started=started,
                note=storable(note),
                amplifier=amplifier,
                bench=bench,
                files={file: hashlib.sha256(data).hexdigest() for file, data in files.items()},
            )
            if _published(root, name, {**files, _SESSION_FILE: encode(record)}):
                return Session(folder=root / name, record=record)
    raise ArchiveError(
        f"Found no free name for a session in {root}.",
        why=f"{_TRIES} names in a row were taken.",
        hint="Begin it in another archive folder.",
    )


def _published(root: Path, name: str, files: dict[str, bytes]) -> bool:
    aside = root / f"{PART}{secrets.token_hex(4)}-{name}"
    try:
        aside.mkdir()
        (aside / "captures").mkdir()
        for file, data in files.items():
            write_new(aside / file, data)
        return publish_folder(aside, root / name)
    finally:
        discard_folder(aside)


def read_session(folder: Path) -> Session:
    """Read the session in a folder.

    Raises
    ------
    ArchiveError
        Its ``session.json`` is missing, damaged or newer than this version.
    """
    return Session(folder=folder, record=read_document("session", folder / _SESSION_FILE, SessionRecord))


def session_folders(root: Path) -> list[Path]:
    """List the folders of an archive that hold a session, by name; an archive that is not there yet has none."""
    if not root.exists():
        return []
    with explained("list the sessions", root):
        names = sorted(e.name for e in os.scandir(root) if not e.name.startswith(".") and _holds_session(e.path))
    return [root / name for name in names]


def _holds_session(folder: str) -> bool:
    """Tell a session's folder; one that may not be looked into counts, so that it is named and not passed over."""
    try:
        os.stat(f"{folder}/{_SESSION_FILE}")  # noqa: PTH116  (asked of a thousand folders before a page is shown)
    except (FileNotFoundError, NotADirectoryError):
        return False
    except OSError:
        return True
    return True


def list_sessions(root: Path) -> Listing:
    """Read every session that can be opened, and say which cannot."""
    sessions, notices = [], []
    for folder in session_folders(root):
        try:
            sessions.append(read_session(folder))
        except ArchiveError as error:
            message = f"Session {folder.name} cannot be opened: {error.message} {error.why}"
            notices.append(Notice(code="session-damaged", message=message, hint=error.hint))
    return Listing(sessions=tuple(sessions), notices=tuple(notices))


def find_session(root: Path, name: str) -> Session:
    """Open a session by its folder's path, its name, the start of its name, or any part that only one name has.

    Raises
    ------
    ArchiveError
        None or several are meant, or the one meant cannot be read.
    """
    asked = name.strip().casefold()
    folders = session_folders(root)
    if asked:
        here = _as_path(name)
        if here is not None and not any(folder.name == name for folder in folders):
            return read_session(here)
        for fits in (str.__eq__, str.startswith, str.__contains__):
            found = [folder for folder in folders if fits(folder.name.casefold(), asked)]
            if len(found) == 1:
                return read_session(found[0])
            if found:
                raise _ambiguous(name, found)
    raise _unknown(root, name, folders)


def _as_path(name: str) -> Path | None:
    """Take what was said for a path where a session is really there: its folder, or its ``session.json``."""
    try:
        path = Path(name).expanduser()
        folder = path.parent if path.name == _SESSION_FILE else path
        return folder.resolve() if (folder / _SESSION_FILE).is_file() else None
    except (OSError, RuntimeError, ValueError):  # too long, a null character, no such home: then it is no path
        return None


def _ambiguous(name: str, found: list[Path]) -> ArchiveError:
    return ArchiveError(
        f"{name!r} could be any of {len(found)} sessions.",
        why="They are: " + ", ".join(folder.name for folder in found[:8]) + (", ..." if len(found) > 8 else "") + ".",
        hint=f"Give more of the name, for example {found[0].name}.",
    )


def _unknown(root: Path, name: str, folders: list[Path]) -> ArchiveError:
    if not root.is_dir():
        return ArchiveError(
            f"There is no archive at {root}, so no session {name!r} in it.",
            why="that is a file" if root.exists() else "there is no such folder",
            hint="Correct --archive, or WATTPROOF_ARCHIVE; in a new archive, begin with wattproof session new.",
        )
    latest = ", ".join(folder.name for folder in folders[-5:])
    return ArchiveError(
        f"There is no session {name!r} in {root}.",
        why=f"Sessions there: {len(folders)}" + (f"; the latest are {latest}." if latest else "."),
        hint=f"Name one of these, for example {folders[-1].name}."
        if folders
        else "Correct --archive, or begin a session: wattproof session new",
    )
