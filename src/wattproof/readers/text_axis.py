"""Which column of a text table is its time, and in which unit; a frequency axis is refused."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import NeedsAnswerError, NotAWaveformError, Notice
from wattproof.readers.contract import Answers
from wattproof.readers.text_body import Kind
from wattproof.readers.text_cells import SENTINEL, number, words
from wattproof.readers.text_facts import ClockFacts, in_seconds, rate_in_hz
from wattproof.readers.text_header import SEQUENCE_WORDS, Header
from wattproof.readers.text_shape import Block
from wattproof.readers.text_units import SECONDS, Unit, is_level, parse_unit

_TIME_WORDS = words(
    "time t x xaxis xvalue timestamp timeaxis zeit temps tiempo tempo elapsed elapsedtime relativetime second "
    "seconds sec"
)
_FREQUENCY_WORDS = ("freq", "fréq", "frecuencia", "frekvens")
_PREFIXES = (0, -3, -6, -9, -12)


@dataclass(frozen=True, kw_only=True)
class Axis:
    """The column that says when.

    Attributes
    ----------
    column : int or None
        Its cell, counted from 0; None where there is none.
    kind : str
        "time": numbers; "clock": times of day; "sequence": counts samples; "none".
    unit : Unit
        Of its numbers.
    others : tuple of int
        Further columns that count or time the rows: no channels.
    notices : tuple of Notice
    """

    column: int | None = None
    kind: Literal["time", "clock", "sequence", "none"] = "none"
    unit: Unit = SECONDS
    others: tuple[int, ...] = ()
    notices: tuple[Notice, ...] = ()


def choose_axis(
    block: Block,
    header: Header,
    column_kinds: Sequence[Kind],
    facts: ClockFacts,
    *,
    answers: Answers,
    source: str,
) -> Axis:
    """Find the time column.

    Parameters
    ----------
    block, header, column_kinds
        The table as found so far; columns of another kind than "number" and "clock" are not looked at.
    facts : ClockFacts
        A stated step settles an unstated unit.
    answers : Answers
        ``time_column`` and ``time_unit`` overrule the file.
    source : str
        The file's name, for messages.

    Raises
    ------
    NotAWaveformError
        The axis is frequency, or the columns are decibels, angles or complex parts without a time.
    NeedsAnswerError
        It is open which column is the time, or what its unit is.
    """
    columns = [index for index, kind in enumerate(column_kinds) if kind in {"number", "clock"}]
    if answers.time_column is not None:
        return _answered(answers.time_column, columns, block, header, column_kinds, facts, answers, source)
    _refuse_other_axes(columns, header, facts, source)
    sequences = tuple(index for index in columns if _is_sequence(index, block, header))
    times = [index for index in columns if index not in sequences and _is_time(index, header, column_kinds)]
    if times:
        return _among(times, sequences, block, header, column_kinds, facts, answers, source)
    if sequences:
        return Axis(column=sequences[0], kind="sequence", others=sequences[1:])
    return _unnamed(columns, block, header, column_kinds, facts, answers, source)


def _among(
    times: Sequence[int],
    sequences: tuple[int, ...],
    block: Block,
    header: Header,
    column_kinds: Sequence[Kind],
    facts: ClockFacts,
    answers: Answers,
    source: str,
) -> Axis:
    """Take the one column that is the time of all channels; a mere count gives way to a stated step."""
    # A column with a unit of time is surer than one with a name like "x".
    first = next((index for index in times if _time_unit(header.unit(index)) is not None), times[0])
    same = tuple(index for index in times if index != first and _same(index, first, block))
    differing = [index for index in times if index != first and index not in same]
    if differing:
        raise NeedsAnswerError(
            f"{source} has more than one time column, and they differ.",
            why=f"Columns {first + 1} and {differing[0] + 1} both give a time: each channel has its own clock.",
            hint=f"Say which counts with --time-column {first + 1}; export the other channels by themselves.",
        )
    if _counts_for_step(first, header, block, facts):
        return Axis(column=first, kind="sequence", others=sequences + same)
    axis = _timed(first, header, column_kinds, block, facts, answers, source)
    return replace(axis, others=sequences + same)


def _counts_for_step(index: int, header: Header, block: Block, facts: ClockFacts) -> bool:
    """Say whether a column only counts the rows, 0, 1, 2, while a stated step says how long one count is."""
    if facts.step is None or not _counts(_sample(index, block)):
        return False
    stated = in_seconds(facts.step, facts.x_unit)
    unit = _time_unit(header.unit(index)) or SECONDS
    return stated is not None and abs(stated[0] / unit.scale - 1) > 0.01


def _answered(
    wanted: int | str,
    columns: Sequence[int],
    block: Block,
    header: Header,
    column_kinds: Sequence[Kind],
    facts: ClockFacts,
    answers: Answers,
    source: str,
) -> Axis:
    sequences = tuple(index for index in columns if _is_sequence(index, block, header))
    if wanted in {0, "0"}:
        return Axis(others=sequences)
    named = [index for index in columns if header.name(index) == wanted or str(index + 1) == str(wanted)]
    if not named:
        have = ", ".join(f"{index + 1} {header.name(index)}".strip() for index in columns)
        raise NeedsAnswerError(
            f"{source} has no column {wanted!r} that could be its time.",
            why=f"Its columns of numbers are: {have}.",
            hint="Give one of them to --time-column, or 0 if there is no time.",
        )
    axis = _timed(named[0], header, column_kinds, block, facts, answers, source)
    return replace(axis, others=tuple(index for index in sequences if index != named[0]))


def _refuse_other_axes(columns: Sequence[int], header: Header, facts: ClockFacts, source: str) -> None:
    if not columns:
        return
    first = columns[0]
    unit = parse_unit(header.unit(first) or facts.x_unit)
    name = header.name(first).lower()
    if name.startswith(_FREQUENCY_WORDS) or (unit is not None and unit.symbol == "Hz"):
        raise _not_in_time(source, f"Its first column {header.name(first)!r} is a frequency.")
    if any(_time_unit(header.unit(index)) is not None for index in columns):
        return
    levels = [header.name(index) for index in columns if is_level(header.unit(index))]
    if levels:
        raise _not_in_time(source, f"There is no time column, and {levels[0]!r} is in decibels or degrees.")
    parts = {header.name(index).lower() for index in columns}
    if parts & {"real", "re"} and parts & {"imag", "imaginary", "im"}:
        raise _not_in_time(source, "Its columns are real and imaginary parts.")


def _not_in_time(source: str, why: str) -> NotAWaveformError:
    return NotAWaveformError(
        f"{source} is no record in time.",
        why=f"{why} It is a spectrum, a response or a network trace.",
        hint="Export the waveform itself: samples against time.",
    )


def _word(text: str) -> str:
    return "".join(letter for letter in text.lower() if letter.isalnum() or letter == "#")


def _time_unit(text: str) -> Unit | None:
    unit = parse_unit(text) if text else None
    return unit if unit is not None and unit.symbol == "s" else None


def _is_time(index: int, header: Header, column_kinds: Sequence[Kind]) -> bool:
    name, unit = header.name(index), header.unit(index)
    if column_kinds[index] == "clock" or _time_unit(unit) is not None:
        return True
    word = _word(name)
    named = word in _TIME_WORDS or word.startswith(("time", "zeit")) or (index == 0 and word == "xaxis")
    return named and (parse_unit(unit) is None or not unit)


def _is_sequence(index: int, block: Block, header: Header) -> bool:
    unit, name = _word(header.unit(index)), _word(header.name(index))
    if unit not in SEQUENCE_WORDS and (name not in SEQUENCE_WORDS or _time_unit(header.unit(index)) is not None):
        return False
    return _counts(_sample(index, block))


def _counts(values: NDArray[np.float64]) -> bool:
    """Say whether values are whole numbers that rise by one."""
    return values.size > 0 and bool(np.all(values == np.round(values)) and np.all(np.diff(values) == 1))


def _sample(index: int, block: Block) -> NDArray[np.float64]:
    read = [block.dialect.number(row[index]) if index < len(row) else None for row in block.rows]
    return np.array([value for value in read if value is not None and abs(value) < SENTINEL], dtype=np.float64)


def _same(index: int, other: int, block: Block) -> bool:
    return bool(np.array_equal(_sample(index, block), _sample(other, block)))


def _timed(
    index: int,
    header: Header,
    column_kinds: Sequence[Kind],
    block: Block,
    facts: ClockFacts,
    answers: Answers,
    source: str,
) -> Axis:
    """Settle the unit of the time column: the answer, the column's, the preamble's, the stated step's, else seconds."""
    if column_kinds[index] == "clock":
        return Axis(column=index, kind="clock")
    word = answers.time_unit or header.unit(index) or facts.x_unit
    if word:
        unit = _time_unit(word)
        if unit is None:
            raise NeedsAnswerError(
                f"{source} gives its time in {word!r}, which is no unit of time known here.",
                why=f"Column {index + 1} {header.name(index)!r} is the time; a wrong unit makes every frequency wrong.",
                hint="Say its unit with --time-unit s, ms, us, ns or ps.",
            )
        return Axis(column=index, kind="time", unit=unit)
    exponent = _exponent_by_step(_sample(index, block), facts)
    if exponent is not None:
        return Axis(column=index, kind="time", unit=Unit(symbol="s", exponent=exponent))
    steps = np.diff(_sample(index, block))
    step = float(np.median(steps)) if steps.size else 0.0
    notice = Notice(
        code="time-unit-assumed",
        message=f"Column {index + 1} is the time, its unit is not stated; taken as seconds: a row every {step:.6g} s.",
        hint="If that is wrong, say --time-unit ms, us, ns or ps; if it is no time, --time-column 0 and --rate-hz.",
        numbers={"column": index + 1, "step_s": step},
    )
    return Axis(column=index, kind="time", notices=(notice,))


