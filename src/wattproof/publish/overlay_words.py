"""What a clip says: its words and how its numbers are written, in one place."""

from math import floor, log10

LABELS = {
    "load_power": "load power",
    "thd_n": "distortion",
    "supply_voltage": "supply voltage",
    "supply_current": "supply current",
    "temperature": "temperature",
}
UNITS = {"load_power": "W", "thd_n": "%", "supply_voltage": "V", "supply_current": "A", "temperature": "°C"}
NOTHING = "–"
STRIP = "where the supply’s power goes"
LOAD, LOADS, HEAT = "load", "all loads", "heat"
TIMES = "{} s of {} s"
BURST = "burst {} of {}"
CHARTS = {
    "ramp": "distortion in % against W",
    "time": "load power in W, over {} s",
    "thd": "distortion in %, over {} s",
}


def shown_unit(quantity: str, value: float) -> float:
    """Turn a value from SI into the unit that it is shown in."""
    return 100 * value if quantity == "thd_n" else value


def number_text(quantity: str, value: float | None) -> str:
    """Write a live number, without its unit; it carries no interval, so it is given no more than four digits.

    Examples
    --------
    >>> number_text("load_power", 512.34), number_text("thd_n", 0.01234), number_text("supply_voltage", 13.876)
    ('512', '1.23', '13.88')
    >>> number_text("temperature", None)
    '–'
    """
    if value is None:
        return NOTHING
    shown = shown_unit(quantity, value)
    places = 2 if quantity == "supply_voltage" else 1 if quantity == "temperature" else _places(abs(shown))
    text = f"{shown:.{places}f}"
    return text.replace("-", "−") if float(text) else text.lstrip("-")


def _places(size: float) -> int:
    """Three figures, but none finer than a hundredth."""
    return 2 if size < 1 else max(2 - floor(log10(size)), 0)


def share_text(name: str, share: float) -> str:
    """Write a part of the whole.

    Examples
    --------
    >>> share_text("load", 0.616)
    'load 62 %'
    """
    return f"{name} {100 * share:.0f} %"


def clock_text(seconds: float) -> str:
    """Write a time to a tenth of a second, cut and not rounded: it has passed.

    Examples
    --------
    >>> clock_text(3.99)
    '3.9'
    """
    return f"{floor(max(seconds, 0.0) * 10 + 1e-9) / 10:.1f}"
