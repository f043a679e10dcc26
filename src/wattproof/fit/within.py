"""How far the data of a model reach: what is refused, what is told, and what is not known of the rail in between."""

from math import sqrt

from wattproof.errors import BeyondDataError, Notice
from wattproof.fit.model import Asked, BehaviourModel

LOAD_MARGIN = 0.85
"""Loads down to this share of the lowest measured one are predicted: 18 % more current than was seen."""
LOAD_MARGIN_STATED = 0.45
"""The same where the rail is known without measuring it: half the load, with a notice."""
SUPPLY_MARGIN = 0.05
"""So far beyond the measured supply voltages the rail is bounded by holding and following."""
SUPPLY_MARGIN_ONE = 0.25
"""The same from a single measured voltage, where the whole answer is such a bound."""
THD_MARGIN = 1.3


def is_bounded(model: BehaviourModel) -> bool:
    """Whether one supply voltage only was measured, so that the rail may hold or follow."""
    return model.parameter("rail_exponent").fixed_by == "prior"


def beyond_supply(model: BehaviourModel, supply_v: float) -> bool:
    """Whether a supply voltage at the terminals lies outside those measured."""
    return not model.supply_v[0] <= supply_v <= model.supply_v[1]


def check_asked(model: BehaviourModel, asked: Asked) -> tuple[Notice, ...]:
    """Refuse a load, a limit or a number of outputs beyond the data; say what lies at their edge.

    Raises
    ------
    BeyondDataError
        One of them is beyond the data.
    """
    _refuse_load(model, asked)
    low, high = model.thd_n
    if not low / THD_MARGIN <= asked.thd_n <= high * THD_MARGIN:
        raise BeyondDataError(
            f"Cannot predict at {100 * asked.thd_n:g} % of distortion.",
            why=f"the captures hold limits from {100 * low:g} to {100 * high:g} %",
            hint=f"Ask for {100 * low:g} to {100 * high:g} %, or capture a ramp that goes there.",
        )
    if asked.driven != model.driven:
        raise BeyondDataError(
            f"Cannot predict with {asked.driven} outputs driven.",
            why=f"in the captures {model.driven} were driven at once; outputs share the supply's rails",
            hint=f"Ask for {model.driven}, or capture ramps with {asked.driven} outputs driven.",
        )
    return _load_notices(model, asked)


def check_supply(model: BehaviourModel, supply_v: float) -> tuple[Notice, ...]:
    """Refuse a supply voltage at the terminals that is far from those measured; say where it is a little beyond.

    Raises
    ------
    BeyondDataError
        It is too far from them.
    """
    low, high = model.supply_v
    margin = SUPPLY_MARGIN_ONE if is_bounded(model) or _is_stated(model) else SUPPLY_MARGIN
    if not low * (1 - margin) <= supply_v <= high * (1 + margin):
        raise BeyondDataError(
            f"Cannot predict at {supply_v:.4g} V at the terminals.",
            why=f"the captures hold {low:.4g} to {high:.4g} V; so far beyond them the rail may hold, follow or give up",
            hint=f"Ask for {low * (1 - margin) + 0.05:.1f} to {high * (1 + margin) - 0.05:.1f} V; or capture a ramp "
            "nearer to it, as far as the amplifier is made for it.",
        )
    if is_bounded(model) or _is_stated(model) or low * 0.998 <= supply_v <= high * 1.002:
        return ()
    return (
        Notice(
            code="supply-beyond-data",
            message=f"{supply_v:.2f} V at the terminals lies beyond the supply voltages of the captures, {low:.2f} to "
            f"{high:.2f} V.",
            hint="The interval holds a rail that stands there and one that follows; a ramp at that voltage narrows it.",
        ),
    )


def rail_doubt(model: BehaviourModel, supply_v: float) -> float:
    """Relative standard uncertainty of the open rail away from the measured supply voltages.

    A rail rises with the supply, and not faster than in proportion: that bounds it from each measured voltage.
    Regulated or following in full, the bounds from both sides meet in between; regulated at the upper voltage and
    dropped out at the lower, they do not. Past the highest voltage a following rail may begin to be held, and past the
    lowest a held one may begin to fall; the other way round no converter goes.
    """
    exponent = model.parameter("rail_exponent")
    if exponent.fixed_by != "data":
        return 0.0
    power = exponent.value or 0.0
    if beyond_supply(model, supply_v):
        return abs(rail_beyond(model, supply_v) - 1.0) / sqrt(3)
    levels = model.supply_levels_v or model.supply_v
    under, over = [volt for volt in levels if volt <= supply_v], [volt for volt in levels if volt > supply_v]
    if not under or not over:
        return 0.0
    low_rail, high_rail = (float((end_v / supply_v) ** power) for end_v in (under[-1], over[0]))
    upper = min(high_rail, low_rail * supply_v / under[-1])
    lower = max(low_rail, high_rail * supply_v / over[0])
    return max(upper - lower, 0.0) / sqrt(12)


def rail_beyond(model: BehaviourModel, supply_v: float) -> float:
    """Give the other bound of the rail past the measured supply voltages, over what the fitted exponent says.

    1 between them, and where nothing else is possible.
    """
    exponent = model.parameter("rail_exponent")
    edge_v = min(max(supply_v, model.supply_v[0]), model.supply_v[1])
    if exponent.fixed_by != "data" or edge_v == supply_v:
        return 1.0
    law = float((supply_v / edge_v) ** (exponent.value or 0.0))
    return min(1.0 if supply_v > edge_v else supply_v / edge_v, law) / law


def _is_stated(model: BehaviourModel) -> bool:
    return model.parameter("rail_v").fixed_by == "stated"


def _refuse_load(model: BehaviourModel, asked: Asked) -> None:
    low_ohm, high_ohm = model.load_ohm
    one_load = model.parameter("output_ohm").fixed_by == "prior"
    margin = LOAD_MARGIN_STATED if _is_stated(model) else LOAD_MARGIN
    if asked.load_ohm >= margin * low_ohm and not (one_load and asked.load_ohm > high_ohm / LOAD_MARGIN):
        return
    measured = f"{low_ohm:.3g} ohm alone" if one_load else f"{low_ohm:.3g} to {high_ohm:.3g} ohm"
    if asked.load_ohm < low_ohm:
        why = "into a lower load the amplifier may limit its current or switch off, and no capture shows where"
    else:
        why = "how the limit moves with the load takes two loads to see"
    raise BeyondDataError(
        f"Cannot predict into {asked.load_ohm:g} ohm.",
        why=f"the captures hold {measured}; {why}",
        hint=f"Ask for {margin * low_ohm + 0.005:.2f} ohm or more, or capture a ramp into {asked.load_ohm:g} ohm.",
    )


def _load_notices(model: BehaviourModel, asked: Asked) -> tuple[Notice, ...]:
    low_ohm, high_ohm = model.load_ohm
    if asked.load_ohm > high_ohm * 1.05:
        return (
            Notice(
                code="load-above-data",
                message=f"{asked.load_ohm:g} ohm lies above the highest load of the captures, {high_ohm:.3g} ohm.",
                hint="The amplifier gives less current there, which asks less of it; a ramp into such a load shows it.",
            ),
        )
    if asked.load_ohm < low_ohm * 0.95:
        return (
            Notice(
                code="load-below-data",
                message=f"{asked.load_ohm:g} ohm lies below the lowest load of the captures, {low_ohm:.3g} ohm.",
                hint="A current limit that begins there is not in the model; a ramp into such a load shows it.",
            ),
        )
    return ()
