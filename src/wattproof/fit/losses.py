"""Fits what the amplifier draws beyond what it gives: idle, with the current, with its square, and in the converter."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wattproof.fit.points import IdlePoint, LossPoint, Points

Real = NDArray[np.float64]

NAMES = ("idle_w", "loss_v", "loss_ohm", "converter_v", "converter_ohm")
UNITS = {"idle_w": "W", "loss_v": "V", "loss_ohm": "ohm", "converter_v": "V", "converter_ohm": "ohm"}
MOST_POINTS = 40
FEWEST_POINTS = 3
_SCATTER_FLOOR = 1e-3
_PRIOR_SHARE = 0.15
"""Of the highest drawn power: what each way of losing it may cost before anything is measured (standard deviation)."""
_ROUNDS = 3


@dataclass(frozen=True, kw_only=True, eq=False)
class LossFit:
    """``P_s = idle_w·V_s/reference_v + given·P_out + loss_v·ΣI + loss_ohm·ΣI² + converter_v·I_s + converter_ohm·I_s²``.

    ``I_s = P_out/V_s`` for a switching stage, ``loss_v·ΣI/V_s`` for a linear one: the current that the converter and
    the leads inside carry for the stages. The idle *current* is taken for constant.

    Attributes
    ----------
    given : 1 or 0
        1 for a switching stage, which draws what it gives and its losses; 0 for a linear one, which draws its rail
        times the mean current whatever the load takes of it. Whichever describes the data better.
    covariance : Real of shape (5, 5)
        Of idle_w, loss_v, loss_ohm, converter_v, converter_ohm.
    scatter : float, relative
        Of the drawn power about the fit.
    reference_v : float, V
        Mean supply voltage of the data, at which `idle_w` is stated and from which a linear stage's `loss_v` follows.
    """

    idle_w: float
    loss_v: float
    loss_ohm: float
    converter_v: float
    converter_ohm: float
    given: Literal[0, 1]
    covariance: Real
    scatter: float
    reference_v: float
    points: int

    def drawn_w(
        self, given_w: float, sum_a: float, sum_a2: float, *, supply_v: float, rail_share: float = 1.0
    ) -> float:
        """Give the power drawn from the supply.

        Parameters
        ----------
        given_w, sum_a, sum_a2 : float
            Power into all loads; r.m.s. currents of all outputs, and their squares, added.
        supply_v : float, V
            At the terminals.
        rail_share : float
            Open rail over its value at `reference_v`: a linear stage draws in proportion to it.
        """
        if self.given == 1:
            asked_w, with_current_w = given_w, self.loss_v * sum_a
        else:
            asked_w = with_current_w = self.loss_v * rail_share * sum_a
        through_a = asked_w / supply_v
        converter_w = self.converter_v * through_a + self.converter_ohm * through_a**2
        stage_w = self.given * given_w + with_current_w + self.loss_ohm * sum_a2
        return self.idle_w * supply_v / self.reference_v + stage_w + converter_w


def fit_losses(points: Points, *, rail_exponent: float) -> LossFit | None:
    """Fit the losses; None where fewer than three moments hold supply and load together.

    The calibrations of both sides, which all moments share, go into the covariance in full. What few moments cannot
    tell apart is held by one assumption: no single way of losing power costs much more than 15 % of the highest draw.

    Parameters
    ----------
    points : Points
    rail_exponent : float
        How the rail follows the supply: a linear stage draws in proportion to it.
    """
    chosen = _thinned(points.losses)
    if len(chosen) < FEWEST_POINTS:
        return None
    fits = [_fitted(chosen, points, given, rail_exponent) for given in _stages(chosen)]
    return min(fits, key=lambda fit: fit.scatter)


def _stages(chosen: Sequence[LossPoint]) -> tuple[Literal[0, 1], ...]:
    """Say which stages to try: a handful of moments tells a linear from a switching one by its efficiency alone."""
    if len(chosen) >= 2 * FEWEST_POINTS:
        return (1, 0)
    best = max(point.given_w / point.drawn_w for point in chosen)
    return (1,) if best > 0.79 else (0,)


def _thinned(points: Sequence[LossPoint]) -> list[LossPoint]:
    """Keep points evenly spread over each ramp."""
    groups = sorted({point.group for point in points})
    each = max(MOST_POINTS // max(len(groups), 1), 6)
    kept = []
    for group in groups:
        members = sorted((p for p in points if p.group == group), key=lambda p: p.sum_a)
        picks = np.unique(np.linspace(0, len(members) - 1, min(each, len(members))).round().astype(int))
        kept += [members[pick] for pick in picks]
    return kept


def _columns(chosen: Sequence[LossPoint], given: int, loss_v: float, rail_exponent: float) -> Real:
    """Give what each parameter multiplies; a linear stage's current in the converter is that of the last round."""
    reference_v = _reference_v(chosen)
    rows = []
    for p in chosen:
        sum_a = p.sum_a if given == 1 else p.sum_a * (p.supply_v / reference_v) ** rail_exponent
        through_a = (p.given_w if given == 1 else loss_v * sum_a) / p.supply_v
        rows.append([p.supply_v / reference_v, sum_a, p.sum_a2, through_a, through_a**2])
    return np.array(rows)


