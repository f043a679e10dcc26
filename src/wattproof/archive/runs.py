"""What belongs to a run beside its captures: the run sheet, the answers, and the lock that makes conducting single."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from pydantic import JsonValue

from wattproof import __version__
from wattproof.archive.captures import sweep_session
from wattproof.archive.disk import explained, write_file
from wattproof.archive.documents import encode, read_document
from wattproof.archive.figures import write_event
from wattproof.archive.locks import holder, take_lock
from wattproof.archive.model import Answered, AnswersFile, RunSheetFile, Session
from wattproof.errors import ArchiveError
from wattproof.plan import RunSheet


def run_sheet_path(session: Session) -> Path:
    """Give the place of a session's run sheet."""
    return session.folder / "run-sheet.json"


def answers_path(session: Session) -> Path:
    """Give the place of a session's answers."""
    return session.folder / "answers.json"


def keep_run_sheet(session: Session, sheet: RunSheet, *, at: datetime) -> None:
    """Store the run sheet; another one that stood there goes into the history."""
    before = read_run_sheet(session)
    if before == sheet:
        return
    with explained("store the run sheet", session.folder):
        sweep_session(session)
        write_file(run_sheet_path(session), encode(RunSheetFile(wattproof=__version__, at=at, sheet=sheet)))
    replaced = None if before is None else before.model_dump(mode="json", by_alias=True)
    write_event(session, "planned", {"before": replaced}, at=at)


def read_run_sheet(session: Session) -> RunSheet | None:
    """Read the run sheet, None where there is none."""
    path = run_sheet_path(session)
    return read_document("run sheet", path, RunSheetFile).sheet if path.exists() else None


def keep_answers(session: Session, answers: Mapping[str, str], *, at: datetime) -> None:
    """Store answers with their time beside those to other questions; each goes into the history as well."""
    known = _answered(session)
    merged = {**known, **{code: Answered(text=text, at=at) for code, text in answers.items()}}
    with explained("store the answers", session.folder):
        sweep_session(session)
        write_file(answers_path(session), encode(AnswersFile(wattproof=__version__, answers=merged)))
    said: dict[str, JsonValue] = {"answers": dict(answers)}
    write_event(session, "answered", said, at=at)


def read_answers(session: Session) -> dict[str, str]:
    """Read what was answered last to each question."""
    return {code: answered.text for code, answered in _answered(session).items()}


def _answered(session: Session) -> dict[str, Answered]:
    path = answers_path(session)
    return read_document("answers", path, AnswersFile).answers if path.exists() else {}


def check_run_documents(session: Session) -> Iterator[tuple[Path, ArchiveError]]:
    """Read the run sheet and the answers, and give the faults of those that are damaged."""
    for path, read in ((run_sheet_path(session), read_run_sheet), (answers_path(session), read_answers)):
        try:
            read(session)
        except ArchiveError as error:
            yield path, error


@contextmanager
def conducting(session: Session) -> Iterator[None]:
    """Hold the session for one conductor; the lock goes when the process does, however it ends.

    Raises
    ------
    ArchiveError
        Another process conducts it now.
    """
    path = session.folder / ".conducting.lock"
    with explained("lock the session", path):
        lock = take_lock(path)
    if lock is None:
        raise ArchiveError(
            f"Session {session.id} is being run by another program.",
            why=f"Process {holder(path)} holds it.",
            hint="Wait for it to end, or stop it there; a program that died holds nothing.",
        )
    try:
        yield
    finally:
        lock.release()
