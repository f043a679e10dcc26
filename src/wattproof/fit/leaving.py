"""Leaves each load out, predicts it from the others, and lets the error that is seen widen what the fit states."""

from collections.abc import Sequence
from dataclasses import replace
from math import log, sqrt

import numpy as np

from wattproof.fit.limiting import SAME_LOAD, UNKNOWN_LIMIT, LimitFit, Prior, distinct, fit_limit, own_covariance
from wattproof.fit.model import LeftOut
from wattproof.fit.points import LimitPoint

_REFERENCE_THD = 0.01


def left_out(whole: LimitFit, *, priors: Sequence[Prior] | None = None) -> list[LeftOut]:
    """Predict each load from the others, at the limit nearest to 1 %; nothing with fewer than three loads.

    Loads at which the current limit bites stay in, for nothing else shows that limit: without them the others would be
    blamed for missing it.

    Parameters
    ----------
    whole : LimitFit
        To all points.
    priors : sequence of Prior or None
        As it was fitted with.
    """
    points, reference_v = whole.points, whole.limit.reference_v
    loads = distinct([point.load_ohm for point in points], SAME_LOAD)
    if len(loads) < 3:
        return []
    lost = []
    limit_a = _known_limit(whole)
    for load_ohm in loads:
        if whole.limit.limited_by_current(reference_v, load_ohm):
            continue
        rest = [point for point in points if abs(point.load_ohm / load_ohm - 1) > SAME_LOAD]
        if not _enough(rest, whole):
            continue
        fit = fit_limit(rest, reference_v=reference_v, priors=priors, limit_a=limit_a)
        for point in _near_reference(points, load_ohm):
            lost.append(_missed(point, fit))
    return lost


def _enough(rest: Sequence[LimitPoint], whole: LimitFit) -> bool:
    """Tell whether two loads remain that the rail limits: fewer fix no resistance, and predict nothing."""
    by_rail = [p.load_ohm for p in rest if not whole.limit.limited_by_current(p.supply_v, p.load_ohm)]
    return len(distinct(by_rail, SAME_LOAD)) >= 2


def _known_limit(whole: LimitFit) -> Prior | None:
    if whole.limit.limit_a is None:
        return None
    number = whole.names.index("limit_a")
    u = sqrt(3 * float(whole.covariance[number, number]))
    return Prior(name="limit_a", low=whole.limit.limit_a - u, high=whole.limit.limit_a + u, complaint="")


def _near_reference(points: Sequence[LimitPoint], load_ohm: float) -> list[LimitPoint]:
    here = [point for point in points if abs(point.load_ohm / load_ohm - 1) <= SAME_LOAD]
    captures = dict.fromkeys((point.origin.split(" ")[0], point.output) for point in here)
    return [
        min(
            (p for p in here if (p.origin.split(" ")[0], p.output) == capture),
            key=lambda p: abs(log((p.thd_n or UNKNOWN_LIMIT) / _REFERENCE_THD)),
        )
        for capture in captures
    ]


def _missed(point: LimitPoint, fit: LimitFit) -> LeftOut:
    thd_n = point.thd_n or UNKNOWN_LIMIT

    def log_power(values: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
        limit = replace(fit.limit, **dict(zip(fit.names, map(float, values), strict=True)))
        return log(limit.voltage_v_rms(point.supply_v, point.load_ohm, thd_n) ** 2 / point.load_ohm)

    centre = np.array([getattr(fit.limit, name) for name in fit.names], dtype=np.float64)
    sizes = 0.1 * np.sqrt(np.diag(fit.covariance))
    slopes = np.zeros(len(centre))
    for column, size in enumerate(sizes):
        if size > 0:
            step = np.zeros(len(centre))
            step[column] = min(size, 0.5 * centre[column]) if centre[column] > 0 else size
            slopes[column] = (log_power(centre + step) - log_power(np.maximum(centre - step, 0.0))) / (2 * step[column])
    predicted = log_power(centre)
    # what all points share (the channels' scales) moves measured and predicted alike and is no error of the model
    shared = float(np.min(own_covariance(fit.points)))
    own = max(float(slopes @ fit.covariance @ slopes) - shared, 0.0)
    noise = max(float(own_covariance([point])[0, 0]) - shared, 0.0)
    return LeftOut(
        load_ohm=point.load_ohm,
        supply_v=point.supply_v,
        measured_w=point.power.value,
        predicted_w=float(np.exp(predicted)),
        error=float(np.expm1(predicted - log(point.power.value))),
        u=sqrt(own + noise),
    )


def widening_of(lost: Sequence[LeftOut]) -> float:
    """Give the relative standard uncertainty that explains the errors seen beyond what was stated for them."""
    if not lost:
        return 0.0
    excess = sum(one.error**2 - one.u**2 for one in lost) / len(lost)
    return sqrt(max(excess, 0.0))
