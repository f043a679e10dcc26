"""Tables for other programs: what a column is, and rows as CSV or as columns in memory; no figure is rounded."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import polars

CellType = Literal["text", "number", "integer", "truth"]
Cell = str | float | int | bool | None
"""None is "not known" or "does not apply"; no other value stands for that."""

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "'")
"""A text that begins like this gets an apostrophe before it in CSV, so that no spreadsheet takes it for a formula.

The apostrophe itself is among them: whoever takes one apostrophe away from each text that begins with one has the text
as it was.
"""

NEEDS_QUOTES = re.compile(r'[",\n\r]')


@dataclass(frozen=True, kw_only=True)
class TableColumn:
    """A column: its name, what its cells are, their unit, and what it says.

    Attributes
    ----------
    name : str
        The same in CSV, Parquet and the index.
    type : CellType
        "number" is a 64-bit float, "integer" a 64-bit integer, "truth" true or false.
    about : str
        What it says, for the dictionary of columns.
    unit : str
        SI unit of its numbers, "1" for ratios and counts; empty for texts and where `unit_in` names a column.
    unit_in : str
        Column of the same row that holds the unit; empty where `unit` does.
    """

    name: str
    type: CellType
    about: str
    unit: str = ""
    unit_in: str = ""


@dataclass(frozen=True, kw_only=True)
class TableForm:
    """A table's name, what one row of it is, which columns tell rows apart, and its columns in order."""

    name: str
    row: str
    key: tuple[str, ...]
    columns: tuple[TableColumn, ...]


TableRow = Sequence[Cell]


def table_csv(form: TableForm, rows: Iterable[TableRow], *, head: bool = True) -> str:
    """Write rows as CSV: commas, a decimal point, every digit; an empty cell where nothing is known.

    Parameters
    ----------
    form : TableForm
    rows : iterable of TableRow
        Cells in the order of the form's columns.
    head : bool
        Whether the first line names the columns.

    Examples
    --------
    >>> form = TableForm(
    ...     name="finds",
    ...     row="a find",
    ...     key=("what",),
    ...     columns=(
    ...         TableColumn(name="what", type="text", about="its name"),
    ...         TableColumn(name="mass_kg", type="number", about="on the scales", unit="kg"),
    ...     ),
    ... )
    >>> print(table_csv(form, [("=SUM(A1)", 0.1), ("oar", None)]), end="")
    what,mass_kg
    '=SUM(A1),0.1
    oar,
    """
    lines = [",".join(column.name for column in form.columns)] if head else []
    lines += [",".join(map(_written, row)) for row in rows]
    return "".join(f"{line}\n" for line in lines)


def _written(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    return _quoted(f"'{cell}" if cell.startswith(FORMULA_STARTS) else cell) if isinstance(cell, str) else repr(cell)


def _quoted(text: str) -> str:
    """Quote by RFC 4180; the standard library's writer leaves a lone carriage return bare, which ends a line."""
    return '"' + text.replace('"', '""') + '"' if NEEDS_QUOTES.search(text) else text


def table_frame(form: TableForm, rows: Iterable[TableRow]) -> "polars.DataFrame":
    """Give rows as a data frame with the form's types; texts as they are, without any apostrophe added."""
    import polars

    types = {"text": polars.String, "number": polars.Float64, "integer": polars.Int64, "truth": polars.Boolean}
    schema = {column.name: types[column.type] for column in form.columns}
    return polars.DataFrame([tuple(row) for row in rows], schema=schema, orient="row", strict=True)


def number(value: object) -> float | None:
    """Give a number as a cell: a float, or None for what is none or not finite."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if isfinite(value) else None


def text(value: str | None) -> str | None:
    """Give a text as a cell: an empty one says nothing."""
    return value or None
