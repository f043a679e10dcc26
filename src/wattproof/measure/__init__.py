"""Waveform and bench in, figures with uncertainty out; pure functions only."""

from wattproof.measure.door import measure
from wattproof.measure.kinds import tell_kind
from wattproof.measure.model import CapturedChannel, CaptureResult, Condition, CurvePoint, Figure, Kind, Trace, Views
from wattproof.measure.record import BenchRecord, Track, lay_on_bench
from wattproof.measure.typed import measure_readings

__all__ = [
    "BenchRecord",
    "CaptureResult",
    "CapturedChannel",
    "Condition",
    "CurvePoint",
    "Figure",
    "Kind",
    "Trace",
    "Track",
    "Views",
    "lay_on_bench",
    "measure",
    "measure_readings",
    "tell_kind",
]
