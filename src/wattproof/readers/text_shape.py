"""Where in a text file the table of numbers starts, and how its cells and decimals are marked; found by content."""

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from wattproof.errors import BrokenFileError, NeedsAnswerError, NotAWaveformError, SettingsError
from wattproof.readers.contract import Answers
from wattproof.readers.text_cells import (
    Decimal,
    clock_seconds,
    could_be_either,
    grouped_number,
    is_date,
    is_missing,
    is_off_scale,
    number,
    split_row,
)

# In this order where two read the same lines equally well: a tab is never an accident, a blank often is.
_DELIMITERS = ("\t", ";", "|", ",", " ", "")
_NAMES = {"\t": "a tab", ";": "a semicolon", "|": "a bar", ",": "a comma", " ": "blanks", "": "nothing (one column)"}
_ANSWERED = {
    "tab": "\t",
    "\\t": "\t",
    "semicolon": ";",
    "comma": ",",
    "space": " ",
    "blank": " ",
    "bar": "|",
    "none": "",
}
_MOST_CELLS = 512
_LONGEST_LINE = 1 << 16
_ENOUGH_ROWS = 16
_SAMPLE_ROWS = 400


@dataclass(frozen=True, kw_only=True)
class Dialect:
    """How a row is cut into cells and a cell into a number.

    Attributes
    ----------
    delimiter : str
        One character; " " for any run of blanks; "" for a single column.
    decimal : "." or ","
    paired : bool
        Comma between cells and inside numbers: every two cells make one number.
    grouped : bool
        Some numbers have thousands separators.
    """

    delimiter: str
    decimal: Decimal
    paired: bool = False
    grouped: bool = False

    def cells(self, line: str) -> list[str]:
        """Cut one line into cells."""
        cells = split_row(line, self.delimiter)
        return pair_up(cells) if self.paired else cells

    def number(self, cell: str) -> float | None:
        """Give the cell's number, or None."""
        value = number(cell, self.decimal)
        return grouped_number(cell, self.decimal) if value is None and self.grouped else value

    def __str__(self) -> str:
        mark = "comma" if self.decimal == "," else "point"
        return f"cells parted by {_NAMES.get(self.delimiter, repr(self.delimiter))}, decimal {mark}"


@dataclass(frozen=True, kw_only=True)
class Block:
    """The table of numbers: its dialect, its first line (counted from 0), its width in cells and its first rows."""

    dialect: Dialect
    start: int
    width: int
    rows: tuple[tuple[str, ...], ...]


_COMMA_HINT = "Say --decimal , if every two cells are one number, --decimal . if they are whole numbers; "
_COMPLEX = re.compile(r"[+-]?[\d.]{1,20}(?:[eE][+-]?\d{1,3})?[+-][\d.]{1,20}(?:[eE][+-]?\d{1,3})?[ij]")
# Where a data row stands, its cells and its grade.
_Row = tuple[int, tuple[str, ...], int]


@dataclass(frozen=True, kw_only=True)
class _Run:
    dialect: Dialect
    rows: tuple[tuple[str, ...], ...]
    at: tuple[int, ...]
    length: int
    strict: int
    ends_at_window: bool


def find_block(lines: Sequence[str], *, answers: Answers, whole: bool, source: str) -> Block | None:
    """Find the table of numbers in the first lines of a file.

    Parameters
    ----------
    lines : sequence of str
        The file's first lines.
    answers : Answers
        ``delimiter`` and ``decimal`` overrule what the content shows.
    whole : bool
        Whether these are all the lines there are; otherwise a short table may only be part of the preamble.
    source : str
        The file's name, for messages.

    Returns
    -------
    Block or None
        None where more lines are needed.

    Raises
    ------
    NotAWaveformError
        There is no table of numbers.
    NeedsAnswerError
        A comma or point in the numbers can mean two things.
    BrokenFileError
        A row is wider than any table of samples.
    """
    _refuse_endless(lines, source)
    best: _Run | None = None
    for dialect in _dialects(answers):
        run = _longest_run(lines, dialect)
        if run is not None and (best is None or _rank(run) > _rank(best)):
            best = run
    if best is None or not (whole or best.ends_at_window or best.length >= _ENOUGH_ROWS):
        if whole:
            raise _no_table(source, lines, answers)
        return None
    if not whole and best.length < _ENOUGH_ROWS:
        return None
    if answers.decimal is None:
        best = _settle_decimal(best, lines, source)
    return _trimmed(best)


def pair_up(cells: Sequence[str]) -> list[str]:
    """Join every two cells of a comma-separated row whose decimals have commas too, without blanks at its end."""
    kept = list(cells)
    while kept and not kept[-1]:
        kept.pop()
    if len(kept) % 2 or any("," in cell for cell in kept):
        return kept
    return [f"{whole},{part}" for whole, part in zip(kept[::2], kept[1::2], strict=True)]


