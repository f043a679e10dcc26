"""`measure`: figures of captures and of typed readings."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import inf
from pathlib import Path
from typing import Literal

from wattproof.amplifier import Amplifier
from wattproof.bench import Bench, Load, ReadingRow, parse_readings
from wattproof.errors import Notice, SettingsError
from wattproof.measure import (
    BenchRecord,
    CaptureResult,
    Course,
    Kind,
    kind_of,
    lay_on_bench,
    level_course,
    measure_readings,
)
from wattproof.measure import measure as measure_capture
from wattproof.quantity import Ledger
from wattproof.readers import open_recording
from wattproof.tasks.files import amplifier_of, bench_of, refuse_overwriting, shown_name, text_of
from wattproof.tasks.measured import Measured
from wattproof.tasks.quick import channels_said, chosen_load, quick_bench
from wattproof.tasks.said import FileAnswers
from wattproof.waveform import Recording, RenamedRecording

READING_COLUMNS = frozenset(ReadingRow.model_fields)
FEWEST_COLUMNS = 2
"""A table is taken for typed readings when its first line names this many of their columns."""

RecordKind = Literal["steady", "ramp", "burst", "hold", "idle"]
"""What a recording can be; typed readings are told by their columns."""

SAME_LOAD = 0.1
"""A ramp's load and a burst's are the same bank if their resistances differ by less: heating moves it by less."""


@dataclass(frozen=True, kw_only=True)
class Wishes:
    """How a capture is to be measured; what is left out is found out or takes its default.

    Attributes
    ----------
    kind : RecordKind or None
        steady, ramp, burst, hold or idle; told apart by the level's course when left out.
    load : str or None
        Name of the load in use, as in the bench file, or plain ohms.
    load_ohm : float or None
        Its resistance, where there is no bench file.
    channel : tuple of str
        ROLE=INPUT or ROLE:OUTPUT=INPUT instead of the bench file's channels: --channel load_voltage=2
    volts_per_unit : float or None
        Volts at the load for 1 in the file, instead of the bench file's scale.
    tone_hz : float or None
        Nominal test tone, where the search for it fails.
    low_hz : float or None
        Lower edge of the measuring band; 20 Hz, lower for low tones, when left out.
    high_hz : float or None
        Upper edge of the measuring band; 20 kHz when left out.
    thd_percent : tuple of float
        Distortion limits at which a ramp's power is wanted; 0.1, 1, 3 and 10 when left out.
    steady_power_w : float or None
        Power a burst is compared with; the 1 % power of a ramp measured beside it when left out.
    captured_on : date or None
        Day of the capture, for calibrations that run out; today when left out, in a session its day.
    """

    kind: RecordKind | None = None
    load: str | None = None
    load_ohm: float | None = None
    channel: tuple[str, ...] = ()
    volts_per_unit: float | None = None
    tone_hz: float | None = None
    low_hz: float | None = None
    high_hz: float | None = None
    thd_percent: tuple[float, ...] = (0.1, 1.0, 3.0, 10.0)
    steady_power_w: float | None = None
    captured_on: date | None = None

    def __post_init__(self) -> None:
        """Refuse numbers that no measurement can follow."""
        for name in ("low_hz", "high_hz", "steady_power_w"):
            value = getattr(self, name)
            if value is not None and not 0 <= value < inf:
                raise _no_such(name, value, "a number from 0 up")
        scale = self.volts_per_unit
        if scale is not None and not 0 < abs(scale) < inf:
            raise _no_such("volts_per_unit", scale, "a number other than 0, below 0 where the channel is reversed")
        if self.low_hz is not None and self.high_hz is not None and not self.low_hz < self.high_hz:
            raise _no_such("high_hz", self.high_hz, f"more than the {self.low_hz:g} of --low-hz")


def _no_such(name: str, value: float, wanted: str) -> SettingsError:
    option = f"--{name.replace('_', '-')}"
    return SettingsError(
        f"{option} cannot be {value:g}.", why=f"it takes {wanted}", hint=f"Correct or leave out {option}."
    )


@dataclass(frozen=True, kw_only=True)
class Item:
    """A file to be measured, under the name its figures are to carry."""

    path: Path
    name: str
    wishes: Wishes
    answers: FileAnswers


def measure(
    files: Sequence[Path],
    *,
    bench: Path | None = None,
    amplifier: Path | None = None,
    wishes: Wishes | None = None,
    answers: FileAnswers | None = None,
    html: Path | None = None,
    csv: Path | None = None,
    tell: Callable[[str], None] | None = None,
) -> Measured:
    """Measure captures and typed readings: every figure with its uncertainty, conditions and origin.

    Parameters
    ----------
    files : sequence of Path
        Recordings in any format that a reader knows, or typed readings.csv.
    bench : Path or None
        bench.toml: what the channels are and how far they are to be trusted.
    amplifier : Path or None
        amplifier.toml of what is under test.
    wishes : Wishes or None
        How to measure.
    answers : FileAnswers or None
        What the files do not say themselves.
    html, csv : Path or None
        Also write a page with charts, or a table for a spreadsheet.
    tell : callable or None
        Gets a line before each file that is measured.

    Raises
    ------
    InputError
        A file cannot be used; nothing is answered for the others then.
    """
    refuse_overwriting((html, csv), given=(*files, bench, amplifier))
    table, named = bench_of(bench), amplifier_of(amplifier)
    wishes, answers = wishes or Wishes(), answers or FileAnswers()
    if wishes.captured_on is None:
        wishes = replace(wishes, captured_on=date.today())  # noqa: DTZ011  (the day on the wall of the workshop)
    items = [Item(path=path, name=shown_name(path), wishes=wishes, answers=answers) for path in files]
    groups = measure_items(items, bench=table, amplifier=named, tell=tell)
    found = Measured(captures=tuple(result for group in groups for result in group))
    title = f"{named.maker} {named.model}" if named else "Measured captures"
    found.write(html=html, csv=csv, bench=table, amplifier=named, title=title)
    return found


def measure_items(
    items: Sequence[Item],
    *,
    bench: Bench | None,
    amplifier: Amplifier | None,
    tell: Callable[[str], None] | None = None,
    beside: Sequence[CaptureResult] = (),
) -> list[tuple[CaptureResult, ...]]:
    """Measure files in order, on one ledger; typed readings give a result a row, recordings one each.

    A burst's headroom is over the steady power, which a ramp may tell, one of these or one measured `beside` them:
    bursts come last.
    """
    ledger = Ledger()
    groups: list[tuple[CaptureResult, ...]] = [() for _ in items]
    bursts: list[tuple[int, _Laid]] = []
    for number, item in enumerate(items):
        if tell is not None:
            tell(f"measuring {item.name} ({number + 1} of {len(items)}) ...")
        if is_readings(item.path):
            groups[number] = _typed(item, bench, amplifier)
            continue
        laid = _laid(item, bench, ledger)
        if laid.kind == "burst" and laid.record.steady_power_w is None:
            bursts.append((number, laid))
        else:
            groups[number] = (laid.measured(),)
    done = (*beside, *(result for group in groups for result in group))
    for number, laid in bursts:
        groups[number] = (laid.measured(steady_power_w=_power_beside(done, laid.record.load)),)
    return groups


def is_readings(path: Path) -> bool:
    """Whether a file is a table of typed readings rather than a capture."""
    if path.suffix.lower() not in {".csv", ".txt", ".tsv"} or not path.is_file():
        return False
    with path.open("rb") as file:
        first_line = file.readline(4096).decode("utf-8-sig", errors="replace")
    names = {cell.strip().strip('"').lower() for cell in re.split(r"[,;\t]", first_line)}
    return len(names & READING_COLUMNS) >= FEWEST_COLUMNS


def _typed(item: Item, bench: Bench | None, amplifier: Amplifier | None) -> tuple[CaptureResult, ...]:
    rows = parse_readings(text_of(item.path), file=item.name)
    return measure_readings(rows, bench=bench or Bench(), amplifier=amplifier, file=item.name)


def opened(item: Item) -> Recording:
    """Open a file's recording under the name its figures are to carry."""
    return RenamedRecording(inner=open_recording(item.path, item.answers.answers()), source=item.name)


