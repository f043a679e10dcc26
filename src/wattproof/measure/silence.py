"""A tone that was switched on or off within the record: silence about it is no part of the reading."""

from dataclasses import replace

import numpy as np

from wattproof.errors import Notice
from wattproof.measure.kinds import FEWEST_LEVELS, Course, sounding
from wattproof.measure.record import BenchRecord
from wattproof.waveform import MemoryRecording

RISEN = 0.9
"""After silence the tone counts as standing once it has reached this share of its median level."""

LONGEST_FADE = 0.05
FADE_PIECES = 3
"""A tone that takes more of the record than this, and more pieces than this, to come or to go is not switched."""


def without_silence(record: BenchRecord, course: Course) -> tuple[BenchRecord, tuple[Notice, ...]]:
    """Leave out the silence before and after a steady tone, and say so; without silence the record stays as it is.

    Figures are means: silence in them would make every one of them wrong.

    Parameters
    ----------
    record : BenchRecord
    course : Course
        Its level, as `level_course` gives it.

    Returns
    -------
    tuple of BenchRecord and of Notice
        The record's part in which the tone stands; its figures' origin tells that part's times.
    """
    span = _standing(course)
    if span is None:
        return record, ()
    recording = record.recording
    start, stop = (min(round(level * course.level_s * recording.rate_hz), recording.n_samples) for level in span)
    part = MemoryRecording(
        waveform=recording.read(start, stop),
        source=recording.source,
        reader=recording.reader,
        metadata=recording.metadata,
        notices=recording.notices,
    )
    span_s = (start / recording.rate_hz, stop / recording.rate_hz)
    return replace(record, recording=part, span_s=span_s), (_notice(record, span_s),)


def _standing(course: Course) -> tuple[int, int] | None:
    """First level at which the tone stands and the end of the last one; None where no silence lies about it."""
    start, stop = sounding(course.levels)
    if not course.tonal or stop - start < FEWEST_LEVELS or (start, stop) == (0, course.levels.size):
        return None
    standing = np.flatnonzero(course.levels >= RISEN * np.median(course.levels[start:stop]))
    # the first and the last of them hold the switching itself
    first = int(standing[0]) + 1 if start else 0
    end = int(standing[-1]) if stop < course.levels.size else course.levels.size
    fade = max(first - start, stop - end)
    return (first, end) if end > first and fade <= max(FADE_PIECES, LONGEST_FADE * course.levels.size) else None


def _notice(record: BenchRecord, span_s: tuple[float, float]) -> Notice:
    return Notice(
        code="silence-left-out",
        message=f"The tone stands from {span_s[0]:.4g} s to {span_s[1]:.4g} s only, of {record.duration_s:.4g} s.",
        hint="Figures are of that stretch. If the silence belongs to the test, say so: --kind burst or --kind hold.",
        numbers={"start_s": span_s[0], "stop_s": span_s[1], "duration_s": record.duration_s},
    )
