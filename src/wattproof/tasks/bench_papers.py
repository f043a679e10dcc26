"""Bench papers: kept, calibrated, spoken to, and their floor measured."""

import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from wattproof.bench import Bench, BenchChannel, Calibration, parse_bench
from wattproof.errors import SettingsError
from wattproof.settings import edited_toml
from wattproof.tasks.bench_examples import AUDIO_INTERFACE
from wattproof.tasks.bench_fields import BENCH_PARTS
from wattproof.tasks.calibrating import bench_calibrate
from wattproof.tasks.checking import BenchChecked, bench_check
from wattproof.tasks.floored import Floor
from wattproof.tasks.flooring import bench_floor
from wattproof.tasks.paper_desk import PaperDesk
from wattproof.tasks.paper_fields import TypedWrongError, number_typed

if TYPE_CHECKING:
    from wattproof.report import CalibrationParts

KEPT_FROM_LINE = ("scale", "offset", "scale_u", "offset_u", "calibrated")


@dataclass(frozen=True, kw_only=True)
class BenchLine:
    """A bench in a list: its paper's name, what it is called itself, and what is overdue in words."""

    name: str
    called: str
    said: str
    overdue: tuple[str, ...]
    wrong: bool = False


@dataclass(frozen=True, kw_only=True)
class BenchChannelNamed:
    """A channel as it is chosen: its number in the file, its words, how its calibration stands."""

    number: int
    words: str
    state: str
    overdue: bool


@dataclass(frozen=True, kw_only=True)
class CalibrationTyped:
    """Reference readings as they were typed.

    Attributes
    ----------
    channel : int
        Number of the channel in the file, from 0.
    pairs : tuple of (str, str)
        What the reference showed, and what the channel read.
    u_reference, u_reference_percent : str
        Standard uncertainty of the reference: its zero in engineering units, its scale in per cent.
    day : str
        ISO 8601; today when left out.
    """

    channel: int
    pairs: tuple[tuple[str, str], ...]
    u_reference: str = ""
    u_reference_percent: str = ""
    day: str = ""


@dataclass(frozen=True, kw_only=True)
class CalibrationSeen:
    """A calibration as a page shows it.

    Attributes
    ----------
    line : Calibration
    parts : CalibrationParts
        Its words, points and drawing.
    table : dict
        What the bench file is to say of the channel.
    """

    line: Calibration
    parts: "CalibrationParts"
    table: dict[str, Any]


@dataclass(frozen=True, kw_only=True)
class BenchFound:
    """What was found of a bench last, and when."""

    at: datetime
    checked: BenchChecked | None = None
    floor: Floor | None = None


