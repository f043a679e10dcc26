"""A table typed by hand: text to rows of numbers and words, with every fault told by line and column."""

import csv
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from math import isfinite
from typing import NamedTuple

from wattproof.settings.faults import Fault, nearest

_NUMBER = re.compile(r"[-+]?(?:\d+\.?(\d*)|\.(\d+))(?:[eE]([-+]?\d{1,3}))?")
_UNIT_BEHIND = re.compile(r"([-+−]?\d[\d.,]*(?:[eE][-+]?\d+)?)\s*(?![eE][-+]?\d)[A-Za-z%°Ωµμ].*")
_LINE_END = re.compile(r"\r\n|\n|\r")


SMALLEST, LARGEST = 1e-15, 1e15
"""Numbers beyond these come from a slip of the exponent, and their squares from no arithmetic."""


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column that may be there.

    Attributes
    ----------
    name : str
        Its header.
    numeric : bool
        Numbers, or words.
    least : float or None
        Smallest number allowed, in the column's own unit.
    above : float or None
        Bound that numbers must exceed, in the column's own unit.
    """

    name: str
    numeric: bool = True
    least: float | None = None
    above: float | None = None


@dataclass(frozen=True, kw_only=True)
class Row:
    """One line of the table; blank cells are in none of the mappings.

    Attributes
    ----------
    line : int
        Counted from 1.
    numbers, words : mapping of column name to value
    steps : mapping of column name to float
        One count of the last digit typed: 0.01 for ``12.30``, 1 for ``12``.
    columns : mapping of column name to int
        Where the column stands, counted from 1.
    """

    line: int
    numbers: Mapping[str, float] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    steps: Mapping[str, float] = field(default_factory=dict)
    columns: Mapping[str, int] = field(default_factory=dict)


class _Cells(NamedTuple):
    line: int
    cells: list[str]


class _Trouble(Exception):  # noqa: N818 - never leaves this file
    """A cell that is no number of this column: what is wrong, what would be right."""

    def __init__(self, what: str, cure: str) -> None:
        super().__init__(what)
        self.what = what
        self.cure = cure


def number_of(text: str, *, decimal_comma: bool = False) -> tuple[float, float] | None:
    """Read a number and one count of its last digit; None where the text is none.

    Examples
    --------
    >>> number_of("12.30"), number_of("12,5", decimal_comma=True), number_of("1e3"), number_of("12,5")
    ((12.3, 0.01), (12.5, 0.1), (1000.0, 1000.0), None)
    """
    plain = text.strip().replace("−", "-")
    plain = plain.replace(",", ".") if decimal_comma else plain
    match = _NUMBER.fullmatch(plain)
    if match is None or not isfinite(float(plain)):
        return None
    digits = len(match[1] or match[2] or "")
    return float(plain), float(f"1e{int(match[3] or 0) - digits}")


def read_table(
    text: str,
    *,
    columns: Sequence[Column],
    required: Sequence[str] = (),
    advise: Callable[[str], str | None] = lambda _name: None,
) -> tuple[list[Row], list[Fault]]:
    """Read a table whose first line names its columns.

    Cells are separated by tabs, semicolons or commas, whichever the first line holds, in this order. A decimal comma
    may stand in a file of tabs or semicolons. Empty lines and lines that start with # are left out.

    Parameters
    ----------
    text : str
        Content of the file.
    columns : sequence of Column
        Those that may be there, in any order.
    required : sequence of str
        Names of those that must be.
    advise : callable
        Gives the cure for a header that is no column, or None for the usual one.

    Returns
    -------
    rows : list of Row
    faults : list of Fault
        All of them; the rows serve only where it is empty.
    """
    lines = _LINE_END.split(text.removeprefix("\ufeff"))
    written = [
        (number, line) for number, line in enumerate(lines, 1) if line.strip() and not line.lstrip().startswith("#")
    ]
    if not written:
        return [], [Fault(line=0, what="there is no line in it", cure=f"start with a line such as {_header(columns)}")]
    delimiter = next((mark for mark in "\t;" if mark in written[0][1]), ",")
    table, faults = _split(written, delimiter)
    if not table or table[0].line != written[0][0]:
        return [], faults
    names, header_faults = _names(table[0], columns, required, advise)
    faults += header_faults
    if not names:
        return [], faults
    body = [row for row in table[1:] if any(row.cells)]
    comma, comma_faults = _decimal_comma(body, names, delimiter)
    rows = [_row(row, names, comma, faults) for row in body]
    return rows, faults + comma_faults


def _header(columns: Sequence[Column]) -> str:
    return ",".join(column.name for column in columns[:5])


def _split(written: list[tuple[int, str]], delimiter: str) -> tuple[list[_Cells], list[Fault]]:
    table: list[_Cells] = []
    faults: list[Fault] = []
    for number, line in written:
        try:
            cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True, strict=True))
        except csv.Error as error:
            cure = 'close every "quotation mark" on its line, and write "" for one inside a text'
            faults.append(Fault(line=number, what=f"the cells cannot be told apart ({error})", cure=cure))
        else:
            table.append(_Cells(number, [cell.strip() for cell in cells]))
    return table, faults


def _names(
    header: _Cells, columns: Sequence[Column], required: Sequence[str], advise: Callable[[str], str | None]
) -> tuple[list[Column | None], list[Fault]]:
    known = {column.name: column for column in columns}
    faults = []
    names: list[Column | None] = []
    if all(number_of(cell) for cell in header.cells if cell):
        what = "the first line holds numbers where the names of the columns belong"
        return [], [Fault(line=header.line, what=what, cure=f"start with a line such as {_header(columns)}")]
    for place, cell in enumerate(header.cells, 1):
        name = cell.lower()
        column = known.get(name)
        if name and column is None:
            cure = advise(name) or _usual_cure(name, list(known))
            faults.append(Fault(line=header.line, column=place, what=f'"{cell}" is no column', cure=cure))
            column = Column(name=name, numeric=False)  # so that the rows are still looked through
        if column is not None and column in names:
            faults.append(Fault(line=header.line, column=place, what=f"{name} is there twice", cure="delete one"))
        names.append(column)
    for name in required:
        if known[name] not in names and not faults:
            faults.append(Fault(line=header.line, what=f"column {name} is missing", cure=f"add a column {name}"))
    return names, faults


def _usual_cure(name: str, known: list[str]) -> str:
    bare = re.sub(r"\s*[\[(/].*$", "", name).strip().replace(" ", "_")
    close = next((one for one in known if one == bare or one.rpartition("_")[0] == bare), None)
    close = close or nearest(bare or name, known)
    if close is None:
        return f"the columns are {', '.join(known)}"
    same_quantity = close.rpartition("_")[0] in {bare, bare.rpartition("_")[0]} and bare != close
    in_brackets = bare != name.replace(" ", "_")
    reminder = ", with the numbers in the unit it names" if same_quantity or in_brackets else ""
    return f"write {close}{reminder}"


def _decimal_comma(body: list[_Cells], names: list[Column | None], delimiter: str) -> tuple[bool, list[Fault]]:
    """Say whether a comma is this file's decimal mark; a file that uses both marks is refused: 1.234 could be 1234."""
    if delimiter == ",":
        return False, []
    commas, points = [], []
    for row in body:
        for place, (cell, column) in enumerate(zip(row.cells, names, strict=False), 1):
            if column is not None and column.numeric:
                commas += [(row.line, place, cell)] if number_of(cell, decimal_comma=True) and "," in cell else []
                points += [(row.line, place, cell)] if number_of(cell) and "." in cell else []
    if not (commas and points):
        return bool(commas), []
    line, place, cell = points[0]
    what = f"{cell} has a decimal point, but {commas[0][2]} on line {commas[0][0]} has a decimal comma"
    return True, [Fault(line=line, column=place, what=what, cure="use one decimal mark throughout, and no others")]


