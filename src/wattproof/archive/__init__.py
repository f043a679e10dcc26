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
    OverviewListing,
    Session,
    SessionRecord,
    TakenLive,
)
from wattproof.archive.pack_again import Published, set_captures_aside, take_published, unsound_captures
from wattproof.archive.pack_agree import disagreements
from wattproof.archive.pack_figures import FieldCompared, FigureCompared, compare_figures
from wattproof.archive.pack_keys import (
    PASSPHRASE,
    KeyPair,
    SigningKey,
    new_key,
    read_public_fingerprint,
    read_signing_key,
)
from wattproof.archive.pack_model import Finding, Manifest
from wattproof.archive.pack_read import OpenedPack, open_pack
from wattproof.archive.pack_rest import (
    VerdictCompared,
    compare_models,
    compare_readings,
    compare_rest,
    compare_verdicts,
)
from wattproof.archive.pack_write import WrittenPack, write_pack
from wattproof.archive.papers import Paper, PaperKind
from wattproof.archive.remarks import KeptRemarks
from wattproof.archive.sessions import default_root
from wattproof.archive.store import Archive
from wattproof.archive.takes import TakeWriter
from wattproof.archive.windows import WindowAddress

__all__ = [
    "PASSPHRASE",
    "Archive",
    "CaptureRecord",
    "Change",
    "Description",
    "FieldCompared",
    "FigureCompared",
    "FigureListing",
    "FiguresFile",
    "Finding",
    "FoundFigure",
    "HistoryEvent",
    "KeptRemarks",
    "KeptTrip",
    "KeyPair",
    "Listing",
    "Manifest",
    "MeasuredCapture",
    "OpenedPack",
    "OverviewListing",
    "Paper",
    "PaperKind",
    "Published",
    "Session",
    "SessionRecord",
    "SigningKey",
    "TakeWriter",
    "TakenLive",
    "VerdictCompared",
    "WindowAddress",
    "WrittenPack",
    "compare_figures",
    "compare_models",
    "compare_readings",
    "compare_rest",
    "compare_verdicts",
    "default_root",
    "disagreements",
    "new_key",
    "open_pack",
    "read_public_fingerprint",
    "read_signing_key",
    "set_captures_aside",
    "take_published",
    "unsound_captures",
    "write_pack",
]