class BenchPapers(PaperDesk[Bench]):
    """The bench papers of an archive.

    Parameters
    ----------
    archive : Path
        Its folder.
    """

    def __init__(self, archive: Path) -> None:
        super().__init__(archive, kind="bench", parts=BENCH_PARTS, parse=parse_bench)
        self._found: dict[tuple[str, str], BenchFound] = {}

    def lines(self) -> tuple[BenchLine, ...]:
        """Give all benches, with what is overdue."""
        return tuple(self._line(name) for name in self.names)

    def keep_example(self) -> str:
        """Keep a bench of an audio interface to begin with; gives its name."""
        return self.keep_text(AUDIO_INTERFACE)

    def rig(self, name: str) -> str | None:
        """Give the kind of rig that a bench has; None where nothing plays or records."""
        rig = self.thing(name).rig
        return None if rig is None else rig.kind

    def channels(self, name: str) -> tuple[BenchChannelNamed, ...]:
        """Give the channels with how their calibration stands today."""
        today = date.today()  # noqa: DTZ011  (the day on the wall of the workshop)
        return tuple(_named(number, one, today) for number, one in enumerate(self.thing(name).channels))

    def calibration(self, name: str, typed: CalibrationTyped) -> CalibrationSeen:
        """Fit a channel's line through what was typed.

        Raises
        ------
        SettingsError
            A cell is no number, there are too few, or they settle no line.
        ArchiveError
            There is no such bench.
        """
        from wattproof.report import calibration_parts

        channel = self._channel(name, typed.channel)
        with TemporaryDirectory() as aside:
            file = Path(aside) / "typed.csv"
            file.write_text(_csv(typed.pairs), encoding="utf-8")
            output = f":{channel.output}" if channel.role.startswith("load") else ""
            found = bench_calibrate(
                file,
                channel=f"{channel.role}{output}={channel.input}",
                u_reference=_typed("Reference, zero", typed.u_reference),
                u_reference_relative=_typed("Reference, scale", typed.u_reference_percent) / 100,
                calibrated=_day(typed.day),
            )
        table = tomllib.loads(found.toml)["channels"][0]
        return CalibrationSeen(
            line=found.line,
            parts=calibration_parts(found.line, unit=_unit(channel)),
            table={key: table[key] for key in KEPT_FROM_LINE if key in table},
        )

    def take_calibration(self, name: str, typed: CalibrationTyped) -> None:
        """Fit the line and write it into the bench with its day, as the paper's new state.

        Raises
        ------
        SettingsError, ArchiveError
            As `calibration` says.
        """
        found = self.calibration(name, typed)
        text = self.see(name).text
        said = tomllib.loads(text)
        said["channels"][typed.channel] |= found.table
        self.keep_text(edited_toml(text, said), name=name)

    def check(self, name: str) -> None:
        """Speak to every part of the rig; what is said is kept until the workbench is closed.

        Raises
        ------
        SettingsError, RigError, ArchiveError
            As the task `bench_check` says.
        """
        self._found[name, "checked"] = BenchFound(at=_now(), checked=bench_check(self.file(name)))

    def floor(self, name: str, *, wired: bool, tell: Callable[[str], None]) -> None:
        """Measure what recorder and generator add; what is found is kept until the workbench is closed.

        Raises
        ------
        WattproofError
            As the task `bench_floor` says.
        """
        found = bench_floor(self.file(name), wired=wired, tell=tell)
        self._found[name, "floor"] = BenchFound(at=_now(), floor=found)

    def found(self, name: str) -> tuple[BenchFound | None, BenchFound | None]:
        """Give what was found last: of the parts, and of the floor."""
        return self._found.get((name, "checked")), self._found.get((name, "floor"))

    def _line(self, name: str) -> BenchLine:
        seen = self.see(name)
        if seen.fault is not None:
            return BenchLine(
                name=name, called=seen.called, said="its file cannot be used as it stands", overdue=(), wrong=True
            )
        bench = self.thing(name)
        counts = ((len(bench.channels), "channel"), (len(bench.loads), "load"), (len(bench.meters), "meter"))
        words = [f"{count} {word}{'' if count == 1 else 's'}" for count, word in counts if count]
        words += [] if bench.rig is None else [f"rig: {bench.rig.kind}"]
        today = date.today()  # noqa: DTZ011  (the day on the wall of the workshop)
        overdue = tuple(notice.message for notice in bench.overdue(today))
        return BenchLine(name=name, called=seen.called, said=", ".join(words), overdue=overdue)

    def _channel(self, name: str, number: int) -> BenchChannel:
        channels = self.thing(name).channels
        if not 0 <= number < len(channels):
            raise SettingsError(
                "No channel was chosen.", why=f"this bench has {len(channels)}", hint="Choose one of them, or add one."
            )
        return channels[number]


def _now() -> datetime:
    return datetime.now().astimezone()


def _named(number: int, one: BenchChannel, today: date) -> BenchChannelNamed:
    output = f" {one.output}" if one.role.startswith("load") else ""
    overdue = one.overdue(today)
    state = "no day of calibration" if one.calibrated is None else f"calibrated on {one.calibrated}"
    return BenchChannelNamed(
        number=number,
        words=f"{one.role.replace('_', ' ')}{output} (input {one.input})",
        state=state if overdue is None else f"overdue: {state}, {overdue.numbers['age_days']:g} days ago",
        overdue=overdue is not None,
    )


def _unit(channel: BenchChannel) -> str:
    return {"load_current": "A", "supply_current": "A", "temperature": "K"}.get(channel.role, "V")


def _csv(pairs: tuple[tuple[str, str], ...]) -> str:
    rows = []
    for number, (reference, reading) in enumerate(pairs, start=1):
        if not reference and not reading:
            continue
        cells = (_typed(f"Reference {number}", reference), _typed(f"Reading {number}", reading))
        rows.append(f"{cells[0]!r},{cells[1]!r}")
    return "\n".join(["reference,reading", *rows]) + "\n"


def _typed(called: str, text: str) -> float:
    if not text and not called[-1].isdecimal():
        return 0.0
    try:
        return number_typed(text)
    except TypedWrongError as error:
        raise SettingsError(
            f"{called} cannot be used.", why=str(error) if text else "it is empty", hint="Correct it, or clear its row."
        ) from error


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError as error:
        raise SettingsError(
            f'"{text[:40]}" is no day.', why="a day is written as 2031-05-14", hint="Correct it, or leave it empty."
        ) from error