def _dialects(answers: Answers) -> Iterator[Dialect]:
    given = answers.delimiter
    delimiters = _DELIMITERS if given is None else (_ANSWERED.get(given.lower(), given),)
    if any(len(mark) > 1 or mark.isalnum() or mark in {'"', "\n", "\r"} for mark in delimiters):
        raise SettingsError(
            f"{given!r} cannot part the cells of a table.",
            why="A delimiter is one character that is no letter and no digit.",
            hint="Say tab, semicolon, comma, space, bar or none, or leave --delimiter out to have it found.",
        )
    decimals: tuple[Decimal, ...] = (".", ",") if answers.decimal is None else (answers.decimal,)
    for delimiter in delimiters:
        for decimal in decimals:
            twice = delimiter == "," == decimal
            # Commas for both: cells are quoted, or the person says so and every two cells make a number.
            yield Dialect(delimiter=delimiter, decimal=decimal, paired=twice and answers.decimal == ",")
            if not twice:
                yield Dialect(delimiter=delimiter, decimal=decimal, grouped=True)


def _rank(run: _Run) -> tuple[int, int, bool, bool]:
    return (run.strict, run.length, not run.dialect.grouped, not run.dialect.paired)


def _longest_run(lines: Sequence[str], dialect: Dialect) -> _Run | None:
    """Find the longest stretch of data rows, and earlier ones of the same table that a bad line parts from it."""
    runs = _runs(lines, dialect)
    if dialect.delimiter:
        runs = [run for run in runs if any(len(cells) > 1 for _, cells, _ in run)]
    if not runs:
        return None
    best = max(range(len(runs)), key=lambda index: (len(runs[index]), -index))
    chosen = runs[best]
    width = _usual_width(chosen)
    for earlier in reversed(runs[:best]):
        between = [line for line in lines[earlier[-1][0] + 1 : chosen[0][0]] if line.strip()]
        lone = len(earlier) == 1 and (len(between) > 1 or len(_filled(dialect.cells(between[0]))) == width)
        if _usual_width(earlier) == width and not lone:
            chosen = earlier
    last = max((index for index, line in enumerate(lines) if line.strip()), default=0)
    return _Run(
        dialect=dialect,
        rows=tuple(cells for _, cells, _ in chosen[:_SAMPLE_ROWS]),
        at=tuple(index for index, _, _ in chosen[:_SAMPLE_ROWS]),
        length=len(runs[best]),
        strict=sum(grade == 2 for _, _, grade in runs[best]),
        ends_at_window=runs[best][-1][0] == last,
    )


def _runs(lines: Sequence[str], dialect: Dialect) -> list[list[_Row]]:
    """Give all stretches of data rows; blank lines do not end one."""
    runs: list[list[_Row]] = [[]]
    for index, line in enumerate(lines):
        if not line.strip():
            continue
        cells = tuple(dialect.cells(line))
        grade = _grade(cells, dialect)
        if grade:
            runs[-1].append((index, cells, grade))
        elif runs[-1]:
            runs.append([])
    return [run for run in runs if run]


def _usual_width(run: Sequence[_Row]) -> int:
    return Counter(len(_filled(cells)) for _, cells, _ in run).most_common(1)[0][0]


def _grade(cells: Sequence[str], dialect: Dialect) -> int:
    """Grade a row: 2 if all its cells are numbers or nothing, 1 if words stand behind its numbers, 0 if no data."""
    numbers = words = 0
    for cell in cells:
        if dialect.number(cell) is not None or is_off_scale(cell) or clock_seconds(cell) is not None:
            numbers += 1
        elif is_missing(cell) or is_date(cell):
            continue
        elif numbers == 0:
            return 0
        else:
            words += 1
    if numbers == 0 or words > numbers:
        return 0
    return 1 if words else 2


def _settle_decimal(run: _Run, lines: Sequence[str], source: str) -> _Run:
    """Ask where a mark could be a decimal mark as well as a thousands separator, or part cells as well as decimals."""
    dialect = run.dialect
    if dialect.delimiter == "," and dialect.decimal == ".":
        _refuse_comma_twice(run, lines, source)
    cells = [cell for row in run.rows for cell in row if ("." in cell or "," in cell)]
    plain = [cell for cell in cells if number(cell, dialect.decimal) is not None]
    grouped = [cell for cell in cells if dialect.grouped and number(cell, dialect.decimal) is None]
    doubtful = next((cell for cell in grouped if could_be_either(cell)), None)
    if doubtful is None and dialect.decimal == "," and plain and all(could_be_either(cell) for cell in plain):
        doubtful = plain[0]
    if doubtful is None:
        return run
    raise NeedsAnswerError(
        f"{source} does not say what {doubtful!r} means.",
        why=f"The cell {doubtful!r} in line {_line_of(doubtful, run)} can be {doubtful.replace(',', '.')} or "
        f"{doubtful.replace(',', '').replace('.', '')}: the file mixes decimal marks with thousands separators.",
        hint="Say which mark is the decimal one with --decimal . or --decimal ,",
    )


def _line_of(cell: str, run: _Run) -> int:
    return 1 + next((index for index, row in zip(run.at, run.rows, strict=True) if cell in row), run.at[0])


