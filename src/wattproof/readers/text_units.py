"""How files spell units, and what they are in SI; pure words and powers of ten."""

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# Every spelling of the micro sign that reaches us: U+00B5, U+03BC, and both after a wrong decoding.
_MICRO = ("\u00c2\u00b5", "\u00ce\u00bc", "\u00b5", "\u03bc")
_PREFIX = {"p": -12, "n": -9, "u": -6, "m": -3, "k": 3, "K": 3, "M": 6, "G": 9}
_WORD_PREFIX = {"pico": -12, "nano": -9, "micro": -6, "milli": -3, "kilo": 3, "mega": 6, "giga": 9}
_WORDS = {
    "s": ("s", "sec", "secs", "second", "seconds", "sekunde", "sekunden", "seconde", "secondes", "segundos"),
    "V": ("v", "volt", "volts"),
    "A": ("a", "amp", "amps", "ampere", "amperes"),
    "W": ("w", "watt", "watts"),
    "Hz": ("hz", "hertz"),
    "ohm": ("ohm", "ohms", "\u03c9", "\u03a9", "\u2126"),
    "N": ("n", "newton", "newtons"),
    "K": ("kelvin",),
    "\u00b0C": ("\u00b0c", "degc", "deg c", "celsius", "\u00c2\u00b0c"),
    "m/s^2": ("m/s^2", "m/s\u00b2", "m/s2"),
    "%": ("%", "percent"),
}
_LONG_TIMES = {"min": 60.0, "minute": 60.0, "minutes": 60.0, "h": 3600.0, "hr": 3600.0, "hour": 3600.0, "hours": 3600.0}
_PREFIXED = frozenset({"s", "V", "A", "W", "Hz", "ohm"})
_BASE = {word: unit for unit, words in _WORDS.items() for word in words}
# A megavolt or a megasecond on this bench is an exporter that shouts: "MV" and "MS" are left unknown, to be asked for.
_NO_MEGA = frozenset({"s", "V", "A"})
_SCALED = re.compile(r"\s{0,8}([+-]?\d{1,30}(?:[.,]\d{1,30})?(?:[eE][+-]?\d{1,3})?)\s{0,8}([^\d\s].{0,20})")
_LEVELS = frozenset({"db", "dbv", "dbu", "dbm", "dbfs", "dbr", "dbspl", "deg", "degrees", "rad"})


@dataclass(frozen=True, kw_only=True)
class Unit:
    """What a number in a file stands for: ``value * factor * 10**exponent`` in `symbol`."""

    symbol: str
    exponent: int = 0
    factor: float = 1.0

    @property
    def is_si(self) -> bool:
        """Whether the file's numbers need no change."""
        return self.exponent == 0 and self.factor == 1.0

    @property
    def scale(self) -> float:
        """What to multiply by, rounded once."""
        return self.factor * 10.0**self.exponent if self.exponent >= 0 else self.factor / 10.0**-self.exponent

    def convert(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give the values in `symbol`, by one exact power of ten where there is no factor."""
        if self.is_si:
            return values
        if self.factor != 1.0:
            return values * self.scale
        return values / 10.0**-self.exponent if self.exponent < 0 else values * 10.0**self.exponent


SECONDS = Unit(symbol="s")


def parse_unit(text: str) -> Unit | None:
    """Read a unit; None where the spelling is not known.

    Parameters
    ----------
    text : str
        As a file or a person spells it: "mV", "(ms)", "Volts", "0.5 V" (numbers counted in half volts).

    Examples
    --------
    >>> parse_unit("[mV]")
    Unit(symbol='V', exponent=-3, factor=1.0)
    >>> parse_unit("MV") is None
    True
    """
    word = _clean(text)
    scaled = _SCALED.fullmatch(word)
    if scaled is None:
        return _plain(word)
    unit = _plain(scaled[2])
    factor = float(scaled[1].replace(",", "."))
    if unit is None or factor == 0 or not np.isfinite(factor):
        return None
    return Unit(symbol=unit.symbol, exponent=unit.exponent, factor=factor)


def is_level(text: str) -> bool:
    """Say whether a unit is decibels or an angle: no sample of a waveform has one."""
    return _clean(text).lower().replace(" ", "") in _LEVELS


def is_division(text: str) -> bool:
    """Say whether a unit is screen divisions."""
    return _clean(text).lower() in {"div", "divs", "division", "divisions"}


def _clean(text: str) -> str:
    word = text.strip().strip("()[]{}\"'").strip()
    for sign in _MICRO:
        word = word.replace(sign, "u")
    return word


def _plain(word: str) -> Unit | None:
    lower = word.lower()
    if lower in _BASE:
        return Unit(symbol=_BASE[lower])
    if word in _LONG_TIMES:
        return Unit(symbol="s", factor=_LONG_TIMES[word])
    for name, exponent in _WORD_PREFIX.items():
        base = _BASE.get(lower.removeprefix(name).strip()) if lower.startswith(name) else None
        if base in _PREFIXED:
            return Unit(symbol=base, exponent=exponent)
    return _prefixed(word)


def _prefixed(word: str) -> Unit | None:
    if len(word) < 2:
        return None
    head, rest = word[0], word[1:]
    if word in {"US", "NS", "PS"}:
        head = head.lower()
    base = _BASE.get(rest.lower())
    if base is None or base not in _PREFIXED or head not in _PREFIX or (head == "M" and base in _NO_MEGA):
        return None
    return Unit(symbol=base, exponent=_PREFIX[head])
