"""The only room that writes the archive: session folders, figures, index."""

from wattproof.archive.model import (
    CaptureRecord,
    Change,
    Description,
    FigureListing,
    FiguresFile,
    FoundFigure,
    HistoryEvent,
    Listing,
    MeasuredCapture,
    Session,
    SessionRecord,
)
from wattproof.archive.sessions import default_root
from wattproof.archive.store import Archive

__all__ = [
    "Archive",
    "CaptureRecord",
    "Change",
    "Description",
    "FigureListing",
    "FiguresFile",
    "FoundFigure",
    "HistoryEvent",
    "Listing",
    "MeasuredCapture",
    "Session",
    "SessionRecord",
    "default_root",
]
