"""A list of chapters for a video's description: minutes and seconds, and the step that begins there."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from wattproof.measure import CaptureResult
from wattproof.tasks.syncing import Synced

if TYPE_CHECKING:
    from wattproof.archive import CaptureRecord


@dataclass(frozen=True, kw_only=True)
class Chapter:
    """Where a step begins in the video."""

    at_s: float
    name: str

    @property
    def line(self) -> str:
        """Write it as ``4:05 ramp 4 ohm``; with hours once there are some."""
        whole = int(self.at_s)
        hours, minutes, seconds = whole // 3600, whole // 60 % 60, whole % 60
        clock = f"{hours}:{minutes:02d}:{seconds:02d}" if hours else f"{minutes}:{seconds:02d}"
        return f"{clock} {self.name}"


def chapters_of(
    records: "Sequence[CaptureRecord]",
    measured: Mapping[int, Sequence[CaptureResult]],
    *,
    synced: Synced | None,
    this: int,
) -> tuple[Chapter, ...]:
    """List the session's captures as chapters.

    With a camera's sound they stand where the camera recorded them, told by when each recording began; without one
    as if the clips of all captures were laid end to end.
    """
    sound = [record for record in records if record.description.void is None and measured.get(record.number)]
    return _in_camera(sound, synced, this) if synced is not None else _end_to_end(sound, measured)


def _name(record: "CaptureRecord") -> str:
    return record.description.step or record.file


def _end_to_end(
    records: "Sequence[CaptureRecord]", measured: Mapping[int, Sequence[CaptureResult]]
) -> tuple[Chapter, ...]:
    chapters, at_s = [], 0.0
    for record in records:
        length_s = sum(result.duration_s or 0.0 for result in measured[record.number])
        if length_s > 0:
            chapters.append(Chapter(at_s=at_s, name=_name(record)))
            at_s += length_s
    return tuple(chapters)


def _in_camera(records: "Sequence[CaptureRecord]", synced: Synced, this: int) -> tuple[Chapter, ...]:
    """Place the captures by the clock of the machine that recorded them; those outside the footage are left out."""
    known = next((record for record in records if record.number == this), None)
    begun = None if known is None or known.live is None else known.live.began
    places = {this: -float(synced.camera_zero_s)}
    for record in records:
        if record.live is not None and begun is not None:
            places[record.number] = places[this] + (record.live.began - begun).total_seconds()
    seen = [
        Chapter(at_s=places[record.number], name=_name(record))
        for record in records
        if record.number in places and 0 <= places[record.number] < synced.camera_length_s
    ]
    seen.sort(key=lambda chapter: chapter.at_s)
    first = () if seen and seen[0].at_s < 1 else (Chapter(at_s=0.0, name="start"),)
    return (*first, *seen)
