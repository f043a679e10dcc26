"""TOML text to plain data; where it is no TOML, what the person most likely meant, in plain words."""

import re
import tomllib
from typing import Any, NamedTuple

from wattproof.settings.faults import Fault

_MOST = 40
"""Syntax faults mended provisionally before giving up: a file with more of them is no TOML file at all."""


class _Habit(NamedTuple):
    """A way of writing that TOML does not know: how it looks on a line, what to say, how the line would be right."""

    looks: re.Pattern[str]
    what: str
    cure: str
    line: str


_KEY = r"(?P<key>\s*[\w.\-\"']+\s*=\s*)"
_TAIL = r"(?P<tail>\s*(?:#.*)?)$"
_NUMBER = r"(?P<number>[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?)"


def _habit(looks: str, what: str, cure: str, line: str) -> _Habit:
    return _Habit(re.compile(looks), what, cure, line)


_HABITS = (
    _habit(
        rf"^{_KEY}(?P<whole>[-+]?\d+),(?P<part>\d+){_TAIL}",
        "{whole},{part} has a decimal comma",
        "write a point: {whole}.{part}",
        "{key}{whole}.{part}{tail}",
    ),
    _habit(
        rf"^{_KEY}(?P<date>\d{{1,4}}[./]\d{{1,2}}[./]\d{{1,4}}|\d{{4}}-\d{{1,2}}-\d{{1,2}}){_TAIL}",
        "{date} is not a date as TOML writes it",
        "write year-month-day with two digits each for month and day, as in 2031-03-02",
        "{key}2031-03-02{tail}",
    ),
    _habit(
        rf"^{_KEY}{_NUMBER}\s*%{_TAIL}",
        "a per cent sign stands behind the number",
        "write {number}/100 as a decimal number where the key is a ratio, {number} alone where its name says percent",
        "{key}{number}{tail}",
    ),
    _habit(
        rf"^{_KEY}{_NUMBER}\s*(?P<unit>[A-Za-z%°Ωµμ][\w/²%°Ωµμ]*){_TAIL}",
        "a unit ({unit}) stands behind the number",
        "write the number alone, {number}, in the unit that the key's name or description says",
        "{key}{number}{tail}",
    ),
    _habit(
        rf"^{_KEY}(?P<sign>[-+]?)\.(?P<part>\d+){_TAIL}",
        ".{part} lacks a digit before the point",
        "write {sign}0.{part}",
        "{key}{sign}0.{part}{tail}",
    ),
    _habit(
        rf"^{_KEY}(?P<whole>[-+]?\d+)\.{_TAIL}",
        "{whole}. lacks a digit behind the point",
        "write {whole}.0",
        "{key}{whole}.0{tail}",
    ),
    _habit(
        rf"^{_KEY}(?P<sign>[-+]?)0+(?P<whole>\d[\d.]*){_TAIL}",
        "a number must not start with further zeros",
        "write {sign}{whole}",
        "{key}{sign}{whole}{tail}",
    ),
    _habit(
        rf"^{_KEY}[“”„«‘](?P<words>[^“”«»‘’\"]*)[“”»’]{_TAIL}",
        "the quotation marks are curly ones",
        'write straight ones: "{words}"',
        '{key}"{words}"{tail}',
    ),
    _habit(rf"^{_KEY}(?P<word>True|TRUE|[Yy]es|[Oo]n){_TAIL}", "{word} is no value", "write true", "{key}true{tail}"),
    _habit(
        rf"^{_KEY}(?P<word>False|FALSE|[Nn]o|[Oo]ff){_TAIL}", "{word} is no value", "write false", "{key}false{tail}"
    ),
    _habit(
        rf"^{_KEY}(?P<word>None|none|null|NaN|\?|-){_TAIL}",
        "{word} is no value",
        "delete the line: what is not known is left out",
        "",
    ),
    _habit(rf"^{_KEY}{_TAIL}", "nothing stands behind the =", "write a value, or delete the line", ""),
    _habit(
        rf"^(?P<name>\s*[\w-]+)\s*:\s*(?P<value>[^:#]+?){_TAIL}",
        "a colon stands where = belongs",
        "write {name} = {value}",
        "{name} = {value}{tail}",
    ),
    _habit(
        rf"^{_KEY}(?P<words>[^\W\d][^\"'#\[\]{{}}]*?){_TAIL}",
        "text stands without quotation marks",
        'write "{words}"',
        '{key}"{words}"{tail}',
    ),
    _habit(
        rf"^{_KEY}\"(?P<words>[^\"]*\\[^\"]*)\"{_TAIL}",
        "a backslash in double quotation marks starts a special sign",
        "write '{words}' in single quotation marks",
        "{key}'{words}'{tail}",
    ),
    _habit(
        rf"^{_KEY}\"(?P<words>[^\"#]*?)\s*$",
        "the text is not closed",
        'write "{words}"',
        '{key}"{words}"',
    ),
    _habit(
        rf"^\s*\[\[?\s*(?P<table>channels|loads|meters|ratings)\s*\]?\]?{_TAIL}",
        "the brackets of {table} do not match",
        "write [[{table}]] with two brackets on either side",
        "[[{table}]]",
    ),
    _habit(
        rf"^\s*\[\[?\s*(?P<table>[\w.-]+)\s*\]?\]?{_TAIL}",
        "the brackets of {table} do not match",
        "write [{table}]",
        "[{table}]",
    ),
)


