"""Fits what the amplifier draws beyond what it gives: idle, with the current, with its square, and in the converter."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wattproof.fit.points import LossPoint, Points
from wattproof.measure import Figure

Real = NDArray[np.float64]

NAMES = ("idle_w", "loss_v", "loss_ohm", "converter_ohm")
UNITS = {"idle_w": "W", "loss_v": "V", "loss_ohm": "ohm", "converter_ohm": "ohm"}
MOST_POINTS = 40
FEWEST_POINTS = 3
_SCATTER_FLOOR = 1e-3
_PRIOR_SHARE = 0.15
"""Of the highest drawn power: what each way of losing it may cost before anything is measured (standard deviation)."""
_ROUNDS = 3


@dataclass(frozen=True, kw_only=True, eq=False)
class LossFit:
    """``P_s = idle_w + given·P_out + loss_v·ΣI + loss_ohm·ΣI² + converter_ohm·(I_s)²``.

    ``I_s = P_out/V_s`` for a switching stage, ``loss_v·ΣI/V_s`` for a linear one: the current that the converter and
    the leads inside carry for the stages.

    Attributes
    ----------
    given : 1 or 0
        1 for a switching stage, which draws what it gives and its losses; 0 for a linear one, which draws its rail
        times the mean current whatever the load takes of it. Whichever describes the data better.
    covariance : Real of shape (4, 4)
        Of idle_w, loss_v, loss_ohm, converter_ohm.
    scatter : float, relative
        Of the drawn power about the fit.
    reference_v : float, V
        Mean supply voltage of the data; a linear stage's `loss_v` follows the rail from there.
    """

    idle_w: float
    loss_v: float
    loss_ohm: float
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
        square_w = self.loss_ohm * sum_a2 + self.converter_ohm * through_a**2
        return self.idle_w + self.given * given_w + with_current_w + square_w


def fit_losses(points: Points) -> LossFit | None:
    """Fit the losses; None where fewer than three moments hold supply and load together.

    The calibrations of both sides, which all moments share, go into the covariance in full. What few moments cannot
    tell apart is held by one assumption: no single way of losing power costs much more than 15 % of the highest draw.
    """
    chosen = _thinned(points.losses)
    if len(chosen) < FEWEST_POINTS:
        return None
    fits = [_fitted(chosen, points, given) for given in _stages(chosen)]
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


def _columns(chosen: Sequence[LossPoint], given: int, loss_v: float) -> Real:
    """Give what each parameter multiplies; a linear stage's current in the converter is that of the last round."""
    through = [(p.given_w if given else loss_v * p.sum_a) / p.supply_v for p in chosen]
    return np.array([[1.0, p.sum_a, p.sum_a2, a**2] for p, a in zip(chosen, through, strict=True)])


def _fitted(chosen: Sequence[LossPoint], points: Points, given: Literal[0, 1]) -> LossFit:
    from scipy.optimize import lsq_linear

    drawn = np.array([p.drawn_w for p in chosen])
    delivered = np.array([p.given_w for p in chosen])
    own = np.array([p.own_u for p in chosen])
    wanted = drawn - given * delivered
    shared = points.drawn_u**2 * np.outer(drawn, drawn) + given * points.given_u**2 * np.outer(delivered, delivered)
    scatter, loss_v = _SCATTER_FLOOR, float(np.median(wanted / [p.sum_a for p in chosen]))
    for _ in range(_ROUNDS):
        columns = _columns(chosen, given, loss_v)
        whiten = np.linalg.inv(np.linalg.cholesky(np.diag((scatter**2 + own**2) * drawn**2) + shared))
        extra_left, extra_right = _assumed(columns, drawn, points.idle, given)
        left = np.vstack([whiten @ columns, extra_left])
        found = lsq_linear(left, np.append(whiten @ wanted, extra_right), bounds=(0.0, np.inf)).x
        misses = (wanted - columns @ found) / drawn
        scatter, loss_v = max(_excess(misses, own), _SCATTER_FLOOR), float(found[1])
    covariance: Real = np.linalg.pinv(left.T @ left)
    return LossFit(
        **dict(zip(NAMES, map(float, found), strict=True)),
        given=given,
        covariance=covariance,
        scatter=scatter,
        reference_v=float(np.mean([p.supply_v for p in chosen])),
        points=len(chosen),
    )


def _excess(misses: Real, own: Real) -> float:
    """Give the r.m.s. of what is missed beyond what the moments' own uncertainties explain."""
    return sqrt(max(float(np.mean(misses**2 - own**2)), 0.0))


def _assumed(columns: Real, drawn: Real, idle: Sequence[Figure], given: int) -> tuple[Real, Real]:
    """Give the rows of the measured idle power and of what is assumed of each loss."""
    highest = columns.max(axis=0)
    weights = highest / (_PRIOR_SHARE * drawn.max())
    if given == 0:
        weights[1] = 0.0
    rows, wanted = [np.diag(weights)], [np.zeros(len(weights))]
    for figure in idle:
        if figure.value > 0:
            weight = 1 / max(figure.u, 1e-3 * figure.value)
            rows.append(np.array([[weight, 0.0, 0.0, 0.0]]))
            wanted.append(np.array([weight * figure.value]))
    return np.vstack(rows), np.concatenate(wanted)
