"""The clock of a text capture settled: time column, preamble and the person's answers weighed against each other."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import BrokenFileError, NeedsAnswerError, Notice
from wattproof.readers.contract import Answers
from wattproof.readers.text_axis import Axis
from wattproof.readers.text_body import Table
from wattproof.readers.text_clock import Clock, clock_of_column, digits_s
from wattproof.readers.text_facts import ClockFacts, in_seconds, rate_in_hz
from wattproof.readers.text_units import parse_unit


@dataclass(frozen=True, kw_only=True)
class Timing:
    """What is known about time before it is settled.

    Attributes
    ----------
    axis : Axis
        The time column, if any.
    axis_word : str
        Its unit as written.
    facts : ClockFacts
        What the preamble states.
    rows : sequence of row cells
        The table's first rows: how many digits its times have.
    """

    axis: Axis
    axis_word: str
    facts: ClockFacts
    rows: Sequence[Sequence[str]]


class _Stated(NamedTuple):
    step_s: float
    where: str
    has_unit: bool


def settle_clock(timing: Timing, table: Table, *, answers: Answers, source: str) -> Clock:
    """Give rate and start of a record, with every doubt.

    Parameters
    ----------
    timing : Timing
    table : Table
        The numbers read.
    answers : Answers
        ``rate_hz`` overrules the file, ``time_unit`` settles a step without a unit.
    source : str
        The file's name, for messages.

    Raises
    ------
    NeedsAnswerError
        Nothing says how fast the record was sampled, or a step's unit is open.
    BrokenFileError
        The time column is no clock, or the preamble contradicts itself.
    """
    axis = timing.axis
    stated = _stated_steps(timing.facts)
    one = _one_step(stated, answers, source) if axis.kind in {"sequence", "none"} else None
    if axis.kind in {"time", "clock"}:
        clock = _clock_by_column(timing, table, stated, source)
    elif one is not None:
        clock = _clock_by_facts(timing, one, answers)
    elif answers.rate_hz is not None:
        return Clock(rate_hz=answers.rate_hz, start_s=0.0)
    else:
        raise NeedsAnswerError(
            f"{source} does not say how fast it was sampled.",
            why="It has no time column, and its preamble states neither a sample rate nor an increment.",
            hint="Say --rate-hz with the samples a second, or --time-column with the column of the time.",
        )
    return _overruled(clock, answers)


def _clock_by_column(timing: Timing, table: Table, stated: Sequence[_Stated], source: str) -> Clock:
    times_s, notices = _times(timing, table)
    smallest_s, digits = _printed(timing, timing.axis.column or 0)
    seen_s = float(times_s[-1] - times_s[0]) / (times_s.size - 1)
    # Of a rate and an increment the one that is nearer to the column is meant; the other may speak of the recorder.
    near = min(stated, key=lambda one: abs(one.step_s - seen_s), default=None)
    clock = clock_of_column(
        times_s,
        table.lines,
        smallest_s=smallest_s,
        digits=digits,
        stated_step_s=near.step_s if near is not None else None,
        stated_by=near.where if near is not None else "",
        source=source,
    )
    return replace(clock, notices=(*notices, *clock.notices))


def _overruled(clock: Clock, answers: Answers) -> Clock:
    """Let the person's rate win, and say what the file says."""
    if answers.rate_hz is None or answers.rate_hz == clock.rate_hz:
        return clock
    notice = Notice(
        code="rate-overruled",
        message=f"The file's clock gives {clock.rate_hz:.9g} Hz; the stated --rate-hz {answers.rate_hz:.9g} is used.",
        hint="Leave --rate-hz out to use the file's own clock.",
        numbers={"file_hz": clock.rate_hz, "rate_hz": answers.rate_hz},
    )
    return Clock(rate_hz=answers.rate_hz, start_s=clock.start_s, notices=(*clock.notices, notice))


def _times(timing: Timing, table: Table) -> tuple[NDArray[np.float64], tuple[Notice, ...]]:
    column = table.column(timing.axis.column or 0)
    if timing.axis.kind == "time":
        return timing.axis.unit.convert(column), ()
    times_s = column - np.floor(column[0] / 86400.0) * 86400.0
    nights = np.cumsum(np.concatenate([[0], np.diff(times_s) < -43200.0]))
    if not nights.any():
        return times_s, ()
    notice = Notice(
        code="past-midnight",
        message=f"The time of day starts again {int(nights[-1])} times; taken as midnight passing.",
        hint="If the file holds several records, save each as its own.",
        numbers={"midnights": int(nights[-1])},
    )
    return times_s + nights * 86400.0, (notice,)


