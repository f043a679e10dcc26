"""`overlay`: a transparent clip of live figures and the growing curve, in step with a capture."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING

from wattproof.errors import ArchiveError, SettingsError
from wattproof.measure import CaptureResult
from wattproof.publish import (
    Claim,
    FilmFormat,
    FilmShape,
    FrameClock,
    Scene,
    clock_for,
    course_of,
    frame_of_code,
    frames_of,
    rate_of,
    scene_of,
    size_of,
    time_code,
)
from wattproof.tasks.chaptering import Chapter, chapters_of
from wattproof.tasks.files import refuse_overwriting, write_text
from wattproof.tasks.filming import keep_film, keep_frames
from wattproof.tasks.overlaid import Overlaid, OverlayChapter
from wattproof.tasks.sessions import session_figures
from wattproof.tasks.syncing import CameraWishes, Synced, sync_with

if TYPE_CHECKING:
    from wattproof.archive import CaptureRecord, Session

SAME_LOAD = 0.1
"""A rating is about the capture's load if their resistances differ by less."""


@dataclass(frozen=True, kw_only=True)
class ClipWishes:
    """What the clip is to be.

    Attributes
    ----------
    output : str or None
        Output of the amplifier to show; the first one when left out.
    out : Path or None
        File to write; named after the capture, in the folder one is in, when left out.
    format : "mov" or "webm" or None
        ProRes 4444 in a mov, or the much smaller VP9 in a webm; by the clip's name, else mov, when left out.
    frames : Path or None
        Write every frame as a PNG into this new folder, instead of a clip.
    chapters : Path or None
        Also write the chapter list to this file.
    fps : str
        Frame rate of the footage: 23.976, 24, 25, 29.97, 30, 50, 59.94 or 60.
    size : str
        Width and height of the footage, pixels.
    from_s : float
        Second of the capture from which to show it.
    to_s : float or None
        Second of the capture up to which to show it; its end when left out.
    lead_in_s : float
        How much earlier the clip begins, with nothing measured yet.
    timecode : str
        Time code of the first frame of the camera's file, hours:minutes:seconds:frames.
    """

    output: str | None = None
    out: Path | None = None
    format: FilmFormat | None = None
    frames: Path | None = None
    chapters: Path | None = None
    fps: str = "30"
    size: str = "1280x720"
    from_s: float = 0.0
    to_s: float | None = None
    lead_in_s: float = 0.0
    timecode: str = "00:00:00:00"

    def __post_init__(self) -> None:
        """Refuse times that are none."""
        for name in ("from_s", "to_s", "lead_in_s"):
            value = getattr(self, name)
            if value is not None and not (isfinite(value) and 0 <= value < 1e6):
                raise SettingsError(
                    f"--{name.replace('_', '-')} cannot be {value:g}.",
                    why="it takes seconds from 0 up",
                    hint=f"Correct or leave out --{name.replace('_', '-')}.",
                )


def overlay(
    session: str,
    capture: str,
    *,
    archive: Path | None = None,
    wishes: ClipWishes | None = None,
    camera: CameraWishes | None = None,
    tell: Callable[[str], None] | None = None,
) -> Overlaid:
    """Make a transparent clip of a capture's live figures and growing curve, to be laid over footage of the bench.

    Parameters
    ----------
    session : str
        Name of the session, or a part of it that no other session has.
    capture : str
        Number of the capture, or its step: "ramp 4 ohm".
    archive : Path or None
        Folder of the archive.
    wishes : ClipWishes or None
        What the clip is to be.
    camera : CameraWishes or None
        How it is lined up with the camera's sound.
    tell : callable or None
        Gets a line before each capture that is measured, and one a second of progress.

    Returns
    -------
    Overlaid
        Where the clip begins in the capture, and with a camera's sound in its time code.

    Raises
    ------
    ArchiveError
        There is no such session or capture, or a kept capture is not what its hash says.
    InputError
        The capture has nothing that grows with time, a wish makes no sense, or the camera's sound does not fit.
    FilmError
        No encoder, a full disk, or the encoder stopped; then nothing is left under the clip's name.
    """
    from wattproof.archive import Archive, default_root

    wishes, camera = wishes or ClipWishes(), camera or CameraWishes()
    rate, (width_px, height_px) = rate_of(wishes.fps), size_of(wishes.size)
    first_code = frame_of_code(wishes.timecode, rate=rate)
    store = Archive(archive or default_root())
    found = store.open_session(session)
    session_figures(found.id, archive=archive, tell=tell)
    measured = {} if (stored := store.read_figures(found)) is None else {c.number: c.results for c in stored.captures}
    records = store.captures(found)
    record = _chosen(records, capture)
    refuse_overwriting((wishes.out, wishes.chapters), given=(camera.sync,))
    result = _result_of(record, measured.get(record.number, ()))
    scene = _scene(found, record, result, output=wishes.output)
    synced = sync_with(
        camera, store=store, session=found, record=record, result=result, output=scene.course.output, tell=tell
    )
    clock = _clock(result, wishes, rate=rate, synced=synced)
    started = None if synced is None else round((clock.first_s - synced.camera_zero_s) * rate)
    code = "" if started is None else time_code(first_code + started, rate=rate)
    shape = FilmShape(
        format=_format(wishes), width_px=width_px, height_px=height_px, rate=rate, timecode=code or wishes.timecode
    )
    written = _written(scene, clock, shape, wishes, record=record, tell=tell)
    chapters = chapters_of(records, measured, synced=synced, this=record.number)
    if wishes.chapters is not None:
        write_text(wishes.chapters, "".join(f"{chapter.line}\n" for chapter in chapters))
    return Overlaid(
        session=found.id,
        capture=record.folder,
        written=written,
        format="png" if wishes.frames is not None else shape.format,
        fps=wishes.fps,
        frames=clock.n_frames,
        width_px=width_px,
        height_px=height_px,
        first_s=float(clock.first_s),
        seconds=float(clock.n_frames / rate),
        lag_s=scene.course.longest_s,
        synced=None if synced is None else synced.told(frame=started or 0, code=code, rate=rate),
        chapters=tuple(_told(chapter) for chapter in chapters),
    )


