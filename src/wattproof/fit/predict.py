"""Predicts what was not measured, with a 95 % interval, or refuses where the data say nothing."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import Notice
from wattproof.fit.knee import SOFTEST, at_limit
from wattproof.fit.losses import NAMES as LOSS_NAMES
from wattproof.fit.losses import LossFit
from wattproof.fit.model import Asked, BehaviourModel, Estimate, Prediction
from wattproof.fit.operating import OperatingPoint, operating_point
from wattproof.fit.rail import Limit
from wattproof.fit.small import damping_factor, drive_for
from wattproof.fit.within import beyond_supply, check_asked, check_supply, is_bounded, rail_beyond, rail_doubt

Real = NDArray[np.float64]

_STEP = 0.1
"""Differences are taken over this share of a parameter's standard uncertainty."""
_LONGEST = {"knee": 1e-4}
"""A knee that is nearly hard hardly shows, so that it is hardly known; its slopes are those where it stands."""
_NOT_BELOW_ZERO = frozenset({"output_ohm", "knee"})
_SUPPLY_STEP = 1e-4
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
_FOLLOWS = {"power": 1, "load_voltage": 0.5, "load_current": 0.5, "supply_current": 1, "supply_power": 1, "heat": 1}
"""How much of a relative error of power goes into each: volts go with its root."""


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
        lies between a regulated and a following rail where other supply voltages than the measured ones are asked for.

    Raises
    ------
    BeyondDataError
        The load, the supply voltage, the limit or the number of driven outputs is beyond the data; or the supply
        collapses.
    """
    notes = check_within(model, asked)
    middle = point_of(model, asked)
    bounded = is_bounded(model)
    around = _Around(
        middle=middle,
        slopes=_slopes(model, asked),
        supply_slopes=_supply_slopes(model, asked),
        ends=following_ends(model, asked) if bounded else _beyond(model, asked, middle.supply_v),
        ripple=_most_ripple(asked, middle),
        rail_u=0.0 if beyond_supply(model, middle.supply_v) else rail_doubt(model, middle.supply_v),
    )
    estimates = {
        name: _estimate(model, name, around)
        for name, (field, _) in _OUTPUTS.items()
        if getattr(middle, field) is not None
    }
    bent = at_limit(asked.thd_n, min(max(model.parameter("knee").value or 0.0, 0.0), SOFTEST))
    return Prediction(
        asked=asked,
        **estimates,
        drive=drive_for(model, asked, estimates["load_voltage"], overdrive=bent.overdrive / sqrt(2) / bent.rms),
        damping_factor=damping_factor(model, asked),
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
        output_ohm=max(value("output_ohm") or 0.0, 0.0),
        limit_a=value("limit_a"),
        knee=min(max(value("knee") or 0.0, 0.0), 0.6),
        reference_v=model.reference_v,
    )
    losses = None
    if model.given is not None and model.loss_reference_v is not None:
        losses = LossFit(
            **{name: value(name) or 0.0 for name in LOSS_NAMES},
            given=model.given,
            covariance=np.zeros((len(LOSS_NAMES), len(LOSS_NAMES))),
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
    return (*check_asked(model, asked), *check_supply(model, point_of(model, asked).supply_v))


def log_power_slopes(model: BehaviourModel, asked: Asked) -> Real:
    """Give the derivatives of the logarithm of power with respect to the fitted parameters."""
    slopes: Real = _slopes(model, asked)["power"] / point_of(model, asked).power_w
    return slopes


def following_ends(model: BehaviourModel, asked: Asked) -> tuple[OperatingPoint, ...]:
    """Solve for a rail that stands and for one that follows in full, each fitted to what was measured."""
    return tuple(point_of(model, asked, end) for end in model.ends)


def _most_ripple(asked: Asked, middle: OperatingPoint) -> float:
    """Give by how much the mean current may exceed power over mean voltage, relative.

    Behind a resistance R the mean of v·i is ``V·I - R·var(i)``; an amplifier without a store draws its current as sin²,
    whose variance is half its mean squared, and one with a large store draws it evenly.
    """
    return asked.source_ohm * (middle.supply_a or 0.0) / (2 * middle.supply_v)


def _beyond(model: BehaviourModel, asked: Asked, supply_v: float) -> tuple[OperatingPoint, ...]:
    """Solve for the rail at its other bound, a little past the measured supply voltages."""
    factor = rail_beyond(model, supply_v)
    rail_v = model.parameter("rail_v").value or 0.0
    return () if factor == 1.0 else (point_of(model, asked, {"rail_v": factor * rail_v}),)


def own_covariance(model: BehaviourModel) -> Real:
    """Give the parameters' covariance; where one supply voltage was measured, without the rail's exponent.

    Its share is told by the two ends then, and not twice.
    """
    covariance = np.array(model.covariance)
    if is_bounded(model):
        held = [number for number, name in enumerate(model.varied) if name == "rail_exponent"]
        covariance[held, :] = 0.0
        covariance[:, held] = 0.0
    return covariance


def _slopes(model: BehaviourModel, asked: Asked) -> dict[str, Real]:
    """Give derivatives of every output with respect to the fitted parameters, by central differences."""
    sizes = np.sqrt(np.diag(np.array(model.covariance)))
    slopes = {name: np.zeros(len(model.varied)) for name in _OUTPUTS}
    for column, (name, size) in enumerate(zip(model.varied, sizes, strict=True)):
        centre = model.parameter(name).value
        if centre is None or size == 0:
            continue
        step = min(_STEP * float(size), _LONGEST.get(name, float("inf")))
        ahead, behind = (point_of(model, asked, {name: centre + sign * step}) for sign in (1, -1))
        # a parameter at its bound of zero moves to one side only
        width = 2 * step if name not in _NOT_BELOW_ZERO or centre > step else centre + step
        for output, field in _known(ahead, behind):
            slopes[output][column] = (getattr(ahead, field) - getattr(behind, field)) / width
    return slopes


def _supply_slopes(model: BehaviourModel, asked: Asked) -> dict[str, float]:
    """Give derivatives of every output with respect to the logarithm of the supply voltage."""
    ahead, behind = (
        point_of(model, asked.model_copy(update={"supply_v": asked.supply_v * (1 + sign * _SUPPLY_STEP)}))
        for sign in (1, -1)
    )
    return {
        output: float(getattr(ahead, field) - getattr(behind, field)) / (2 * _SUPPLY_STEP)
        for output, field in _known(ahead, behind)
    }


def _known(*points: OperatingPoint) -> list[tuple[str, str]]:
    return [
        (output, field)
        for output, (field, _) in _OUTPUTS.items()
        if all(getattr(point, field) is not None for point in points)
    ]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Around:
    """A solved point with all that its doubt is made of."""

    middle: OperatingPoint
    slopes: Mapping[str, Real]
    supply_slopes: Mapping[str, float]
    ends: tuple[OperatingPoint, ...]
    rail_u: float
    ripple: float


def _estimate(model: BehaviourModel, name: str, around: _Around) -> Estimate:
    field, unit = _OUTPUTS[name]
    value = float(getattr(around.middle, field))
    slopes, follows = around.slopes[name], _FOLLOWS.get(name, 0.0) * value
    missed = (follows * model.widening) ** 2
    u = sqrt(
        float(slopes @ own_covariance(model) @ slopes)
        + (around.supply_slopes[name] * model.supply_u) ** 2
        + missed
        + (2 * follows * around.rail_u) ** 2
        + (follows * model.scatter) ** 2
        + ((model.loss_scatter or 0.0) * _loss_weight(name, around.middle)) ** 2
    )
    k95 = _factor(missed / u**2 if u else 0.0, model.widening_dof)
    values = [value, *(float(getattr(end, field)) for end in around.ends)]
    if name == "supply_current":
        values.append(value * (1 + around.ripple))
    spread = (max(values) - min(values)) / sqrt(12)
    return Estimate(
        value=value,
        u=sqrt(u**2 + spread**2),
        low=max(min(values) - k95 * u, 0.0),
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
