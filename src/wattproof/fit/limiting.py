"""Fits the limiting voltage: rail, its exponent, output resistance, current limit and knee, to points at limits.

Weighted least squares on the logarithm of power with the full covariance of the points: calibrations that points share
move them together, so they end up in the parameters' covariance and not in the weights. What the model misses shows as
scatter between ramps and within them; both are estimated and added, so that a reduced chi-square of 1 is not assumed.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import log, sqrt

import numpy as np
from numpy.typing import NDArray

from wattproof.fit.knee import SOFTEST
from wattproof.fit.points import LimitPoint
from wattproof.fit.rail import Limit

Real = NDArray[np.float64]

NAMES = ("rail_v", "rail_exponent", "output_ohm", "limit_a", "knee")
UNITS = {"rail_v": "V", "rail_exponent": "1", "output_ohm": "ohm", "limit_a": "A", "knee": "1"}
SAME_LOAD = 0.05
"""Loads within this share of each other count as one."""
SAME_SUPPLY = 0.025
"""Supply voltages within this share of each other cannot tell how the rail follows."""
UNKNOWN_LIMIT = 0.01
"""Distortion taken for typed readings that state none; their model holds for that same unknown limit only."""
_PRIOR_EXPONENT = (0.0, 1.1)
"""From regulated to following in full; the tenth is for the volts that a converter loses before it begins."""
_PRIOR_KNEE = (0.0, 0.1)
_PRIOR_OUTPUT_SHARE = 0.08
_FLOOR = 2e-4
"""Relative scatter that is always allowed: no model of five numbers is closer to an amplifier."""
_CLEARLY_BETTER = 12.0
_ROUNDS = 3
_HELD = 1e-4


@dataclass(frozen=True, kw_only=True)
class Prior:
    """What is assumed of a parameter that the data do not fix: anything between two values alike.

    Attributes
    ----------
    stated : bool
        It is not assumed for want of data but known from how the amplifier is built.
    """

    name: str
    low: float
    high: float
    complaint: str
    stated: bool = False

    @property
    def middle(self) -> float:
        """The mean."""
        return (self.low + self.high) / 2

    @property
    def u(self) -> float:
        """Standard deviation of a rectangle (JCGM 100, 4.3.7)."""
        return (self.high - self.low) / sqrt(12)


@dataclass(frozen=True, kw_only=True, eq=False)
class LimitFit:
    """The fitted limit.

    Attributes
    ----------
    names : tuple of str
        Parameters that were varied, in the order of `covariance`.
    covariance : Real
    priors : tuple of Prior
    chi_square, dof
        Of the data alone, before model scatter was added.
    scatter : float, relative
        Of power about the fit, between ramps and between limits, beyond what the points' own uncertainties explain.
    """

    limit: Limit
    names: tuple[str, ...]
    covariance: Real
    priors: tuple[Prior, ...]
    chi_square: float
    dof: int
    scatter: float
    points: tuple[LimitPoint, ...]


def distinct(values: Sequence[float], share: float) -> list[float]:
    """Give the means of values that lie within a share of each other, ascending."""
    groups: list[list[float]] = []
    for value in sorted(values):
        if groups and value <= groups[-1][0] * (1 + share):
            groups[-1].append(value)
        else:
            groups.append([value])
    return [sum(group) / len(group) for group in groups]


def fit_limit(
    points: Sequence[LimitPoint],
    *,
    reference_v: float,
    priors: Sequence[Prior] | None = None,
    limit_a: Prior | None = None,
) -> LimitFit:
    """Fit the limit of one output, or of several that are alike.

    Parameters
    ----------
    points : sequence of LimitPoint, at least one
    reference_v : float, V
        Supply voltage at which the rail is stated.
    priors : sequence of Prior or None
        What is assumed; None takes `priors_for` the points.
    limit_a : Prior or None
        What is known of the current limit from elsewhere; None looks for it in the points.
    """
    assumed = priors_for(points) if priors is None else tuple(priors)
    if limit_a is not None:
        return _fitted(points, reference_v, (*assumed, limit_a), with_current=True)
    plain = _fitted(points, reference_v, assumed, with_current=False)
    loads = distinct([point.load_ohm for point in points], SAME_LOAD)
    if len(loads) < 3:
        return plain
    bent = _fitted(points, reference_v, assumed, with_current=True)
    gain = (plain.chi_square - bent.chi_square) / max(bent.chi_square / max(bent.dof, 1), 1.0)
    return bent if gain > _CLEARLY_BETTER and _really_bends(bent, loads) else plain


def _really_bends(fit: LimitFit, loads: Sequence[float]) -> bool:
    """Tell a current limit that was seen: it bites at some loads of the data and not at all of them."""
    supply_v = fit.points[0].supply_v
    bites = [fit.limit.limited_by_current(supply_v, load_ohm) for load_ohm in loads]
    return any(bites) and not all(bites)


def priors_for(points: Sequence[LimitPoint]) -> tuple[Prior, ...]:
    """Say which parameters these points cannot fix, and what is assumed of them instead."""
    priors = []
    loads = distinct([point.load_ohm for point in points], SAME_LOAD)
    if len(loads) < 2:
        priors.append(
            Prior(
                name="output_ohm",
                low=0.0,
                high=_PRIOR_OUTPUT_SHARE * loads[0],
                complaint=f"only one load was measured, {loads[0]:.3g} ohm: how the limit moves with the load is not "
                "known. A ramp into another load fixes it.",
            )
        )
    if not _supply_was_changed(points):
        low, high = min(p.supply_v for p in points), max(p.supply_v for p in points)
        seen = f"{low:.2f} V" if high - low < 0.005 else f"{low:.2f} to {high:.2f} V"
        priors.append(
            Prior(
                name="rail_exponent",
                low=_PRIOR_EXPONENT[0],
                high=_PRIOR_EXPONENT[1],
                complaint=f"the supply stood at {seen}: whether the rail is regulated or follows it is not known. "
                "A ramp at another supply voltage, a volt or more away, fixes it.",
            )
        )
    if len({point.thd_n for point in points}) < 2:
        priors.append(
            Prior(
                name="knee",
                low=_PRIOR_KNEE[0],
                high=_PRIOR_KNEE[1],
                complaint="one limit of distortion only: how soft the knee is, is not known. "
                "A ramp past 10 % fixes it.",
            )
        )
    return tuple(priors)


def _supply_was_changed(points: Sequence[LimitPoint]) -> bool:
    """Tell whether one load saw two supply voltages: a sag that goes with the load looks like resistance."""
    loads = {round(log(point.load_ohm) / SAME_LOAD) for point in points}
    seen = ([p.supply_v for p in points if round(log(p.load_ohm) / SAME_LOAD) == load] for load in loads)
    return any(max(volts) > min(volts) * (1 + SAME_SUPPLY) for volts in seen)


def priors_of_direct(points: Sequence[LimitPoint], *, reference_v: float) -> tuple[Prior, ...]:
    """Say what is known of a bridged stage that is fed straight from the supply: its rail is the supply, within 1 %.

    Then one load is enough to fix the resistance.
    """
    known = (
        Prior(name="rail_v", low=0.99 * reference_v, high=1.01 * reference_v, complaint="", stated=True),
        Prior(name="rail_exponent", low=0.99, high=1.01, complaint="", stated=True),
    )
    return (*known, *(prior for prior in priors_for(points) if prior.name == "knee"))


def held_exponent(fit: LimitFit, exponent: float) -> LimitFit:
    """Fit again with the rail's exponent held: how things would be if the rail followed the supply just so."""
    others = [prior for prior in fit.priors if prior.name != "rail_exponent"]
    held = Prior(name="rail_exponent", low=exponent - _HELD, high=exponent + _HELD, complaint="")
    return fit_limit(fit.points, reference_v=fit.limit.reference_v, priors=[*others, held])


