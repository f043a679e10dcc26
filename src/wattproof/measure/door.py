"""One function for a capture of any kind: lay it on the bench, tell its kind, measure, and put the result together."""

from collections.abc import Callable

import numpy as np

from wattproof.errors import MeasureError, Notice
from wattproof.measure.burst import measure_burst
from wattproof.measure.findings import Findings
from wattproof.measure.hold import measure_hold
from wattproof.measure.idle import measure_idle
from wattproof.measure.kinds import tell_kind
from wattproof.measure.model import CapturedChannel, CaptureResult, Kind
from wattproof.measure.ramp import measure_ramp
from wattproof.measure.record import BenchRecord
from wattproof.measure.sanity import LARGEST, clipped_samples
from wattproof.measure.steady import measure_steady

MEASURES: dict[Kind, Callable[[BenchRecord], Findings]] = {
    "steady": measure_steady,
    "ramp": measure_ramp,
    "burst": measure_burst,
    "hold": measure_hold,
    "idle": measure_idle,
}

BLOCK_SAMPLES = 131_072


def measure(record: BenchRecord, *, kind: Kind | None = None, notices: tuple[Notice, ...] = ()) -> CaptureResult:
    """Measure everything a capture allows.

    Parameters
    ----------
    record : BenchRecord
        From `lay_on_bench`.
    kind : Kind or None
        Told apart by the level's course when left out.
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
    chosen = kind or tell_kind(record)
    # a hold is read once only and refuses broken values itself
    channels = () if chosen == "hold" else _channels(record)
    found = MEASURES[chosen](record)
    return CaptureResult(
        file=recording.source,
        kind=chosen,
        sample_rate_hz=recording.rate_hz,
        samples=recording.n_samples,
        duration_s=recording.n_samples / recording.rate_hz,
        channels=found.channels or channels,
        figures=found.figures,
        curve=found.curve,
        warnings=(*notices, *found.warnings),
        views=found.views,
    )


def _channels(record: BenchRecord) -> tuple[CapturedChannel, ...]:
    """Peaks and clipped samples of every track, block by block; refuses values that are no numbers."""
    peaks, clipped, broken = ([0] * len(record.tracks) for _ in range(3))
    peak_values = [float(p) for p in peaks]
    for block in record.recording.blocks(BLOCK_SAMPLES):
        for n, track in enumerate(record.tracks):
            values = np.asarray(block[:, track.index], dtype=np.float64)
            low, high = float(values.min()), float(values.max())
            if not (low > -LARGEST and high < LARGEST):
                broken[n] += int(np.count_nonzero(~(np.abs(values) < LARGEST)))
                continue
            ends = track.engineering(np.array([low, high]))
            peak_values[n] = max(peak_values[n], float(np.abs(ends).max()))
            clipped[n] += clipped_samples(track, values)
    _refuse_broken(record, broken)
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
