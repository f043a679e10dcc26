"""One function for each thing a user can ask: the library's front door."""

from wattproof.measure import CaptureResult
from wattproof.plan import SheetWishes
from wattproof.run import (
    Event,
    FigureSeen,
    Live,
    Resting,
    RunBegun,
    RunEnded,
    StepBegun,
    StepEnded,
    StopButton,
    Told,
    Tripped,
)
from wattproof.tasks.begun import BegunRun
from wattproof.tasks.bench_papers import CalibrationTyped
from wattproof.tasks.calibrating import Calibrated, bench_calibrate
from wattproof.tasks.checking import BenchChecked, PartSaid, bench_check
from wattproof.tasks.comparing import Compared, compare
from wattproof.tasks.comparisons import ComparisonAsked
from wattproof.tasks.demo import Demonstrated, demo
from wattproof.tasks.everything import TASKS
from wattproof.tasks.exporting import Exported, export
from wattproof.tasks.findings import Findings, SessionSeen
from wattproof.tasks.floored import Floor
from wattproof.tasks.flooring import bench_floor
from wattproof.tasks.foreseen_page import ForeseenShown
from wattproof.tasks.imports import ROLES, FileSaid, FileSeen, GivenFile, Imports
from wattproof.tasks.judging import JudgedSession, judge
from wattproof.tasks.keys import KeyMade, key_new
from wattproof.tasks.looks import Looks
from wattproof.tasks.measured import Measured
from wattproof.tasks.measuring import RecordKind, Wishes, measure
from wattproof.tasks.modelling import Modelled, Predicted, model, predict
from wattproof.tasks.overlaid import Overlaid
from wattproof.tasks.overlaying import ClipWishes, overlay
from wattproof.tasks.overview_lines import OverviewLine
from wattproof.tasks.packing import Packed, pack
from wattproof.tasks.paper_desk import PaperDesk, PaperSeen
from wattproof.tasks.paper_fields import FormPart, FormTyped
from wattproof.tasks.papering import PaperLine, PaperShown, PapersListed, paper_back, paper_keep, paper_list, paper_show
from wattproof.tasks.picturing import Pictured, picture
from wattproof.tasks.planning import Planned, plan
from wattproof.tasks.plausibility import FoundPlausible, plausible
from wattproof.tasks.proving import Verified, verify
from wattproof.tasks.publishing import Reported, report
from wattproof.tasks.ran import Ran, StepRan
from wattproof.tasks.reading import FileSummaries, read
from wattproof.tasks.run_past import RunPast
from wattproof.tasks.run_sheets import RunSheets, SheetChoices, SheetEdit, SheetSeen
from wattproof.tasks.running import run
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
from wattproof.tasks.siting import SiteMade, site
from wattproof.tasks.syncing import CameraWishes
from wattproof.tasks.voiding import CaptureJudged, session_unvoid, session_void
from wattproof.tasks.words_kept import PhotoGiven
from wattproof.tasks.workbench import Workbench

__all__ = [
    "ROLES",
    "TASKS",
    "BegunRun",
    "BenchChecked",
    "Calibrated",
    "CalibrationTyped",
    "CameraWishes",
    "CaptureJudged",
    "CaptureResult",
    "CapturesKept",
    "ClipWishes",
    "Compared",
    "ComparisonAsked",
    "Demonstrated",
    "Event",
    "Exported",
    "FigureSeen",
    "FileAnswers",
    "FileSaid",
    "FileSeen",
    "FileSummaries",
    "Findings",
    "Floor",
    "ForeseenShown",
    "FormPart",
    "FormTyped",
    "FoundPlausible",
    "GivenFile",
    "Imports",
    "IndexMade",
    "JudgedSession",
    "KeyMade",
    "Live",
    "Looks",
    "Measured",
    "Modelled",
    "Overlaid",
    "OverviewLine",
    "Packed",
    "PaperDesk",
    "PaperLine",
    "PaperSeen",
    "PaperShown",
    "PapersListed",
    "PartSaid",
    "PhotoGiven",
    "Pictured",
    "Planned",
    "Predicted",
    "Ran",
    "RecordKind",
    "Reported",
    "Resting",
    "RunBegun",
    "RunEnded",
    "RunPast",
    "RunSheets",
    "SessionMade",
    "SessionSeen",
    "SessionsListed",
    "SheetChoices",
    "SheetEdit",
    "SheetSeen",
    "SheetWishes",
    "SiteMade",
    "StepBegun",
    "StepEnded",
    "StepRan",
    "StopButton",
    "Told",
    "Tripped",
    "Verified",
    "Wishes",
    "Workbench",
    "archive_index",
    "bench_calibrate",
    "bench_check",
    "bench_floor",
    "compare",
    "demo",
    "export",
    "judge",
    "key_new",
    "measure",
    "model",
    "overlay",
    "pack",
    "paper_back",
    "paper_keep",
    "paper_list",
    "paper_show",
    "picture",
    "plan",
    "plausible",
    "predict",
    "read",
    "report",
    "run",
    "schema",
    "session_add",
    "session_figures",
    "session_list",
    "session_new",
    "session_unvoid",
    "session_void",
    "site",
    "verify",
]
