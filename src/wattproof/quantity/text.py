"""Numbers as people write them: rounded to their uncertainty, never further."""

from math import floor, log10

from wattproof.quantity.model import Quantity


def _digits_after_point(uncertainty: float) -> int:
    """Decimal places that leave two significant figures of the uncertainty (JCGM 100, 7.2.6)."""
    return 1 - floor(log10(uncertainty))


def value_text(value: float, *, uncertainty: float = 0.0) -> str:
    """Write a value to the second significant figure of its uncertainty, or to six figures without one.

    Examples
    --------
    >>> value_text(512.3456, uncertainty=4.2)
    '512.3'
    >>> value_text(51234.56, uncertainty=420)
    '51230'
    >>> value_text(0.123456789)
    '0.123457'
    """
    if uncertainty <= 0:
        return f"{value:.6g}"
    places = _digits_after_point(uncertainty)
    return f"{round(value, places):.{max(places, 0)}f}"


def interval_text(quantity: Quantity) -> str:
    """Write value, half width of the 95 % interval and unit: ``512.3 ± 4.2 W``.

    Examples
    --------
    >>> interval_text(Quantity(value=512.34, u=2.1, unit="W", k95=2.0))
    '512.3 ± 4.2 W'
    """
    half = quantity.k95 * quantity.u
    unit = "" if quantity.unit in {"1", ""} else f" {quantity.unit}"
    if half <= 0:
        return f"{value_text(quantity.value)}{unit}"
    return f"{value_text(quantity.value, uncertainty=half)} ± {value_text(half, uncertainty=half)}{unit}"
