"""What one kind of step yields; the room's door makes a `CaptureResult` of it."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from wattproof.errors import Notice
from wattproof.measure.model import CapturedChannel, CurvePoint, Figure, Views


@dataclass(frozen=True, kw_only=True)
class Findings:
    """Figures, curve, notices and views of a capture, or of one output of it.

    ``channels`` is given by kinds that read a record too long for memory once and so see all its samples themselves.
    """

    figures: tuple[Figure, ...] = ()
    curve: tuple[CurvePoint, ...] = ()
    warnings: tuple[Notice, ...] = ()
    views: Views = field(default_factory=Views)
    channels: tuple[CapturedChannel, ...] = ()


def joined(parts: Iterable[Findings]) -> Findings:
    """Put findings of several outputs, or of several sides, together in order; equal notices once."""
    parts = tuple(parts)
    warnings = {(w.code, w.message): w for part in parts for w in part.warnings}
    return Findings(
        figures=tuple(figure for part in parts for figure in part.figures),
        curve=tuple(point for part in parts for point in part.curve),
        warnings=tuple(warnings.values()),
        views=Views(
            waveform=tuple(trace for part in parts for trace in part.views.waveform),
            spectrum=tuple(trace for part in parts for trace in part.views.spectrum),
            supply=tuple(trace for part in parts for trace in part.views.supply),
        ),
    )
