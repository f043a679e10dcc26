"""Waveform and bench in, figures with uncertainty out; pure functions only."""

from wattproof.measure.door import measure
from wattproof.measure.kinds import Course, kind_of, level_course, tell_kind
from wattproof.measure.model import CapturedChannel, CaptureResult, Condition, CurvePoint, Figure, Kind, Trace, Views
from wattproof.measure.record import BenchRecord, Track, lay_on_bench
from wattproof.measure.sync import SameEvent, heard_clap, same_clap, same_tone
from wattproof.measure.typed import measure_readings

__all__ = [
    "BenchRecord",
    "CaptureResult",
    "CapturedChannel",
    "Condition",
    "Course",
    "CurvePoint",
    "Figure",
    "Kind",
    "SameEvent",
    "Trace",
    "Track",
    "Views",
    "heard_clap",
    "kind_of",
    "lay_on_bench",
    "level_course",
    "measure",
    "measure_readings",
    "same_clap",
    "same_tone",
    "tell_kind",
]
