"""One play: drive, guard, live figures and the archive's writer together, and what is left of it however it ends."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from wattproof.archive import CaptureRecord, Description, TakeWriter
from wattproof.capture import Block, Drive, Guard, Take, Trip, closest_limits, guard_tracks
from wattproof.errors import ArchiveError, CaptureFailedError
from wattproof.measure import Kind
from wattproof.plan import Step, StepKind
from wattproof.run.course import Seen
from wattproof.run.events import Live
from wattproof.run.live import LiveFrame, LiveMeter
from wattproof.run.stage import Stage
from wattproof.run.traces import Tracer

Samples = NDArray[np.float64]

LIVE_EVERY_S = 0.1
"""Live events come this often, seconds of the stream; less often only where a frame is longer."""

EVEN = 0.8
"""No distortion is read of a frame whose level starts or ends below this share of its middle: a soft start, a fade."""

KINDS: dict[StepKind, Kind] = {
    "floor": "idle", "idle": "idle", "gain": "steady", "ramp": "ramp", "burst": "burst", "hold": "hold",
}  # fmt: skip
"""What a step's capture is measured as."""


class KnownDrive(Drive, Protocol):
    """A drive that knows its level at any moment."""

    def level_v_rms_at(self, sample: int) -> float: ...  # noqa: D102


class Control(Protocol):
    """What steers a drive by what is seen."""

    def block(self, end: int) -> None:
        """Look at the clock: the samples before `end` are recorded."""
        ...

    def frame(self, seen: Seen) -> None:
        """Look at a frame."""
        ...


@dataclass(frozen=True, kw_only=True, eq=False)
class Played:
    """A play that is over.

    Attributes
    ----------
    record : CaptureRecord or None
        What the archive has kept of it.
    trip : Trip or None
        Why the guard stopped it.
    void : str or None
        Why no figure may be made of it.
    course : tuple of Seen
    around : Samples of shape (n_samples, n_tracks)
        The samples around a trip, file units; empty without one.
    """

    record: CaptureRecord | None
    trip: Trip | None
    void: str | None
    course: tuple[Seen, ...]
    around: Samples


class StoppedPlayError(Exception):
    """The guard stopped a play of which no capture is kept; only the conductor sees it."""

    def __init__(self, played: Played, trip: Trip) -> None:
        super().__init__(trip.message)
        self.played, self.trip = played, trip


@dataclass(frozen=True, kw_only=True)
class Keeping:
    """How a play is kept.

    Attributes
    ----------
    note : str
        What is decided beforehand and belongs to the description.
    judge : callable
        Says of the course why no figure may be made of it, None where one may.
    between_s : (float, float) or None
        Only what lies between these seconds of the drive; all when left out.
    """

    note: str = ""
    judge: Callable[[Sequence[Seen]], str | None] = field(default=lambda _course: None)
    between_s: tuple[float, float] | None = None


def play(
    stage: Stage,
    step: Step,
    drive: KnownDrive,
    *,
    outputs: tuple[str, ...],
    tone_hz: float | None,
    keeping: Keeping | None,
    control: Control | None = None,
) -> Played:
    """Play a drive under the step's guard, and keep the capture.

    Parameters
    ----------
    stage : Stage
    step : Step
        Its limits are the guard's.
    drive : KnownDrive
    outputs : tuple of str
        The outputs whose power is shown.
    tone_hz : float or None, Hz
        The drive's tone; None for silence.
    keeping : Keeping or None
        None keeps nothing: a search that is no evidence.
    control : Control or None
        What steers the drive.

    Raises
    ------
    CaptureFailedError
        Samples were lost; what came is kept as void.
    RigError
        The interface is gone; what came is kept by the next recovery.
    """
    guard = guard_for(stage, step, tone_hz=tone_hz)
    for notice in guard.notices:
        stage.tell_once(notice)
    watching = _Watching(
        stage, step, drive, outputs=outputs, tone_hz=tone_hz, control=control, searching=keeping is None
    )
    if keeping is None:
        with stage.button.over(guard), stage.rig.play(drive, guard) as take:
            watching.follow(take, None, None)
        return _over(guard, watching, None, None)
    with _writer(stage, step, keeping.note) as writer:
        try:
            with stage.button.over(guard), stage.rig.play(drive, guard) as take:
                watching.follow(take, writer, keeping.between_s)
        except CaptureFailedError as error:
            writer.abandon(f"{error.message} {error.why}".strip())
            raise
        void = _void(guard.tripped, step) or keeping.judge(watching.course)
        record = _finished(stage, writer, guard, void)
    return _over(guard, watching, void, record)


def _finished(stage: Stage, writer: TakeWriter, guard: Guard, void: str | None) -> CaptureRecord | None:
    """Turn the take into a capture; a disk that refuses must not keep a trip from being latched."""
    try:
        return writer.finish(void=void, note=_trip_note(guard.tripped))
    except ArchiveError as error:
        if guard.tripped is None:
            raise
        stage.told("capture-not-kept", f"{error.message} {error.why}".strip(), error.hint)
        return None


def _over(guard: Guard, watching: "_Watching", void: str | None, record: CaptureRecord | None) -> Played:
    return Played(
        record=record,
        trip=guard.tripped,
        void=void,
        course=tuple(watching.course),
        around=guard.around().samples if guard.tripped is not None else np.empty((0, 0)),
    )