def read_toml(text: str) -> tuple[dict[str, Any] | None, str, list[Fault]]:
    """Read TOML; mend what is no TOML for the time being, so that all faults are found in one go.

    Returns
    -------
    data : dict or None
        None where the text cannot be mended.
    text : str
        The text that was read: the given one where there is no fault.
    faults : list of Fault
        Empty exactly where the text given is TOML.
    """
    faults: list[Fault] = []
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    while len(faults) < _MOST:
        try:
            return tomllib.loads(text), text, faults
        except ValueError as error:  # TOMLDecodeError, or an integer of thousands of digits
            fault, mended = _explain(text, str(error))
        except RecursionError:
            fault, mended = Fault(line=0, what="lists are nested too deep", cure="write plain lists"), None
        faults.append(fault)
        if mended is None or mended == text:
            break
        text = mended
    return None, text, faults


def _explain(text: str, complaint: str) -> tuple[Fault, str | None]:
    """Say in plain words what is wrong on the line, and give the text as it would be read, or None."""
    lines = text.split("\n")
    line, column = _place(complaint, lines)
    written = lines[line - 1]
    if "overwrite a value" in complaint:
        name = written.split("=")[0].strip()
        fault = Fault(line=line, what=f"{name} is given twice", cure=f"keep one of the two lines that set {name}")
        return fault, _with(lines, line, "")
    for habit in _HABITS:
        match = habit.looks.match(written)
        if match:
            parts = match.groupdict()
            fault = Fault(
                line=line, column=column, what=habit.what.format(**parts), cure=habit.cure.format(**parts).strip()
            )
            return fault, _with(lines, line, habit.line.format(**parts))
    return Fault(line=line, column=column, what=f"this is no TOML: {_plain(complaint)}", cure=_advice(complaint)), None


def _place(complaint: str, lines: list[str]) -> tuple[int, int]:
    match = re.search(r"at line (\d+), column (\d+)", complaint)
    if match is None:  # "at end of document": the last line that says anything
        last = max((number for number, line in enumerate(lines, 1) if line.strip()), default=1)
        return last, 0
    return min(int(match[1]), len(lines)), int(match[2])


def _with(lines: list[str], line: int, new: str) -> str:
    return "\n".join([*lines[: line - 1], new, *lines[line:]])


def _plain(complaint: str) -> str:
    words = re.sub(r"\s*\(at [^)]*\)$", "", complaint)
    words = re.sub(r"\('([^']*)',?\)", r"\1", words)
    return words[:1].lower() + words[1:]


def _advice(complaint: str) -> str:
    if "twice" in complaint or "mutate" in complaint:
        return "keep one table of that name; several of a kind take two brackets, as in [[loads]]"
    if "end of document" in complaint:
        return "close the bracket or quotation mark that is still open"
    return 'write every line as key = value, with text in "quotation marks" and lists in [square, brackets]'
