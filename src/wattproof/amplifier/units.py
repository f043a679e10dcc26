"""Which units a maker's figure may stand in, and what they are in SI."""

from wattproof.settings import nearest

RATING_UNITS: dict[str, tuple[str, ...]] = {
    "power": ("W", "kW"),
    "thd": ("%", "1", "dB"),
    "efficiency": ("%", "1"),
    "snr": ("dB", "dBA", "dB(A)"),
    "noise": ("V", "mV", "uV", "µV", "dBV"),
    "frequency_low": ("Hz", "kHz"),
    "frequency_high": ("Hz", "kHz"),
    "sensitivity": ("V", "mV"),
    "input_overload": ("V", "mV"),
    "output_voltage": ("V",),
    "input_impedance": ("ohm", "kohm"),
    "gain": ("dB", "V/V", "1"),
    "crosstalk": ("dB",),
    "damping_factor": ("1",),
    "output_resistance": ("ohm", "mohm"),
    "filter": ("Hz", "kHz"),
    "filter_slope": ("dB/octave",),
    "boost": ("dB",),
    "idle_current": ("A", "mA"),
    "standby_current": ("A", "mA", "uA", "µA"),
    "supply_current": ("A",),
    "supply_voltage_low": ("V",),
    "supply_voltage_high": ("V",),
    "fuse": ("A",),
}
"""Quantities with their usual units; another quantity may be written with any unit, and is kept as it stands."""

_FACTORS = {"%": 0.01, "kW": 1e3, "kHz": 1e3, "kohm": 1e3, "mohm": 1e-3, "mV": 1e-3, "mA": 1e-3, "uV": 1e-6, "uA": 1e-6}


def known_quantity(name: str) -> str | None:
    """Give the quantity a name stands for or was most likely meant to be; None for one of the person's own.

    Examples
    --------
    >>> known_quantity("pwoer"), known_quantity("hum_at_full_moon")
    ('power', None)
    """
    return name if name in RATING_UNITS else nearest(name, list(RATING_UNITS))


def si_value(value: float, unit: str) -> float:
    """Give a value in SI units and plain ratios; what is SI or decibel already stays as it is.

    Examples
    --------
    >>> si_value(0.52, "kW"), si_value(-80, "dBV"), si_value(92, "dB")
    (520.0, 0.0001, 92.0)
    """
    if unit == "dBV":
        return float(10 ** (value / 20))
    return value * _FACTORS.get(unit.replace("µ", "u"), 1.0)
