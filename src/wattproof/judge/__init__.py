"""Ratings weighed against figures: meets, falls short, cannot tell; plausibility; comparisons."""

from wattproof.judge.compare import compare
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
from wattproof.judge.readings import power_readings

__all__ = [
    "Comparison",
    "Difference",
    "Judged",
    "Judgement",
    "NotCompared",
    "Reading",
    "Row",
    "Rule",
    "SessionNamed",
    "Settling",
    "Soak",
    "Subject",
    "Terms",
    "Value",
    "Verdict",
    "compare",
    "judge",
    "power_readings",
]
