"""Ratings weighed against figures: meets, falls short, cannot tell; plausibility; comparisons."""

from wattproof.judge.model import Judged, Judgement, Reading, Rule, Settling, Verdict

__all__ = ["Judged", "Judgement", "Reading", "Rule", "Settling", "Verdict"]