def _printed(timing: Timing, column: int) -> tuple[float, int]:
    rows = timing.rows
    cells = [row[column] for row in (*rows[:50], *rows[-50:]) if column < len(row)]
    if timing.axis.kind == "clock":
        parts = [
            len(cell.replace(",", ".").rpartition(".")[2]) if "." in cell.replace(",", ".") else 0 for cell in cells
        ]
        return 10.0 ** -max(parts, default=0), 17
    smallest, digits = digits_s(cells, 0)
    return smallest * timing.axis.unit.scale, digits


def _stated_steps(facts: ClockFacts) -> list[_Stated]:
    """Give the steps that the preamble states, by a rate and by an increment."""
    found: list[_Stated] = []
    rate = rate_in_hz(facts.rate_hz) if facts.rate_hz is not None else None
    if rate is not None and facts.rate_hz is not None and rate > 0 and 0 < 1 / rate < np.inf:
        found.append(_Stated(1 / rate, f"{facts.rate_hz.key} in line {facts.rate_hz.line}", has_unit=True))
    step = in_seconds(facts.step, facts.x_unit) if facts.step is not None else None
    if step is not None and facts.step is not None and step[0] > 0 and 1 / step[0] < np.inf:
        found.append(_Stated(step[0], f"{facts.step.key} in line {facts.step.line}", has_unit=step[1]))
    return found


def _one_step(found: Sequence[_Stated], answers: Answers, source: str) -> _Stated | None:
    """Give the one step that the preamble states; two that differ are refused, unless the person says the rate."""
    sure = [stated for stated in found if stated.has_unit]
    if len(sure) == 2 and abs(sure[0].step_s / sure[1].step_s - 1) > 1e-3 and answers.rate_hz is None:
        raise BrokenFileError(
            f"{source} contradicts itself about its sample rate.",
            why=f"{sure[0].where} says {1 / sure[0].step_s:.9g} Hz, {sure[1].where} says {1 / sure[1].step_s:.9g} Hz.",
            hint="Say which is right with --rate-hz.",
        )
    return sure[-1] if sure else found[-1] if found else None


def _clock_by_facts(timing: Timing, stated: _Stated, answers: Answers) -> Clock:
    """Take the clock from the preamble alone; a step without a unit is in seconds, and that is said."""
    step_s, where, has_unit = stated
    start = in_seconds(timing.facts.start, timing.facts.x_unit) if timing.facts.start is not None else None
    start_s = start[0] if start is not None and np.isfinite(start[0]) else 0.0
    if has_unit:
        return Clock(rate_hz=1 / step_s, start_s=start_s)
    axis_word = timing.axis_word
    unit = parse_unit(answers.time_unit or axis_word or "s")
    if answers.time_unit is None and unit is not None and unit.symbol == "s" and not unit.is_si:
        raise NeedsAnswerError(
            "The file gives its increment without a unit.",
            why=f"{where} is {step_s:g}, in seconds or in {axis_word}: {1 / step_s:.6g} or "
            f"{1 / (step_s * unit.scale):.6g} Hz.",
            hint="Say its unit with --time-unit s, ms, us, ns or ps.",
        )
    scale = unit.scale if unit is not None and unit.symbol == "s" else 1.0
    if answers.time_unit is not None:
        return Clock(rate_hz=1 / (step_s * scale), start_s=start_s * scale)
    notice = Notice(
        code="time-unit-assumed",
        message=f"{where} is {step_s:g} without a unit; taken as seconds: {1 / step_s:.9g} Hz.",
        hint="If that is wrong, say --time-unit ms, us, ns or ps, or --rate-hz.",
        numbers={"step_s": step_s, "rate_hz": 1 / step_s},
    )
    return Clock(rate_hz=1 / step_s, start_s=start_s, notices=(notice,))


def length_notices(facts: ClockFacts, n_rows: int, rate_hz: float) -> tuple[Notice, ...]:
    """Say where the preamble claims another length than the rows have.

    Parameters
    ----------
    facts : ClockFacts
    n_rows : int
        Rows read.
    rate_hz : float
        The rate settled on.
    """
    claims: list[tuple[str, int, float]] = []
    if facts.points is not None and facts.points.value != n_rows:
        claims.append((facts.points.key, facts.points.line, facts.points.value))
    span = in_seconds(facts.span, "s") if facts.span is not None else None
    # A span may count the samples or the steps between them: one sample more or less is no contradiction.
    if span is not None and facts.span is not None and abs(span[0] * rate_hz - n_rows) > 1.5:
        claims.append((facts.span.key, facts.span.line, round(span[0] * rate_hz, 1)))
    return tuple(
        Notice(
            code="length-contradicts",
            message=f"{key} in line {line} says {claimed:.12g} samples, the file has {n_rows} rows; the rows are used.",
            hint="The file may be cut off, or hold only what the screen showed; export the whole memory if so.",
            numbers={"claimed": claimed, "rows": n_rows, "line": line},
        )
        for key, line, claimed in claims
    )
