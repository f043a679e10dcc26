"""What a text file says before its numbers: every line kept as metadata, and the few facts that fix clock and scale."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from wattproof.readers.text_cells import Decimal, number, split_row, words
from wattproof.readers.text_units import Unit, parse_unit

_MOST_ENTRIES = 500
_MOST_LETTERS = 200
_COMMENT = " \t#%;!*/\"'"

# Spellings with letters and digits only, lower case; the trade has no single word for any of these.
_RATE = words(
    "samplerate samplingrate samplefrequency samplingfrequency fs srate scanrate acquisitionrate rate samplespersecond "
    "samplespersec sps samplingfreq samplefreq datarate recordrate"
)
_STEP = words(
    "xinc xincr xincrement increment dt deltax deltat sampleinterval samplinginterval samplingperiod "
    "sampleperiod timestep interval timeincrement timeinterval horizontalinterval tinc step secondspersample "
    "sampletime samplespacing"
)
_START = words("xorg xorigin xzero starttime t0 x0 tstart timeorigin firstsample timeoffset start")
_POINTS = words(
    "points samples size recordlength memorylength numberofpoints npoints nopoints numpoints numberofsamples nsamples "
    "samplecount pointcount numsamples recordpoints length rows"
)
_SPAN = words("duration span timespan recordtime recordduration acquisitiontime capturetime totaltime capturelength")
_CLOCK = _RATE | _STEP | _START | _POINTS | _SPAN
_X_UNIT = words("xunits xunit xunitlabel horizontalunits horizontalunit timeunit timeunits xaxisunit")
_Y_UNIT = words("yunits yunit yunitlabel verticalunits verticalunit yaxisunit valueunit units unit")
_Y_STEP = words("yinc yincr yincrement ymult vperlsb voltsperbit voltsperlsb lsb codestep")
_Y_START = words("yorg yorigin yzero")
_Y_CODE = words("yreference yref yoff codereference zerocode")
_PROBE = words("probe probefactor probeattenuation attenuation proberatio")
_TYPE = words("type acquisitiontype acquisitionmode acquiremode acqmode mode interpolation sampling samplemode")
_DECIMAL = words("decimalseparator decimalmark decimal decimalsign")
_RATE_UNIT = re.compile(
    r"([kKMG]?)\s?(?:sa|s|samples|sample|pts|points|scans|hz)(?:/s|/sec|/second|ps|z)?", re.IGNORECASE
)
_QUANTITY = re.compile(r"\s{0,8}([+-]?[\d.,]{1,40}(?:[eE][+-]?\d{1,4})?)\s{0,8}(.{0,40})")
_KEY_UNIT = re.compile(r"(.{1,80}?)\s{0,8}[(\[]([^()\[\]]{1,20})[)\]]\s{0,8}")


@dataclass(frozen=True, kw_only=True)
class Fact:
    """One thing that the file says beside its samples.

    Attributes
    ----------
    key : str
        As the file spells it.
    line : int
        Where, counted from 1.
    values : tuple of str
        One for the record or one a channel.
    cells : tuple of int
        In which cell of its line each value stands, counted from 0: the column it belongs to.
    unit : str
        Unit named with the key, as in ``Interval (us)``.
    """

    key: str
    line: int
    values: tuple[str, ...]
    cells: tuple[int, ...] = ()
    unit: str = ""


@dataclass(frozen=True, kw_only=True)
class Number:
    """A fact that is a number: in which line, and with which unit as written."""

    key: str
    line: int
    value: float
    unit: str


@dataclass(frozen=True, kw_only=True)
class Preamble:
    """All facts of a preamble, and the same as plain metadata."""

    facts: tuple[Fact, ...] = ()
    metadata: Mapping[str, str] = field(default_factory=dict)
    decimal: Decimal = "."

    def find(self, *spellings: frozenset[str]) -> Fact | None:
        """Give the last fact whose key is one of the words (the last: a channel's own section follows the file's)."""
        found = None
        for word in spellings:
            matches = [fact for fact in self.facts if _bare(fact.key) in word and fact.values]
            found = matches[-1] if matches else found
        return found

    def numbers(self, spellings: frozenset[str]) -> tuple[Number, ...]:
        """Give a fact's numbers, one a channel or one for all."""
        fact = self.find(spellings)
        if fact is None:
            return ()
        read = [(quantity(value, self.decimal), value) for value in fact.values]
        return tuple(
            Number(key=fact.key, line=fact.line, value=value[0], unit=value[1] or fact.unit)
            for value, _ in read
            if value is not None
        )


