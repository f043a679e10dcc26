"""What a careful colleague would say on seeing one line of typed readings."""

from collections.abc import Sequence

from wattproof.amplifier import Amplifier
from wattproof.errors import Notice
from wattproof.measure.model import Figure
from wattproof.measure.typed_figures import find, hidden_power_w, load_gap
from wattproof.measure.typed_row import TypedRow


def row_notices(
    typed: TypedRow, figures: Sequence[Figure], *, amplifier: Amplifier | None, source_ohm: float | None
) -> list[Notice]:
    """Tell all that is doubtful about one row and its figures."""
    return [
        *_meter_notices(typed),
        *_load_notices(typed, figures),
        *_power_notices(typed, figures),
        *_product_notices(typed, figures, source_ohm),
        *_efficiency_notices(typed, figures, amplifier),
        *_amplifier_notices(typed, amplifier),
    ]


def _meter_notices(typed: TypedRow) -> list[Notice]:
    notices = [doubt.notice for doubt in typed.doubts.values() if doubt.notice is not None]
    bare = [name for name in typed.doubts if name not in typed.meters and name != "frequency"]
    if bare:
        notices.append(
            Notice(
                code="no-meter",
                message=f"No meter is known for {', '.join(bare)}: only the digits typed count as uncertainty.",
                hint="Add the meter's accuracy as [[meters]] to the bench file; hand-held meters are often 1 % off.",
            )
        )
    return notices


def _load_notices(typed: TypedRow, figures: Sequence[Figure]) -> list[Notice]:
    notices = []
    uses_load = find(figures, "load_power_v2r") is not None
    if uses_load and typed.named is not None and not typed.named.calibrated:
        notices.append(
            Notice(
                code="nominal-load",
                message=f"The load is taken as exactly {typed.named.load.resistance_ohm:g} ohm, without uncertainty.",
                hint="Measure the resistor with four wires and name it under [[loads]] in the bench file. "
                "A loudspeaker is not its nominal ohms at any one frequency.",
                numbers={"load_ohm": typed.named.load.resistance_ohm},
            )
        )
    gap = load_gap(typed)
    if gap is not None and typed.load is not None:
        found, named, half = gap
        notices.append(
            Notice(
                code="load-differs",
                message=f"Volts over amperes give {found:.4g} ohm, {typed.load.name} has {named:.4g} ohm; "
                f"the uncertainty of the readings explains {half:.2g} ohm.",
                hint="Another load may be connected (a loudspeaker is mostly above its nominal ohms), leads may add "
                "resistance, or one reading is wrong. Volts times amperes are then volt-amperes, not watts.",
                numbers={"found_ohm": found, "named_ohm": named, "allowed_ohm": half},
            )
        )
    return notices


def _power_notices(typed: TypedRow, figures: Sequence[Figure]) -> list[Notice]:
    watts = typed.row.power_w
    if watts is None:
        return []
    if watts < 0:
        return [
            Notice(
                code="negative-power",
                message=f"The wattmeter read {watts:g} W: power flowing out of the load.",
                hint="Its voltage or current leads are reversed: swap one pair and read again.",
                numbers={"load_power_w": watts},
            )
        ]
    return [*_square_notices(typed, figures), *_ceiling_notices(typed, figures)]


def _square_notices(typed: TypedRow, figures: Sequence[Figure]) -> list[Notice]:
    """Compare the wattmeter with V²/R."""
    power, voltage, resistance = typed.number("power"), typed.number("load_voltage"), typed.resistance()
    square = find(figures, "load_power_v2r")
    if square is None or power is None or voltage is None or resistance is None:
        return []
    square_w = voltage * voltage / resistance * typed.power_factor**2
    gap = typed.ledger.quantity(power - square_w, unit="W")
    if abs(gap.value) <= gap.k95 * gap.u:
        return []
    watts, volts = typed.row.power_w or 0.0, typed.row.load_voltage_v or 0.0
    numbers = {"typed_w": watts, "load_power_v2r_w": square.value}
    fitting = ""
    if watts > 0 and volts > 0:
        numbers["fitting_ohm"] = volts**2 / watts
        fitting = f" Both would agree with a load of {volts**2 / watts:.3g} ohm."
    return [
        Notice(
            code="powers-differ",
            message=f"{watts:g} W were typed, but {volts:g} V in the load named make {square.value:.4g} W.{fitting}",
            hint="Check the load and both readings; one of the three belongs to another row.",
            numbers=numbers,
        )
    ]


