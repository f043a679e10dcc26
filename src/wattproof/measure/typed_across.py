"""Figures that need several lines of typed readings: the supply's resistance and the amplifier's own."""

from collections.abc import Sequence
from math import sqrt

from wattproof.errors import Notice
from wattproof.measure.model import Figure
from wattproof.measure.typed_row import TypedRow
from wattproof.quantity import Ledger, Quantity, Uncertain

_SCATTER = 3.0
"""Reduced chi-square from which the points are said not to lie on a line."""


def source_resistance(rows: Sequence[TypedRow]) -> tuple[Figure | None, tuple[Notice, ...]]:
    """Read the supply's resistance from how its voltage falls as its current rises over the rows.

    A straight line ``V = E - R·I`` is fitted with weights 1/(u(V)² + R²·u(I)²) from what each reading does not share
    with the others; the meters' shared errors act on the result as they are. Where the points scatter more than
    that explains, the excess is added as type A with n - 2 degrees of freedom.

    Returns
    -------
    figure : Figure or None
        None with fewer than two currents, or where the voltage clearly rises with the current.
    notices : tuple of Notice
    """
    points = [row for row in rows if row.row.supply_voltage_v is not None and row.row.supply_current_a is not None]
    currents = [row.row.supply_current_a or 0.0 for row in points]
    if len(points) < 2 or max(currents) <= min(currents):
        return None, ()
    ledger = Ledger()
    number, reduced = _line(points, ledger)
    quantity = ledger.quantity(number, unit="ohm")
    if quantity.value < -quantity.k95 * quantity.u:
        return None, (_rising(points, quantity),)
    lines = f"lines {min(p.row.line for p in points)}-{max(p.row.line for p in points)}"
    figure = Figure(
        **dict(quantity),
        name="source_resistance",
        output=None,
        conditions={"current_a": (min(currents), max(currents)), "readings": len(points)},
        origin=f"{points[0].file} {lines}",
    )
    return figure, (_scattered(reduced, len(points)),) if reduced > _SCATTER else ()


def _line(points: Sequence[TypedRow], ledger: Ledger) -> tuple[Uncertain, float]:
    volts = [float(row.row.supply_voltage_v or 0.0) for row in points]
    amps = [float(row.row.supply_current_a or 0.0) for row in points]
    slope = 0.0
    for _ in range(3):  # the weights depend on the slope a little; three rounds settle them
        variances = [row.own_u("supply_voltage") ** 2 + (slope * row.own_u("supply_current")) ** 2 for row in points]
        weights = [1 / variance for variance in variances] if min(variances) > 0 else [1.0] * len(points)
        slope = _slope(volts, amps, weights)
    number = -_slope(
        [row.number("supply_voltage", ledger=ledger) for row in points],
        [row.number("supply_current", ledger=ledger) for row in points],
        weights,
    )
    chi_square, spread = _misfit(volts, amps, weights, slope)
    dof = len(points) - 2
    reduced = chi_square / dof if dof > 0 and min(variances) > 0 else 0.0
    excess = sqrt(max(reduced - 1, 0.0) / spread)
    label = "scatter about the line"
    source = f"{points[0].file}: source resistance, {label}"
    return number + ledger.source(source, 0.0, excess, label=label, kind="A", dof=max(dof, 1)), reduced


def _slope(volts: Sequence[Uncertain], amps: Sequence[Uncertain], weights: Sequence[float]) -> Uncertain:
    total = sum(weights)
    mean_v = sum(w * v for w, v in zip(weights, volts, strict=True)) / total
    mean_i = sum(w * i for w, i in zip(weights, amps, strict=True)) / total
    rise = sum(w * (i - mean_i) * (v - mean_v) for w, i, v in zip(weights, amps, volts, strict=True))
    return rise / sum(w * (i - mean_i) * (i - mean_i) for w, i in zip(weights, amps, strict=True))


def _misfit(
    volts: Sequence[float], amps: Sequence[float], weights: Sequence[float], slope: float
) -> tuple[float, float]:
    total = sum(weights)
    mean_v = sum(w * v for w, v in zip(weights, volts, strict=True)) / total
    mean_i = sum(w * i for w, i in zip(weights, amps, strict=True)) / total
    rest = [v - mean_v - slope * (i - mean_i) for v, i in zip(volts, amps, strict=True)]
    spread = sum(w * (i - mean_i) ** 2 for w, i in zip(weights, amps, strict=True))
    return sum(w * r * r for w, r in zip(weights, rest, strict=True)), spread


def _rising(points: Sequence[TypedRow], slope: Quantity) -> Notice:
    return Notice(
        code="supply-rises",
        message=f"Over {len(points)} readings the supply voltage rises with the current, by {-slope.value:.3g} V/A.",
        hint="Look for a swapped pair of readings, a supply that was turned up between them, or sense leads that "
        "overcompensate; the source's resistance is left out.",
        numbers={"rise_ohm": -slope.value, "u_ohm": slope.u},
    )


def _scattered(reduced: float, points: int) -> Notice:
    return Notice(
        code="supply-scatters",
        message=f"The {points} supply readings lie off a straight line by {sqrt(reduced):.1f} times what the meters' "
        "digits explain.",
        hint="Was the supply turned up or down, or a battery drained, between the readings? Then only rows taken "
        "close together tell the source's resistance.",
        numbers={"reduced_chi_square": reduced},
    )


def output_resistance(typed: TypedRow, rows: Sequence[TypedRow]) -> tuple[list[Figure], list[Notice]]:
    """Read the amplifier's output resistance from a loaded row and an open one, R·(V_open/V_loaded - 1).

    The open row must have the same output, kind, frequency and drive; the nearest in the file is taken. The damping
    factor is that of the load named, at the point where the voltage was read.
    """
    partner = _open_partner(typed, rows)
    ledger = typed.ledger
    resistance, loaded = typed.resistance(), typed.number("load_voltage")
    if partner is None or resistance is None or loaded is None or not typed.row.load_voltage_v:
        return [], []
    open_volts = partner.number("load_voltage", ledger=ledger)
    number = resistance * (open_volts / loaded - 1)
    figure = typed.figure("output_resistance", number, "ohm", open_line=partner.row.line)
    if figure.value <= 2 * figure.u:
        return [figure], [_unresolved(figure)]
    return [figure, typed.figure("damping_factor", resistance / number, "1", open_line=partner.row.line)], []


def _open_partner(typed: TypedRow, rows: Sequence[TypedRow]) -> TypedRow | None:
    def same(other: TypedRow) -> bool:
        keys = ("output", "kind", "frequency_hz", "drive_voltage_v")
        alike = all(getattr(typed.row, key) == getattr(other.row, key) for key in keys)
        return alike and other.is_open and other.row.load_voltage_v is not None

    found = [other for other in rows if same(other)]
    return min(found, key=lambda other: abs(other.row.line - typed.row.line), default=None)


def _unresolved(figure: Figure) -> Notice:
    return Notice(
        code="damping-unresolved",
        message=f"The output resistance, {figure.value:.3g} ohm, is not clear of its uncertainty, {figure.u:.2g} ohm: "
        "a damping factor would be an accident of the last digit.",
        hint="Read with more digits, into a lower load, or the difference of open and loaded voltage directly.",
        numbers={"output_resistance_ohm": figure.value, "u_ohm": figure.u},
    )