@dataclass(frozen=True, kw_only=True)
class ClockFacts:
    """What the preamble says about time; None where it is silent."""

    rate_hz: Number | None = None
    step: Number | None = None
    start: Number | None = None
    points: Number | None = None
    span: Number | None = None
    x_unit: str = ""


def read_preamble(lines: Sequence[str], *, delimiter: str, decimal: Decimal, skip: frozenset[int]) -> Preamble:
    """Read every line before the numbers.

    Parameters
    ----------
    lines : sequence of str
        The lines above the table.
    delimiter, decimal : str
        The table's own.
    skip : frozenset of int
        Lines, counted from 0, that hold the columns' names and units.
    """
    facts: list[Fact] = []
    metadata: dict[str, str] = {}
    below: list[Fact] = []
    for index, line in enumerate(lines):
        if index in skip or not line.strip(_COMMENT + ",\t"):
            continue
        if below:
            below = []  # the values of the row of keys above, which has told them
            continue
        below = _facts_below(lines, index, delimiter, skip)
        found = below or _facts_of(line, index + 1, delimiter)
        facts += found
        _keep(metadata, index + 1, line, found)
    told = next((fact.values[0] for fact in facts if _bare(fact.key) in _DECIMAL and fact.values), decimal)
    return Preamble(facts=tuple(facts), metadata=metadata, decimal="," if told.strip() in {",", "comma"} else decimal)


def _keep(metadata: dict[str, str], line: int, text: str, found: Sequence[Fact]) -> None:
    if len(metadata) >= _MOST_ENTRIES:
        return
    if not found:
        metadata[f"line {line}"] = text.strip(_COMMENT + "\t,")[:_MOST_LETTERS]
    for fact in found:
        key = fact.key if not fact.unit else f"{fact.key} ({fact.unit})"
        value = ", ".join(fact.values)[:_MOST_LETTERS]
        before = metadata.get(key[:_MOST_LETTERS])
        metadata[key[:_MOST_LETTERS]] = value if before in {None, value} else f"{before}; {value}"[: 4 * _MOST_LETTERS]


def _facts_of(line: str, number_of_line: int, delimiter: str) -> list[Fact]:
    mark = delimiter if delimiter.strip() and delimiter in line else next((m for m in "\t;" if m in line), "")
    cells = split_row(line, mark) if mark or not line.strip().startswith('"') else split_row(line, ",")
    facts = [fact for index, cell in enumerate(cells) if (fact := _pair(cell, index, number_of_line)) is not None]
    if facts:
        return facts
    filled = [(index, cell) for index, cell in enumerate(cells) if cell.strip(_COMMENT)]
    if len(filled) < 2:
        return []
    key, unit = _key(filled[0][1])
    values = tuple(cell for _, cell in filled[1:])
    return [Fact(key=key, line=number_of_line, values=values, cells=tuple(i for i, _ in filled[1:]), unit=unit)]


def is_clock_row(cells: Sequence[str]) -> bool:
    """Say whether a row names nothing but a clock's start, step, rate, length: their values stand in the row below.

    One such word alone may as well be a column's name.
    """
    keys = [_bare(_key(cell)[0]) for cell in cells if cell.strip(_COMMENT)]
    return len(keys) > 1 and all(key in _CLOCK for key in keys) and any(key in _STEP | _RATE for key in keys)