def _ceiling_notices(typed: TypedRow, figures: Sequence[Figure]) -> list[Notice]:
    """Watts can never exceed volts times amperes."""
    power, voltage, current = typed.number("power"), typed.number("load_voltage"), typed.number("load_current")
    apparent = find(figures, "apparent_power")
    if apparent is None or power is None or voltage is None or current is None:
        return []
    excess = typed.ledger.quantity(power - voltage * current, unit="W")
    if excess.value <= excess.k95 * excess.u:
        return []
    return [
        Notice(
            code="power-over-apparent",
            message=f"{typed.row.power_w:g} W were typed, more than volts times amperes, {apparent.value:.4g} VA.",
            hint="No load takes more watts than volt-amperes: check the readings, and that all are r.m.s. values.",
            numbers={"typed_w": typed.row.power_w or 0.0, "apparent_power_va": apparent.value},
        )
    ]


def _product_notices(typed: TypedRow, figures: Sequence[Figure], source_ohm: float | None) -> list[Notice]:
    power = find(figures, "supply_power")
    if power is None or typed.row.kind == "idle":
        return []
    hidden_w = hidden_power_w(typed, source_ohm)
    told = (
        "how much too high it is cannot be told without the source's resistance, and is not in the uncertainty"
        if hidden_w is None
        else f"judged by the source's resistance it is up to {hidden_w:.2g} W too high, which the uncertainty holds"
    )
    return [
        Notice(
            code="product-of-means",
            message=f"The supply power, {power.value:.4g} W, is a product of two means: {told}.",
            hint="Where the voltage sags while the current peaks, the true mean of v·i is lower, and the efficiency "
            "higher. Record supply voltage and current together, or read close to a stiff supply.",
            numbers={"supply_power_w": power.value} | ({} if hidden_w is None else {"hidden_w": hidden_w}),
        )
    ]


def _efficiency_notices(typed: TypedRow, figures: Sequence[Figure], amplifier: Amplifier | None) -> list[Notice]:
    efficiency = find(figures, "efficiency")
    if efficiency is None:
        return []
    notices = []
    if efficiency.value > 1:
        notices.append(
            Notice(
                code="efficiency-over-1",
                message=f"Efficiency comes out as {100 * efficiency.value:.1f} %: more leaves than enters.",
                hint="Check all readings of this row: a peak taken for r.m.s., the load's resistance, a supply current "
                "clamped on one of several cables, or readings not taken at the same moment.",
                numbers={"efficiency": efficiency.value, "u": efficiency.u},
            )
        )
    if amplifier is not None and len(amplifier.outputs) > 1:
        notices.append(
            Notice(
                code="one-output-counted",
                message=f"Efficiency and heat count output {typed.row.output} alone; the amplifier has "
                f"{len(amplifier.outputs)} outputs.",
                hint="They hold where only this output was driven. With several driven, add their powers.",
                numbers={"outputs": float(len(amplifier.outputs))},
            )
        )
    return notices


def _amplifier_notices(typed: TypedRow, amplifier: Amplifier | None) -> list[Notice]:
    least = None if amplifier is None else amplifier.minimum_load_ohm
    if least is None or typed.load is None or typed.load.resistance_ohm >= 0.95 * least:
        return []
    return [
        Notice(
            code="load-below-minimum",
            message=f"The load, {typed.load.resistance_ohm:g} ohm, is below the least the maker allows, {least:g} ohm.",
            hint="Stop: the amplifier may overheat or fail. Use a load of the stated ohms or more.",
            numbers={"load_ohm": typed.load.resistance_ohm, "minimum_load_ohm": least},
        )
    ]
