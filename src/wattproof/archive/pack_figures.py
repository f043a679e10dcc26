"""Published figures beside those that were measured again: the same to the last printed digit, or named."""

from collections import defaultdict, deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import floor, isfinite, log10
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, JsonValue

from wattproof.archive.model import FiguresFile, MeasuredCapture
from wattproof.archive.pack_differ import Leaf, leaves, near, one_step
from wattproof.measure import CaptureResult, Figure
from wattproof.quantity import BudgetLine, Quantity

SAME_OVER_U = 1e-6
"""Nearer than this share of u a figure is the same: what another processor's arithmetic adds is smaller still."""
FLOOR = 1e-12
"""A ripple of this share of the voltage it stands on is left over from adding up rounded numbers, and no ripple."""

_ARITHMETIC, _LOOSE = 1e-9, 1e-3
_SIX_DIGITS = 5

State = Literal["same", "near", "differs", "added", "left out", "unchecked"]
"""same; near: apart by less than half the last printed digit; differs; added: published, but not in the captures;
left out: in the captures, but not published; unchecked: its capture is not the one that was packed."""


class FieldCompared(BaseModel):
    """One part of a figure that is not the same."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    field: str
    published: JsonValue
    again: JsonValue


class FigureCompared(BaseModel):
    """One figure as published and as measured again."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    capture: int
    file: str
    name: str
    output: str | None
    state: State
    published: Figure | None
    again: Figure | None
    difference: float | None = Field(default=None, description="again less published, in the figure's unit")
    over_u: float | None = Field(default=None, description="the same over the published standard uncertainty")
    fields: tuple[FieldCompared, ...] = ()


def last_digit(quantity: Quantity) -> float:
    """Give one step of a quantity's last printed digit, in its unit.

    It is the second significant digit of the half width of its 95 % interval, or the sixth of the value without one.

    Examples
    --------
    >>> last_digit(Quantity(value=512.34, u=2.1, unit="W", k95=2.0)), last_digit(Quantity(value=0.5, u=0, unit="W"))
    (0.1, 1e-06)
    """
    half = quantity.k95 * quantity.u
    if isfinite(half) and half > 0:
        return float(10.0 ** (floor(log10(half)) - 1))
    size = abs(quantity.value)
    return float(10.0 ** (floor(log10(size)) - _SIX_DIGITS)) if isfinite(size) and size > 0 else 0.0


def compare_quantity(
    published: Quantity, again: Quantity, *, floor_abs: float = 0.0
) -> tuple[State, tuple[FieldCompared, ...]]:
    """Weigh value, uncertainty and unit of two quantities; the budgets and conditions are not looked at.

    Parameters
    ----------
    published, again : Quantity
    floor_abs : float, the quantity's unit
        What no computer can tell apart in sums of samples of this size.
    """
    step, worst, fields = last_digit(published) / 2, 0, []
    halves = (published.k95 * published.u, again.k95 * again.u)
    for field, there, here in (
        ("value", published.value, again.value),
        ("u", published.u, again.u),
        ("95 % half width", *halves),
    ):
        rank = _rank(there, here, published.u, max(step, floor_abs))
        worst = max(worst, rank)
        if rank:
            fields.append(FieldCompared(field=field, published=there, again=here))
    if published.unit != again.unit:
        worst = 2
        fields.append(FieldCompared(field="unit", published=published.unit, again=again.unit))
    return _STATES[worst], tuple(fields)


_STATES: tuple[State, ...] = ("same", "near", "differs")


def _rank(there: float, here: float, u: float, step: float) -> int:
    apart = abs(there - here)
    if there == here or apart <= SAME_OVER_U * u or near(there, here, relative=1e-12):
        return 0
    return 1 if apart < step else 2


def compare_figures(
    published: FiguresFile, again: FiguresFile, *, unchecked: frozenset[int] = frozenset()
) -> tuple[FigureCompared, ...]:
    """Lay the published figures beside those measured again, capture by capture.

    Parameters
    ----------
    published, again : FiguresFile
    unchecked : set of int
        Numbers of captures that could not be measured again, for they are not those that were packed.
    """
    second = {capture.number: capture for capture in again.captures}
    first = {capture.number: capture for capture in published.captures}
    found: list[FigureCompared] = []
    for number in sorted(first.keys() | second.keys()):
        there, here = _figures(first.get(number)), _figures(second.get(number))
        floors = _floors(here)
        found += [
            _compared(number, one, other, unchecked=number in unchecked, floors=floors)
            for one, other in _pairs(there, here)
        ]
    return tuple(found)


@dataclass(frozen=True, kw_only=True)
class _Placed:
    """A figure with the file and the number of its result within the capture."""

    file: str
    result: int
    figure: Figure

    def exact(self) -> object:
        return *self.loose(), self.figure.unit, repr(sorted(self.figure.conditions.items()))

    def loose(self) -> tuple[object, ...]:
        return self.result, self.figure.name, self.figure.output


