"""Sessions side by side as text: terms on top, a row a figure, a column a session, then the differences in words."""

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import log10
from types import MappingProxyType

from wattproof.judge import Comparison, Difference, NotCompared, Row, Soak, Terms, Value
from wattproof.measure import Condition, Figure
from wattproof.quantity import Quantity, interval_text, value_text
from wattproof.report.conditions import conditions_text
from wattproof.report.faces import face_value
from wattproof.report.table import WIDEST
from wattproof.report.words import figure_name, names_a_limit

SAID: Mapping[str, str] = MappingProxyType(
    {
        "title": "{} sessions on common terms",
        "terms": "Terms: {} at the amplifier's terminals; {}; distortion {}; loads {}.",
        "driven": "one output driven|{} outputs driven at once",
        "per_output": "Powers are those of one output, the mean of those measured.",
        "chosen": "Chosen: {}.",
        "figures": "Figures, each with its 95 % interval",
        "nothing": "Nothing of these sessions can be put on common terms; why stands below.",
        "carried_mark": "*",
        "bounded_mark": "**",
        "carried": "*  carried to these terms by the model of that session, by so much; all others are as measured",
        "bounded": "** carried, and how the rail follows the supply is not known: the interval spans both extremes",
        "differences": "Differences",
        "same_bench": "What both share, such as the calibration of one bench, is left out of these intervals.",
        "higher": "{} ± {} % higher in {second} than in {first}{db}",
        "lower": "{} ± {} % lower in {second} than in {first}{db}",
        "by": "{} in {second} less {first}",
        "not_told": "not distinguishable: {second} over {first} is {} ± {} %{db}",
        "not_told_by": "not distinguishable: {second} less {first} is {}",
        "agree": "En {}, agree",
        "disagree": "En {}, disagree",
        "no_en": "no En: neither states an uncertainty of its own",
        "en": "En: the difference over its expanded uncertainty; up to 1 the two agree within what they state.",
        "change": "what differs here is a change of the amplifier, or of how it was measured",
        "soaks": "Cold and soaked",
        "not_compared": "Not on common terms",
        "try": "try: {}",
        "remarks": "To bear in mind",
    }
)
"""Every word of this text; a phrase with two forms has the first for one and the second for any other number."""

NAMES: Mapping[str, str] = MappingProxyType(
    {
        "price_per_watt": "Price of a verified watt",
        "watts_per_litre": "Watts per litre",
        "watts_per_kilogram": "Watts per kilogram",
        "watts_per_supply_ampere": "Watts per supply ampere",
    }
)
_POWERS = ("W", "W/L", "W/kg", "W/A")
_AMPLITUDES = ("V", "V/V")
_LEAST_COLUMN = 20
_GAP = "  "


