"""Waveform and bench in, figures with uncertainty out; pure functions only."""

from wattproof.measure.model import CapturedChannel, CaptureResult, CurvePoint, Figure, Kind, Trace, Views

__all__ = ["CaptureResult", "CapturedChannel", "CurvePoint", "Figure", "Kind", "Trace", "Views"]
