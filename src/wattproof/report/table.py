"""Figures as rows, and the rows as text that can be read aloud."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from wattproof.measure import CaptureResult, Condition, Figure
from wattproof.quantity import value_text
from wattproof.report import words
from wattproof.report.faces import conditions_text, face_value, remarks


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
        All conditions, compact.
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
    own = {key: value for key, value in figure.conditions.items() if key not in said or said[key] != value}
    return FigureRow(
        figure=figure,
        name=words.figure_name(figure.name),
        value=face_value(figure),
        remarks=", ".join(remarks(figure)),
        conditions=conditions_text(figure.conditions),
        own_conditions=conditions_text(own),
        origin=figure.origin.removeprefix(file).strip() if file else figure.origin,
    )


def _outputs(result: CaptureResult) -> list[str | None]:
    return list(dict.fromkeys(figure.output for figure in result.figures))


def _group(result: CaptureResult, output: str | None) -> FigureGroup:
    figures = [figure for figure in result.figures if figure.output == output]
    shared = _shared(figures)
    heading = f"{result.file}, {words.KINDS[result.kind]}, {output_name(output)}"
    rows = tuple(figure_row(figure, file=result.file, shared=shared) for figure in figures)
    return FigureGroup(result=result, output=output, heading=heading, shared=conditions_text(shared), rows=rows)


def _shared(figures: Sequence[Figure]) -> dict[str, Condition]:
    """Take the conditions that at least half of the figures state alike; the rows say what differs."""
    if len(figures) == 1:
        return {}
    shared: dict[str, Condition] = {}
    for key in dict.fromkeys(key for figure in figures for key in figure.conditions):
        stated = [figure.conditions[key] for figure in figures if key in figure.conditions]
        value, count = Counter(stated).most_common(1)[0]
        if 2 * count >= len(figures):
            shared[key] = value
    return shared


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
    cells = [(row.name, row.value, _said(row)) for row in group.rows]
    name_width = max(len(name) for name, _, _ in cells)
    value_width = max(len(value) for _, value, _ in cells)
    lines = [group.heading]
    lines += [f"  {words.PAGE['shared']}: {group.shared}"] if group.shared else []
    lines += [f"  {name:<{name_width}}  {value:<{value_width}}  {said}".rstrip() for name, value, said in cells]
    return "\n".join(lines) + "\n"


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
    head = f"{words.figure_name(figure.name)}: {face_value(figure)}"
    if figure.u <= 0:
        return head
    cells = budget_lines(figure)
    wide = max((len(u) for u, _, _, _ in cells), default=0)
    lines = [f"{head} ({spread_text(figure)})"]
    lines += [f"  {u:>{wide}}  {share:>5}  {kind}  {label}" for u, share, kind, label in cells]
    return "\n".join(lines)
