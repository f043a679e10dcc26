"""Figures as measured, their views and the session's history.

``figures.json`` is replaced in one rename, and that rename is the moment at which a measurement is stored. Its views go
under a name that holds the figures' hash and are there before; the line of history comes after.
"""

import hashlib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from pydantic import JsonValue

from wattproof import __version__
from wattproof.archive.captures import find_capture, read_captures, sweep_session
from wattproof.archive.disk import explained, flush_folder, sha256_of, staged, write_file
from wattproof.archive.documents import encode, read_document
from wattproof.archive.model import Deed, FiguresFile, HistoryEvent, MeasuredCapture, Session, ViewsFile
from wattproof.errors import ArchiveError, Notice
from wattproof.measure import CaptureResult

_NO_VIEWS = {"captures": {"__all__": {"results": {"__all__": {"views"}}}}}


def figures_path(session: Session) -> Path:
    """Give the place of a session's figures."""
    return session.folder / "figures.json"


def write_figures(
    session: Session,
    results: Mapping[int, Sequence[CaptureResult]],
    *,
    settings: Mapping[str, JsonValue],
    at: datetime,
) -> FiguresFile:
    """Store all figures of a session in place of those before, whole or not at all.

    Raises
    ------
    ArchiveError
        A capture's number is unknown, a number is not finite, or the disk refuses; the figures before still stand.
    """
    figures = FiguresFile(
        wattproof=__version__,
        inputs=session.record.files,
        settings=dict(settings),
        captures=tuple(_measured(session, number, results[number]) for number in sorted(results)),
    )
    data = encode(figures, leave_out=_NO_VIEWS)
    digest = hashlib.sha256(data).hexdigest()
    views = {c.number: tuple(r.views for r in c.results) for c in figures.captures}
    with explained("store the figures", session.folder):
        sweep_session(session)
        _store(session, data, digest, encode(ViewsFile(figures_sha256=digest, captures=views)))
    hashes: dict[str, JsonValue] = {f"{c.number:02d}": c.sha256 for c in figures.captures}
    write_event(session, "measured", {"figures_sha256": digest, "captures": hashes}, at=at)
    return figures


def _measured(session: Session, number: int, results: Sequence[CaptureResult]) -> MeasuredCapture:
    record = find_capture(session, number)
    return MeasuredCapture(number=number, sha256=record.sha256, description=record.description, results=tuple(results))


def _store(session: Session, figures: bytes, digest: str, views: bytes) -> None:
    """Put the views beside those of the figures that stand, then the figures, then drop the old views."""
    target = _views_path(session, digest)
    was_there = target.exists()
    try:
        with staged(figures_path(session), figures) as aside:
            write_file(target, views)
            aside.replace(figures_path(session))
    except BaseException:
        if not was_there:
            with suppress(OSError):
                target.unlink(missing_ok=True)
        raise
    flush_folder(session.folder)
    for old in session.folder.glob("views-*.json"):
        if old != target:
            with suppress(OSError):
                old.unlink()


def _views_path(session: Session, digest: str) -> Path:
    return session.folder / f"views-{digest[:12]}.json"


def read_figures(session: Session, *, with_views: bool = False) -> FiguresFile | None:
    """Read the figures; None where nothing has been measured yet.

    Parameters
    ----------
    session : Session
        Whose figures.
    with_views : bool
        Fetch what pages draw as well; views that are lost or of other figures are left empty.

    Raises
    ------
    ArchiveError
        The file is damaged.
    """
    if not figures_path(session).exists():
        return None
    figures = need_figures(session)
    return _with_views(session, figures) if with_views else figures


def need_figures(session: Session) -> FiguresFile:
    """Read the figures that must be there."""
    return read_document("figures", figures_path(session), FiguresFile)


def _with_views(session: Session, figures: FiguresFile) -> FiguresFile:
    with explained("read the figures", figures_path(session)):
        digest = sha256_of(figures_path(session))
    path = _views_path(session, digest)
    if not path.exists():
        return figures
    file = read_document("views", path, ViewsFile)
    if file.figures_sha256 != digest:
        return figures
    captures = []
    for capture in figures.captures:
        views = file.captures.get(capture.number, ())
        if len(views) != len(capture.results):
            return figures
        pairs = zip(capture.results, views, strict=True)
        joined = tuple(result.model_copy(update={"views": view}) for result, view in pairs)
        captures.append(capture.model_copy(update={"results": joined}))
    return figures.model_copy(update={"captures": tuple(captures)})


def outdated(session: Session, figures: FiguresFile) -> tuple[Notice, ...]:
    """Say which captures were added or described anew since the figures were made."""
    made_from = {capture.number: capture for capture in figures.captures}
    notices = []
    for record in read_captures(session):
        measured = made_from.get(record.number)
        if measured is None:
            notices.append(_outdated(record.number, "has no figures yet"))
        elif measured.sha256 != record.sha256 or measured.description != record.description:
            notices.append(_outdated(record.number, "was described anew since its figures were made"))
    return tuple(notices)


def _outdated(number: int, what: str) -> Notice:
    message = f"Capture {number} {what}."
    return Notice(code="figures-outdated", message=message, hint="Measure the session again.")


def write_event(session: Session, did: Deed, details: Mapping[str, JsonValue], *, at: datetime) -> None:
    """Add a file to the history: each is a name of its own, so that processes never write into each other's."""
    event = HistoryEvent(wattproof=__version__, at=at, did=did, details=dict(details))
    data = encode(event)
    stamp = at.astimezone(UTC).strftime("%Y%m%dT%H%M%S.%fZ")
    tag = hashlib.sha256(data).hexdigest()[:6]
    folder = session.folder / "history"
    with explained(f"note in the history that it was {did}", folder):
        folder.mkdir(exist_ok=True)
        write_file(folder / f"{stamp}-{did}-{tag}.json", data)


def read_event(path: Path) -> HistoryEvent:
    """Read one file of the history."""
    return read_document("history", path, HistoryEvent)


def read_history(session: Session) -> tuple[HistoryEvent, ...]:
    """Read what was done to the session, oldest first.

    Raises
    ------
    ArchiveError
        A file of it is damaged.
    """
    return tuple(sorted(map(read_event, history_files(session)), key=lambda event: event.at))


def history_files(session: Session) -> list[Path]:
    """List the files of the history by name."""
    return sorted((session.folder / "history").glob("2*.json"))


def stored_figures(session: Session) -> set[str]:
    """Collect the SHA-256 of every ``figures.json`` that a readable line of the history says was stored."""
    hashes = set()
    for path in history_files(session):
        with suppress(ArchiveError):
            event = read_event(path)
            if event.did == "measured":  # a model or verdicts of figures changed by hand name those figures too
                hashes.add(str(event.details.get("figures_sha256")))
    return hashes
