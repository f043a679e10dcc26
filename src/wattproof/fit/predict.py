"""Predicts what was not measured, with a 95 % interval, or refuses where the data say nothing."""

from collections.abc import Mapping
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import BeyondDataError, Notice
from wattproof.fit.losses import LossFit
from wattproof.fit.model import Asked, BehaviourModel, Estimate, Prediction
from wattproof.fit.operating import OperatingPoint, operating_point
from wattproof.fit.rail import Limit

Real = NDArray[np.float64]

LOAD_MARGIN = 0.85
"""Loads down to this share of the lowest measured one are predicted: 18 % more current than was seen."""
SUPPLY_MARGIN = 0.015
THD_MARGIN = 1.3
_STEP = 0.1
"""Differences are taken over this share of a parameter's standard uncertainty."""
_OUTPUTS = {
    "power": ("power_w", "W"),
    "load_voltage": ("load_v_rms", "V"),
    "load_current": ("load_a_rms", "A"),
    "supply_voltage": ("supply_v", "V"),
    "supply_current": ("supply_a", "A"),
    "supply_power": ("supply_w", "W"),
    "efficiency": ("efficiency", "W/W"),
    "heat": ("heat_w", "W"),
}
_WIDENED = {"power": 1.0, "load_voltage": 0.5, "load_current": 0.5, "supply_current": 1.0, "supply_power": 1.0}
"""How much of the model's own relative error of power goes into each: volts go with its root."""


def predict(model: BehaviourModel, asked: Asked) -> Prediction:
    """Predict an output's power at a limit of distortion, and what the amplifier draws for it.

    Parameters
    ----------
    model : BehaviourModel
    asked : Asked

    Returns
    -------
    Prediction
        Linear propagation of the parameters' covariance; widened by what predicting left-out loads missed, and by what
        lies between a regulated and a following rail where supply voltages between those measured are asked for.

    Raises
    ------
    BeyondDataError
        The load, the supply voltage, the limit or the number of driven outputs is beyond the data; or the supply
        collapses.
    """
    notes = check_within(model, asked)
    middle = point_of(model, asked)
    slopes = _slopes(model, asked)
    bounded = model.parameter("rail_exponent").fixed_by != "data"
    ends = following_ends(model, asked) if bounded else ()
    estimates = {
        name: _estimate(model, name, middle, slopes, ends, rail_doubt(model, middle.supply_v), unit)
        for name, (_, unit) in _OUTPUTS.items()
        if getattr(middle, _OUTPUTS[name][0]) is not None
    }
    return Prediction(
        asked=asked,
        **estimates,
        basis="bounded" if bounded else "within",
        limited_by="current" if middle.by_current else "rail",
        notes=notes,
    )


def point_of(model: BehaviourModel, asked: Asked, values: Mapping[str, float] | None = None) -> OperatingPoint:
    """Solve with the fitted parameters, some of them replaced."""
    given = values or {}

    def value(name: str) -> float | None:
        return given.get(name, model.parameter(name).value)

    limit = Limit(
        rail_v=value("rail_v") or 0.0,
        rail_exponent=value("rail_exponent") or 0.0,
        output_ohm=value("output_ohm") or 0.0,
        limit_a=value("limit_a"),
        knee=min(max(value("knee") or 0.0, 0.0), 0.6),
        reference_v=model.reference_v,
    )
    losses = None
    if model.given is not None and model.loss_reference_v is not None:
        losses = LossFit(
            idle_w=value("idle_w") or 0.0,
            loss_v=value("loss_v") or 0.0,
            loss_ohm=value("loss_ohm") or 0.0,
            given=float(model.given),
            covariance=np.zeros((3, 3)),
            scatter=model.loss_scatter or 0.0,
            reference_v=model.loss_reference_v,
            points=0,
        )
    return operating_point(limit, losses, asked)


def check_within(model: BehaviourModel, asked: Asked) -> tuple[Notice, ...]:
    """Refuse what is beyond the data, and say what lies at their edge.

    Raises
    ------
    BeyondDataError
        Load, supply voltage, limit or number of driven outputs is beyond the data.
    """
    notes = _within(model, asked)
    _within_supply(model, point_of(model, asked).supply_v)
    return notes


def log_power_slopes(model: BehaviourModel, asked: Asked) -> Real:
    """Give the derivatives of the logarithm of power with respect to the fitted parameters."""
    slopes: Real = _slopes(model, asked)["power"] / point_of(model, asked).power_w
    return slopes


def _within(model: BehaviourModel, asked: Asked) -> tuple[Notice, ...]:
    low_ohm, high_ohm = model.load_ohm
    one_load = model.parameter("output_ohm").fixed_by != "data"
    if asked.load_ohm < LOAD_MARGIN * low_ohm or (one_load and asked.load_ohm > high_ohm / LOAD_MARGIN):
        measured = f"{low_ohm:.3g} ohm alone" if one_load else f"{low_ohm:.3g} to {high_ohm:.3g} ohm"
        raise BeyondDataError(
            f"Cannot predict into {asked.load_ohm:g} ohm.",
            why=f"the captures hold {measured}; into a lower load the amplifier may limit its current or switch off, "
            "and no capture shows where",
            hint=f"Ask for {LOAD_MARGIN * low_ohm:.3g} ohm or more, or capture a ramp into {asked.load_ohm:g} ohm.",
        )
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
    if asked.load_ohm > high_ohm * 1.05:
        return (
            Notice(
                code="load-above-data",
                message=f"{asked.load_ohm:g} ohm lies above the highest load of the captures, {high_ohm:.3g} ohm.",
                hint="The amplifier gives less current there, which asks less of it; a ramp into such a load shows it.",
            ),
        )
    return ()


