"""Fields of a form that stands for a file a person writes: what each takes, and what is typed turned into values."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal

Kind = Literal["words", "input", "number", "whole", "truth", "choice", "list", "numbers", "pairs", "day", "lines"]
Said = dict[str, Any]

_THOUSANDS = re.compile(r"[+-]?\d{1,3}(,\d{3})+")
_APART = re.compile(r"[\s;x×]+")


class TypedWrongError(ValueError):
    """What was typed is not what the field takes; the message says what it takes."""


@dataclass(frozen=True, kw_only=True)
class FormField:
    """One field.

    Attributes
    ----------
    key : str
        Of the file; two joined by a point for a table in a table.
    label, unit, hint : str
    kind : Kind
    choices : tuple of (str, str)
        What a choice offers: the file's word, and what is shown.
    usual : str
        What stands in the field of a new row.
    """

    key: str
    label: str
    kind: Kind = "number"
    unit: str = ""
    hint: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    usual: str = ""


@dataclass(frozen=True, kw_only=True)
class FormPart:
    """A table of the file, or all tables of one name as rows.

    Attributes
    ----------
    key : str
        Of the table; empty for what stands at the top of the file.
    heading, hint : str
    fields : tuple of FormField
    many : bool
        Rows.
    row : str
        What one row is called.
    counts : tuple of str
        A row is there where one of these fields is filled; any field when left out.
    """

    key: str
    heading: str
    fields: tuple[FormField, ...]
    hint: str = ""
    many: bool = False
    row: str = ""
    counts: tuple[str, ...] = ()

    def fills(self, typed: Mapping[str, str]) -> bool:
        """Tell whether a row has something typed in it."""
        keys = self.counts or tuple(one.key for one in self.fields)
        return any(typed.get(key, "").strip() for key in keys)


@dataclass(kw_only=True)
class FormTyped:
    """A form as it was typed: part, row and field; a single table is a part with one row.

    Attributes
    ----------
    rows : dict of str to list of dict
        Of each part, what stands in each row's fields; "was" is the number of the row in the file before.
    """

    rows: dict[str, list[dict[str, str]]] = field(default_factory=dict)


def shown(parts: Sequence[FormPart], said: Mapping[str, Any]) -> FormTyped:
    """Give what the fields show of a file."""
    typed = FormTyped()
    for part in parts:
        tables = said.get(part.key, []) if part.many else [said.get(part.key, {}) if part.key else said]
        typed.rows[part.key] = [
            {"was": str(number), **{one.key: _shown(_at(table, one.key), one) for one in part.fields}}
            for number, table in enumerate(tables)
        ]
    return typed


def merged(parts: Sequence[FormPart], said: Mapping[str, Any], typed: FormTyped) -> tuple[Said, dict[str, str]]:
    """Put what was typed in place of what the file says; what the form does not show stays.

    Returns
    -------
    dict
        What the file is to say.
    dict of str to str
        What is wrong with fields, by "part.row.key".
    """
    made, wrong = dict(said), dict[str, str]()
    for part in parts:
        rows = typed.rows.get(part.key, [])
        if part.many:
            before = said.get(part.key, [])
            made[part.key] = [
                _table(part, number, row, _before(before, row), wrong)
                for number, row in enumerate(rows)
                if part.fills(row)
            ] or None
        elif rows and part.key:
            made[part.key] = _table(part, 0, rows[0], said.get(part.key, {}), wrong) or None
        elif rows:
            made |= _table(part, 0, rows[0], made, wrong, keep_none=True)
    return made, wrong


def _before(tables: object, row: Mapping[str, str]) -> Mapping[str, Any]:
    number = row.get("was", "")
    listed = tables if isinstance(tables, list) else []
    found = listed[int(number)] if number.isdecimal() and int(number) < len(listed) else {}
    return found if isinstance(found, Mapping) else {}


def _table(
    part: FormPart,
    number: int,
    row: Mapping[str, str],
    before: Mapping[str, Any],
    wrong: dict[str, str],
    *,
    keep_none: bool = False,
) -> Said:
    table = {key: dict(value) if isinstance(value, Mapping) else value for key, value in before.items()}
    for one in part.fields:
        if one.key not in row:
            continue
        try:
            value = _value(row[one.key].strip(), one)
        except TypedWrongError as error:
            wrong[f"{part.key}.{number}.{one.key}"] = str(error)
            continue
        _put(table, one.key, value)
    return table if keep_none else {key: value for key, value in table.items() if value is not None}


def _at(table: object, key: str) -> object:
    for step in key.split("."):
        table = table.get(step) if isinstance(table, Mapping) else None
    return table


def _put(table: Said, key: str, value: object) -> None:
    first, _, rest = key.partition(".")
    if not rest:
        table[first] = value
        return
    inner = dict(table.get(first) or {})
    _put(inner, rest, value)
    table[first] = {name: one for name, one in inner.items() if one is not None} or None


def _shown(value: object, one: FormField) -> str:
    if value is None or isinstance(value, Mapping) != (one.kind == "pairs"):
        return ""
    if isinstance(value, Mapping):
        return "\n".join(f"{key}: {_plain(each)}" for key, each in value.items())
    if isinstance(value, list):
        return (", " if one.kind == "list" else " ").join(map(_plain, value))
    return _plain(value)


def _plain(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def number_typed(text: str) -> float:
    """Read a number as a person types it.

    Raises
    ------
    TypedWrongError
        It is none, or may mean two things.

    Examples
    --------
    >>> number_typed("14.4"), number_typed("14,4"), number_typed("60e-6")
    (14.4, 14.4, 6e-05)
    """
    if _THOUSANDS.fullmatch(text):
        raise TypedWrongError(f"{text} may mean two numbers: write {text.replace(',', '')} or {text.replace(',', '.')}")
    try:
        return float(text.replace(",", ".", 1))
    except ValueError as error:
        raise TypedWrongError(f'"{text[:40]}" is no number: write it with a point and without its unit') from error


def _number(text: str) -> float | int:
    value = number_typed(text)
    return int(text) if re.fullmatch(r"[+-]?\d+", text) else value


def _whole(text: str) -> int:
    if not re.fullmatch(r"[+-]?\d+", text):
        raise TypedWrongError(f'"{text[:40]}" is no whole number')
    return int(text)


def _truth(text: str) -> bool:
    return text == "yes"


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise TypedWrongError(f'"{text[:40]}" is no day: write it as 2031-05-14') from error


def _list(text: str) -> list[str]:
    return [word.strip() for word in text.split(",") if word.strip()]


def _numbers(text: str) -> list[float | int]:
    return [_number(word) for word in _APART.split(text.replace(", ", " ")) if word]


def _pairs(text: str) -> dict[str, str | int]:
    made: dict[str, str | int] = {}
    for line in text.splitlines():
        name, mark, said = (part.strip() for part in line.partition(":"))
        if line.strip() and not (mark and name):
            raise TypedWrongError(f'"{line.strip()[:40]}" is no pair: write name: setting')
        if name:
            made[name] = int(said) if said.isdecimal() else said
    return made


def _input(text: str) -> int | str:
    """Take a number for one that counts, anything else for a name."""
    return int(text) if text.isdecimal() else text


def _same(text: str) -> str:
    return text.replace("\r\n", "\n")


_READ: dict[Kind, Callable[[str], object]] = {
    "words": _same, "lines": _same, "choice": _same, "input": _input, "number": _number, "whole": _whole,
    "truth": _truth, "list": _list, "numbers": _numbers, "pairs": _pairs, "day": _day,
}  # fmt: skip


def _value(text: str, one: FormField) -> object:
    return _READ[one.kind](text) if text else None
