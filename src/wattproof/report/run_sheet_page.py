"""A run sheet as one self-contained page to print and take to the bench: no script, nothing fetched."""

from collections.abc import Iterator
from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING

from wattproof import __version__
from wattproof.amplifier import Amplifier
from wattproof.bench import Bench
from wattproof.plan import RunSheet, Step
from wattproof.report import inventory, run_sheet_words
from wattproof.report.page import page_environment
from wattproof.report.run_sheet import clock, energy_text, lede, must_be, seconds_text, step_cells, totals, two, watts

if TYPE_CHECKING:
    from markupsafe import Markup

_NONE = run_sheet_words.SHEET["nothing_set"]
_WIDE, _HIGH = 960.0, 150.0
"""The drawing's own units; it is stretched to the page's width."""

_LOW_SHARE = 0.004
"""Shares of the day and of the largest power under this are drawn as if they had it, to be seen at all."""


@dataclass(frozen=True, kw_only=True)
class _Shape:
    """One step in the drawing of the day."""

    points: str
    kind: str
    number: int
    middle_percent: str


def run_sheet_page(sheet: RunSheet, *, amplifier: Amplifier, bench: Bench) -> str:
    """Write the page of a run sheet.

    Parameters
    ----------
    sheet : RunSheet
    amplifier : Amplifier
    bench : Bench

    Returns
    -------
    str
        A complete HTML document; the same sheet gives the same bytes.
    """
    return page_environment().get_template("run_sheet.html.j2").render(
        say=run_sheet_words.SHEET,
        states=run_sheet_words.STATES,
        css=_styles(),
        sheet=sheet,
        lede=lede(sheet),
        totals=totals(sheet),
        questions=[{"asked": question, "must_be": must_be(question)} for question in sheet.questions],
        step_heads=run_sheet_words.STEP_HEADS,
        steps=[(step, step_cells(step)) for step in sheet.steps],
        limit_heads=run_sheet_words.LIMIT_HEADS,
        limits=[_limit_cells(step) for step in sheet.steps if step.load is not None],
        no_knee=any(step.kind == "ramp" and step.knee_v_rms is None for step in sheet.steps),
        checks={state: [c for c in sheet.checks if c.state == state] for state in run_sheet_words.STATES},
        shapes=list(_shapes(sheet)),
        clock=clock,
        size=(_WIDE, _HIGH),
        largest=watts(max((step.expected.power_w for step in sheet.steps), default=0.0)),
        facts=inventory.amplifier_facts(amplifier),
        bench_facts=inventory.bench_facts(bench),
        made=f"{run_sheet_words.SHEET['made']} {__version__}",
    )  # fmt: skip


def _styles() -> "Markup":
    from markupsafe import Markup

    folder = files("wattproof.report") / "templates"
    return Markup("\n".join((folder / name).read_text(encoding="utf-8") for name in ("page.css", "run_sheet.css")))


def _limit_cells(step: Step) -> tuple[str, ...]:
    limits = step.limits
    return (
        str(step.number),
        step.name,
        _with(limits.load_voltage_v, "V"),
        _with(limits.load_current_a, "A"),
        _NONE if limits.load_dc_v is None else f"{limits.load_dc_v:g} V",
        _with(limits.supply_current_a, "A"),
        _NONE if limits.full_power_w is None else watts(limits.full_power_w),
        _NONE if limits.full_power_s is None else seconds_text(limits.full_power_s),
        _NONE if limits.energy_j is None else energy_text(limits.energy_j),
    )


def _with(value: float | None, unit: str) -> str:
    return _NONE if value is None else f"{two(value)} {unit}"


def _shapes(sheet: RunSheet) -> Iterator[_Shape]:
    """Draw each step as wide as it lasts and as high as its power: a rise for a ramp, a comb for bursts."""
    largest_w = max((step.expected.power_w for step in sheet.steps), default=0.0) or 1.0
    at_s = 0.0
    for step in sheet.steps:
        left = _WIDE * at_s / sheet.seconds
        right = left + max(_WIDE * step.seconds / sheet.seconds, _LOW_SHARE * _WIDE)
        top = _HIGH * (1 - max(step.expected.power_w / largest_w, _LOW_SHARE))
        yield _Shape(
            points=" ".join(f"{x:.1f},{y:.1f}" for x, y in _outline(step, left, right, top)),
            kind=step.kind,
            number=step.number,
            middle_percent=f"{min(50 * (left + right) / _WIDE, 99.0):.1f}",
        )
        at_s += step.seconds + step.rest_s


def _outline(step: Step, left: float, right: float, top: float) -> Iterator[tuple[float, float]]:
    yield left, _HIGH
    if step.burst is not None:
        on = (right - left) / step.burst.bursts * step.burst.cycles_on / step.burst.cycles_period
        for number in range(step.burst.bursts):
            start = left + (right - left) * number / step.burst.bursts
            yield from ((start, _HIGH), (start, top), (start + max(on, 1.0), top), (start + max(on, 1.0), _HIGH))
    elif step.kind == "ramp":
        yield left + 0.55 * (right - left), _HIGH - 0.03 * (_HIGH - top)
        yield right, top
    else:
        yield left, top
        yield right, top
    yield right, _HIGH