def _within_supply(model: BehaviourModel, supply_v: float) -> None:
    """Refuse supply voltages beyond those measured; where there was one only, the interval holds both extremes."""
    low, high = model.supply_v
    if model.parameter("rail_exponent").fixed_by != "data":
        return
    if not low * (1 - SUPPLY_MARGIN) <= supply_v <= high * (1 + SUPPLY_MARGIN):
        raise BeyondDataError(
            f"Cannot predict at {supply_v:.3g} V at the terminals.",
            why=f"the captures hold {low:.4g} to {high:.4g} V; beyond them the rail may hold or follow",
            hint=f"Ask for {low:.4g} to {high:.4g} V, or capture a ramp at {supply_v:.3g} V.",
        )


def _slopes(model: BehaviourModel, asked: Asked) -> dict[str, Real]:
    """Give derivatives of every output with respect to the fitted parameters, by central differences."""
    sizes = np.sqrt(np.diag(np.array(model.covariance)))
    slopes = {name: np.zeros(len(model.varied)) for name in _OUTPUTS}
    for column, (name, size) in enumerate(zip(model.varied, sizes, strict=True)):
        centre = model.parameter(name).value
        if centre is None or size == 0:
            continue
        step = _STEP * float(size)
        ahead, behind = (point_of(model, asked, {name: centre + sign * step}) for sign in (1, -1))
        for output, (field, _) in _OUTPUTS.items():
            up, down = getattr(ahead, field), getattr(behind, field)
            if up is not None and down is not None:
                slopes[output][column] = (up - down) / (2 * step)
    return slopes


def rail_doubt(model: BehaviourModel, supply_v: float) -> float:
    """Relative standard uncertainty of the open rail between two measured supply voltages.

    A rail rises with the supply, and not faster than in proportion: that bounds it from both ends. Regulated or
    following in full, the bounds meet; regulated at the upper voltage and dropped out at the lower, they do not.
    """
    low_v, high_v = model.supply_v
    if model.parameter("rail_exponent").fixed_by != "data" or not low_v < supply_v < high_v:
        return 0.0
    exponent = model.parameter("rail_exponent").value or 0.0
    low_rail, high_rail = (float((end / supply_v) ** exponent) for end in (low_v, high_v))
    upper = min(high_rail, low_rail * supply_v / low_v)
    lower = max(low_rail, high_rail * supply_v / high_v)
    return max(upper - lower, 0.0) / sqrt(12)


def following_ends(model: BehaviourModel, asked: Asked) -> tuple[OperatingPoint, ...]:
    """Solve for a rail that stands and for one that follows in full, each fitted to what was measured."""
    return tuple(point_of(model, asked, end) for end in model.ends)


def _estimate(
    model: BehaviourModel,
    name: str,
    middle: OperatingPoint,
    slopes: Mapping[str, Real],
    ends: tuple[OperatingPoint, ...],
    between: float,
    unit: str,
) -> Estimate:
    field = _OUTPUTS[name][0]
    value = float(getattr(middle, field))
    covariance = np.array(model.covariance)
    if ends:
        # the exponent's own share is told by the two ends and not twice
        held = [n for n, varied in enumerate(model.varied) if varied in ("rail_exponent",)]
        covariance[held, :] = 0.0
        covariance[:, held] = 0.0
    own = float(slopes[name] @ covariance @ slopes[name])
    widened = _WIDENED.get(name, 0.0)
    missed = (widened * model.widening * value) ** 2
    rail = (2 * widened * between * value) ** 2
    scatter = (model.loss_scatter or 0.0) * _loss_weight(name, middle)
    about = (widened * model.scatter * value) ** 2
    u = sqrt(own + missed + rail + about + scatter**2)
    k95 = _factor(missed / u**2 if u else 0.0, model.widening_dof)
    values = [value, *(float(getattr(end, field)) for end in ends)]
    spread = (max(values) - min(values)) / sqrt(12)
    return Estimate(
        value=value,
        u=sqrt(u**2 + spread**2),
        low=min(values) - k95 * u,
        high=max(values) + k95 * u,
        unit=unit,
    )


def _loss_weight(name: str, middle: OperatingPoint) -> float:
    """How much of a relative scatter of the drawn power shows in an output, in its unit."""
    drawn_w = middle.supply_w or 0.0
    weights: dict[str, float] = {
        "supply_current": middle.supply_a or 0.0,
        "supply_power": drawn_w,
        "heat": drawn_w,
        "efficiency": middle.efficiency or 0.0,
    }
    return weights.get(name, 0.0)


def _factor(share: float, dof: int) -> float:
    """Give k for 95 %: the widening was seen from few predictions, so its share brings Student's factor with it."""
    if dof < 1 or share <= 0:
        return 1.959964
    from scipy.stats import t

    # Welch-Satterthwaite with one finite component
    return float(t.ppf(0.975, dof / share**2))