def _told(chapter: Chapter) -> OverlayChapter:
    return OverlayChapter(at_s=chapter.at_s, line=chapter.line)


def _chosen(records: "tuple[CaptureRecord, ...]", word: str) -> "CaptureRecord":
    """Find the capture of a number, a folder or a step.

    Raises
    ------
    ArchiveError
        None or several are meant.
    """
    wanted = word.strip().casefold()
    names = {record.number: {str(record.number), record.folder.casefold()} for record in records}
    steps = {record.number: (record.description.step or record.file).casefold() for record in records}
    meant = [r for r in records if wanted in names[r.number]] or [r for r in records if wanted == steps[r.number]]
    sound = [record for record in meant if record.description.void is None]
    if len(sound or meant) == 1:
        return (sound or meant)[0]
    listed = "; ".join(f"{record.number} {record.description.step or record.file}" for record in records)
    raise ArchiveError(
        f'No capture is "{word}".' if not meant else f'Several captures are "{word}".',
        why=f"the session holds {listed or 'none'}",
        hint="Give the capture's number." if records else "Add one first: wattproof session add.",
    )


def _result_of(record: "CaptureRecord", results: tuple[CaptureResult, ...]) -> CaptureResult:
    if record.description.void is not None or len(results) != 1:
        raise ArchiveError(
            f"Capture {record.number} cannot be shown against time.",
            why=f"it is void: {record.description.void}" if record.description.void else "it is no single recording",
            hint="Choose a ramp, a burst train or a hold.",
        )
    return results[0]


def _scene(session: "Session", record: "CaptureRecord", result: CaptureResult, *, output: str | None) -> Scene:
    course = course_of(result, output=output)
    step = record.description.step or record.file
    several = len({point.output for point in result.curve}) > 1
    title = f"{session.amplifier.model}, {step}" + (f", output {course.output}" if several else "")
    return scene_of(course, title=title, claim=_claim(session, record, result))


def _claim(session: "Session", record: "CaptureRecord", result: CaptureResult) -> Claim | None:
    """Give the rated power for this load and this many outputs; the first one stated where there are several."""
    load_ohm = _load_ohm(session, record, result)
    n_outputs = len({point.output for point in result.curve})
    for rating in session.amplifier.ratings:
        fits = rating.quantity == "power" and rating.load_ohm is not None and rating.unit.endswith("W")
        alike = rating.channels_driven in {None, n_outputs}
        if fits and alike and load_ohm and abs(load_ohm / (rating.load_ohm or load_ohm) - 1) < SAME_LOAD:
            return Claim(power_w=rating.value_si, text=f"claim {rating.value_si:g} W")
    return None


def _load_ohm(session: "Session", record: "CaptureRecord", result: CaptureResult) -> float | None:
    named = (load.resistance_ohm for load in session.bench.loads if load.name == record.description.load)
    stated = (figure.conditions.get("load_ohm") for figure in result.figures)
    return next(named, None) or next((value for value in stated if isinstance(value, float | int)), None)


def _clock(result: CaptureResult, wishes: ClipWishes, *, rate: Fraction, synced: Synced | None) -> FrameClock:
    whole_s = Fraction(result.samples) / Fraction(result.sample_rate_hz or 1.0).limit_denominator(1000)
    to_s = whole_s if wishes.to_s is None else Fraction(wishes.to_s).limit_denominator(10**6)
    if to_s > whole_s:
        raise SettingsError(
            f"The capture does not reach {float(to_s):g} s.",
            why=f"it lasts {float(whole_s):.3f} s",
            hint=f"Stay at or under --to-s {float(whole_s) - 5e-4:.3f}, or leave it out.",
        )
    return clock_for(
        rate=rate,
        from_s=Fraction(wishes.from_s).limit_denominator(10**6),
        to_s=to_s,
        lead_in_s=Fraction(wishes.lead_in_s).limit_denominator(10**6),
        phase_s=None if synced is None else synced.camera_zero_s,
    )


def _format(wishes: ClipWishes) -> FilmFormat:
    named = "" if wishes.out is None else wishes.out.suffix.lower().lstrip(".")
    chosen: FilmFormat = wishes.format or ("webm" if named == "webm" else "mov")
    if named not in {"", chosen}:
        raise SettingsError(
            f"{wishes.out} would be no {named}.",
            why=f"the clip is a {chosen}",
            hint=f"Let the name end in .{chosen}, or choose the other one with --format.",
        )
    return chosen


def _written(
    scene: Scene, clock: FrameClock, shape: FilmShape, wishes: ClipWishes, *, record: "CaptureRecord",
    tell: Callable[[str], None] | None,
) -> Path:  # fmt: skip
    def frames() -> Iterator[object]:
        second = max(round(shape.rate), 1)
        for n, picture in enumerate(frames_of(scene, clock, width_px=shape.width_px, height_px=shape.height_px)):
            if tell is not None and n % (2 * second) == 0 and n:
                tell(f"{n} of {clock.n_frames} frames")
            yield picture

    if wishes.frames is not None:
        return keep_frames(frames(), wishes.frames)
    to = wishes.out or Path(f"{record.folder}-overlay.{shape.format}")
    return keep_film(frames(), to, shape)
