"""Puts the efficiency at a limit on the terms; the model carries it by the ratio of two predictions."""

from math import log, sqrt

from wattproof.errors import BeyondDataError
from wattproof.fit import Asked, BehaviourModel, predict
from wattproof.judge.compare_points import Side, condition, supply_of
from wattproof.judge.compare_power import NEAR, SAME, Placed, Refusal, Spot
from wattproof.measure import CaptureResult, Figure

_LIMIT_WITHIN = 1.1
"""Efficiency is read at one limit; a typed reading within this factor of it stands for it."""
FULL_DOUBT_AT = 0.35
"""The prediction's doubt is taken whole where load or supply voltage differ by this much (logarithm), in proportion
below, and half of the correction itself is added: two predictions nearby err alike."""


def efficiency_on_terms(side: Side, spot: Spot) -> Placed | Refusal:
    """Give the efficiency at a limit on the terms, or say why that cannot be."""
    found = [pair for pair in side.figures("efficiency") if _at_limit(*pair, spot)]
    if not found:
        return Refusal(
            why=f"no efficiency was read at {100 * spot.thd_n:g} % of distortion with {spot.driven} driven",
            hint="Record the supply's voltage and current in a ramp.",
        )
    whole = [pair for pair in found if None not in _conditions(*pair)]
    if not whole:
        return Refusal(why="its load or its supply voltage was not recorded", hint="Record both beside it.")
    result, figure = min(whole, key=lambda pair: _effect(pair[0], pair[1], spot))
    effect = _effect(result, figure, spot)
    carried = None if effect <= SAME else _carried(side, result, figure, spot)
    if isinstance(carried, Placed):
        return carried
    if effect > NEAR and carried is not None:
        return carried
    unlike = side.doubt(f"{figure.origin} efficiency: taken for {spot}", effect / sqrt(3), label="conditions not alike")
    return Placed(number=side.restored(figure) * (1 + unlike), where=figure.origin)


def _at_limit(result: CaptureResult, figure: Figure, spot: Spot) -> bool:
    stated = condition(figure, "thd_n")
    if result.kind == "readings":
        typed = [one.value for one in result.figures if one.name == "thd_n"]
        stated = typed[0] if typed else None
    driven = condition(figure, "outputs_measured") or 1.0
    return stated is not None and driven == spot.driven and abs(log(stated / spot.thd_n)) <= log(_LIMIT_WITHIN)


def _conditions(result: CaptureResult, figure: Figure) -> tuple[float | None, float | None]:
    """Give load and supply voltage; the load of a figure of the whole amplifier may stand with its power only."""
    load_ohm = condition(figure, "load_ohm")
    if load_ohm is None:
        others = (condition(one, "load_ohm") for one in result.figures if one.name.startswith("power_at_thd"))
        load_ohm = next((value for value in others if value is not None), None)
    return load_ohm, supply_of(result, figure)


def _effect(result: CaptureResult, figure: Figure, spot: Spot) -> float:
    """Relative change of efficiency that the differences of the conditions can make, at the most."""
    load_ohm, supply_v = _conditions(result, figure)
    return 0.5 * abs(log((load_ohm or 1.0) / spot.load_ohm)) + abs(log((supply_v or 1.0) / spot.supply_v))


def _carried(side: Side, result: CaptureResult, figure: Figure, spot: Spot) -> Placed | Refusal:
    load_ohm, supply_v = _conditions(result, figure)
    here = f"{load_ohm:.3g} ohm and {supply_v:.4g} V"
    model = _model_of_losses(side, spot)
    if model is None:
        return Refusal(
            why=f"it was read at {here}, and no model of what the amplifier draws carries it from there",
            hint="Record the supply's voltage and current in ramps into two loads or more.",
        )
    at = Asked(load_ohm=load_ohm or 1.0, supply_v=supply_v or 1.0, thd_n=spot.thd_n, driven=spot.driven)
    to = at.model_copy(update={"load_ohm": spot.load_ohm, "supply_v": spot.supply_v})
    try:
        before, after = predict(model, at).efficiency, predict(model, to).efficiency
    except BeyondDataError as error:
        return Refusal(why=f"it was read at {here}, and beyond that: {error.why}", hint=error.hint)
    if before is None or after is None:
        return Refusal(
            why=f"it was read at {here}, and the model holds no losses",
            hint="Record the supply's voltage and current in the ramps.",
        )
    factor = after.value / before.value
    distance = abs(log(to.load_ohm / at.load_ohm)) + abs(log(to.supply_v / at.supply_v))
    u = after.u / after.value * min(distance / FULL_DOUBT_AT, 1.0) + abs(log(factor)) / 2
    carried = side.doubt(f"{figure.origin}: efficiency carried {at} to {to}", u, label="model")
    return Placed(
        number=side.restored(figure) * factor * (1 + carried),
        where=figure.origin,
        basis="carried by the model",
        correction=factor - 1,
        correction_u=u,
    )


def _model_of_losses(side: Side, spot: Spot) -> BehaviourModel | None:
    fitting = [model for model in side.subject.models if model.driven == spot.driven and model.given is not None]
    return next(iter(sorted(fitting, key=lambda model: model.output is not None)), None)
