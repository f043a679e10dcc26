"""Is a session still what was written? Lists all that is not, and changes nothing."""

from collections.abc import Iterator
from pathlib import Path
from typing import Literal

from wattproof.archive.captures import changed_original, numbered_folders, read_capture, written_folders
from wattproof.archive.disk import explained, leftovers, sha256_of
from wattproof.archive.figures import figures_path, history_files, need_figures, read_event, stored_figures
from wattproof.archive.journal import journal_path, torn_lines
from wattproof.archive.model import Change, Session
from wattproof.archive.models import model_path, need_models
from wattproof.archive.names import capture_number
from wattproof.archive.remarks import check_remarks
from wattproof.archive.runs import check_run_documents
from wattproof.archive.take_keep import read_head, take_folders
from wattproof.archive.trips import changed_trips
from wattproof.archive.verdicts import need_verdicts, verdicts_path
from wattproof.errors import ArchiveError


def changes(session: Session) -> tuple[Change, ...]:
    """List what is missing, changed, damaged, renamed or half-written in a session; nothing means all is as written.

    Every original is hashed, so a session of gigabytes takes a while.
    """
    checks = (
        _name,
        _settings,
        _captures,
        _takes,
        _history,
        _figures,
        _models,
        _verdicts,
        _papers,
        _remarks,
        changed_trips,
        _journal,
        _half_written,
    )
    return tuple(change for check in checks for change in check(session))


def _name(session: Session) -> Iterator[Change]:
    if session.id != session.record.id:
        yield Change(path=".", what="renamed", detail=f"The folder was made as {session.record.id}.")


def _settings(session: Session) -> Iterator[Change]:
    for name, expected in session.record.files.items():
        path = session.folder / name
        if not path.is_file():
            yield Change(path=name, what="missing", detail=f"SHA-256 {expected[:12]}... was kept here.")
            continue
        with explained("read a settings file", path):
            found = sha256_of(path)
        if found != expected:
            yield Change(path=name, what="changed", detail=f"SHA-256 {found[:12]}..., not {expected[:12]}...")


def _captures(session: Session) -> Iterator[Change]:
    for folder in numbered_folders(session):
        try:
            change = changed_original(session, read_capture(folder))
        except ArchiveError as error:
            yield _damaged(session, folder / "capture.json", error)
        else:
            if change:
                yield change


def _takes(session: Session) -> Iterator[Change]:
    for folder in take_folders(session):
        try:
            read_head(folder)
        except ArchiveError as error:
            yield _damaged(session, folder, error)
        else:
            detail = "Being recorded now, or cut off; whoever adds, measures or runs next keeps it as a capture."
            yield Change(path=_relative(session, folder), what="half-written", detail=detail)


def _models(session: Session) -> Iterator[Change]:
    """Find a damaged model; one of figures that were replaced since is no damage, it is fitted anew."""
    if model_path(session).exists():
        try:
            need_models(session)
        except ArchiveError as error:
            yield _damaged(session, model_path(session), error)


def _verdicts(session: Session) -> Iterator[Change]:
    """Find damaged verdicts; those of figures that were replaced since are no damage, they are reached anew."""
    if verdicts_path(session).exists():
        try:
            need_verdicts(session)
        except ArchiveError as error:
            yield _damaged(session, verdicts_path(session), error)


def _papers(session: Session) -> Iterator[Change]:
    for path, error in check_run_documents(session):
        yield _damaged(session, path, error)


def _remarks(session: Session) -> Iterator[Change]:
    for path, detail in check_remarks(session):
        what: Literal["missing", "changed"] = "changed" if path.exists() else "missing"
        yield Change(path=_relative(session, path), what=what, detail=detail)


def _journal(session: Session) -> Iterator[Change]:
    for number in torn_lines(session):
        detail = f"Line {number} is no whole event: a process was killed, or the disk was full, within it."
        yield Change(path=journal_path(session).name, what="half-written", detail=detail)


def _history(session: Session) -> Iterator[Change]:
    for path in history_files(session):
        try:
            read_event(path)
        except ArchiveError as error:
            yield _damaged(session, path, error)


def _figures(session: Session) -> Iterator[Change]:
    path = figures_path(session)
    if not path.exists():
        return
    try:
        figures = need_figures(session)
        with explained("read the figures", path):
            found = sha256_of(path)
        if found not in stored_figures(session):
            yield Change(path=path.name, what="changed", detail=f"SHA-256 {found[:12]}... is nowhere in the history.")
    except ArchiveError as error:
        yield _damaged(session, path, error)
        return
    there = {capture_number(folder.name) for folder in numbered_folders(session)}
    for capture in figures.captures:
        if capture.number not in there:
            detail = f"Figures were made from capture {capture.number}, SHA-256 {capture.sha256[:12]}..."
            yield Change(path=f"captures/{capture.number:02d}-*", what="missing", detail=detail)


def _half_written(session: Session) -> Iterator[Change]:
    for folder in written_folders(session):
        for part in leftovers(folder):
            detail = "Left by a process that was killed, or one that is at work now; swept away when an hour old."
            yield Change(path=_relative(session, part), what="half-written", detail=detail)


def _damaged(session: Session, path: Path, error: ArchiveError) -> Change:
    return Change(path=_relative(session, path), what="damaged", detail=error.why)


def _relative(session: Session, path: Path) -> str:
    return path.relative_to(session.folder).as_posix()
