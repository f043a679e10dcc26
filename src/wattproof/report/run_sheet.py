"""A run sheet as text that fits a terminal."""

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from typing import Literal

from wattproof.plan import Check, Decidable, Question, RunSheet, Step
from wattproof.report.run_sheet_words import SHEET, STATES, STEP_HEADS
from wattproof.report.table import WIDEST

Align = Literal["<", ">"]
_NONE = SHEET["nothing_set"]


def run_sheet_text(sheet: RunSheet) -> str:
    """Write a run sheet as plain text, at most 120 columns wide.

    Parameters
    ----------
    sheet : RunSheet

    Returns
    -------
    str
        Steps, checks, what can be judged, questions and cautions; ends with a newline.
    """
    lines = [f"{SHEET['title']}: {lede(sheet)}", "", *_wrapped(totals(sheet), indent=0)]
    lines += _section("steps", _columns([STEP_HEADS, *(step_cells(step) for step in sheet.steps)]))
    lines += _section("checks", _checks(sheet.checks))
    lines += _section("decidable", _decidable(sheet.decidable))
    lines += _section("questions", _questions(sheet.questions))
    lines += _section("cautions", _listed(sheet.cautions))
    return "\n".join(line.rstrip() for line in lines) + "\n"


def lede(sheet: RunSheet) -> str:
    """Say what the sheet is for, in a line."""
    said = SHEET["lede"].format(amplifier=sheet.amplifier, bench=sheet.bench, volts=f"{sheet.supply_v:g} V")
    return f"{said}, {SHEET['bridged']}" if sheet.bridged else said


def totals(sheet: RunSheet) -> str:
    """Say what the day costs, and what stepping by hand would."""
    said = SHEET["totals"].format(
        steps=len(sheet.steps),
        time=clock(sheet.seconds),
        full=seconds_text(sheet.full_power_s),
        energy=energy_text(sheet.energy_j),
    )
    ramp_s = sum(step.expected.full_power_s for step in sheet.steps if step.kind == "ramp")
    if sheet.stepping is None or ramp_s == 0:
        return said
    return f"{said} " + SHEET["compare"].format(
        ramp_s=seconds_text(ramp_s),
        stepping_s=seconds_text(sheet.stepping.full_power_s),
        stepping_energy=energy_text(sheet.stepping.energy_j),
    )


def step_cells(step: Step) -> tuple[str, ...]:
    """Write one step as the cells of its row."""
    expected = step.expected
    rise = _NONE if expected.load_rise_k is None else rise_text(expected.load_rise_k)
    driven = step.load is not None
    return (
        str(step.number),
        step.name,
        f"{step.tone_hz:g} Hz" if step.tone_hz is not None else _NONE,
        level_text(step),
        watts(expected.power_w) if driven else _NONE,
        f"{two(expected.supply_current_a)} A" if expected.supply_current_a > 0 else _NONE,
        seconds_text(expected.full_power_s) if expected.full_power_s > 0 else _NONE,
        energy_text(expected.energy_j) if expected.energy_j > 0 else _NONE,
        rise if driven else _NONE,
        seconds_text(step.seconds),
        seconds_text(step.rest_s) if step.rest_s > 0 else _NONE,
    )


def rise_text(rise_k: float) -> str:
    """Write a rise of temperature, of which nobody wants to know less than a tenth of a kelvin."""
    return "<0.1 K" if rise_k < 0.1 else f"{two(rise_k)} K"


def level_text(step: Step) -> str:
    """Write the levels asked of an output: from and to of a ramp, the expected volts of what follows it."""
    if step.load is None:
        return _NONE
    if step.kind == "ramp":
        return f"{two(step.from_v_rms or 0.0)} to {two(step.to_v_rms or 0.0)}"
    return two(step.expected.load_voltage_v_rms)


def watts(value: float) -> str:
    """Write a power: two figures and never more than a person can act upon.

    Examples
    --------
    >>> watts(2.84), watts(379.3)
    ('2.8 W', '379 W')
    """
    return f"{two(value)} W"


