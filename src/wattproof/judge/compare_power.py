"""Puts a power on the terms: as measured where that is near enough, else by the model, else not at all."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

from wattproof.errors import BeyondDataError
from wattproof.fit import Asked, BehaviourModel, correction
from wattproof.judge.compare_model import Basis
from wattproof.judge.compare_points import PowerPoint, Side, mean_of
from wattproof.quantity import Uncertain

SAME = 0.002
"""Conditions that move a power by less than this, at the most, are the same conditions."""
NEAR = 0.02
"""By this much, at the most, conditions may move a figure where no model says better."""
STEEPEST_SUPPLY = 4.0
"""Power goes at most with this power of the supply voltage: a following rail gives 2, one that drops out more."""
STEEPEST_LIMIT = 0.3
"""And at most with this power of the distortion."""
FOLLOWING = 2.0
LEAST_THD = 0.005
"""Below half a per cent a typed reading stands at no limit."""
_TRIED_STEP = 0.005


@dataclass(frozen=True, kw_only=True)
class Spot:
    """The terms of one row: a load, a supply voltage, a limit of distortion, outputs driven at once."""

    load_ohm: float
    supply_v: float
    thd_n: float
    driven: int

    @property
    def name(self) -> str:
        """The figure's name."""
        return f"power_at_thd_{100 * self.thd_n:.6g}".replace(".", "_")


@dataclass(frozen=True, kw_only=True)
class Placed:
    """A number on the terms, and how it came there."""

    number: Uncertain
    where: str
    basis: Basis = "measured"
    correction: float | None = None
    correction_u: float | None = None
    bounded: bool = False


@dataclass(frozen=True, kw_only=True)
class Refusal:
    """Why something is not on the terms, and what would put it there."""

    why: str
    hint: str


def power_on_terms(side: Side, spot: Spot) -> Placed | Refusal:
    """Give the power of one output, the mean of those that were measured, on the terms; or say why that cannot be."""
    usable = _usable(side, spot)
    if isinstance(usable, Refusal):
        return usable
    placed = [_output_on_terms(side, points, spot) for points in usable]
    refused = next((found for found in placed if isinstance(found, Refusal)), None)
    return refused or joined([found for found in placed if isinstance(found, Placed)])


def joined(parts: Sequence[Placed]) -> Placed:
    """Take the mean of what several outputs gave."""
    if len(parts) == 1:
        return parts[0]
    corrections = [part.correction for part in parts if part.correction is not None]
    doubts = [part.correction_u for part in parts if part.correction_u is not None]
    carried = any(part.basis != "measured" for part in parts)
    return Placed(
        number=mean_of([part.number for part in parts]),
        where=", ".join(dict.fromkeys(part.where for part in parts)),
        basis="carried by the model" if carried else "measured",
        correction=sum(corrections) / len(parts) if corrections else None,
        correction_u=max(doubts, default=None),
        bounded=any(part.bounded for part in parts),
    )


def _usable(side: Side, spot: Spot) -> list[list[PowerPoint]] | Refusal:
    """Sort out what can be used at all, output by output; what is missing is told by the first thing that is."""
    points = list(side.points)
    if not points:
        return Refusal(
            why="no figure tells a power at a limit of distortion",
            hint="Measure a ramp, or type readings of volts with their load and thd_percent.",
        )
    driven = sorted({point.driven for point in points})
    points = [point for point in points if point.driven == spot.driven]
    if not points:
        listed = " or ".join(str(count) for count in driven)
        return Refusal(
            why=f"{listed} driven at once, not {spot.driven}: outputs share the supply and the rails",
            hint=f"Measure a ramp with {spot.driven} driven at once.",
        )
    for what, hint in _NEEDED.items():
        points = [point for point in points if getattr(point, what) is not None]
        if not points:
            return Refusal(why=_MISSING[what], hint=hint)
    points = [point for point in points if (point.thd_n or 0.0) >= min(LEAST_THD, 0.9 * spot.thd_n)]
    if not points:
        return Refusal(
            why="its readings were taken below the limit of distortion",
            hint=f"Type readings at {100 * spot.thd_n:g} % of distortion, or measure a ramp.",
        )
    outputs = dict.fromkeys(point.output for point in points)
    return [[point for point in points if point.output == output] for output in outputs]


_MISSING = {
    "supply_v": "the supply voltage was not recorded",
    "load_ohm": "the load is not known",
    "thd_n": "the distortion at which it was read is not known",
}
_NEEDED = {
    "supply_v": "Record the supply voltage, or type it in supply_voltage_v.",
    "load_ohm": "Name the load, or record its current.",
    "thd_n": "Type the distortion in thd_percent, or measure a ramp.",
}