def _reference_v(chosen: Sequence[LossPoint]) -> float:
    return float(np.mean([point.supply_v for point in chosen]))


def _fitted(chosen: Sequence[LossPoint], points: Points, given: Literal[0, 1], rail_exponent: float) -> LossFit:
    from scipy.optimize import lsq_linear

    drawn = np.array([p.drawn_w for p in chosen])
    delivered = np.array([p.given_w for p in chosen])
    own = np.array([p.own_u for p in chosen])
    wanted = drawn - given * delivered
    scatter, loss_v = _SCATTER_FLOOR, float(np.median(wanted / [p.sum_a for p in chosen]))
    for _ in range(_ROUNDS):
        columns = _columns(chosen, given, loss_v, rail_exponent)
        weights = 1 / (np.sqrt(scatter**2 + own**2) * drawn)
        extra_left, extra_right = _assumed(columns, drawn, points.idle, given, _reference_v(chosen))
        left = np.vstack([weights[:, None] * columns, extra_left])
        found = lsq_linear(left, np.append(weights * wanted, extra_right), bounds=(0.0, np.inf)).x
        misses = (wanted - columns @ found) / drawn
        scatter, loss_v = max(_excess(misses, own), _SCATTER_FLOOR), float(found[1])
    own_covariance = np.linalg.pinv(left.T @ left)
    # scales that all moments share would pull the fit low in its weights: they move it afterwards instead
    moved = own_covariance @ (weights[:, None] * columns).T
    by_scales = [moved @ (weights * drawn) * points.drawn_u, moved @ (weights * delivered) * given * points.given_u]
    covariance: Real = own_covariance + sum(np.outer(shift, shift) for shift in by_scales)
    return LossFit(
        **dict(zip(NAMES, map(float, found), strict=True)),
        given=given,
        covariance=covariance,
        scatter=scatter,
        reference_v=_reference_v(chosen),
        points=len(chosen),
    )


def _excess(misses: Real, own: Real) -> float:
    """Give the r.m.s. of what is missed beyond what the moments' own uncertainties explain."""
    return sqrt(max(float(np.mean(misses**2 - own**2)), 0.0))


def _assumed(
    columns: Real, drawn: Real, idle: Sequence[IdlePoint], given: int, reference_v: float
) -> tuple[Real, Real]:
    """Give the rows of the measured idle power and of what is assumed of each loss."""
    highest = columns.max(axis=0)
    weights = highest / (_PRIOR_SHARE * drawn.max())
    if given == 0:
        weights[1] = 0.0
    rows, wanted = [np.diag(weights)], [np.zeros(len(weights))]
    for point in idle:
        if point.power.value > 0:
            weight = 1 / max(point.power.u, 1e-3 * point.power.value)
            rows.append(weight * (point.supply_v or reference_v) / reference_v * np.eye(1, len(NAMES)))
            wanted.append(np.array([weight * point.power.value]))
    return np.vstack(rows), np.concatenate(wanted)
