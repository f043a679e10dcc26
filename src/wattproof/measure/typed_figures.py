"""Every figure that one line of typed readings allows."""

from collections.abc import Sequence
from math import pi, sqrt

from wattproof.measure.model import Figure
from wattproof.measure.typed_row import TypedRow
from wattproof.quantity import Uncertain

# A current that follows the magnitude of a sine varies by this share of its mean, squared: the most a class-B stage
# without storage draws.
RIPPLE_SHARE = pi**2 / 8 - 1


def row_figures(typed: TypedRow, *, source_ohm: float | None) -> list[Figure]:
    """Give the figures of one row; `source_ohm` is the supply's resistance where the rows together show it."""
    figures = [*_levels(typed), *_ratios(typed), *_load_side(typed), *_supply_side(typed, source_ohm)]
    return [*figures, *_both_sides(typed, figures, source_ohm)]


def find(figures: Sequence[Figure], name: str) -> Figure | None:
    """Give the figure of that name, or None."""
    return next((figure for figure in figures if figure.name == name), None)


def _levels(typed: TypedRow) -> list[Figure]:
    voltage, current = typed.number("load_voltage"), typed.number("load_current")
    figures = []
    if voltage is not None:
        figures.append(typed.figure("load_voltage_rms", voltage, "V"))
    if current is not None:
        figures.append(typed.figure("load_current_rms", current, "A"))
    return figures


def _ratios(typed: TypedRow) -> list[Figure]:
    figures = []
    voltage, drive = typed.number("load_voltage"), typed.number("drive_voltage")
    if voltage is not None and drive is not None and typed.row.drive_voltage_v:
        figures.append(typed.figure("gain", voltage / drive, "V/V"))
    noisy, harmonics = typed.number("thd"), typed.number("thd_f")
    if noisy is not None:
        figures.append(typed.figure("thd_n", noisy, "V/V", basis="typed"))
    if harmonics is not None:
        figures.append(typed.figure("thd_f", harmonics, "V/V", basis="typed"))
    return figures


def _load_side(typed: TypedRow) -> list[Figure]:
    """Powers and impedance; volts times amperes are volt-amperes until the load is known to be a resistor."""
    voltage, current, resistance = typed.number("load_voltage"), typed.number("load_current"), typed.resistance()
    figures = []
    if voltage is not None and current is not None:
        figures.append(typed.figure("apparent_power", voltage * current, "VA"))
        if typed.row.load_current_a:
            figures.append(typed.figure("load_impedance", voltage / current, "ohm"))
    if voltage is not None and resistance is not None:
        figures.append(typed.figure("load_power_v2r", voltage * voltage / resistance, "W", basis=_square_basis(typed)))
    power = load_power(typed)
    if power is not None:
        figures.append(typed.figure("load_power", power[0], "W", basis=power[1]))
    return figures


def _square_basis(typed: TypedRow) -> str:
    calibrated = typed.named is not None and typed.named.calibrated
    return "v^2/r" if calibrated else "v^2/r, nominal load"


def load_power(typed: TypedRow) -> tuple[Uncertain, str] | None:
    """Give the power into the load and how it was had; None where it cannot be told from what was typed.

    A wattmeter's reading comes first. Otherwise the load must be one of the bench's calibrated resistors: volts times
    amperes times its power factor, or volts or amperes with its resistance. Volts and amperes that contradict the
    resistor give no power: something else is connected.
    """
    typed_power = typed.number("power")
    if typed_power is not None:
        return typed_power, "typed"
    if typed.named is None or not typed.named.calibrated:
        return None
    voltage, current, resistance = typed.number("load_voltage"), typed.number("load_current"), typed.resistance()
    factor = typed.power_factor
    if voltage is not None and current is not None:
        if load_gap(typed) is not None:
            return None
        return voltage * current * factor, "v*i in a resistor"
    if voltage is not None:
        return voltage * voltage / resistance * factor**2, "v^2/r"
    if current is not None:
        return current * current * resistance, "i^2*r"
    return None


def load_gap(typed: TypedRow) -> tuple[float, float, float] | None:
    """Compare volts over amperes with the load named.

    Returns
    -------
    tuple of (ohm found, ohm named, ohm of the 95 % half width of their difference), or None
        None where they agree within their uncertainty, or cannot be compared.
    """
    voltage, current, resistance = typed.number("load_voltage"), typed.number("load_current"), typed.resistance()
    if voltage is None or current is None or resistance is None or not typed.row.load_current_a:
        return None
    gap = typed.ledger.quantity(voltage / current - resistance / typed.power_factor, unit="ohm")
    half = gap.k95 * gap.u
    if abs(gap.value) <= half:
        return None
    named_ohm = typed.load.resistance_ohm / typed.power_factor if typed.load is not None else 0.0
    return named_ohm + gap.value, named_ohm, half


def supply_power(typed: TypedRow, source_ohm: float | None) -> Uncertain | None:
    """Product of the mean supply voltage and current, W.

    Where voltage sags while current peaks, the mean of v·i is less by source resistance times variance of the
    current. Meters do not show it; with the source's resistance known its largest likely size widens the doubt.
    """
    voltage, current = typed.number("supply_voltage"), typed.number("supply_current")
    if voltage is None or current is None:
        return None
    hidden_w = hidden_power_w(typed, source_ohm) or 0.0
    source = f"{typed.origin}: ripple that meters do not show"
    hidden = typed.ledger.source(source, 0.0, hidden_w / sqrt(3), label="ripple that meters do not show", kind="B")
    return voltage * current + hidden


def hidden_power_w(typed: TypedRow, source_ohm: float | None) -> float | None:
    """Most by which the product of the means is likely to exceed the mean of v·i; None where it cannot be told."""
    if typed.row.kind == "idle":
        return 0.0
    if source_ohm is None or typed.row.supply_current_a is None:
        return None
    return max(source_ohm, 0.0) * RIPPLE_SHARE * typed.row.supply_current_a**2


def _supply_side(typed: TypedRow, source_ohm: float | None) -> list[Figure]:
    voltage, current = typed.number("supply_voltage"), typed.number("supply_current")
    figures = []
    if voltage is not None:
        figures.append(typed.figure("supply_voltage", voltage, "V", whole=True))
    if current is not None:
        figures.append(typed.figure("supply_current", current, "A", whole=True))
        if typed.row.kind == "idle":
            figures.append(typed.figure("idle_current", current, "A", whole=True))
    power = supply_power(typed, source_ohm)
    if power is not None:
        figures.append(typed.figure("supply_power", power, "W", whole=True, basis="product of means"))
    return figures


def _both_sides(typed: TypedRow, figures: list[Figure], source_ohm: float | None) -> list[Figure]:
    drawn = supply_power(typed, source_ohm)
    watts = find(figures, "supply_power")
    if drawn is None or watts is None or typed.row.kind == "idle":
        return []
    delivered = load_power(typed)
    if delivered is None:
        voltage, resistance = typed.number("load_voltage"), typed.resistance()
        if voltage is None or resistance is None or load_gap(typed) is not None:
            return []
        delivered = voltage * voltage / resistance, _square_basis(typed)
    power, basis = delivered
    both = [typed.figure("heat", drawn - power, "W", whole=True, basis=basis)]
    if watts.value > 0:
        both.insert(0, typed.figure("efficiency", power / drawn, "W/W", whole=True, basis=basis))
    return both