def two(value: float) -> str:
    """Write a number that is an estimate: whole from ten up, two figures below.

    Examples
    --------
    >>> two(379.3), two(62.4), two(3.38), two(0.338)
    ('379', '62', '3.4', '0.34')
    """
    return f"{value:.0f}" if abs(value) >= 9.95 else f"{value:.2g}"


def seconds_text(seconds: float) -> str:
    """Write a length of time.

    Examples
    --------
    >>> seconds_text(2.74), seconds_text(30.0), seconds_text(754.0)
    ('2.7 s', '30 s', '12 min 34 s')
    """
    if seconds >= 120:
        return clock(seconds)
    return f"{two(seconds)} s"


def clock(seconds: float) -> str:
    """Write minutes and seconds, or hours and minutes."""
    whole = round(seconds)
    if whole >= 3600:
        return f"{whole // 3600} h {whole % 3600 // 60} min"
    return f"{whole // 60} min {whole % 60} s" if whole >= 60 else f"{whole} s"


def energy_text(joules: float) -> str:
    """Write an energy.

    Examples
    --------
    >>> energy_text(130.0), energy_text(33320.0)
    ('130 J', '33 kJ')
    """
    return f"{two(joules)} J" if joules < 1000 else f"{two(joules / 1000)} kJ"


def _section(name: str, lines: Iterable[str]) -> list[str]:
    kept = list(lines)
    return ["", SHEET[name], *kept] if kept else []


def _columns(rows: Sequence[tuple[str, ...]]) -> Iterator[str]:
    """Set rows in columns: the step's name to the left, numbers to the right; long names are broken off."""
    most = 26
    cut = [(row[0], row[1] if len(row[1]) <= most else f"{row[1][: most - 1]}…", *row[2:]) for row in rows]
    widths = [max(len(row[place]) for row in cut) for place in range(len(cut[0]))]
    for row in cut:
        cells = [
            f"{cell:{'<' if place == 1 else '>'}{width}}"
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        yield "  " + "  ".join(cells)


def _checks(checks: Sequence[Check]) -> Iterator[str]:
    for state, heading in STATES.items():
        own = [check for check in checks if check.state == state]
        if own:
            yield f"  {heading}"
        for check in own:
            place = "" if check.step is None else f" ({SHEET['step'].format(check.step)})"
            yield from _wrapped(f"{check.code}{place}: {check.message} {check.hint}", indent=6, first=4)


def _decidable(decidable: Sequence[Decidable]) -> Iterator[str]:
    for one in decidable:
        verdict = SHEET["can"] if one.decides else SHEET["cannot"]
        yield from _wrapped(f"{one.rating} [{verdict.lower()}]: {one.message}", indent=6, first=2)
    if not decidable:
        yield from _wrapped(SHEET["no_ratings"], indent=2)


def _questions(questions: Sequence[Question]) -> Iterator[str]:
    for question in questions:
        choices = ", ".join(question.choices) or SHEET["any_words"]
        told = f"; {must_be(question)}" if must_be(question) else ""
        yield from _wrapped(f"{question.code} ({choices}{told}): {question.text}", indent=6, first=2)


def must_be(question: Question) -> str:
    """Say which answers let a run begin, where not all do."""
    if set(question.allows) >= set(question.choices):
        return ""
    return SHEET["must_be"].format(" or ".join(question.allows))


def _listed(texts: Sequence[str]) -> Iterator[str]:
    for text in texts:
        yield from _wrapped(f"- {text}", indent=4, first=2)


def _wrapped(text: str, *, indent: int, first: int | None = None) -> list[str]:
    """Break text into lines, never between a number and its unit."""
    return textwrap.wrap(
        " ".join(text.split()),
        WIDEST,
        initial_indent=" " * (indent if first is None else first),
        subsequent_indent=" " * indent,
        break_long_words=True,
        break_on_hyphens=False,
    )
