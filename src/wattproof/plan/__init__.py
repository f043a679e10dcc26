"""A run sheet as data: ordered steps, what they cost, whether the bench bears them and can judge what they show."""

from wattproof.plan.model import (
    BurstPattern,
    Check,
    Decidable,
    Expected,
    Question,
    RunSheet,
    Step,
    StepKind,
    StepLimits,
    Stepping,
)

__all__ = [
    "BurstPattern",
    "Check",
    "Decidable",
    "Expected",
    "Question",
    "RunSheet",
    "Step",
    "StepKind",
    "StepLimits",
    "Stepping",
]
