"""`session void` and `session unvoid`: a capture of which no figure may be made, and why; it is kept."""

from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict, Field

from wattproof.errors import ArchiveError

if TYPE_CHECKING:
    from wattproof.archive import Archive, CaptureRecord, Session


class CaptureJudged(BaseModel):
    """What `wattproof session void` and `wattproof session unvoid` answer."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    session: str
    number: int
    file: str
    void: str | None = Field(description="why no figure may be made of it; null: it counts")

    def text(self) -> str:
        """Say what holds of the capture now."""
        if self.void is None:
            return f"Capture {self.number}, {self.file}, counts. The next measurement has its figures."
        return (
            f"Capture {self.number}, {self.file}, is void: {self.void}\nIt is kept; the next measurement leaves it out."
        )


def session_void(session: str, number: int, *, why: str = "", archive: Path | None = None) -> CaptureJudged:
    """Mark a capture as void: it is kept, but no figure is made of it.

    Parameters
    ----------
    session : str
        Name of the session, or a part of it that no other session has.
    number : int
        Number of the capture.
    why : str
        What is wrong with it; without a reason it is refused.
    archive : Path or None
        Folder of the archive.

    Raises
    ------
    ArchiveError
        There is no such session or capture, or no reason is given.
    """
    store, found = _opened(session, archive)
    return _judged(found, store.void_capture(found, number, why))


def session_unvoid(session: str, number: int, *, archive: Path | None = None) -> CaptureJudged:
    """Take back that a capture is void; the history keeps what was said of it.

    Parameters
    ----------
    session : str
        Name of the session, or a part of it that no other session has.
    number : int
        Number of the capture.
    archive : Path or None
        Folder of the archive.

    Raises
    ------
    ArchiveError
        There is no such session or capture, or the capture is not void.
    """
    store, found = _opened(session, archive)
    void = {one.number: one.description for one in store.captures(found) if one.description.void is not None}
    if number not in void:
        raise ArchiveError(
            f"Capture {number} of session {found.id} is not void.",
            why=f"void are: {', '.join(map(str, void)) or 'none'}",
            hint="Take one of these numbers; wattproof session figures shows what counts.",
        )
    return _judged(found, store.describe_capture(found, number, void[number].model_copy(update={"void": None})))


def _opened(session: str, archive: Path | None) -> "tuple[Archive, Session]":
    from wattproof.archive import Archive, default_root

    store = Archive(archive or default_root())
    return store, store.open_session(session)


def _judged(session: "Session", record: "CaptureRecord") -> CaptureJudged:
    return CaptureJudged(session=session.id, number=record.number, file=record.file, void=record.description.void)