@dataclass(frozen=True, kw_only=True)
class _Laid:
    """A recording laid on the bench and its kind told, with what there is to say of both: ready to be measured."""

    record: BenchRecord
    kind: Kind
    notices: tuple[Notice, ...]
    course: Course | None = None

    def measured(self, *, steady_power_w: float | None = None) -> CaptureResult:
        """Measure it; a burst may have got its steady power from a ramp meanwhile."""
        record = replace(self.record, steady_power_w=steady_power_w) if steady_power_w else self.record
        return measure_capture(record, kind=self.kind, course=self.course, notices=self.notices)


def _laid(item: Item, bench: Bench | None, ledger: Ledger) -> _Laid:
    """Lay one recording on the bench and tell its kind, following its level once for both the kind and the figures."""
    recording, wishes = opened(item), item.wishes
    table = quick_bench(recording, bench, channels=channels_said(wishes.channel), volts_per_unit=wishes.volts_per_unit)
    load = chosen_load(table, load=wishes.load, load_ohm=wishes.load_ohm)
    record, notices = lay_on_bench(
        recording,
        bench=table,
        load=load,
        ledger=ledger,
        low_hz=wishes.low_hz,
        high_hz=wishes.high_hz,
        tone_hz=wishes.tone_hz,
        thd_limits=_ratios(wishes.thd_percent),
        steady_power_w=wishes.steady_power_w or None,
        captured_on=wishes.captured_on,
    )
    told = (*recording.notices, *notices, *_load_notice(table, load), *_exact_notices(record))
    if wishes.kind is not None:
        return _Laid(record=record, kind=wishes.kind, notices=told)
    course = level_course(record)
    return _Laid(record=record, kind=kind_of(course), course=course, notices=told)


