"""How a figure is written down: rounded to its doubt, in the trade's units, with its reference and floor."""

from math import ceil, floor, isfinite, log, log10

from wattproof.measure import Condition, Figure
from wattproof.quantity import Quantity, interval_text, value_text
from wattproof.report import words
from wattproof.report.conditions import PREFIXED, conditions_text, prefixed, scaled, two_figures

_PERCENT = {"thd_f", "thd_r", "thd_n", "efficiency", "mean_over_burst_power"}
_FALLS = {"burst_droop"}
"""Ratios of last to first that are said as the fall between them."""

_DECIBEL = ("gain", "burst_headroom", "sinad", "snr")
_FLOOR_MARGIN = 2.0
"""A floor of half the reading, added in squares, is 13 % of it: nearer than that the recorder shares in the figure."""

_MOST_DIGITS = 5
"""Nobody reads more digits of a value aloud; JSON and CSV hold all."""

_IN_THE_NAME = {"sustained_power": "at_s", "burst_recovery": "of", "noise_rms_a": "weighting", "efficiency": "thd_n"}
"""Conditions by which figures of one name are told apart: they belong to the name."""


def is_harmonic(name: str) -> bool:
    """Say whether the figure is a harmonic's size relative to the fundamental."""
    return name.startswith("harmonic_") and not name.endswith("_phase")


def is_distortion(name: str) -> bool:
    """Say whether the recorder's own floor bears on this figure."""
    return name in {"thd_f", "thd_r", "thd_n"} or is_harmonic(name)


def face_name(figure: Figure) -> str:
    """Word a figure's name, with the condition that tells it from others of its name.

    Examples
    --------
    >>> power = Figure(name="sustained_power", value=512.0, u=1.1, unit="W", origin="a.wav", conditions={"at_s": 30.0})
    >>> face_name(power)
    'Sustained power at 30 s'
    """
    name = words.figure_name(figure.name)
    key = _IN_THE_NAME.get(figure.name, "")
    told = figure.conditions.get(key)
    if told is None or key == "weighting":
        return name
    if key == "thd_n" and isinstance(told, int | float):
        return words.AT_DISTORTION.format(name, 100 * told)
    return f"{name} {conditions_text({key: told})}"


def telling_conditions(figure: Figure) -> dict[str, Condition]:
    """Give the conditions that name and remarks do not say already, without the phase of what is not there."""
    skipped = {_IN_THE_NAME.get(figure.name), "thd_n" if words.names_a_limit(figure.name) else None}
    if is_distortion(figure.name):
        skipped.add("thd_basis")
    if is_harmonic(figure.name) and _near_the_floor(figure):
        skipped.add("phase_rad")
    return {key: value for key, value in figure.conditions.items() if key not in skipped}


def face_value(figure: Figure) -> str:
    """Write value, half width of the 95 % interval and unit as the trade writes this figure.

    Where the doubt is smaller than the fifth digit of the value, ± is rounded up to that digit.

    Examples
    --------
    >>> face_value(Figure(name="efficiency", value=0.7415, u=0.002, unit="W/W", origin="hold.wav"))
    '74.15 ± 0.39 %'
    >>> face_value(Figure(name="gain", value=20.0, u=0.01, unit="V/V", origin="hold.wav"))
    '26.021 ± 0.009 dB'
    >>> face_value(Figure(name="noise_rms", value=4.2e-5, u=1e-6, unit="V", origin="idle.wav"))
    '42.0 ± 2.0 µV'
    """
    if not (isfinite(figure.value) and isfinite(figure.u * figure.k95)):
        return words.UNKNOWN
    if figure.name in _FALLS:
        fall = figure.model_copy(update={"value": 1 - figure.value})
        return _written(scaled(fall, 100.0, "%"))
    if figure.name in _PERCENT or is_harmonic(figure.name):
        return _written(scaled(figure, 100.0, "%"))
    if figure.name.startswith(_DECIBEL) and figure.value > 0:
        value_db, half_db = decibel(figure)
        return _written(Quantity(value=value_db, u=half_db, unit="dB", k95=1.0))
    if figure.unit in PREFIXED:
        return _written(prefixed(figure))
    return _written(scaled(figure, 1.0, "" if "/" in figure.unit else figure.unit))


def _written(quantity: Quantity) -> str:
    half = quantity.k95 * quantity.u
    if half <= 0 or quantity.value == 0:
        return interval_text(quantity)
    finest = int(f"{quantity.value:.{_MOST_DIGITS - 1}e}".partition("e")[2]) - (_MOST_DIGITS - 1)
    if floor(log10(half)) - 1 >= finest:
        return interval_text(quantity)
    places = max(-finest, 0)
    upper = ceil(half / 10.0**finest - 1e-9) * 10.0**finest
    unit = "" if quantity.unit in {"1", ""} else f" {quantity.unit}"
    return f"{round(quantity.value, -finest):.{places}f} ± {upper:.{places}f}{unit}"


def decibel(figure: Figure) -> tuple[float, float]:
    """Turn a ratio into dB: its value and the half width of its 95 % interval (10 lg for powers, 20 lg otherwise)."""
    factor = 10.0 if figure.unit == "W/W" else 20.0
    return factor * log10(figure.value), factor / log(10) * figure.k95 * figure.u / figure.value


def remarks(figure: Figure) -> list[str]:
    """Say what belongs beside a distortion figure: the same in dB with its reference, and the recorder's floor."""
    said = []
    reference = words.REFERENCES.get("harmonic" if is_harmonic(figure.name) else figure.name)
    if reference:
        basis = figure.conditions.get("basis", figure.conditions.get("thd_basis"))
        reference = words.BASES.get(str(basis), reference)
    if reference and isfinite(figure.value) and figure.interval95[1] > 0:
        said.append(f"{_decibel_words(figure)} {reference}")
    limit = figure.conditions.get("floor")
    if is_distortion(figure.name) and isinstance(limit, int | float):
        told = words.AT_THE_FLOOR if _near_the_floor(figure) else words.FLOOR
        said.append(told.format(f"{two_figures(100 * limit)} %"))
    return said


def _near_the_floor(figure: Figure) -> bool:
    limit = figure.conditions.get("floor")
    return isinstance(limit, int | float) and figure.interval95[0] < _FLOOR_MARGIN * limit


def _decibel_words(figure: Figure) -> str:
    """Write a ratio in dB; where its interval reaches zero only an upper end can be told."""
    if figure.interval95[0] <= 0:
        upper, _ = decibel(figure.model_copy(update={"value": figure.interval95[1]}))
        return words.BELOW.format(f"{ceil(upper)} dB")
    value_db, half_db = decibel(figure)
    return f"{value_text(value_db, uncertainty=max(half_db, 0.1))} dB"
