"""Imported files, kept byte for byte, each in its numbered folder.

The folders themselves are the list of captures. A process claims a number by making ``.part-NN``, which only one can
do, builds the capture inside and renames the folder when it is complete. So no lock is needed and none can go stale.
"""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path, PurePath

from wattproof import __version__
from wattproof.archive.disk import (
    copy_new,
    discard_folder,
    explained,
    publish_folder,
    sha256_of,
    sweep,
    write_file,
    write_new,
)
from wattproof.archive.documents import encode, read_document
from wattproof.archive.model import CaptureRecord, Change, Description, Session
from wattproof.archive.names import PART, capture_folder, capture_number, original_name, storable
from wattproof.errors import ArchiveError, FileMissingError

_FIRST, _LAST = 1, 999_999


def captures_folder(session: Session) -> Path:
    """Give the folder that holds a session's captures."""
    return session.folder / "captures"


def capture_path(session: Session, record: CaptureRecord) -> Path:
    """Give the folder of one capture."""
    return captures_folder(session) / record.folder


def numbered_folders(session: Session) -> list[Path]:
    """List the folders of captures by their number; anything else a person keeps there is passed over."""
    with explained("list the captures", captures_folder(session)):
        entries = list(captures_folder(session).iterdir()) if captures_folder(session).is_dir() else []
    return sorted((e for e in entries if capture_number(e.name)), key=lambda e: (capture_number(e.name) or 0, e.name))


def written_folders(session: Session) -> list[Path]:
    """List the folders of a session in which files are written, so in which a killed process may leave something."""
    homes = [captures_folder(session), *(session.folder / name for name in ("history", "remarks", "trips"))]
    trips = [folder for folder in homes[-1].glob("*-*") if folder.is_dir()]
    return [session.folder, *homes, *trips, *numbered_folders(session)]


def sweep_session(session: Session) -> None:
    """Take away what killed processes left half-written in a session, once it is old."""
    for folder in written_folders(session):
        sweep(folder)


def read_captures(session: Session) -> tuple[CaptureRecord, ...]:
    """Read what each capture was taken for, in the order of their numbers.

    Raises
    ------
    ArchiveError
        A ``capture.json`` is missing or damaged.
    """
    return tuple(read_capture(folder) for folder in numbered_folders(session))


def read_capture(folder: Path) -> CaptureRecord:
    """Read one capture; the folder's own name counts, should someone have renamed it."""
    record = read_document("capture", folder / "capture.json", CaptureRecord)
    return record.model_copy(update={"folder": folder.name, "number": capture_number(folder.name) or record.number})


def find_capture(session: Session, number: int) -> CaptureRecord:
    """Read the capture of that number.

    Raises
    ------
    ArchiveError
        There is none.
    """
    folders = numbered_folders(session)
    for folder in folders:
        if capture_number(folder.name) == number:
            return read_capture(folder)
    there = ", ".join(str(capture_number(folder.name)) for folder in folders) or "none"
    raise ArchiveError(
        f"Session {session.id} has no capture {number}.",
        why=f"Its captures are: {there}.",
        hint="Take one of these numbers, or add the capture first.",
    )


def add_capture(
    session: Session, original: Path, description: Description, *, added: datetime, name: str | None = None
) -> CaptureRecord:
    """Copy a file into the session and note what it was taken for, whole or not at all.

    The same bytes with the same description are there already: that capture is given back, so that a command may be
    repeated. The same bytes with another description are refused, for one of the two must be wrong.

    Raises
    ------
    FileMissingError
        The original is no file, or cannot be read.
    ArchiveError
        The disk is full or refuses, or these bytes are here under another description.
    """
    _need_file(original)
    home = captures_folder(session)
    with explained("add a capture", home):
        home.mkdir(exist_ok=True)
        sweep_session(session)
        while True:
            with claimed_number(session) as (number, aside):
                record = _build(aside, original, description, number=number, added=added, name=name or original.name)
                twin = _same_bytes(session, record.sha256)
                if twin:
                    return _same_purpose(session, twin, description)
                if publish_folder(aside, home / record.folder):
                    return record


def _need_file(original: Path) -> None:
    """Refuse what is no plain file before anything is begun: a pipe would be waited for without end."""
    try:
        there = original.is_file()
    except OSError:  # a folder on the way that may not be entered
        there = False
    if not there:
        raise FileMissingError(
            f"There is no file {original} that can be read.",
            why="Nothing has that name, or it is no plain file, or a folder on the way may not be entered.",
            hint="Check the path, and that you may read it.",
        )


