"""Carries out a run sheet: rig, guard, live figures and the archive's writer together; stops, repeats, resumes."""

from wattproof.run.conductor import Carried, State, carry_out
from wattproof.run.events import (
    Event,
    FigureSeen,
    Live,
    Resting,
    RunBegun,
    RunEnded,
    StepBegun,
    StepEnded,
    Told,
    Traces,
    Tripped,
)
from wattproof.run.knowledge import Knowledge, LevelFound, RampFound
from wattproof.run.leading import leading_figures
from wattproof.run.resume import Progress, read_progress
from wattproof.run.stopping import StopButton
from wattproof.run.window import RunWindow, WindowOperator

__all__ = [
    "Carried",
    "Event",
    "FigureSeen",
    "Knowledge",
    "LevelFound",
    "Live",
    "Progress",
    "RampFound",
    "Resting",
    "RunBegun",
    "RunEnded",
    "RunWindow",
    "State",
    "StepBegun",
    "StepEnded",
    "StopButton",
    "Told",
    "Traces",
    "Tripped",
    "WindowOperator",
    "carry_out",
    "leading_figures",
    "read_progress",
]
