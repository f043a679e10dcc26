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
from wattproof.plan.questions import CAUTIONS, refusals, unanswered
from wattproof.plan.sheet import make_run_sheet, recheck
from wattproof.plan.stepping import stepping_cost, stepping_of
from wattproof.plan.tones import STANDARD_BURST, clean_tone, mains_distance, mean_share
from wattproof.plan.wishes import BurstWish, Driven, SheetWishes

__all__ = [
    "CAUTIONS",
    "STANDARD_BURST",
    "BurstPattern",
    "BurstWish",
    "Check",
    "Decidable",
    "Driven",
    "Expected",
    "Question",
    "RunSheet",
    "SheetWishes",
    "Step",
    "StepKind",
    "StepLimits",
    "Stepping",
    "clean_tone",
    "mains_distance",
    "make_run_sheet",
    "mean_share",
    "recheck",
    "refusals",
    "stepping_cost",
    "stepping_of",
    "unanswered",
]
