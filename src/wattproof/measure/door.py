"""One function for a capture of any kind: lay it on the bench, tell its kind, measure, and put the result together."""

from collections.abc import Callable

import numpy as np

from wattproof.errors import MeasureError, Notice
from wattproof.measure.burst import measure_burst
from wattproof.measure.findings import Findings
from wattproof.measure.hold import measure_hold
from wattproof.measure.idle import measure_idle
from wattproof.measure.kinds import Course, kind_of, level_course
from wattproof.measure.model import CapturedChannel, CaptureResult, Kind
from wattproof.measure.ramp import measure_ramp
from wattproof.measure.record import BenchRecord, Track
from wattproof.measure.sanity import LARGEST, SMALLEST, clipped_notice, clipped_samples, overdue_notices
from wattproof.measure.silence import without_silence
from wattproof.measure.steady import measure_steady
from wattproof.measure.threads import one_thread

MEASURES: dict[Kind, Callable[[BenchRecord], Findings]] = {
    "steady": measure_steady,
    "ramp": measure_ramp,
    "burst": measure_burst,
    "hold": measure_hold,
    "idle": measure_idle,
}

BLOCK_SAMPLES = 131_072


def measure(
    record: BenchRecord,
    *,
    kind: Kind | None = None,
    course: Course | None = None,
    notices: tuple[Notice, ...] = (),
) -> CaptureResult:
    """Measure everything a capture allows.

    Parameters
    ----------
    record : BenchRecord
        From `lay_on_bench`.
    kind : Kind or None
        Told apart by the level's course when left out.
    course : Course or None
        What `level_course` found, where the caller has followed the level already: it is not followed twice then.
    notices : tuple of Notice
        What reading and laying on the bench had to say; they come first in the result's warnings.

    Raises
    ------
    MeasureError
        The capture is empty, holds values that are no numbers, or has no tone that its kind needs.
    """
    recording = record.recording
    if recording.n_samples < 2:
        raise MeasureError(
            f"{recording.source} holds no record.",
            why=f"it has {recording.n_samples} samples",
            hint="Check that the recorder was running, and export the capture again.",
        )
    if any(notice.code == "uneven-time" for notice in (*recording.notices, *notices)):
        raise MeasureError(
            f"{recording.source} has no even clock.",
            why="its samples are not evenly spaced in time, so that neither a frequency nor a mean over cycles exists",
            hint="Export all samples, evenly spaced; wattproof read shows where the steps differ.",
        )
    chosen, part, left_out = _told_apart(record, kind, course)
    # a hold is read once only and refuses broken values itself
    channels = () if chosen == "hold" else _channels(record)
    with one_thread():
        found = MEASURES[chosen](part)
    return CaptureResult(
        file=recording.source,
        kind=chosen,
        sample_rate_hz=recording.rate_hz,
        samples=recording.n_samples,
        duration_s=recording.n_samples / recording.rate_hz,
        channels=found.channels or channels,
        figures=found.figures,
        curve=found.curve,
        warnings=(*notices, *left_out, *_input_notices(record, channels, found), *found.warnings),
        views=found.views,
    )


def _told_apart(
    record: BenchRecord, kind: Kind | None, course: Course | None
) -> tuple[Kind, BenchRecord, tuple[Notice, ...]]:
    """Give the kind, the part of the record that is measured, and what there is to say of that part."""
    if kind is not None and kind != "steady":
        return kind, record, ()
    course = course or level_course(record)
    chosen = kind or kind_of(course)
    return (chosen, *without_silence(record, course)) if chosen == "steady" else (chosen, record, ())


def _input_notices(record: BenchRecord, channels: tuple[CapturedChannel, ...], found: Findings) -> tuple[Notice, ...]:
    """Tell of inputs that clip, unless the kind has told it of the load voltage; of dead ones; of old calibrations."""
    told = any(notice.code == "clipped-input" for notice in found.warnings)
    clipped = tuple(
        clipped_notice(track, channel.clipped, record.recording.n_samples)
        for track, channel in zip(record.tracks, channels, strict=False)
        if channel.clipped and not (told and track.role == "load_voltage")
    )
    dead = tuple(
        _dead_notice(track)
        for track, channel in zip(record.tracks, channels, strict=False)
        if channel.peak == abs(track.calibration.offset)
    )
    return (*clipped, *dead, *overdue_notices(record))


def _dead_notice(track: Track) -> Notice:
    return Notice(
        code="dead-channel",
        message=f"Every sample of {track.role} (channel {track.channel.name}) is 0.",
        hint="The input was muted, not connected, or another one: zeros of a figure made from it mean nothing.",
    )


def _channels(record: BenchRecord) -> tuple[CapturedChannel, ...]:
    """Peaks and clipped samples of every track, block by block; refuses values that are no numbers."""
    clipped, broken = ([0] * len(record.tracks) for _ in range(2))
    peak_values, far = ([0.0] * len(record.tracks) for _ in range(2))
    for block in record.recording.blocks(BLOCK_SAMPLES):
        for n, track in enumerate(record.tracks):
            values = np.asarray(block[:, track.index], dtype=np.float64)
            low, high = float(values.min()), float(values.max())
            if not (low > -LARGEST and high < LARGEST):
                broken[n] += int(np.count_nonzero(~(np.abs(values) < LARGEST)))
                continue
            far[n] = max(far[n], -low, high)
            ends = track.engineering(np.array([low, high]))
            peak_values[n] = max(peak_values[n], float(np.abs(ends).max()))
            clipped[n] += clipped_samples(track, values, largest=max(high, -low))
    _refuse_broken(record, broken)
    _refuse_tiny(record, far)
    return record.captured(peak_values, clipped)


def _refuse_broken(record: BenchRecord, broken: list[int]) -> None:
    for track, count in zip(record.tracks, broken, strict=True):
        if count:
            raise MeasureError(
                f"Channel {track.channel.name} of {record.recording.source} cannot be measured.",
                why=f"{count} of {record.recording.n_samples} samples are missing, off scale or not a number",
                hint="Set the recorder's range so that nothing runs off scale, and capture again; "
                "or leave the channel out of the bench file.",
            )


def _refuse_tiny(record: BenchRecord, far: list[float]) -> None:
    for track, peak in zip(record.tracks, far, strict=True):
        if 0 < peak < SMALLEST:
            raise MeasureError(
                f"Channel {track.channel.name} of {record.recording.source} holds no recording.",
                why=f"its largest number is {peak:.1g}",
                hint="Check how the file was read: its samples may be of another type or byte order.",
            )