def _output_on_terms(side: Side, points: Sequence[PowerPoint], spot: Spot) -> Placed | Refusal:
    return point_on_terms(side, min(points, key=lambda one: _effect(one, spot)), spot)


def point_on_terms(side: Side, point: PowerPoint, spot: Spot) -> Placed | Refusal:
    """Give one point, whose conditions are all known, on the terms; or say why that cannot be."""
    effect = _effect(point, spot)
    model = _model_for(side, point)
    if effect <= SAME:
        return _as_measured(side, point, spot, effect, model)
    carried = _carried(side, point, spot, model)
    if isinstance(carried, Placed):
        return carried
    if effect <= NEAR:
        return _as_measured(side, point, spot, effect, None)
    return carried


def _conditions(point: PowerPoint) -> tuple[float, float, float]:
    """Give load, supply voltage and limit of a point that has them all."""
    if point.load_ohm is None or point.supply_v is None or point.thd_n is None:
        raise ValueError("a point without conditions")
    return point.load_ohm, point.supply_v, point.thd_n


def _effect(point: PowerPoint, spot: Spot) -> float:
    """Relative change of power that the differences of the conditions can make, at the most."""
    load_ohm, supply_v, thd_n = _conditions(point)
    return (
        abs(log(load_ohm / spot.load_ohm))
        + STEEPEST_SUPPLY * abs(log(supply_v / spot.supply_v))
        + STEEPEST_LIMIT * abs(log(thd_n / spot.thd_n))
    )


def _as_measured(side: Side, point: PowerPoint, spot: Spot, effect: float, model: BehaviourModel | None) -> Placed:
    """Take the figure as it is, with what the small differences of the conditions may do to it."""
    u = effect / sqrt(3)
    unlike = side.doubt(
        f"{point.figure.origin} {point.output}: taken for {spot}", u, label="conditions not quite alike"
    )
    slope = FOLLOWING if model is None else _supply_slope(model, _asked(point))
    number = side.restored(point.figure) * (1 + unlike - slope * side.supply_error(point.result))
    return Placed(number=number, where=point.figure.origin)


def _carried(side: Side, point: PowerPoint, spot: Spot, model: BehaviourModel | None) -> Placed | Refusal:
    load_ohm, supply_v, thd_n = _conditions(point)
    here = f"{load_ohm:.3g} ohm, {supply_v:.4g} V and {100 * thd_n:.3g} %"
    if model is None:
        return Refusal(
            why=f"it was measured at {here}, and no model carries it from there",
            hint="Measure ramps into two loads or more with the supply voltage recorded, for a model.",
        )
    to = Asked(load_ohm=spot.load_ohm, supply_v=spot.supply_v, thd_n=spot.thd_n, driven=spot.driven)
    at = _asked(point)
    try:
        found = correction(model, at=at, to=to)
    except BeyondDataError as error:
        return Refusal(why=f"it was measured at {here}, and beyond that: {error.why}", hint=error.hint)
    model_u = side.doubt(f"carried {at} to {to}", found.model_u, label="model")
    rail_u = side.doubt(f"rail {at} to {to}", found.rail_u, label="how the rail follows the supply")
    slope = _supply_slope(model, at)
    factor = found.factor * (1 + model_u + rail_u) * (1 - slope * side.supply_error(point.result))
    return Placed(
        number=side.restored(point.figure) * factor,
        where=point.figure.origin,
        basis="carried by the model",
        correction=found.factor - 1,
        correction_u=found.u,
        bounded=found.bounded and found.rail_u > 0,
    )


def _asked(point: PowerPoint) -> Asked:
    load_ohm, supply_v, thd_n = _conditions(point)
    return Asked(load_ohm=load_ohm, supply_v=supply_v, thd_n=thd_n, driven=point.driven)


def _model_for(side: Side, point: PowerPoint) -> BehaviourModel | None:
    """Give the model of the output, else the one of all outputs, with as many driven."""
    fitting = [model for model in side.subject.models if model.driven == point.driven]
    own = [model for model in fitting if model.output == point.output]
    return next(iter([*own, *(model for model in fitting if model.output is None)]), None)


def _supply_slope(model: BehaviourModel, at: Asked) -> float:
    """Give the exponent with which power goes with the supply voltage: what an error of that voltage does to it."""
    for step in (-_TRIED_STEP, _TRIED_STEP):
        moved = at.model_copy(update={"supply_v": at.supply_v * exp(step)})
        try:
            return log(correction(model, at=at, to=moved).factor) / step
        except BeyondDataError:
            continue
    return FOLLOWING
