"""Carries out a run sheet: rig, guard, live figures and the archive's writer together; stops, repeats, resumes."""

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
    Tripped,
)

__all__ = [
    "Event",
    "FigureSeen",
    "Live",
    "Resting",
    "RunBegun",
    "RunEnded",
    "StepBegun",
    "StepEnded",
    "Told",
    "Tripped",
]