@dataclass(frozen=True, kw_only=True)
class ComparisonParts:
    """A comparison in pieces, for a page.

    Attributes
    ----------
    terms : str
    sessions : tuple of (str, str, str)
        What each is called here, its name, what is said of it.
    rows : tuple of (str, tuple of str)
        A figure, and its value in each session.
    marks : tuple of str
        What the marks behind values mean.
    differences : tuple of (str, tuple of (str, str))
        Two sessions, and for each figure by how much they differ.
    soaks, remarks : tuple of str
    refused : tuple of (str, str)
        What is not on common terms, with why; and what would put it there.
    """

    terms: str
    sessions: tuple[tuple[str, str, str], ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    marks: tuple[str, ...]
    differences: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    soaks: tuple[str, ...]
    refused: tuple[tuple[str, str], ...]
    remarks: tuple[str, ...]


def comparison_parts(comparison: Comparison) -> ComparisonParts:
    """Write a comparison in the words of `comparison_text`, in pieces."""
    keys = _keys(comparison)
    sessions = {one.name: one for one in comparison.sessions}
    marked = {_mark(value) for value in _values(comparison)}
    told = {SAID["carried_mark"]: SAID["carried"], SAID["bounded_mark"]: SAID["bounded"]}
    pairs = dict.fromkeys((one.first, one.second, one.relation) for one in comparison.differences)
    return ComparisonParts(
        terms=_one_line(_terms(comparison.terms)),
        sessions=tuple(
            (keys[name], name, "; ".join(part for part in (one.amplifier, one.bench, one.note) if part))
            for name, one in sessions.items()
        ),
        rows=tuple(
            (_label(row.name, row.conditions), tuple(_cell(row, value) for value in row.values))
            for row in comparison.rows
        ),
        marks=tuple(words for mark, words in told.items() if mark in marked),
        differences=tuple(
            (
                f"{keys[second]} against {keys[first]}, {relation}",
                tuple(
                    (_label(one.name, one.conditions), difference_words(one, keys))
                    for one in comparison.differences
                    if (one.first, one.second) == (first, second)
                ),
            )
            for first, second, relation in pairs
        ),
        soaks=tuple(_soak_words(soak, keys) for soak in comparison.soaks),
        refused=tuple(_refused(comparison.not_compared, keys)),
        remarks=tuple(_short(remark, keys) for remark in comparison.remarks),
    )


def _one_line(lines: Sequence[str]) -> str:
    return " ".join(line.strip() for line in lines)


def comparison_text(comparison: Comparison) -> str:
    """Write a comparison as plain text, at most 120 columns wide.

    Parameters
    ----------
    comparison : Comparison

    Returns
    -------
    str
        Terms, sessions, figures, differences in words, what is not on common terms; ends with a newline.
    """
    keys = _keys(comparison)
    lines = [SAID["title"].format(len(comparison.sessions)), ""]
    lines += _terms(comparison.terms)
    lines += ["", *_sessions(comparison, keys)]
    lines += _figures(comparison, keys)
    lines += _differences(comparison, keys)
    lines += _soaks(comparison.soaks, keys)
    lines += _not_compared(comparison.not_compared, keys)
    if comparison.remarks:
        lines += ["", SAID["remarks"]]
        lines += [line for remark in comparison.remarks for line in _wrapped(_short(remark, keys), indent=2)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _keys(comparison: Comparison) -> dict[str, str]:
    """Give each session a name that fits a column: S1, S2."""
    names = dict.fromkeys(session.name for session in comparison.sessions)
    return {name: f"S{number}" for number, name in enumerate(names, start=1)}


def _wrapped(text: str, *, indent: int, first: int | None = None) -> list[str]:
    start = " " * (indent if first is None else first)
    return textwrap.wrap(
        text, WIDEST, initial_indent=start, subsequent_indent=" " * indent, break_long_words=False,
        break_on_hyphens=False, replace_whitespace=False, drop_whitespace=True,
    )  # fmt: skip


def _short(text: str, keys: Mapping[str, str]) -> str:
    """Put the columns' names in place of the sessions', the longest first."""
    for name in sorted(keys, key=len, reverse=True):
        text = text.replace(name, keys[name])
    return text


def _terms(terms: Terms) -> list[str]:
    one, _, many = SAID["driven"].partition("|")
    driven = one if terms.driven == 1 else many.format(terms.driven)
    limits = " and ".join(f"{100 * limit:g} %" for limit in terms.thd_n)
    loads = ", ".join(f"{load_ohm:g}" for load_ohm in terms.load_ohm) + " ohm" if terms.load_ohm else "not known"
    said = SAID["terms"].format(f"{terms.supply_v or 0.0:g} V", driven, limits, loads)
    lines = _wrapped(f"{said} {SAID['per_output']}", indent=2, first=0)
    return lines + (_wrapped(SAID["chosen"].format("; ".join(terms.chosen)), indent=2, first=0) if terms.chosen else [])


def _sessions(comparison: Comparison, keys: Mapping[str, str]) -> Iterator[str]:
    told = {session.name: session for session in comparison.sessions}
    for name, session in told.items():
        said = "; ".join(part for part in (session.amplifier, session.bench, session.note) if part)
        yield from _wrapped(f"{keys[name]}{_GAP}{name}: {said}", indent=4, first=0)


def _figures(comparison: Comparison, keys: Mapping[str, str]) -> list[str]:
    if not comparison.rows:
        return ["", SAID["nothing"]]
    lines = ["", SAID["figures"]]
    labels = [_label(row.name, row.conditions) for row in comparison.rows]
    width = max(len(label) for label in labels)
    cells = [[_cell(row, value) for value in row.values] for row in comparison.rows]
    wide = max(_LEAST_COLUMN, *(len(cell) for row in cells for cell in row))
    fits = max((WIDEST - 2 - width) // (wide + len(_GAP)), 1)
    heads = [keys[session.name] for session in comparison.sessions]
    for start in range(0, len(heads), fits):
        part = slice(start, start + fits)
        lines += [_line("", heads[part], width, wide)]
        lines += [_line(label, row[part], width, wide) for label, row in zip(labels, cells, strict=True)]
    lines += [SAID["carried"]] if any(_mark(v) == SAID["carried_mark"] for v in _values(comparison)) else []
    return lines + ([SAID["bounded"]] if any(_mark(v) == SAID["bounded_mark"] for v in _values(comparison)) else [])


def _line(label: str, cells: Sequence[str], width: int, wide: int) -> str:
    return f"  {label:<{width}}" + "".join(f"{_GAP}{cell:<{wide}}" for cell in cells)


def _values(comparison: Comparison) -> Iterator[Value]:
    for row in comparison.rows:
        yield from (value for value in row.values if value is not None)


def _label(name: str, conditions: Mapping[str, Condition]) -> str:
    said = NAMES.get(name) or figure_name(name)
    kept = {key: value for key, value in conditions.items() if key != "thd_n"}
    limit = conditions.get("thd_n")
    told = f"{100 * limit:g} %" if isinstance(limit, int | float) and not names_a_limit(name) else ""
    return ", ".join(part for part in (said, conditions_text(kept), told) if part)


def _cell(row: Row, value: Value | None) -> str:
    if value is None:
        return "-"
    by = "" if value.correction is None else f"{_signed(100 * value.correction)} %"
    return f"{_amount(row.name, value.quantity)} {_mark(value)}{by}".rstrip()


def _mark(value: Value) -> str:
    if value.basis == "measured":
        return ""
    return SAID["bounded_mark"] if value.bounded else SAID["carried_mark"]


def _amount(name: str, quantity: Quantity) -> str:
    """Write a value as the trade writes this figure; those made here have their own units."""
    if name in NAMES:
        return interval_text(quantity)
    return face_value(Figure(**dict(quantity), name=name, output=None, origin=""))


def _signed(percent: float) -> str:
    return f"{percent:+.2g}" if abs(percent) < 10 else f"{percent:+.3g}"


def _differences(comparison: Comparison, keys: Mapping[str, str]) -> list[str]:
    found = comparison.differences
    if not found:
        return []
    lines = ["", SAID["differences"], *_wrapped(SAID["same_bench"], indent=0)]
    lines += [SAID["en"]] if any(one.en is not None and one.relation in _TWO_BENCHES for one in found) else []
    width = max(len(_label(one.name, one.conditions)) for one in found)
    for first, second, relation in dict.fromkeys((one.first, one.second, one.relation) for one in found):
        change = f": {SAID['change']}" if relation == "one amplifier on one bench" else ""
        lines += [f"{keys[second]} against {keys[first]}, {relation}{change}"]
        for one in found:
            if (one.first, one.second) == (first, second):
                start = f"  {_label(one.name, one.conditions):<{width}}  "
                lines += _wrapped(f"{start}{difference_words(one, keys)}", indent=len(start), first=0)
    return lines


_TWO_BENCHES = ("one amplifier on two benches", "one amplifier")


def difference_words(one: Difference, keys: Mapping[str, str]) -> str:
    """Say a difference: by how much, or that it cannot be told; and the En number of one amplifier on two benches.

    Parameters
    ----------
    one : Difference
    keys : mapping of str to str
        What the two are called here.
    """
    names = {"first": keys.get(one.first, one.first), "second": keys.get(one.second, one.second)}
    said = _ratio_words(one, names) if one.ratio is not None else _absolute_words(one, names)
    return f"{said}; {_en_words(one)}" if one.relation in _TWO_BENCHES and one.compares_benches else said


def _ratio_words(one: Difference, names: Mapping[str, str]) -> str:
    if one.ratio is None:
        return ""
    percent, half = 100 * (one.ratio.value - 1), 100 * one.ratio.k95 * one.ratio.u
    shown = value_text(half, uncertainty=half) if half > 0 else "0"
    factor = 10.0 if one.difference.unit in _POWERS else 20.0 if one.difference.unit in _AMPLITUDES else 0.0
    db = f" ({round(factor * log10(one.ratio.value), 2) + 0.0:+.2f} dB)" if factor else ""
    if not one.distinguishable:
        text = value_text(percent, uncertainty=half)
        text = text if float(text) else text.lstrip("-")
        return SAID["not_told"].format(text, shown, db=db, **names)
    key = "higher" if percent > 0 else "lower"
    return SAID[key].format(value_text(abs(percent), uncertainty=half), shown, db=db, **names)


def _absolute_words(one: Difference, names: Mapping[str, str]) -> str:
    key = "by" if one.distinguishable else "not_told_by"
    return SAID[key].format(interval_text(one.difference), **names)


def _en_words(one: Difference) -> str:
    if one.en is None:
        return SAID["no_en"]
    return SAID["agree" if one.en <= 1 else "disagree"].format(f"{one.en:.2f}")


def _soaks(soaks: Sequence[Soak], keys: Mapping[str, str]) -> list[str]:
    if not soaks:
        return []
    lines = ["", SAID["soaks"]]
    for soak in soaks:
        lines += _wrapped(_soak_words(soak, keys), indent=4, first=2)
    return lines


def _soak_words(soak: Soak, keys: Mapping[str, str]) -> str:
    one = soak.difference
    cold, soaked = (_amount(one.name, value) for value in (soak.cold_value, soak.soaked_value))
    return (
        f"{keys[soak.session]}, {_label(one.name, one.conditions)}: {cold} ({soak.cold}), then {soaked} "
        f"({soak.soaked}): {difference_words(one, {one.first: 'the cold', one.second: 'the soaked'})}"
    )


def _not_compared(refused: Sequence[NotCompared], keys: Mapping[str, str]) -> list[str]:
    """List what could not be put on the terms."""
    if not refused:
        return []
    lines = ["", SAID["not_compared"]]
    for said, hint in _refused(refused, keys):
        lines += _wrapped(said, indent=4, first=2)
        lines += _wrapped(SAID["try"].format(hint), indent=6, first=4)
    return lines


def _refused(refused: Sequence[NotCompared], keys: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Say why, and what would help; figures of a session that lack the same thing stand together."""
    groups: dict[tuple[str, str, str], list[str]] = {}
    for one in refused:
        groups.setdefault((one.session, one.why, one.hint), []).append(_label(one.name, one.conditions))
    for (session, why, hint), labels in groups.items():
        yield f"{keys[session]}: {'; '.join(dict.fromkeys(labels))}: {_short(why, keys)}", hint