def guard_for(stage: Stage, step: Step, *, tone_hz: float | None) -> Guard:
    """Make the guard of a step: the closer of its limits and the bench's.

    A supply that is still off is not watched for its voltage.
    """
    limits = closest_limits(step.limits, stage.bench.limits)
    if not stage.powered:
        limits = limits.model_copy(update={"supply_voltage_v": None})
    ohms = {output: step.load_ohm for output in step.outputs if step.load_ohm is not None}
    tracks = guard_tracks(stage.bench, stage.rig.channels)
    return Guard(tracks=tracks, limits=limits, rate_hz=stage.rig.rate_hz, tone_hz=tone_hz, loads=ohms)


def _writer(stage: Stage, step: Step, note: str) -> TakeWriter:
    said = {"kind": KINDS[step.kind], "load": step.load, "tone_hz": step.tone_hz}
    description = Description(
        step=step.name,
        kind=KINDS[step.kind],
        load=step.load,
        answers={"wishes": {key: value for key, value in said.items() if value is not None}},
        note=note,
    )
    return stage.archive.begin_take(
        stage.session,
        step=step.number,
        description=description,
        channels=stage.rig.channels,
        rate_hz=stage.rig.rate_hz,
        seconds=step.seconds,
    )


def _void(trip: Trip | None, step: Step) -> str | None:
    """Say why a stopped play is no evidence; a ramp that the guard stopped is, up to there."""
    return None if trip is None or (step.kind == "ramp" and trip.code != "person") else f"Stopped: {trip.message}"


def _trip_note(trip: Trip | None) -> str:
    return "" if trip is None else f"The guard stopped it at {trip.at_s:.3f} s: {trip.message}"


class _Watching:
    """Follows a take: writes, shows, steers, remembers."""

    def __init__(
        self,
        stage: Stage,
        step: Step,
        drive: KnownDrive,
        *,
        outputs: tuple[str, ...],
        tone_hz: float | None,
        control: Control | None,
        searching: bool,
    ) -> None:
        self._searching = searching
        self._stage, self._step, self._drive, self._control = stage, step, drive, control
        self._rate_hz = stage.rig.rate_hz
        self._meter = LiveMeter(
            bench=stage.bench, outputs=outputs, rate_hz=self._rate_hz, tone_hz=tone_hz, load_ohm=step.load_ohm
        )
        self._tracer = Tracer(rate_hz=self._rate_hz, tone_hz=tone_hz) if stage.traced else None
        self._over_w = stage.knowledge.full_power_w(step)
        self._full_s = self._energy_j = 0.0
        self._due_s = 0.0
        self.course: list[Seen] = []

    def follow(self, take: Take, writer: TakeWriter | None, between_s: tuple[float, float] | None) -> None:
        """Take the blocks as they come, until the take is over."""
        for block in take:
            kept = self._kept(block, between_s)
            if writer is not None and len(kept):
                writer.write(kept)
            if take.trip is not None:
                continue
            if self._tracer is not None and (volts := self._meter.first_output_v(block.samples)) is not None:
                self._tracer.add(volts)
            for frame in self._meter.add(block.samples, start=block.start):
                self._see(frame)
            if self._control is not None:
                self._control.block(block.start + len(block.samples))

    def _kept(self, block: Block, between_s: tuple[float, float] | None) -> Samples:
        if between_s is None:
            return block.samples
        first, last = (round(second * self._rate_hz) - block.start for second in between_s)
        return block.samples[max(0, first) : max(0, last)]

    def _see(self, frame: LiveFrame) -> None:
        level_v_rms, even = self._level(frame)
        if not even:
            frame = replace(frame, thd_n=None)
        seen = Seen(frame=frame, drive_v_rms=level_v_rms, slow=getattr(self._drive, "slow_from", None) is not None)
        self.course.append(seen)
        if (frame.output_w or 0.0) > self._over_w > 0:
            self._full_s += frame.seconds
        self._energy_j += (frame.supply_w or 0.0) * frame.seconds
        if self._control is not None:
            self._control.frame(seen)
        if frame.t_s >= self._due_s:
            # counted from when it was due, not from the frame that came then: else frames of 43 ms would make 130 ms
            self._due_s = max(self._due_s + LIVE_EVERY_S, frame.t_s)
            self._stage.tell(self._live(seen))
            traces = None if self._tracer is None else self._tracer.traces(number=self._step.number, t_s=frame.t_s)
            if traces is not None:
                self._stage.tell(traces)

    def _level(self, frame: LiveFrame) -> tuple[float, bool]:
        """Give the drive's level in the middle of a frame, and whether it holds a tone that hardly changes."""
        places = [round((frame.t_s + share * frame.seconds) * self._rate_hz) for share in (-0.5, 0.0, 0.5)]
        first, middle, last = (self._drive.level_v_rms_at(place) for place in places)
        return middle, min(first, last) > EVEN * middle > 0

    def _live(self, seen: Seen) -> Live:
        frame, most_s = seen.frame, self._step.limits.full_power_s
        return Live(
            number=self._step.number,
            t_s=frame.t_s,
            drive_v_rms=seen.drive_v_rms,
            output_v_rms=frame.output_v_rms,
            output_w=frame.output_w,
            thd_n=frame.thd_n,
            supply_v=frame.supply_v,
            supply_a=frame.supply_a,
            supply_w=frame.supply_w,
            heat_w=frame.heat_w,
            temperature_c=frame.temperature_c,
            full_power_s=self._full_s,
            full_power_left_s=None if most_s is None else max(0.0, most_s - self._full_s),
            energy_j=None if frame.supply_w is None else self._energy_j,
            slow=seen.slow,
            searching=self._searching,
        )
