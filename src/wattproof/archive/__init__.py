"""The only room that writes the archive: session folders, figures, index."""

from wattproof.archive.model import (
    CaptureRecord,
    Change,
    Description,
    FigureListing,
    FiguresFile,
    FoundFigure,
    HistoryEvent,
    KeptTrip,
    Listing,
    MeasuredCapture,
    Session,
    SessionRecord,
    TakenLive,
)
from wattproof.archive.papers import Paper, PaperKind
from wattproof.archive.remarks import KeptRemarks
from wattproof.archive.sessions import default_root
from wattproof.archive.store import Archive
from wattproof.archive.takes import TakeWriter
from wattproof.archive.windows import WindowAddress

__all__ = [
    "Archive",
    "CaptureRecord",
    "Change",
    "Description",
    "FigureListing",
    "FiguresFile",
    "FoundFigure",
    "HistoryEvent",
    "KeptRemarks",
    "KeptTrip",
    "Listing",
    "MeasuredCapture",
    "Paper",
    "PaperKind",
    "Session",
    "SessionRecord",
    "TakeWriter",
    "TakenLive",
    "WindowAddress",
    "default_root",
]
