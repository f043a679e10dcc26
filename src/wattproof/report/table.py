"""Figures as rows, and the rows as text that can be read aloud."""

import re
import textwrap
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from wattproof.measure import CaptureResult, Condition, Figure
from wattproof.quantity import value_text
from wattproof.report import words
from wattproof.report.conditions import conditions_text
from wattproof.report.faces import face_name, face_value, remarks, telling_conditions

WIDEST = 120
"""Columns a line of the plain table keeps to."""

_BOUND = "\N{NO-BREAK SPACE}"
_LEAST_COLUMN = 36
"""Where fewer columns are left beside name and value, the conditions stand under them."""


@dataclass(frozen=True, kw_only=True)
class FigureRow:
    """One figure as it is written down.

    Attributes
    ----------
    figure : Figure
        The figure itself.
    name, value : str
        In words; value with its 95 % interval and unit.
    remarks : str
        The dB form, the recorder's floor.
    conditions : str
        All conditions that the name and the remarks do not tell, compact.
    own_conditions : str
        Those that the group does not share.
    origin : str
        Where in the capture, without the file's name where the group names it.
    """

    figure: Figure
    name: str
    value: str
    remarks: str
    conditions: str
    own_conditions: str
    origin: str


@dataclass(frozen=True, kw_only=True)
class FigureGroup:
    """The figures of one output of one capture; `shared` holds for each row that does not say otherwise."""

    result: CaptureResult
    output: str | None
    heading: str
    shared: str
    rows: tuple[FigureRow, ...]


def figure_groups(results: Iterable[CaptureResult]) -> tuple[FigureGroup, ...]:
    """Sort figures by capture and output, in the order in which they were given."""
    return tuple(_group(result, output) for result in results for output in _outputs(result))


def figure_row(figure: Figure, *, file: str = "", shared: Mapping[str, Condition] | None = None) -> FigureRow:
    """Word one figure; `shared` holds conditions that are said once for its group."""
    said = shared or {}
    conditions = telling_conditions(figure)
    own = {key: value for key, value in conditions.items() if key not in said or _differ(key, value, said[key])}
    return FigureRow(
        figure=figure,
        name=face_name(figure),
        value=face_value(figure),
        remarks=", ".join(remarks(figure)),
        conditions=conditions_text(conditions),
        own_conditions=conditions_text(own),
        origin=figure.origin.removeprefix(file).strip() if file else figure.origin,
    )


def _differ(key: str, one: Condition, other: Condition) -> bool:
    """Say whether two values of a condition still differ as they are written."""
    return conditions_text({key: one}) != conditions_text({key: other})


def _outputs(result: CaptureResult) -> list[str | None]:
    return list(dict.fromkeys(figure.output for figure in result.figures))


def _group(result: CaptureResult, output: str | None) -> FigureGroup:
    figures = [figure for figure in result.figures if figure.output == output]
    shared = _shared(figures)
    heading = f"{place_name(result)}, {words.KINDS[result.kind]}, {output_name(output)}"
    told = figures[0].origin if result.kind == "readings" else result.file  # a reading's line stands in the heading
    rows = tuple(figure_row(figure, file=told, shared=shared) for figure in figures)
    return FigureGroup(result=result, output=output, heading=heading, shared=conditions_text(shared), rows=rows)


def _shared(figures: Sequence[Figure]) -> dict[str, Condition]:
    """Take the conditions that at least half of the figures state alike, and at least two; rows say what differs."""
    shared: dict[str, Condition] = {}
    telling = [telling_conditions(figure) for figure in figures]
    for key in dict.fromkeys(key for conditions in telling for key in conditions):
        stated = [conditions[key] for conditions in telling if key in conditions]
        value, count = Counter(stated).most_common(1)[0]
        if count > 1 and 2 * count >= len(figures):
            shared[key] = value
    return shared


def place_name(result: CaptureResult) -> str:
    """Name a capture; the lines of a file of typed readings are told apart, for each is a result of its own."""
    if result.kind != "readings" or not result.figures:
        return result.file
    line = result.figures[0].origin.removeprefix(result.file).strip()
    return f"{result.file}, {line}" if line else result.file


def output_name(output: str | None) -> str:
    """Word an output: ``output A``, or the whole amplifier."""
    return words.WHOLE if output is None else f"{words.PAGE['output']} {output}"


def figures_table(results: Iterable[CaptureResult], *, style: Literal["plain", "markdown"] = "plain") -> str:
    """Write figures as a text table, grouped by capture and output.

    Parameters
    ----------
    results : iterable of CaptureResult
    style : "plain" or "markdown"
        Aligned columns for a terminal, or pipes for a forum or a notebook.

    Returns
    -------
    str
        Lines ended by a newline; says so where there are no figures.
    """
    write = _plain if style == "plain" else _markdown
    groups = figure_groups(results)
    return "\n".join(write(group) for group in groups) if groups else f"{words.NO_FIGURES}\n"


def _said(row: FigureRow) -> str:
    return "; ".join(part for part in (row.remarks, row.own_conditions, row.origin) if part)