def _fitted(
    points: Sequence[LimitPoint], reference_v: float, priors: tuple[Prior, ...], *, with_current: bool
) -> LimitFit:
    names = tuple(name for name in NAMES if with_current or name != "limit_a")
    own, table = own_covariance(points), _Table(points)
    n_between = sum(name != "knee" for name in names) - sum(prior.name != "knee" for prior in priors)
    scatter, chi_square = (0.0, 0.0), 0.0
    start = _start(points, names, priors)
    for turn in range(_ROUNDS + 1):
        whiten = np.linalg.inv(np.linalg.cholesky(own + _model_covariance(points, scatter)))
        residuals = _residuals(table, names, priors, whiten, reference_v)
        found = _least_squares(residuals, start, names)
        start = found.x
        misses = table.misses(_limit(names, found.x, reference_v))
        if turn == 0:
            chi_square = float(np.sum((whiten @ misses) ** 2))
        scatter = _scatter(points, misses, own, n_between)
    jacobian = found.jac
    covariance: Real = np.linalg.pinv(jacobian.T @ jacobian)
    return LimitFit(
        limit=_limit(names, found.x, reference_v),
        names=names,
        covariance=covariance,
        priors=priors,
        chi_square=chi_square,
        dof=len(points) + len(priors) - len(names),
        scatter=sqrt(scatter[0] ** 2 + scatter[1] ** 2),
        points=tuple(points),
    )


def own_covariance(points: Sequence[LimitPoint]) -> Real:
    """Give the covariance of the points' relative squared voltages through the sources that their budgets share."""
    shares = [point.square_parts() for point in points]
    column = {source: number for number, source in enumerate(sorted({source for share in shares for source in share}))}
    parts = np.zeros((len(points), len(column)))
    for row, share in enumerate(shares):
        for source, moved in share.items():
            parts[row, column[source]] = moved
    covariance: Real = parts @ parts.T + _FLOOR**2 * np.eye(len(points))
    return covariance


def _groups(points: Sequence[LimitPoint]) -> NDArray[np.intp]:
    """Give each point the number of its ramp: same output, same load, same capture."""
    keys = [(point.output, round(log(point.load_ohm) / SAME_LOAD), point.origin.split(" ")[0]) for point in points]
    order = {key: number for number, key in enumerate(dict.fromkeys(keys))}
    return np.array([order[key] for key in keys])


