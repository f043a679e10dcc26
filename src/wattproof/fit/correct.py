"""Carries a measured power from the conditions it was measured under to others, by the ratio of two predictions.

The ratio knows more than either prediction: what moves both alike (a channel's scale, the rail) drops out, and the
model's own error counts the less the nearer the two conditions lie.
"""

from dataclasses import dataclass
from math import exp, expm1, log, sqrt

from wattproof.fit.model import Asked, BehaviourModel
from wattproof.fit.predict import check_within, following_ends, log_power_slopes, own_covariance, point_of
from wattproof.fit.within import is_bounded, rail_doubt

_FULL_ERROR_AT = 0.35
"""The model's error is taken whole where load or supply voltage differ by this much (logarithm): a step from 4 to 2.8
ohm, or as much of the range between the measured supply voltages; less in proportion below."""


@dataclass(frozen=True, kw_only=True)
class Correction:
    """What a power is multiplied with.

    Attributes
    ----------
    factor : float, W/W
    model_u, rail_u : float, relative
        From the fitted parameters and from what predicting left-out loads missed; and from what is not known of how the
        rail follows the supply.
    supply_v_from, supply_v_to : float, V
        At the terminals.
    bounded : bool
        One supply voltage only was measured: `rail_u` spans regulated to following.
    """

    factor: float
    model_u: float
    rail_u: float
    supply_v_from: float
    supply_v_to: float
    bounded: bool

    @property
    def u(self) -> float:
        """Relative standard uncertainty of the factor."""
        return sqrt(self.model_u**2 + self.rail_u**2)


def correction(model: BehaviourModel, *, at: Asked, to: Asked) -> Correction:
    """Give the factor from one condition to another.

    Parameters
    ----------
    model : BehaviourModel
    at, to : Asked
        As measured; and as wanted.

    Raises
    ------
    BeyondDataError
        One of them is beyond the data of the model.
    """
    for asked in (at, to):
        check_within(model, asked)
    here, there = point_of(model, at), point_of(model, to)
    slopes = log_power_slopes(model, to) - log_power_slopes(model, at)
    covariance, bounded = own_covariance(model), is_bounded(model)
    distance = abs(log(to.load_ohm / at.load_ohm)) + abs(log(there.supply_v / here.supply_v))
    missed = model.widening * min(distance / _FULL_ERROR_AT, 1.0)
    if bounded:
        factor, rail_u = _between_ends(model, at, to)
    else:
        factor, rail_u = there.power_w / here.power_w, _rail_u(model, here.supply_v, there.supply_v)
    return Correction(
        factor=factor,
        model_u=sqrt(max(float(slopes @ covariance @ slopes), 0.0) + missed**2),
        rail_u=rail_u,
        supply_v_from=here.supply_v,
        supply_v_to=there.supply_v,
        bounded=bounded,
    )


def _between_ends(model: BehaviourModel, at: Asked, to: Asked) -> tuple[float, float]:
    """Give the middle of a rectangle from the regulated to the following rail, and its relative standard uncertainty.

    Not the fitted exponent: one supply voltage fixes none, and a rectangle about it would leave one of the ends out.
    """
    factors = [
        log(after.power_w / before.power_w)
        for before, after in zip(following_ends(model, at), following_ends(model, to), strict=True)
    ]
    low, high = min(factors), max(factors)
    return exp((low + high) / 2), expm1(high - low) / sqrt(12)


def _rail_u(model: BehaviourModel, from_v: float, to_v: float) -> float:
    """Twice the rail's doubt, as power goes with its square; nothing where the voltage does not change."""
    low_v, high_v = model.supply_v
    span = log(high_v / low_v) if high_v > low_v else 1.0
    share = min(abs(log(to_v / from_v)) / (span / 2), 1.0)
    return 2 * share * max(rail_doubt(model, from_v), rail_doubt(model, to_v))