def _exponent_by_step(values: NDArray[np.float64], facts: ClockFacts) -> int | None:
    """Give the power of ten that makes the column agree with a step or rate stated with its unit; None if none does."""
    rate = rate_in_hz(facts.rate_hz) if facts.rate_hz is not None else None
    stated = in_seconds(facts.step, facts.x_unit) if facts.step is not None else None
    step_s = 1 / rate if rate else stated[0] if stated is not None and stated[1] else None
    if step_s is None or values.size < 2 or values[-1] == values[0]:
        return None
    seen = float(values[-1] - values[0]) / (values.size - 1)
    return next((power for power in _PREFIXES if abs(seen * 10.0**power / step_s - 1) < 0.05), None)


def _unnamed(
    columns: Sequence[int],
    block: Block,
    header: Header,
    column_kinds: Sequence[Kind],
    facts: ClockFacts,
    answers: Answers,
    source: str,
) -> Axis:
    """Decide by content where no name or unit says what the first column is."""
    values = _sample(columns[0], block) if columns else np.zeros(0)
    steps = np.diff(values)
    if len(columns) < 2 or values.size < 3 or not np.all(steps > 0) or header.unit(columns[0]):
        return Axis()
    if _is_log_spaced(values):
        raise _not_in_time(source, f"Its first column rises by the same ratio from {values[0]:g} to {values[-1]:g}.")
    even = float(np.ptp(steps)) <= 0.05 * float(np.mean(steps))
    name = header.name(columns[0])
    if even and not name and not _counts(values):
        return _timed(columns[0], header, column_kinds, block, facts, answers, source)
    if answers.rate_hz is not None and not name and _counts(values):
        return Axis(column=columns[0], kind="sequence")
    if not even and name:
        return Axis()
    raise NeedsAnswerError(
        f"{source} does not say whether its first column is the time.",
        why=f"Column 1{f' {name!r}' if name else ''} rises from row to row, from {values[0]:g} by about "
        f"{float(np.mean(steps)):g}, and could be a time in any unit, a count or a channel.",
        hint="Say --time-column 1 with --time-unit s (or ms, us, ns), or --time-column 0 with --rate-hz.",
    )


def _is_log_spaced(values: NDArray[np.float64]) -> bool:
    if values[0] <= 0 or values.size < 8 or values[-1] < 10 * values[0]:
        return False
    ratios = values[1:] / values[:-1]
    return float(np.ptp(ratios)) < 0.05 * (float(np.mean(ratios)) - 1) + 1e-9


def side_facts(header: Header, block: Block, spellings: frozenset[str]) -> tuple[int, float] | None:
    """Find a column that holds one number only, in the unit row or beside the first sample: its cell and that number.

    Parameters
    ----------
    header, block
        The table as found so far.
    spellings : frozenset of str
        Names such a column has, letters only and lower case.
    """
    for index, name in enumerate(header.names):
        if _word(name) not in spellings:
            continue
        extra = header.extras[index] if index < len(header.extras) else None
        if extra is not None:
            return index, extra
        first = block.rows[0][index] if index < len(block.rows[0]) else ""
        later = any(index < len(row) and row[index] for row in block.rows[1:])
        value = number(first, block.dialect.decimal)
        if value is not None and not later:
            return index, value
    return None