def _model_covariance(points: Sequence[LimitPoint], scatter: tuple[float, float]) -> Real:
    between, within = scatter
    groups = _groups(points)
    same: Real = (groups[:, None] == groups[None, :]).astype(np.float64)
    model: Real = between**2 * same + within**2 * np.eye(len(points))
    return model


def _scatter(points: Sequence[LimitPoint], misses: Real, own: Real, n_between: int) -> tuple[float, float]:
    """Estimate the model's own scatter of relative power: between ramps, and between the limits of one ramp.

    What the points' own uncertainties explain of both is taken off; what all points share went into the rail.

    Parameters
    ----------
    n_between : int
        Parameters that were fitted to what differs between ramps; the knee is one within them.
    """
    groups = _groups(points)
    n_groups = int(groups.max()) + 1
    means = np.array([misses[groups == g].mean() for g in range(n_groups)])
    inside = misses - means[groups]
    free, left = n_groups - n_between, len(points) - n_groups - 1
    within = float(np.sum(inside**2) / left) if left > 0 else 0.0
    between = float(np.sum(means**2) / free) if free > 0 else 0.0
    between_own, within_own = _expected(groups, own)
    return sqrt(max(between - between_own, 0.0)), sqrt(max(within - within_own, 0.0))


def _expected(groups: NDArray[np.intp], own: Real) -> tuple[float, float]:
    """Give the variances between the means of ramps and within ramps that the points' own covariance makes."""
    n_groups = int(groups.max()) + 1
    means: Real = (groups[None, :] == np.arange(n_groups)[:, None]).astype(np.float64)
    means /= means.sum(axis=1, keepdims=True)
    of_means = means @ own @ means.T
    counts = 1 / np.max(means, axis=1)
    inside = float(np.trace(own) - np.sum(counts * np.diag(of_means)))
    between = float(np.trace(of_means) - np.sum(of_means) / n_groups) / max(n_groups - 1, 1)
    return between, inside / max(len(groups) - n_groups, 1)


def _start(points: Sequence[LimitPoint], names: Sequence[str], priors: Sequence[Prior]) -> Real:
    peak = max(sqrt(2) * p.voltage_v_rms for p in points)
    first = {
        "rail_v": peak,
        "rail_exponent": 0.5,
        "output_ohm": 0.02 * min(p.load_ohm for p in points),
        "limit_a": max(sqrt(2) * p.voltage_v_rms / p.load_ohm for p in points),
        "knee": 0.03,
    }
    first.update({prior.name: prior.middle for prior in priors})
    return np.array([first[name] for name in names])


_LOWEST = {"rail_v": 1e-3, "rail_exponent": -0.5, "output_ohm": 0.0, "limit_a": 1e-3, "knee": 0.0}
_HIGHEST = {"rail_v": 1e4, "rail_exponent": 2.5, "output_ohm": 1e3, "limit_a": 1e5, "knee": SOFTEST}


def _least_squares(residuals: Callable[[Real], Real], start: Real, names: Sequence[str]):  # type: ignore[no-untyped-def]  # noqa: ANN202
    from scipy.optimize import least_squares

    low, high = (np.array([bounds[name] for name in names]) for bounds in (_LOWEST, _HIGHEST))
    inside = np.clip(start, low + 1e-9 * (high - low), high - 1e-9 * (high - low))
    return least_squares(residuals, inside, bounds=(low, high), x_scale=np.maximum(np.abs(inside), 1e-2), xtol=1e-12)


def _limit(names: Sequence[str], values: Real, reference_v: float) -> Limit:
    given = dict(zip(names, (float(value) for value in values), strict=True))
    return replace(
        Limit(rail_v=1.0, rail_exponent=0.0, output_ohm=0.0, limit_a=None, knee=0.0, reference_v=reference_v), **given
    )


class _Table:
    """The points as arrays, for they are compared with the model a few hundred times."""

    def __init__(self, points: Sequence[LimitPoint]) -> None:
        self.log_power = np.log([p.power.value for p in points])
        self.load_ohm = np.array([p.load_ohm for p in points])
        self.supply_v = np.array([p.supply_v for p in points])
        self.thds, self.which = np.unique([p.thd_n or UNKNOWN_LIMIT for p in points], return_inverse=True)

    def misses(self, limit: Limit) -> Real:
        """Give measured over modelled power, logarithm."""
        rms = np.array([limit.sine_at(float(thd)).rms for thd in self.thds])[self.which]
        misses: Real = self.log_power - np.log((rms * limit.peaks_v(self.supply_v, self.load_ohm)) ** 2 / self.load_ohm)
        return misses


def _residuals(
    table: _Table, names: Sequence[str], priors: Sequence[Prior], whiten: Real, reference_v: float
) -> Callable[[Real], Real]:
    where = {name: number for number, name in enumerate(names)}

    def residuals(values: Real) -> Real:
        misses = whiten @ table.misses(_limit(names, values, reference_v))
        held = [(float(values[where[prior.name]]) - prior.middle) / prior.u for prior in priors]
        return np.concatenate([misses, held])

    return residuals
