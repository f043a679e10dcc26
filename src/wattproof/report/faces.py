"""How a figure is written down: rounded to its doubt, in the trade's units, with its conditions in words."""

from collections.abc import Mapping
from math import ceil, degrees, isfinite, log, log10

from wattproof.measure import Condition, Figure
from wattproof.quantity import Quantity, interval_text, value_text
from wattproof.report import words

_PERCENT = {"thd_f", "thd_r", "thd_n", "efficiency"}
_DECIBEL = ("gain", "burst_headroom", "sinad", "snr")
_PREFIXED = {"V", "A", "W", "ohm", "s"}
_FLOOR_MARGIN = 2.0
"""A floor of half the reading, added in squares, is 13 % of it: nearer than that the recorder shares in the figure."""

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
_RATIOS = {"thd_n", "thd_f"}


def is_harmonic(name: str) -> bool:
    """Say whether the figure is a harmonic's size relative to the fundamental."""
    return name.startswith("harmonic_") and not name.endswith("_phase")


def is_distortion(name: str) -> bool:
    """Say whether the recorder's own floor bears on this figure."""
    return name in {"thd_f", "thd_r", "thd_n"} or is_harmonic(name)


def face_value(figure: Figure) -> str:
    """Write value, half width of the 95 % interval and unit as the trade writes this figure.

    Examples
    --------
    >>> face_value(Figure(name="efficiency", value=0.7415, u=0.002, unit="W/W", origin="hold.wav"))
    '74.15 ± 0.39 %'
    >>> face_value(Figure(name="gain", value=20.0, u=0.01, unit="V/V", origin="hold.wav"))
    '26.0206 ± 0.0085 dB'
    >>> face_value(Figure(name="noise_rms", value=4.2e-5, u=1e-6, unit="V", origin="idle.wav"))
    '42.0 ± 2.0 µV'
    """
    if not (isfinite(figure.value) and isfinite(figure.u * figure.k95)):
        return words.UNKNOWN
    if figure.name in _PERCENT or is_harmonic(figure.name):
        return interval_text(_scaled(figure, 100.0, "%"))
    if figure.name.startswith(_DECIBEL) and figure.value > 0:
        return _decibel_interval(figure)
    if figure.unit in _PREFIXED:
        return interval_text(_prefixed(figure))
    return interval_text(_scaled(figure, 1.0, "" if "/" in figure.unit else figure.unit))


def sized(value: float, unit: str) -> str:
    """Write a plain reading to four figures, with a prefix where it is small.

    Examples
    --------
    >>> sized(1.86e-05, "V"), sized(61.2345, "A")
    ('18.6 µV', '61.23 A')
    """
    shown = (
        _prefixed(Quantity(value=value, u=0.0, unit=unit))
        if unit in _PREFIXED
        else Quantity(value=value, u=0.0, unit=unit)
    )
    return f"{shown.value:.4g} {shown.unit}".rstrip()


def _scaled(figure: Quantity, factor: float, unit: str) -> Quantity:
    return Quantity(value=figure.value * factor, u=figure.u * factor, unit=unit, k95=figure.k95)


def _prefixed(figure: Quantity) -> Quantity:
    size = max(abs(figure.value), figure.k95 * figure.u)
    if 0 < size < 1e-3:
        return _scaled(figure, 1e6, f"µ{figure.unit}")
    if 0 < size < 0.1:
        return _scaled(figure, 1e3, f"m{figure.unit}")
    return figure


def decibel(figure: Figure) -> tuple[float, float]:
    """Turn a ratio into dB: its value and the half width of its 95 % interval (10 lg for powers, 20 lg otherwise)."""
    factor = 10.0 if figure.unit == "W/W" else 20.0
    return factor * log10(figure.value), factor / log(10) * figure.k95 * figure.u / figure.value


def _decibel_interval(figure: Figure) -> str:
    value_db, half_db = decibel(figure)
    return interval_text(Quantity(value=value_db, u=half_db, unit="dB", k95=1.0))


def remarks(figure: Figure) -> list[str]:
    """Say what belongs beside a distortion figure: the same in dB with its reference, and the recorder's floor."""
    said = []
    reference = words.REFERENCES.get("harmonic" if is_harmonic(figure.name) else figure.name)
    if reference:
        reference = words.BASES.get(str(figure.conditions.get("basis")), reference)
    if reference and isfinite(figure.value) and figure.interval95[1] > 0:
        said.append(f"{_decibel_words(figure)} {reference}")
    floor = figure.conditions.get("floor")
    if is_distortion(figure.name) and isinstance(floor, int | float):
        near = figure.interval95[0] < _FLOOR_MARGIN * floor
        said.append((words.AT_THE_FLOOR if near else words.FLOOR).format(f"{two_figures(100 * floor)} %"))
    return said


def _decibel_words(figure: Figure) -> str:
    """Write a ratio in dB; where its interval reaches zero only an upper end can be told."""
    if figure.interval95[0] <= 0:
        upper, _ = decibel(figure.model_copy(update={"value": figure.interval95[1]}))
        return words.BELOW.format(f"{ceil(upper)} dB")
    value_db, half_db = decibel(figure)
    return f"{value_text(value_db, uncertainty=max(half_db, 0.1))} dB"


def two_figures(value: float) -> str:
    """Write a positive number to two significant figures, never with an exponent."""
    return value_text(value, uncertainty=value) if value > 0 else "0"


def conditions_text(conditions: Mapping[str, Condition]) -> str:
    """Write conditions compactly, the trade's four first and the others after them.

    Examples
    --------
    >>> conditions_text({"bandwidth_hz": (10, 20000), "load_ohm": 4.03, "frequency_hz": 47.0, "supply_v": 13.92})
    '47 Hz, 4.03 ohm, 13.92 V, 10 Hz to 20 kHz'
    >>> conditions_text({"at_s": 60, "basis": "v*i"})
    'at 60 s, from v·i'
    """
    keys = [key for key in _ORDER if key in conditions]
    keys += [key for key in conditions if key not in _ORDER and not _said_elsewhere(key, conditions[key])]
    return ", ".join(filter(None, (_condition(key, conditions[key]) for key in keys)))


def _said_elsewhere(key: str, value: Condition) -> bool:
    return key == "floor" or (key == "basis" and value in _RATIO_BASES)


def _condition(key: str, value: Condition) -> str:
    if key == "basis":
        return words.BASES.get(str(value), f"from {value}")
    if key.endswith("_rad") and isinstance(value, int | float):
        return f"{key.removesuffix('_rad').replace('_', ' ')} {round(degrees(value), 1) + 0.0:.1f}°"
    stem, _, suffix = key.rpartition("_")
    unit = _UNITS.get(suffix, "") if stem and "_per_" not in key else ""
    said = f"{100 * value:g} %" if key in _RATIOS and isinstance(value, int | float) else _amount(value, unit)
    if key in _ORDER:
        return said
    if key in words.CONDITIONS:
        return "unweighted" if (key, value) == ("weighting", "none") else words.CONDITIONS[key].format(said)
    return f"{(stem if unit else key).replace('_', ' ')} {said}"


def _amount(value: Condition, unit: str) -> str:
    if isinstance(value, tuple):
        return " to ".join(_amount(part, unit) for part in value)
    if isinstance(value, str):
        return f"{value} {unit}".rstrip()
    if unit == "Hz" and abs(value) >= 1000:
        return f"{value / 1000:.4g} kHz"
    return f"{value:.4g} {unit}".rstrip()
