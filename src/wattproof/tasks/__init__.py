"""One function for each thing a user can ask: the library's front door."""

from wattproof.measure import CaptureResult
from wattproof.tasks.calibrating import Calibrated, bench_calibrate
from wattproof.tasks.demo import Demonstrated, demo
from wattproof.tasks.everything import TASKS
from wattproof.tasks.measured import Measured
from wattproof.tasks.measuring import Wishes, measure
from wattproof.tasks.reading import FileSummaries, read
from wattproof.tasks.said import FileAnswers
from wattproof.tasks.schemas import schema
from wattproof.tasks.sessions import (
    CapturesKept,
    IndexMade,
    SessionMade,
    SessionsListed,
    archive_index,
    session_add,
    session_figures,
    session_list,
    session_new,
)

__all__ = [
    "TASKS",
    "Calibrated",
    "CaptureResult",
    "CapturesKept",
    "Demonstrated",
    "FileAnswers",
    "FileSummaries",
    "IndexMade",
    "Measured",
    "SessionMade",
    "SessionsListed",
    "Wishes",
    "archive_index",
    "bench_calibrate",
    "demo",
    "measure",
    "read",
    "schema",
    "session_add",
    "session_figures",
    "session_list",
    "session_new",
]
