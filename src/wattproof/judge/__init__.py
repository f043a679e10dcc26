"""Ratings weighed against figures: meets, falls short, cannot tell; plausibility; comparisons."""

from wattproof.judge.compare import compare, on_terms
from wattproof.judge.compare_model import (
    Comparison,
    Difference,
    NotCompared,
    Row,
    SessionNamed,
    Soak,
    Subject,
    Terms,
    Value,
)
from wattproof.judge.judging import judge
from wattproof.judge.model import Judged, Judgement, Reading, Rule, Settling, Verdict
from wattproof.judge.plausible import plausible, unsaid
from wattproof.judge.plausible_model import Finding, Plausibility, RatingSaid, Strength
from wattproof.judge.readings import power_readings

__all__ = [
    "Comparison",
    "Difference",
    "Finding",
    "Judged",
    "Judgement",
    "NotCompared",
    "Plausibility",
    "RatingSaid",
    "Reading",
    "Row",
    "Rule",
    "SessionNamed",
    "Settling",
    "Soak",
    "Strength",
    "Subject",
    "Terms",
    "Value",
    "Verdict",
    "compare",
    "judge",
    "on_terms",
    "plausible",
    "power_readings",
    "unsaid",
]
