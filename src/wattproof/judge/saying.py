"""Numbers of a verdict as its sentences say them: per cent for efficiency and distortion, decibels for gain."""

from math import log, log10

from wattproof.quantity import Quantity, value_text

_DECIBEL_FROM = 0.5
"""Ratios of voltages from here up are said in dB; smaller ones are distortion, in per cent."""
_IN_DB = 20 / log(10)


def said_doubt(size: float, figure: Quantity) -> str:
    """Say a small part of a figure, as a standard uncertainty is: two digits and the unit that people use for it.

    Examples
    --------
    >>> said_doubt(0.00338, Quantity(value=0.85, u=0.0034, unit="W/W"))
    '0.34 %'
    >>> said_doubt(0.024, Quantity(value=24.0, u=0.03, unit="V/V"))
    '0.0087 dB'
    """
    size, unit = _scaled(size, figure)
    return f"{value_text(size, uncertainty=size) if size > 0 else '0'}{unit}"


def said_value(value: float, figure: Quantity, *, doubt: float = 0.0) -> str:
    """Say a value of a figure's kind, rounded to its doubt.

    Examples
    --------
    >>> said_value(251840.0, Quantity(value=251840.0, u=460.0, unit="V/V"), doubt=900.0)
    '108.022 dB'
    >>> said_value(0.85, Quantity(value=0.8502, u=0.0034, unit="W/W"))
    '85 %'
    """
    if in_decibel(figure) and value > 0:
        return f"{value_text(20 * log10(value), uncertainty=_IN_DB * doubt / value)} dB"
    number, unit = _scaled(value, figure)
    return f"{value_text(number, uncertainty=_scaled(doubt, figure)[0])}{unit}"


def in_decibel(figure: Quantity) -> bool:
    """Say whether a figure is a ratio of voltages that people say in dB."""
    return figure.unit == "V/V" and figure.value >= _DECIBEL_FROM


def _scaled(number: float, figure: Quantity) -> tuple[float, str]:
    if in_decibel(figure):
        return _IN_DB * number / figure.value, " dB"
    if figure.unit in {"V/V", "W/W"}:
        return 100 * number, " %"
    return number, "" if figure.unit in {"", "1"} else f" {figure.unit}"