@contextmanager
def claimed_number(session: Session) -> Iterator[tuple[int, Path]]:
    """Claim the next free number and the folder to build in; the folder is gone afterwards unless it was published."""
    home = captures_folder(session)
    used = _used_numbers(session)
    for number in range(max(used, default=_FIRST - 1) + 1, _LAST):
        aside = home / f"{PART}{number:02d}"
        try:
            aside.mkdir()
        except FileExistsError:
            continue
        try:
            if number in _used_numbers(session):  # published between our look and our claim
                continue
            yield number, aside
            return
        finally:
            discard_folder(aside)
    raise ArchiveError(f"Session {session.id} is full.", why=f"It has {_LAST} captures.", hint="Begin a new session.")


def _used_numbers(session: Session) -> set[int]:
    return {capture_number(folder.name) or 0 for folder in numbered_folders(session)}


def _build(
    aside: Path, original: Path, description: Description, *, number: int, added: datetime, name: str
) -> CaptureRecord:
    kept = original_name(name)
    digest, size = copy_new(original, aside / kept)
    record = CaptureRecord(
        wattproof=__version__,
        number=number,
        folder=capture_folder(number, title(description, otherwise=PurePath(name).stem)),
        file=storable(name),
        original=kept,
        sha256=digest,
        size_bytes=size,
        added=added,
        description=description,
    )
    write_new(aside / "capture.json", encode(record))
    return record


def title(description: Description, *, otherwise: str) -> str:
    """Choose what a person recognises the folder by: the step; else kind and load; else the file's own name."""
    words = description.step or " ".join(filter(None, (description.kind, description.load)))
    return words or otherwise


def _same_bytes(session: Session, sha256: str) -> CaptureRecord | None:
    """Find the capture that holds these bytes; a damaged one elsewhere in the session does not stop new evidence."""
    for folder in numbered_folders(session):
        with suppress(ArchiveError):
            record = read_capture(folder)
            if record.sha256 == sha256:
                return record
    return None


def _same_purpose(session: Session, twin: CaptureRecord, description: Description) -> CaptureRecord:
    if twin.description == description:
        return twin
    there, asked = twin.description.model_dump(), description.model_dump()
    differing = "; ".join(
        f"{key}: {there[key]!r} there, {asked[key]!r} now" for key in there if there[key] != asked[key]
    )
    raise ArchiveError(
        f"Capture {twin.number} of session {session.id} holds these very bytes, taken for something else.",
        why=f"SHA-256 {twin.sha256[:12]}...; {differing}.",
        hint=f"If the new description is right, change the description of capture {twin.number}; "
        "else repeat the command with the description that is there.",
    )


def describe_capture(session: Session, number: int, description: Description) -> CaptureRecord:
    """Correct what a capture was taken for; its bytes and its folder's name stay.

    Raises
    ------
    ArchiveError
        There is no such capture, or its file cannot be written.
    """
    record = find_capture(session, number).model_copy(update={"description": description})
    path = capture_path(session, record) / "capture.json"
    with explained("describe the capture", path):
        sweep_session(session)
        write_file(path, encode(record))
    return record


def void_capture(session: Session, number: int, why: str) -> CaptureRecord:
    """Note in a capture's description why no figure may be made of it.

    Raises
    ------
    ArchiveError
        There is no such capture, no reason is given, or its file cannot be written.
    """
    if not why.strip():
        raise ArchiveError(
            f"Capture {number} cannot be made void.", why="No reason was given.", hint="Say what is wrong with it."
        )
    said = find_capture(session, number).description
    return describe_capture(session, number, said.model_copy(update={"void": why.strip()}))


def original_path(session: Session, record: CaptureRecord, *, check: bool = True) -> Path:
    """Give the kept original, after making sure that it is still the file that was added.

    Parameters
    ----------
    session : Session
        Whose capture it is.
    record : CaptureRecord
        The capture.
    check : bool
        Hash the bytes first; a measurement made from others would carry a false hash.

    Raises
    ------
    ArchiveError
        It is missing or its bytes have changed.
    """
    change = changed_original(session, record, check=check)
    if change is None:
        return capture_path(session, record) / record.original
    raise ArchiveError(
        f"The original of capture {record.number} in session {session.id} is {change.what}.",
        why=f"{change.path}: {change.detail}",
        hint=f"Put the file back as it was (it came as {record.file}), from the recorder or a backup.",
    )


def changed_original(session: Session, record: CaptureRecord, *, check: bool = True) -> Change | None:
    """Say what is wrong with a kept original; None where it is as it was added."""
    path = capture_path(session, record) / record.original
    name = path.relative_to(session.folder).as_posix()
    if not path.is_file():
        return Change(path=name, what="missing", detail=f"{record.size_bytes} bytes were added here.")
    with explained("read an original", path):
        size = path.stat().st_size
        if size != record.size_bytes:
            return Change(path=name, what="changed", detail=f"{size} bytes, not {record.size_bytes}.")
        found = sha256_of(path) if check else record.sha256
    if found != record.sha256:
        return Change(path=name, what="changed", detail=f"SHA-256 {found[:12]}..., not {record.sha256[:12]}...")
    return None
