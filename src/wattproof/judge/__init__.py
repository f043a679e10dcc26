"""Ratings weighed against figures: meets, falls short, cannot tell; plausibility; comparisons."""

from wattproof.judge.judging import judge
from wattproof.judge.model import Judged, Judgement, Reading, Rule, Settling, Verdict
from wattproof.judge.readings import power_readings

__all__ = ["Judged", "Judgement", "Reading", "Rule", "Settling", "Verdict", "judge", "power_readings"]