def _facts_below(lines: Sequence[str], index: int, delimiter: str, skip: frozenset[int]) -> list[Fact]:
    """Read a row of clock words with the row of their values below it, ``Start,Increment`` over ``-0.03,5e-05``."""
    after = next((n for n in range(index + 1, len(lines)) if lines[n].strip()), None)
    if after is None or after in skip:
        return []
    marks = [mark for mark in (delimiter, *",;\t") if mark.strip() or mark == "\t"]
    for mark in marks:
        keys, values = split_row(lines[index], mark), split_row(lines[after], mark)
        placed = [n for n, cell in enumerate(keys) if cell.strip(_COMMENT)]
        filled = [n for n, cell in enumerate(values) if cell]
        if is_clock_row(keys) and placed == filled and all(_QUANTITY.fullmatch(values[n]) for n in placed):
            named = [(n, *_key(keys[n])) for n in placed]
            return [Fact(key=key, line=index + 1, values=(values[n],), cells=(n,), unit=unit) for n, key, unit in named]
    return []


def _pair(cell: str, index: int, line: int) -> Fact | None:
    """Read ``key = value`` or ``key: value``; the first mark parts them, but not the colon of a time of day."""
    marks = [at for at in (cell.find("="), cell.find(":")) if at > 0]
    if not marks:
        return None
    at = min(marks)
    key, unit = _key(cell[:at])
    value = cell[at + 1 :].strip().strip("\"'")
    if not key or key.replace(" ", "").isdigit():
        return None
    return Fact(key=key, line=line, values=(value,) if value else (), cells=(index,), unit=unit)


def _key(text: str) -> tuple[str, str]:
    text = text.strip(_COMMENT).rstrip(":= ")
    match = _KEY_UNIT.fullmatch(text)
    return (match[1], match[2]) if match else (text, "")


def _bare(key: str) -> str:
    return "".join(letter for letter in key.lower() if letter.isalnum())


def quantity(text: str, decimal: Decimal) -> tuple[float, str] | None:
    """Read a number and the unit behind it: ``80000000(ps)``, ``1.5 MS/s``, ``10 : 1``; None where there is none."""
    match = _QUANTITY.fullmatch(text)
    if match is None:
        return None
    value = number(match[1], decimal)
    if value is None and decimal == ",":
        value = number(match[1], ".")
    return None if value is None else (value, match[2].strip().strip("()[]").strip())


def clock_facts(preamble: Preamble) -> ClockFacts:
    """Pick what the preamble says about time."""
    x_unit = preamble.find(_X_UNIT)
    starts = preamble.numbers(_START - {"start"}) or preamble.numbers(frozenset({"start"}))
    return ClockFacts(
        rate_hz=_first(preamble.numbers(_RATE)),
        step=_first(preamble.numbers(_STEP)),
        start=_first(starts),
        points=_first(preamble.numbers(_POINTS)),
        span=_first(preamble.numbers(_SPAN)),
        x_unit="" if x_unit is None else x_unit.values[0],
    )


def _first(numbers: Sequence[Number]) -> Number | None:
    return numbers[0] if numbers else None


def rate_in_hz(fact: Number) -> float | None:
    """Give a stated sample rate in hertz; None where its unit is not known.

    A bare number is hertz: rates are never written in anything else without saying so.
    """
    if not fact.unit:
        return fact.value
    unit = parse_unit(fact.unit)
    if unit is not None and unit.symbol == "Hz":
        return fact.value * unit.scale
    match = _RATE_UNIT.fullmatch(fact.unit)
    if match is None:
        return None
    return fact.value * {"": 1.0, "k": 1e3, "m": 1e6, "g": 1e9}[match[1].lower()]


def in_seconds(fact: Number, x_unit: str) -> tuple[float, bool] | None:
    """Give a stated time in seconds and whether its unit was stated; None where the unit is not one of time."""
    word = fact.unit or x_unit
    if not word:
        return fact.value, False
    unit: Unit | None = parse_unit(word)
    if unit is None or unit.symbol != "s":
        return None
    return float(fact.value * unit.scale), True


def y_facts(preamble: Preamble) -> Mapping[str, Fact | None]:
    """Pick what the preamble says about the values: unit, code step, code origin, probe and kind of acquisition."""
    spellings = {"unit": _Y_UNIT, "step": _Y_STEP, "origin": _Y_START, "code": _Y_CODE, "probe": _PROBE, "type": _TYPE}
    return {name: preamble.find(word) for name, word in spellings.items()}
