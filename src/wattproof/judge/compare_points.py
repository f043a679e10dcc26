"""What a session holds that can be compared: powers at a limit of distortion, and figures as they stand."""

import hashlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from wattproof.judge.compare_model import Subject
from wattproof.measure import CaptureResult, Figure
from wattproof.quantity import Ledger, Quantity, Uncertain

_LIMIT = re.compile(r"power_at_thd_\d+(?:_\d+)?")
NAMELESS_BENCHES = frozenset({"", "unnamed bench", "quick look"})
_SHARED = re.compile(r"bench (?!unnamed bench\b|quick look\b)\S")
"""Calibrations of a bench that has a name: what every session on it shares."""


@dataclass(frozen=True, kw_only=True)
class PowerPoint:
    """An output's power at a limit of distortion, with what is known of its conditions; None is not recorded."""

    figure: Figure
    result: CaptureResult
    output: str
    load_ohm: float | None
    supply_v: float | None
    thd_n: float | None
    driven: int


@dataclass(frozen=True, kw_only=True, eq=False)
class Side:
    """A subject with its points, and with a ledger that all subjects of the comparison share."""

    subject: Subject
    ledger: Ledger

    @property
    def name(self) -> str:
        """What the session is called."""
        return self.subject.name

    @cached_property
    def own(self) -> str:
        """Name under which this session's own sources stand: equal for equal figures, whatever they are called."""
        told = "".join(figure.model_dump_json() for result in self.subject.results for figure in result.figures)
        return hashlib.sha256(told.encode()).hexdigest()[:12]

    @cached_property
    def points(self) -> tuple[PowerPoint, ...]:
        """All powers at a limit."""
        return tuple(point for result in self.subject.results for point in _points(result))

    def restored(self, stored: Quantity) -> Uncertain:
        """Make a stored figure an uncertain number that moves with what it shares with the other sessions' figures.

        A bench's calibrations are shared between sessions. All else belongs to this session alone: files of two
        sessions may have one name and nothing in common.
        """
        lines = tuple(line.model_copy(update={"source": self.source(line.source)}) for line in stored.budget)
        known = sum(line.u**2 for line in lines)
        number = self.ledger.restore(stored.model_copy(update={"budget": lines}))
        rest = max(stored.u**2 - known, 0.0) ** 0.5
        if rest > 1e-3 * stored.u:  # a figure whose budget does not tell all of its doubt
            label = "not told by the budget"
            name = f"{self.own}: {label} {stored.value!r} {stored.u!r}"
            number = number + self.ledger.source(name, 0.0, rest, label=label, kind="B")
        return number

    def source(self, name: str) -> str:
        """Name a source so that only a named bench's calibrations are shared."""
        return name if _SHARED.match(name) else f"{self.own}: {name}"

    def doubt(self, name: str, u: float, *, label: str) -> Uncertain:
        """Give an uncertain 0 of this session alone."""
        return self.ledger.source(f"{self.own}: {name}", 0.0, u, label=label, kind="B")

    def figures(self, name: str) -> Iterator[tuple[CaptureResult, Figure]]:
        """Give all figures of a name, with their captures."""
        for result in self.subject.results:
            for figure in result.figures:
                if figure.name == name:
                    yield result, figure

    def supply_error(self, result: CaptureResult) -> Uncertain:
        """Uncertain 0: relative error of a capture's supply voltage through its channel's or meter's calibration."""
        figure = result.figure("supply_voltage", None) or result.figure("supply_voltage_min", None)
        if figure is None or figure.value <= 0:
            return 0.0
        shared = tuple(line for line in figure.budget if line.type == "B" and line.source.startswith("bench "))
        u = sum(line.u**2 for line in shared) ** 0.5
        stored = figure.model_copy(update={"u": u, "budget": shared})
        return self.restored(stored) / figure.value - 1


def condition(figure: Figure, key: str) -> float | None:
    """Give a condition that is a number, None where it is not stated."""
    value = figure.conditions.get(key)
    return float(value) if isinstance(value, int | float) else None


def supply_of(result: CaptureResult, figure: Figure) -> float | None:
    """Give the supply voltage of a figure: its own condition, or the mean of its capture."""
    stated = condition(figure, "supply_v")
    mean = result.figure("supply_voltage", None)
    return stated if stated is not None or mean is None else mean.value


def mean_of(numbers: Sequence[Uncertain]) -> Uncertain:
    """Mean of uncertain numbers."""
    total: Uncertain = 0.0
    for number in numbers:
        total = total + number
    return total / len(numbers)


def _points(result: CaptureResult) -> list[PowerPoint]:
    typed = result.kind == "readings"
    names = [f for f in result.figures if f.output is not None and f.value > 0 and _is_power(f, typed=typed)]
    driven = len({figure.output for figure in names})
    return [
        PowerPoint(
            figure=figure,
            result=result,
            output=figure.output or "",
            load_ohm=condition(figure, "load_ohm"),
            supply_v=supply_of(result, figure),
            thd_n=_typed_limit(result, figure) if typed else condition(figure, "thd_n"),
            driven=driven,
        )
        for figure in names
    ]


def _is_power(figure: Figure, *, typed: bool) -> bool:
    return figure.name == "load_power" if typed else _LIMIT.fullmatch(figure.name) is not None


def _typed_limit(result: CaptureResult, figure: Figure) -> float | None:
    """Take a typed row's own distortion for the limit it was taken at."""
    thd = result.figure("thd_n", figure.output)
    return None if thd is None else thd.value