def _refuse_comma_twice(run: _Run, lines: Sequence[str], source: str) -> None:
    """Refuse rows in which a comma may part cells or decimals: no point anywhere, and a telling count of cells."""
    counts = Counter(len(_filled(row)) for row in run.rows)
    if any("." in cell for row in run.rows for cell in row if number(cell, ".") is not None):
        return
    above = next((line for line in reversed(lines[: run.at[0]]) if line.strip()), "")
    named = len(_filled(split_row(above, ",")))
    width = counts.most_common(1)[0][0]
    varying = len(counts) > 1
    if not varying and (width == named or width % 2 or not _could_be_pairs(run.rows)):
        return
    if varying and max(counts) <= named:
        return
    spread = " or ".join(str(count) for count in sorted(counts))
    raise NeedsAnswerError(
        f"{source} parts its cells with commas, and its decimals perhaps too.",
        why=f"From line {run.at[0] + 1} on the rows have {spread} cells without any decimal point"
        + (f" under {named} names." if named > 1 else "."),
        hint=("Say --decimal . if they are whole numbers; " if varying else _COMMA_HINT)
        + "otherwise export again with semicolons or tabs between cells.",
    )


def _filled(cells: Sequence[str]) -> Sequence[str]:
    end = len(cells)
    while end and not cells[end - 1]:
        end -= 1
    return cells[:end]


def _could_be_pairs(rows: Sequence[Sequence[str]]) -> bool:
    return all(
        number(whole, ".") is not None and "e" not in whole.lower() and part[:1].isdigit()
        for row in rows
        for whole, part in zip(_filled(row)[::2], _filled(row)[1::2], strict=False)
    )


def _trimmed(run: _Run) -> Block:
    """Give first rows that are no samples back to the preamble: another width, or numbers as names."""
    widths = Counter(len(_filled(row)) for row in run.rows)
    usual = max(widths, key=lambda width: (widths[width], width))
    skip = 0
    while skip < len(run.rows) - 1 and _is_heading(run.rows[skip], run.rows[skip + 1], usual):
        skip += 1
    rows = run.rows[skip:]
    # A first row may carry more: start and increment stand beside the first sample only.
    width = max(usual, len(_filled(rows[0])), Counter(len(row) for row in rows).most_common(1)[0][0])
    return Block(
        dialect=replace(run.dialect, grouped=_uses_groups(rows, run.dialect)),
        start=run.at[skip],
        width=width,
        rows=rows,
    )


def _uses_groups(rows: Sequence[Sequence[str]], dialect: Dialect) -> bool:
    """Say whether any cell needs its thousands separators taken out."""
    return dialect.grouped and any(
        number(cell, dialect.decimal) is None and grouped_number(cell, dialect.decimal) is not None
        for row in rows
        for cell in row
    )


def _is_heading(row: Sequence[str], below: Sequence[str], usual: int) -> bool:
    filled = _filled(row)
    if len(filled) != usual and len(_filled(below)) == usual:
        return len(filled) < usual
    counted = [cell for cell in filled if cell]
    if not all(cell.isdigit() for cell in counted):
        return False
    if filled and not filled[0] and below[0]:
        return True
    numbered = [int(cell) for cell in counted]
    follows = len(counted) > 1 and numbered in (list(range(len(counted))), list(range(1, len(counted) + 1)))
    return follows and len(counted) == len(filled) and all("." in cell or "," in cell for cell in _filled(below))


def _refuse_endless(lines: Sequence[str], source: str) -> None:
    for index, line in enumerate(lines):
        if len(line) <= _LONGEST_LINE and max(line.count(mark) for mark in "\t;,|") < _MOST_CELLS:
            continue
        raise BrokenFileError(
            f"{source} has a row too long for a table of samples.",
            why=f"Line {index + 1} has {len(line)} characters; one row holds one instant, at most {_MOST_CELLS} cells.",
            hint="If the samples run across the page, export or transpose the table so that they run down it.",
        )


def _no_table(source: str, lines: Sequence[str], answers: Answers) -> NotAWaveformError:
    found = next((index for index, line in enumerate(lines[:_SAMPLE_ROWS]) if _COMPLEX.search(line)), None)
    if found is not None:
        return NotAWaveformError(
            f"{source} holds complex numbers, not samples.",
            why=f"Line {found + 1} is {lines[found].strip()[:60]!r}: a spectrum or a response.",
            hint="Export the waveform itself: samples against time.",
        )
    if answers.delimiter is not None or answers.decimal is not None:
        return NotAWaveformError(
            f"{source} holds no table of numbers written as stated.",
            why=f"No run of rows is numbers with delimiter {answers.delimiter!r} and decimal mark {answers.decimal!r}.",
            hint="Leave out --delimiter and --decimal to have both found.",
        )
    return NotAWaveformError(
        f"{source} holds no table of numbers.",
        why=f"None of its {len(lines)} lines starts a run of rows that are numbers; "
        "it looks like settings, a report or other words.",
        hint="Give the file that holds the samples; a settings text is often saved beside it under the same name.",
    )
