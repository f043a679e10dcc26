"""The columns' names and units, from the rows above the numbers."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from wattproof.errors import Notice
from wattproof.readers.text_cells import number, split_row, words
from wattproof.readers.text_shape import Block
from wattproof.readers.text_units import is_division, is_level, parse_unit

SEQUENCE_WORDS = words(
    "sequence index idx sample samples sampleno samplenumber samplenr n no nr # point points record row id count"
)
_COMMENT = "#%!;"
_BRACKETS = re.compile(r"(.{0,120}?)[\s_,]{0,8}([(\[{])([^()\[\]{}]{1,20})[)\]}]\s{0,8}")
_IN_UNIT = re.compile(r"(?:(.{0,120}?)\s)?in\s{1,4}(\S{1,20})")
_SLASH_UNIT = re.compile(r"(.{1,120}?)\s?/\s?(\S{1,20})")
_COMMA_UNIT = re.compile(r"(.{1,120}?),\s?(\S{1,20})")
_TIME_UNIT = re.compile(r"(time|t|x)[_ ](s|ms|us|ns|ps|sec|seconds|\u00b5s|\u03bcs)", re.IGNORECASE)
# What brackets say about a channel without being a unit.
_NO_UNITS = words("ac dc raw avg mean max min left right l r in out rms peak pk pp abs rel trigger ref")


@dataclass(frozen=True, kw_only=True)
class Header:
    """What the rows above the numbers say of each column.

    Attributes
    ----------
    names : tuple of str
        One a cell of the header; "" where it has none. May be longer than the table is wide.
    units : tuple of str
        As written, "" where none; as long as `names`.
    extras : tuple of float or None
        Numbers that stand in the unit row: a start or an increment under its own name.
    lines : frozenset of int
        Which lines were used, counted from 0.
    notices : tuple of Notice
    """

    names: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    extras: tuple[float | None, ...] = ()
    lines: frozenset[int] = frozenset()
    notices: tuple[Notice, ...] = ()

    def name(self, cell: int) -> str:
        """Give a column's name, "" if it has none."""
        return self.names[cell] if cell < len(self.names) else ""

    def unit(self, cell: int) -> str:
        """Give a column's unit as written, "" if it has none."""
        return self.units[cell] if cell < len(self.units) else ""


def read_header(lines: Sequence[str], block: Block) -> Header:
    """Read names and units from the lines above the numbers.

    Parameters
    ----------
    lines : sequence of str
        All lines above the table.
    block : Block
        The table: its dialect and how many columns it has.
    """
    filled = _filled_width(block)
    near = [index for index in range(len(lines) - 1, max(-1, len(lines) - 6), -1) if lines[index].strip()]
    rows = [(index, cells) for index in near if (cells := heading_cells(lines[index], block, filled)) is not None]
    if not rows or rows[0][0] != near[0]:
        return Header()
    index, cells = rows[0]
    above = rows[1] if len(rows) > 1 and near[1] == rows[1][0] else None
    if _is_unit_row(cells, above is not None):
        names = above[1] if above is not None else [""] * len(cells)
        used = {index} | ({above[0]} if above is not None else set())
        return _with_unit_row(names, cells, used, block)
    return _combined([split_name(cell) for cell in cells], [""] * len(cells), (), {index}, block)


def _filled_width(block: Block) -> int:
    """Count the columns that hold something in the first rows."""
    return max((index + 1 for row in block.rows for index, cell in enumerate(row) if cell), default=0)


def heading_cells(line: str, block: Block, filled: int) -> list[str] | None:
    """Cut a line that may head the table into cells; None where it is something else."""
    stripped = line.strip()
    delimiter = block.dialect.delimiter
    if stripped.startswith((*_COMMENT, '"#', "//")):
        line = line.replace(stripped[:2], stripped[:2].strip('#%!;/"'), 1)
    cells = _blank_parted(line, filled) if delimiter == " " else split_row(line, delimiter)
    if len([cell for cell in cells if cell]) < 2 <= filled:
        cells = next((other for mark in "\t;,|" if len(other := split_row(line, mark)) == filled), cells)
    said = [cell for cell in cells if cell]
    if not said or any("=" in cell or cell.endswith(":") for cell in said):
        return None
    if len(said) < filled - 1 or (filled > 1 and len(said) < 2) or all(number(cell, ".") is not None for cell in said):
        return None
    return cells if filled > 1 or ":" not in stripped else None