def _row(row: _Cells, names: list[Column | None], decimal_comma: bool, faults: list[Fault]) -> Row:
    made = Row(line=row.line, numbers={}, words={}, steps={}, columns={c.name: i for i, c in enumerate(names, 1) if c})
    if any(row.cells[len(names) :]):
        what = f"{len(row.cells)} cells stand under {len(names)} columns"
        cure = "put text that holds the separator in quotation marks, and write decimal points in a file of commas"
        faults.append(Fault(line=row.line, what=what, cure=cure))
        return made
    numbers, words, steps = {}, {}, {}
    for place, (cell, column) in enumerate(zip(row.cells, names, strict=False), 1):
        if not cell:
            continue
        if column is None:
            what = f'"{cell}" stands in a column without a name'
            faults.append(Fault(line=row.line, column=place, what=what, cure="name the column, or empty it"))
        elif not column.numeric:
            words[column.name] = cell
        else:
            try:
                numbers[column.name], steps[column.name] = _number(cell, column, decimal_comma)
            except _Trouble as trouble:
                faults.append(Fault(line=row.line, column=place, what=trouble.what, cure=trouble.cure))
    return Row(line=row.line, numbers=numbers, words=words, steps=steps, columns=made.columns)


def _number(cell: str, column: Column, decimal_comma: bool) -> tuple[float, float]:
    found = number_of(cell, decimal_comma=decimal_comma)
    if found is None:
        raise _Trouble(f'{column.name} is "{cell}", which is no number', _number_cure(cell))
    if found[0] and not SMALLEST < abs(found[0]) < LARGEST:
        raise _Trouble(f"{column.name} is {cell}", "no meter shows such a number: look at its exponent")
    if column.least is not None and found[0] < column.least:
        raise _Trouble(f"{column.name} is {cell}", f"it must be at least {column.least:g}")
    if column.above is not None and found[0] <= column.above:
        raise _Trouble(f"{column.name} is {cell}", f"it must be more than {column.above:g}")
    return found


def _number_cure(cell: str) -> str:
    behind = _UNIT_BEHIND.fullmatch(cell)
    if behind is not None:
        return f"write {behind[1]} alone: the column's name tells the unit"
    if "," in cell and number_of(cell, decimal_comma=True):
        return f"write {cell.replace(',', '.')}, or separate the cells with semicolons throughout"
    if not any(sign.isalpha() for sign in cell) and any(mark in cell for mark in ",' "):
        return "write the digits without separators, and one decimal mark at most"
    return "write a number such as 14.4, or leave the cell empty where it is not known"
