"""What one cell of a text table is: a number, nothing, an off-scale mark, a time of day or a word."""

import csv
import re
from datetime import date
from typing import Literal

_DOT = re.compile(r"[+-]?(?:\d{1,40}(?:\.\d{0,40})?|\.\d{1,40})(?:[eEdD][+-]?\d{1,4})?")
_COMMA = re.compile(r"[+-]?(?:\d{1,40}(?:,\d{0,40})?|,\d{1,40})(?:[eEdD][+-]?\d{1,4})?")
_GROUPED_DOT = re.compile(r"[+-]?\d{1,3}(?:[.' \u00a0\u202f]\d{3}){1,6}(?:,\d{0,40})?")
_GROUPED_COMMA = re.compile(r"[+-]?\d{1,3}(?:[,' \u00a0\u202f]\d{3}){1,6}(?:\.\d{0,40})?")
_GROUP_MARKS = re.compile(r"[.,' \u00a0\u202f]")
_OFF_SCALE = re.compile(
    r"[+-]?(?:inf|infinity|∞|over|overflow|overload|ovld|ovfl|ol|clip|clipped|off ?scale|out of range|underflow)"
    r"|-{2,12}|\*{2,12}|#{2,12}|>{2,6}|<{2,6}",
    re.IGNORECASE,
)
_MISSING = frozenset(
    {"", "nan", "-nan", "+nan", "na", "n/a", "#n/a", "null", "none", "nodata", "no data", "1.#qnan", "-1.#ind"}
)
_DATE = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}")
_CLOCK = re.compile(
    r"(?:(\d{1,4})[-/.](\d{1,2})[-/.](\d{1,4})[T ]{1,2})?(\d{1,2}):(\d{1,2}):(\d{1,2})(?:[.,](\d{1,12}))?"
    r"(?:Z|[+-]\d{2}:?\d{2})?"
)
# A number above this in a voltage column is the instrument's mark for "off the screen", not a voltage.
SENTINEL = 9e36

Decimal = Literal[".", ","]
Delimiter = Literal[",", ";", "\t", "|", " ", ""]


def words(text: str) -> frozenset[str]:
    """Give the words of a text as a set."""
    return frozenset(text.split())


def split_row(line: str, delimiter: str) -> list[str]:
    """Split one line into stripped, unquoted cells; a delimiter of " " is any run of blanks, "" is the whole line."""
    if delimiter == "":
        return [_bare(line)]
    if delimiter == " ":
        return [_bare(cell) for cell in line.split()]
    if '"' in line:
        try:
            return [_bare(cell) for cell in next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])]
        except csv.Error:
            pass
    return [_bare(cell) for cell in line.split(delimiter)]


def _bare(cell: str) -> str:
    cell = cell.strip().strip("\ufeff")
    if len(cell) >= 2 and cell[0] == cell[-1] and cell[0] in "\"'":
        cell = cell[1:-1].strip()
    return cell


def number(cell: str, decimal: Decimal) -> float | None:
    """Give the cell's number, exactly as Python reads it; None where it is none."""
    pattern = _DOT if decimal == "." else _COMMA
    if pattern.fullmatch(cell) is None:
        return None
    return float(cell.replace(",", ".").replace("d", "e").replace("D", "e"))


def grouped_number(cell: str, decimal: Decimal) -> float | None:
    """Give the number of a cell with thousands separators; None where it has none or they stand wrong."""
    pattern = _GROUPED_COMMA if decimal == "." else _GROUPED_DOT
    if pattern.fullmatch(cell) is None:
        return None
    whole, _, rest = cell.partition(decimal)
    return float(_GROUP_MARKS.sub("", whole) + ("." + rest if rest else ""))


def could_be_either(cell: str) -> bool:
    """Say whether one mark could be a decimal mark as well as a thousands separator: ``1.234`` but not ``0,001``."""
    return re.fullmatch(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", cell) is not None


def is_off_scale(cell: str) -> bool:
    """Say whether the cell is an instrument's word for a value beyond its range."""
    return len(cell) <= 16 and _OFF_SCALE.fullmatch(cell) is not None


def off_scale_value(cell: str) -> float:
    """Give what stands for an off-scale word: a signed infinity; above, where the word names no side."""
    below = cell.strip("-") != "" and (cell[0] in "-<" or cell.lower() == "underflow")
    return float("-inf") if below else float("inf")


def is_missing(cell: str) -> bool:
    """Say whether the cell holds nothing: blank, or a word for "not a number"."""
    return cell.lower() in _MISSING


def is_date(cell: str) -> bool:
    """Say whether the cell is a date by itself."""
    return len(cell) >= 8 and _DATE.fullmatch(cell) is not None


def clock_seconds(cell: str) -> tuple[int, float] | None:
    """Read a time of day such as ``14:03:07.250``, with a date before it or without.

    Returns
    -------
    tuple of int and float, or None
        A running day number (0 without a date, or with one whose day and month could be swapped) and seconds since
        midnight; None if the cell is no time of day.
    """
    match = _CLOCK.fullmatch(cell)
    if match is None:
        return None
    year, month, day, hours, minutes, seconds, fraction = match.groups()
    days = _day_number(int(year), int(month), int(day)) if year is not None and len(year) == 4 else 0
    clock = int(hours) * 3600 + int(minutes) * 60 + int(seconds)
    return days, clock + (int(fraction) / 10 ** len(fraction) if fraction else 0.0)


def _day_number(year: int, month: int, day: int) -> int:
    try:
        return date(year, month, day).toordinal()
    except ValueError:
        return 0