def _blank_parted(line: str, filled: int) -> list[str]:
    """Cut names parted by blanks; a name may hold single blanks, a unit in brackets belongs to the name before it."""
    wide = [cell.strip() for cell in re.split(r"\s{2,20}|\t", line.strip())]
    if len(wide) == filled:
        return wide
    cells: list[str] = []
    for word in line.split():
        if cells and word[0] in "([{":
            cells[-1] += " " + word
        else:
            cells.append(word)
    return cells


def _is_unit_row(cells: Sequence[str], below_names: bool) -> bool:
    """Say whether a row holds units: its cells units, bracketed words, axis words or numbers, most of them known."""
    said = [cell for cell in cells if cell]
    known = [cell for cell in said if _is_unit(cell)]
    fits = [cell for cell in said if _is_unit(cell) or _is_axis_word(cell) or number(cell, ".") is not None]
    others = len(said) - len(fits)
    if not known or (not below_names and (others or len("".join(said)) < 2)):
        return False
    if not below_names and len(said) > 1 and all(len(cell) > 2 for cell in said):
        return True
    bracketed = all(cell[0] in "([" for cell in said if cell not in fits)
    return others == 0 or bracketed or len(known) > 2 * others


def _is_unit(cell: str) -> bool:
    return parse_unit(cell) is not None or is_level(cell) or is_division(cell)


def _is_axis_word(cell: str) -> bool:
    return cell.strip("()[] ").lower() in SEQUENCE_WORDS


def _with_unit_row(names: Sequence[str], units: Sequence[str], used: set[int], block: Block) -> Header:
    length = max(len(names), len(units))
    names = [*names, *[""] * (length - len(names))]
    units = [*units, *[""] * (length - len(units))]
    decimal = block.dialect.decimal
    extras = tuple(number(cell, decimal) if cell else None for cell in units)
    split = [(name, "") if unit.strip("()[] ") else split_name(name) for name, unit in zip(names, units, strict=True)]
    told = ["" if extra is not None else unit.strip("()[]{} ") for unit, extra in zip(units, extras, strict=True)]
    return _combined(split, told, extras, used, block)


def _combined(
    split: Sequence[tuple[str, str]],
    units: Sequence[str],
    extras: tuple[float | None, ...],
    used: set[int],
    block: Block,
) -> Header:
    names = tuple(name for name, _ in split)
    told = tuple(unit or own for unit, (_, own) in zip(units, split, strict=True))
    numbered = [index for index in range(block.width) if any(index < len(row) and row[index] for row in block.rows)]
    last_named = max((index for index, name in enumerate(names) if name or told[index]), default=-1)
    if numbered and last_named < numbered[-1] and last_named + 1 < len(numbered):
        line = min(used) + 1
        notice = Notice(
            code="names-unclear",
            message=f"Line {line} names {last_named + 1} columns, the rows have {len(numbered)}: not used.",
            hint="Count the columns by number, or mend the line of names.",
            numbers={"line": line, "names": last_named + 1, "columns": len(numbered)},
        )
        return Header(lines=frozenset(used), notices=(notice,))
    return Header(names=names, units=told, extras=extras, lines=frozenset(used))


def split_name(text: str) -> tuple[str, str]:
    """Part a column's name from the unit inside it.

    Parameters
    ----------
    text : str
        ``Time (ms)``, ``C1 in V``, ``CH1[mV]``, ``U / V``, ``time_s`` or a unit by itself (``Volt``).

    Returns
    -------
    tuple of str
        Name and unit; the unit is "" where there is none, and a word in brackets that is no unit stays in the name.
    """
    text = text.strip()
    if len(text) > 1 and _is_unit(text) and number(text, ".") is None:
        return text, text
    match = _BRACKETS.fullmatch(text)
    if match is not None and (_is_time_name(match[1]) or _bracket_is_unit(match[2], match[3])):
        return match[1].strip(), match[3].strip()
    for pattern in (_IN_UNIT, _TIME_UNIT, _COMMA_UNIT, _SLASH_UNIT):
        match = pattern.fullmatch(text)
        if match is not None and _is_unit(match[2]):
            return (match[1] or "").strip(), match[2]
    return text, ""


def _is_time_name(name: str) -> bool:
    """Say whether brackets behind this name can only be a unit of time, even one not known."""
    return name.strip().lower() in {"time", "t", "zeit", "x"}


def _bracket_is_unit(bracket: str, word: str) -> bool:
    word = word.strip()
    if _is_unit(word):
        return True
    if word.lower() in _NO_UNITS or word.isdigit() or " " in word:
        return False
    return bracket == "[" or (len(word) <= 5 and not word.isupper() and any(letter.isalpha() for letter in word))