def _exact_notices(record: BenchRecord) -> tuple[Notice, ...]:
    """Tell what was taken as exact, or as 1, because nobody said otherwise."""
    used = [track for track in record.tracks if track.calibrated and track.role != "drive_voltage"]
    unsaid = [t.role for t in used if t.channel.unit == "FS" and "scale" not in t.calibration.model_fields_set]
    exact = [t.role for t in used if t.calibration.scale_u == 0]
    exact += [f"load {record.load.name}"] if record.load is not None and record.load.resistance_u_ohm == 0 else []
    notices = []
    if unsaid:
        notices.append(
            Notice(
                code="scale-not-said",
                message=f"No scale was given for {', '.join(unsaid)}: fractions of full scale were taken as volts or "
                "amperes.",
                hint="Give the scale in the bench file, or --volts-per-unit; wattproof bench calibrate finds it.",
            )
        )
    if exact:
        notices.append(
            Notice(
                code="taken-as-exact",
                message=f"No uncertainty was given for {', '.join(exact)}: the intervals hold noise and scatter only.",
                hint="State scale_u of the channels and resistance_u_ohm of the load in the bench file.",
            )
        )
    return tuple(notices)


def _ratios(percents: Sequence[float]) -> tuple[float, ...]:
    wrong = [percent for percent in percents if not 0 < percent < 100]
    if wrong:
        raise SettingsError(
            f"{wrong[0]:g} % is no distortion limit.",
            why="a limit lies between 0 and 100 %",
            hint="Give percents, for example --thd-percent 0.1 --thd-percent 1",
        )
    return tuple(sorted({percent / 100 for percent in percents}))


def _power_beside(beside: Sequence[CaptureResult], load: Load | None) -> float | None:
    """Find the power at 1 % of a ramp into the same load, W."""
    for result in beside:
        figure = result.figure("power_at_thd_1")
        if figure is not None and load is not None and _same_load(figure.conditions.get("load_ohm"), load):
            return figure.value
    return None


def _same_load(ohm: object, load: Load) -> bool:
    return isinstance(ohm, int | float) and abs(ohm / load.resistance_ohm - 1) < SAME_LOAD


def _load_notice(bench: Bench | None, load: Load | None) -> tuple[Notice, ...]:
    if load is not None or bench is None or len(bench.loads) < 2:
        return ()
    names = ", ".join(item.name for item in bench.loads)
    return (
        Notice(
            code="load-not-named",
            message=f"The bench has {len(bench.loads)} loads ({names}) and none was named.",
            hint="Name it with --load so that the load can be checked, and V²/R be given without a current channel.",
        ),
    )