def _plain(group: FigureGroup) -> str:
    name_width = max(len(row.name) for row in group.rows)
    values = _aligned([row.value for row in group.rows])
    lines = _wrapped(group.heading, indent=2, first=0)
    lines += _wrapped(f"{words.PAGE['shared']}: {group.shared}", indent=4, first=2) if group.shared else []
    for row, value in zip(group.rows, values, strict=True):
        lines += _row_lines(f"  {row.name:<{name_width}}  {value}", _said(row))
    return "\n".join(lines) + "\n"


def _aligned(values: Sequence[str]) -> list[str]:
    """Pad values so that their ± stand under each other and all are as wide as the widest."""
    parts = [value.partition(" ±") for value in values]
    left = max((len(number) for number, sign, _ in parts if sign), default=0)
    padded = [f"{number:>{left if sign else 0}}{sign}{half}" for number, sign, half in parts]
    width = max(len(value) for value in padded)
    return [f"{value:<{width}}" for value in padded]


def _row_lines(start: str, said: str) -> list[str]:
    """Set the conditions beside the value, in as many lines as they need; under it where there is no room."""
    if not said:
        return [start.rstrip()]
    beside = len(start) + 2
    if WIDEST - beside >= _LEAST_COLUMN:
        first, *more = _wrapped(said, indent=beside, first=beside)
        return [f"{start}  {first.lstrip()}", *more]
    return [start.rstrip(), *_wrapped(said, indent=6, first=6)]


def _wrapped(text: str, *, indent: int, first: int) -> list[str]:
    """Break text into lines, never beside a number: its unit or its name belongs to it."""
    bound = re.sub(r"(?<=\d) | (?=-?\d)", _BOUND, " ".join(text.split()))
    lines = textwrap.wrap(
        bound,
        WIDEST,
        initial_indent=" " * first,
        subsequent_indent=" " * indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_BOUND, " ") for line in lines]


def _markdown(group: FigureGroup) -> str:
    lines = [f"### {_piped(group.heading)}", ""]
    lines += [f"{words.PAGE['shared']}: {_piped(group.shared)}", ""] if group.shared else []
    lines += [f"| {words.PAGE['figure']} | {words.PAGE['value']} | {words.PAGE['conditions']} |", "|---|---|---|"]
    lines += [f"| {_piped(row.name)} | {_piped(row.value)} | {_piped(_said(row))} |" for row in group.rows]
    return "\n".join(lines) + "\n"


def _piped(text: str) -> str:
    """Keep a stranger's name from ending a cell, a row or from becoming markup."""
    flat = " ".join(text.split())
    return "".join(f"\\{letter}" if letter in r"\`*_[]<>|#" else letter for letter in flat)


def budget_lines(figure: Figure) -> list[tuple[str, str, str, str]]:
    """Give each source of doubt as (u with unit, share of the variance, type, label), largest first."""
    unit = "" if figure.unit == "1" else f" {figure.unit}"
    return [
        (f"{_two_figures(line.u)}{unit}", f"{100 * (line.u / figure.u) ** 2:.0f} %", line.type, line.label)
        for line in figure.budget
    ]


def _two_figures(u: float) -> str:
    return value_text(u, uncertainty=u) if 1e-3 <= u < 1e4 else f"{u:.1e}"


def spread_text(figure: Figure) -> str:
    """Say how u becomes the 95 % interval: ``u = 2.1 W, k = 1.98 at 120 degrees of freedom``."""
    unit = "" if figure.unit == "1" else f" {figure.unit}"
    dof = "" if figure.dof is None else f" at {figure.dof:.3g} degrees of freedom"
    return f"u = {_two_figures(figure.u)}{unit}, k = {figure.k95:.2f}{dof}"


def budget_text(figure: Figure) -> str:
    """Write a figure and the sources of its uncertainty, largest first.

    Each line: what the source adds (standard uncertainty), its share of the variance, type A or B, its name. Shares of
    sources that are correlated through the calibration are of independent inputs and add up to 100 %.

    Examples
    --------
    >>> from wattproof.quantity import BudgetLine
    >>> scale = BudgetLine(source="bench: scale", label="scale of load_voltage", u=1.9, type="B")
    >>> power = Figure(name="load_power", value=512.3, u=2.0, unit="W", origin="a.wav 0-3 s", budget=(scale,))
    >>> print(budget_text(power))
    Power in the load: 512.3 ± 3.9 W (u = 2.0 W, k = 1.96)
      1.9 W   90 %  B  scale of load_voltage
    """
    head = f"{face_name(figure)}: {face_value(figure)}"
    if figure.u <= 0:
        return head
    cells = budget_lines(figure)
    wide = max((len(u) for u, _, _, _ in cells), default=0)
    lines = [f"{head} ({spread_text(figure)})"]
    lines += [f"  {u:>{wide}}  {share:>5}  {kind}  {label}" for u, share, kind, label in cells]
    return "\n".join(lines)