def _figures(capture: MeasuredCapture | None) -> list[_Placed]:
    results: Sequence[CaptureResult] = capture.results if capture else ()
    return [_Placed(file=r.file, result=n, figure=figure) for n, r in enumerate(results) for figure in r.figures]


def _floors(placed: list[_Placed]) -> dict[str, float]:
    """Give what cannot be told apart, by unit: a share of the largest figure of that unit in the capture."""
    largest: dict[str, float] = {}
    for one in placed:
        unit = one.figure.unit
        largest[unit] = max(largest.get(unit, 0.0), abs(one.figure.value))
    return {unit: FLOOR * value for unit, value in largest.items()}


def _pairs(published: list[_Placed], again: list[_Placed]) -> Iterator[tuple[_Placed | None, _Placed | None]]:
    """Pair what is of one name, output and conditions; then what is left of one name and output, in order."""
    partner: dict[int, int] = {}
    taken: set[int] = set()
    for key in (_Placed.exact, _Placed.loose):
        waiting: dict[object, deque[int]] = defaultdict(deque)
        for n, one in enumerate(again):
            if n not in taken:
                waiting[key(one)].append(n)
        for number, one in enumerate(published):
            if number not in partner and waiting[key(one)]:
                partner[number] = waiting[key(one)].popleft()
        taken = set(partner.values())
    for number, one in enumerate(published):
        yield one, again[partner[number]] if number in partner else None
    yield from ((None, one) for n, one in enumerate(again) if n not in taken)


def _compared(
    number: int, one: _Placed | None, other: _Placed | None, *, unchecked: bool, floors: Mapping[str, float]
) -> FigureCompared:
    placed = one or other
    if placed is None:
        raise ValueError  # a pair has at least one side
    published, again = one.figure if one else None, other.figure if other else None
    known: dict[str, Any] = {
        "capture": number,
        "file": placed.file,
        "name": placed.figure.name,
        "output": placed.figure.output,
        "published": published and published.model_copy(update={"budget": ()}),
        "again": again and again.model_copy(update={"budget": ()}),
    }  # fmt: skip  (budgets are compared line by line; their differences stand among the fields)
    if published is None or again is None:
        return FigureCompared(state=_lone_state(published, unchecked=unchecked), **known)
    floor_abs = floors.get(again.unit, 0.0)
    state, fields = compare_quantity(published, again, floor_abs=floor_abs)
    others = tuple(_other_fields(published, again, floor_abs))
    worst = max([_STATES.index(state), *(rank for rank, _ in others)])
    apart = again.value - published.value
    return FigureCompared(
        state=_STATES[worst],
        difference=apart,
        over_u=apart / published.u if published.u > 0 else None,
        fields=(*fields, *(field for _, field in others)),
        **known,
    )


def _lone_state(published: Figure | None, *, unchecked: bool) -> State:
    if unchecked:
        return "unchecked"
    return "left out" if published is None else "added"


_Ranked = Iterator[tuple[int, FieldCompared]]


def _other_fields(published: Figure, again: Figure, floor_abs: float) -> _Ranked:
    """Find what differs in conditions, origin, degrees of freedom and budget, each with its rank among `_STATES`."""
    for leaf in leaves(published.conditions, again.conditions, place="conditions", relative=0.0):
        rounded = one_step(repr(leaf.there), repr(leaf.here)) or near(leaf.there, leaf.here)
        yield 1 if rounded else 2, _field(leaf)
    for leaf in leaves(published.origin, again.origin, place="origin", relative=0.0):
        yield 1 if near(leaf.there, leaf.here) else 2, _field(leaf)
    if not near(published.dof, again.dof, relative=_ARITHMETIC):
        rank = 1 if near(published.dof, again.dof, relative=_LOOSE) else 2
        yield rank, FieldCompared(field="dof", published=published.dof, again=again.dof)
    yield from _budget_fields(published, again, floor_abs)


def _budget_fields(published: Figure, again: Figure, floor_abs: float) -> _Ranked:
    there, here = ({line.source: line for line in figure.budget} for figure in (published, again))
    allowed = max(last_digit(published) / 2, floor_abs)
    if len(published.budget) != len(there) or len(again.budget) != len(here):
        lines = [f"{len(figure.budget)} lines" for figure in (published, again)]
        yield 2, FieldCompared(field="budget: a source twice", published=lines[0], again=lines[1])
    for source in [*there, *(source for source in here if source not in there)]:
        one, other = there.get(source), here.get(source)
        rank = 2
        if one is not None and other is not None and _plain(one) == _plain(other):
            rank = _rank(one.u, other.u, published.u, allowed)
        if rank:
            yield rank, FieldCompared(field=f"budget: {source}", published=_line(one), again=_line(other))


def _plain(line: BudgetLine) -> tuple[object, ...]:
    return line.label, line.sign, line.type


def _line(line: BudgetLine | None) -> JsonValue:
    return None if line is None else line.model_dump(mode="json", include={"label", "u", "sign", "type"})


def _field(leaf: Leaf) -> FieldCompared:
    return FieldCompared(field=leaf.place, published=leaf.there, again=leaf.here)
