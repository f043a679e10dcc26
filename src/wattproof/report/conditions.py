"""The conditions of a figure as phrases that a person would say."""

import re
from collections.abc import Mapping
from math import degrees, isfinite

from wattproof.measure import Condition
from wattproof.quantity import Quantity, value_text
from wattproof.report import words

PREFIXED = frozenset({"V", "A", "W", "ohm", "s"})
"""Units that are written with a prefix where the number is small."""

_ORDER = ("frequency_hz", "load_ohm", "supply_v", "bandwidth_hz")
_RATIO_BASES = {"fundamental", "total"}
"""Said with the ratio in dB, so not once more among the conditions."""

_UNITS = {
    "hz": "Hz",
    "ohm": "ohm",
    "v": "V",
    "a": "A",
    "w": "W",
    "s": "s",
    "k": "K",
    "c": "°C",
    "percent": "%",
    "db": "dB",
}
_RATIOS = {"thd_n", "thd_f", "within"}
_TO_TWO_FIGURES = {"slope_db_per_s"}


def conditions_text(conditions: Mapping[str, Condition]) -> str:
    """Write conditions compactly, the trade's four first and the others after them.

    Examples
    --------
    >>> conditions_text({"bandwidth_hz": (20.8, 20000), "load_ohm": 4.03, "frequency_hz": 47.0, "supply_v": 13.9})
    '47 Hz, 4.03 ohm, 13.90 V, 21 Hz to 20 kHz'
    >>> conditions_text({"at_s": 60, "basis": "v*i", "outputs_measured": 2})
    'at 60 s, from v·i, 2 outputs measured'
    """
    keys = [key for key in _ORDER if key in conditions]
    keys += [key for key in conditions if key not in _ORDER and not _said_elsewhere(key, conditions[key])]
    return ", ".join(filter(None, (_condition(key, conditions[key]) for key in keys)))


def _said_elsewhere(key: str, value: Condition) -> bool:
    return key == "floor" or (key == "basis" and value in _RATIO_BASES)


def _condition(key: str, value: Condition) -> str:
    if key == "basis":
        return _basis(str(value))
    if key.endswith("_rad") and isinstance(value, int | float):
        return f"{key.removesuffix('_rad').replace('_', ' ')} {round(degrees(value), 1) + 0.0:.1f}°"
    if key.endswith("bandwidth_hz") and isinstance(value, tuple) and len(value) == 2:
        return words.CONDITIONS[key].format(_band(*value)) if key in words.CONDITIONS else _band(*value)
    stem, _, suffix = key.rpartition("_")
    unit = _UNITS.get(suffix, "") if stem and "_per_" not in key else ""
    said = _said(key, value, unit)
    if key in _ORDER:
        return said
    if key in words.CONDITIONS:
        return _phrase(key, value, said)
    return f"{(stem if unit else key).replace('_', ' ')} {said}"


def _basis(value: str) -> str:
    """Say what a figure was made of; a share of the highest voltage is said in per cent."""
    if share := re.fullmatch(r"fundamentals, frames under ([\d.]+) of the highest voltage", value):
        return words.SMALL_SIGNAL.format(f"{100 * float(share[1]):g} %")
    return words.BASES.get(value, f"from {value}")


def _said(key: str, value: Condition, unit: str) -> str:
    if isinstance(value, str):
        return words.VALUES.get((key, value), f"{value} {unit}".rstrip())
    if isinstance(value, tuple):
        return " to ".join(_amount(part, unit) for part in value)
    if key in _RATIOS:
        return f"{100 * value:g} %"
    if key == "supply_v":
        return f"{value:.2f} V"
    return two_figures(value) if key in _TO_TWO_FIGURES else _amount(value, unit)


def _phrase(key: str, value: Condition, said: str) -> str:
    """Put a value into its phrase, which has one form for one and another for many where it counts."""
    if (key, value) == ("weighting", "none"):
        return "unweighted"
    return words.counted(words.CONDITIONS[key], value if isinstance(value, int | float) else 0, said=said)


def _band(low: Condition, high: Condition) -> str:
    upper = _amount(high, "Hz")
    if not low:
        return words.UP_TO.format(upper)
    # where the filter begins is chosen, not known to three figures
    lower = f"{two_figures(low)} Hz" if isinstance(low, int | float) and low < 1000 else _amount(low, "Hz")
    return f"{lower} to {upper}"


def _amount(value: Condition, unit: str) -> str:
    if not isinstance(value, int | float):
        return f"{value} {unit}".rstrip()
    if unit == "Hz" and abs(value) >= 1000:
        return f"{value / 1000:.4g} kHz"
    return sized(value, unit)


def sized(value: float, unit: str) -> str:
    """Write a plain number to four figures, with a prefix where it is small.

    Examples
    --------
    >>> sized(1.86e-05, "V"), sized(61.2345, "A")
    ('18.6 µV', '61.23 A')
    """
    plain = Quantity(value=value, u=0.0, unit=unit)
    shown = prefixed(plain) if unit in PREFIXED else plain
    return f"{shown.value:.4g} {shown.unit}".rstrip()


def prefixed(quantity: Quantity) -> Quantity:
    """Give a quantity in thousandths or millionths of its unit where both its value and its doubt are that small."""
    size = max(abs(quantity.value), quantity.k95 * quantity.u)
    if 0 < size < 1e-3:
        return scaled(quantity, 1e6, f"µ{quantity.unit}")
    if 0 < size < 0.1:
        return scaled(quantity, 1e3, f"m{quantity.unit}")
    return quantity


def scaled(quantity: Quantity, factor: float, unit: str) -> Quantity:
    """Give a quantity in another unit."""
    return Quantity(value=quantity.value * factor, u=quantity.u * abs(factor), unit=unit, k95=quantity.k95)


def two_figures(value: float) -> str:
    """Write a positive number to two significant figures, never with an exponent."""
    if not isfinite(value):
        return f"{value:g}"
    return value_text(value, uncertainty=value) if value > 0 else "0"
