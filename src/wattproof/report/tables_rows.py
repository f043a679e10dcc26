"""Results, verdicts and captures as rows of the tables; nothing is computed that a result does not hold."""

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from wattproof.judge import Judged, Judgement
from wattproof.measure import CaptureResult, Condition, CurvePoint, Figure
from wattproof.quantity import Quantity
from wattproof.report.tables import Cell, TableRow, number, text
from wattproof.report.tables_forms import CAPTURES, CONDITIONS, FRAME


@dataclass(frozen=True, kw_only=True)
class Whose:
    """The session that rows belong to, and its amplifier."""

    session: str
    maker: str
    model: str

    @property
    def cells(self) -> tuple[Cell, ...]:
        """The first columns of most tables."""
        return (self.session, text(self.maker), text(self.model))


Numbered = Sequence[tuple[int, CaptureResult]]
"""Results with the number of their capture; several results of one number are rows of typed readings."""


def figure_rows(whose: Whose, results: Numbered) -> Iterator[TableRow]:
    """Give a row a figure, numbered from 1 through the session."""
    for place, (capture, kind, figure) in enumerate(_figures(results), 1):
        low, high = figure.interval95
        named, rest = _conditions(figure.conditions)
        yield (
            *whose.cells, capture, kind, place, figure.name, text(figure.output),
            number(figure.value), number(figure.u), number(figure.k95), number(low), number(high),
            figure.unit, number(figure.dof), *named, rest, text(figure.origin),
        )  # fmt: skip


def budget_rows(whose: Whose, results: Numbered) -> Iterator[TableRow]:
    """Give a row for each line of each figure's budget."""
    for place, (_, _, figure) in enumerate(_figures(results), 1):
        for line in figure.budget:
            yield (
                whose.session, place, figure.name, text(figure.output), line.source, text(line.label), line.type,
                number(line.u), int(line.sign), number(line.dof), figure.unit,
            )  # fmt: skip


def _figures(results: Numbered) -> Iterator[tuple[int, str, Figure]]:
    return ((capture, result.kind, figure) for capture, result in results for figure in result.figures)


def _conditions(conditions: dict[str, Condition]) -> tuple[list[Cell], str | None]:
    """Divide conditions into those with columns of their own and the rest as JSON."""
    rest: dict[str, object] = dict(conditions)
    band = conditions.get("bandwidth_hz")
    if isinstance(band, tuple) and len(band) == 2:
        del rest["bandwidth_hz"]
        rest |= {"bandwidth_low_hz": band[0], "bandwidth_high_hz": band[1]}
    named: list[Cell] = []
    for column in CONDITIONS:
        cell = _fitting(column.type, rest.get(column.name))
        named.append(cell)
        if cell is not None:
            del rest[column.name]
    return named, json.dumps(rest, sort_keys=True, ensure_ascii=False) if rest else None


def _fitting(wanted: str, value: object) -> Cell:
    """Give a condition as a cell of its column's type; None where it is of another, and so stays in the JSON."""
    if wanted == "text":
        return text(value) if isinstance(value, str) else None
    if wanted == "integer":
        return value if isinstance(value, int) and not isinstance(value, bool) else None
    return number(value)


def curve_rows(whose: Whose, results: Numbered) -> Iterator[TableRow]:
    """Give a row for each frame of each output."""
    for capture, result in results:
        seen: Counter[str] = Counter()
        for point in result.curve:
            seen[point.output] += 1
            yield (*whose.cells, capture, result.kind, point.output, seen[point.output], *_frame(point))


def _frame(point: CurvePoint) -> list[Cell]:
    return [number(getattr(point, name)) for name, _, _, _ in FRAME]


def verdict_rows(whose: Whose, judged: Judged) -> Iterator[TableRow]:
    """Give a row for each reading of each rating, in the order of the ratings."""
    seen: Counter[int] = Counter()
    for one in judged.judgements:
        seen[one.rating] += 1
        words = judged.ratings[one.rating] if one.rating < len(judged.ratings) else None
        yield (
            *whose.cells, one.rating, words, seen[one.rating], one.reading.words,
            text("; ".join(one.reading.assumed)), one.reading.stretched,
            one.quantity, one.sense, number(one.claimed), one.unit, *_wanted(one), *_found(one),
            number(one.correction), number(one.margin), number(one.probability), judged.rule.confidence,
            one.verdict, text(one.why), text(" ".join(settling.message for settling in one.settling)),
        )  # fmt: skip


def _wanted(one: Judgement) -> tuple[Cell, ...]:
    read = one.reading
    return (
        number(read.load_ohm), number(read.supply_v), number(read.thd_n), read.driven, number(read.frequency_hz),
        number(read.seconds),
    )  # fmt: skip


def _found(one: Judgement) -> tuple[Cell, ...]:
    low, high = one.corrected.interval95 if one.corrected else (None, None)
    return (
        text(one.measured_name), text(one.measured_where), *_value_and_u(one.measured),
        one.measured.unit if one.measured else None, text(one.bound), *_value_and_u(one.corrected),
        number(low), number(high),
    )  # fmt: skip


def _value_and_u(quantity: Quantity | None) -> tuple[Cell, Cell]:
    return (None, None) if quantity is None else (number(quantity.value), number(quantity.u))


def notice_rows(whose: Whose, results: Numbered) -> Iterator[TableRow]:
    """Give a row for each thing that is doubtful about a capture, once."""
    told: set[tuple[int, str, str]] = set()
    for capture, result in results:
        for notice in result.warnings:
            if (capture, notice.code, notice.message) not in told:
                told.add((capture, notice.code, notice.message))
                yield (whose.session, capture, notice.code, notice.message, text(notice.hint))


def capture_rows(whose: Whose, facts: Iterable[dict[str, Cell]]) -> Iterator[TableRow]:
    """Give a row a capture, from its facts by the name of their column; what is not told is empty.

    Raises
    ------
    KeyError
        A fact has no column.
    """
    names = [column.name for column in CAPTURES.columns]
    for told in facts:
        known = dict(zip(names, whose.cells, strict=False)) | told
        unknown = set(known) - set(names)
        if unknown:
            raise KeyError(f"captures has no column {sorted(unknown)}")
        yield tuple(known.get(name) for name in names)
