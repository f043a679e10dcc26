"""Fits what the amplifier draws beyond what it gives: idle, in proportion to the current, to its square."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from wattproof.fit.points import LossPoint, Points

Real = NDArray[np.float64]

MOST_POINTS = 40
_SCATTER_FLOOR = 1e-3


@dataclass(frozen=True, kw_only=True, eq=False)
class LossFit:
    """``P_s = idle_w + given·P_out + loss_v·ΣI + loss_ohm·ΣI²``.

    Attributes
    ----------
    given : 1.0 or 0.0
        1 for a switching stage, which draws what it gives and its losses; 0 for a linear one, which draws its rail
        times the current whatever the load takes of it. Whichever describes the data better.
    covariance : Real of shape (3, 3)
        Of idle_w, loss_v, loss_ohm.
    scatter : float, relative
        Of the drawn power about the fit.
    reference_v : float, V
        Mean supply voltage of the data; a linear stage's `loss_v` follows the rail from there.
    """

    idle_w: float
    loss_v: float
    loss_ohm: float
    given: float
    covariance: Real
    scatter: float
    reference_v: float
    points: int

    def drawn_w(self, given_w: float, sum_a: float, sum_a2: float, *, rail_share: float = 1.0) -> float:
        """Give the power drawn from the supply.

        Parameters
        ----------
        given_w, sum_a, sum_a2 : float
            Power into all loads; r.m.s. currents of all outputs, and their squares, added.
        rail_share : float
            Open rail over its value at `reference_v`: a linear stage draws in proportion to it.
        """
        follows = rail_share if self.given == 0.0 else 1.0
        return self.idle_w + self.given * given_w + self.loss_v * follows * sum_a + self.loss_ohm * sum_a2


def fit_losses(points: Points) -> LossFit | None:
    """Fit the losses; None where fewer than six moments hold supply and load together.

    The calibrations of both sides, which all moments share, go into the covariance in full.
    """
    chosen = _thinned(points.losses)
    if len(chosen) < 6:
        return None
    fits = [_fitted(chosen, points, given) for given in (1.0, 0.0)]
    return min(fits, key=lambda fit: fit.scatter)


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


def _fitted(chosen: Sequence[LossPoint], points: Points, given: float) -> LossFit:
    from scipy.optimize import lsq_linear

    drawn = np.array([p.drawn_w for p in chosen])
    delivered = np.array([p.given_w for p in chosen])
    columns = np.array([[1.0, p.sum_a, p.sum_a2] for p in chosen])
    wanted = drawn - given * delivered
    idle = [figure for figure in points.idle if figure.value > 0]
    scatter = _SCATTER_FLOOR
    for _ in range(3):
        own = np.diag((scatter * drawn) ** 2)
        shared = points.drawn_u**2 * np.outer(drawn, drawn) + points.given_u**2 * np.outer(delivered, delivered) * given
        whiten = np.linalg.inv(np.linalg.cholesky(own + shared))
        left, right = whiten @ columns, whiten @ wanted
        for figure in idle:
            weight = 1 / max(figure.u, 1e-3 * figure.value)
            left, right = np.vstack([left, [weight, 0, 0]]), np.append(right, weight * figure.value)
        low = [0.0, -np.inf if given == 0.0 else 0.0, -np.inf if given == 0.0 else 0.0]
        found = lsq_linear(left, right, bounds=(low, [np.inf] * 3)).x
        misses = (wanted - columns @ found) / drawn
        scatter = max(float(np.sqrt(np.mean(misses**2))), _SCATTER_FLOOR)
    covariance: Real = np.linalg.pinv(left.T @ left)
    return LossFit(
        idle_w=float(found[0]),
        loss_v=float(found[1]),
        loss_ohm=float(found[2]),
        given=given,
        covariance=covariance,
        scatter=scatter,
        reference_v=float(np.mean([p.supply_v for p in chosen])),
        points=len(chosen),
    )


def relative_u(fit: LossFit, drawn_w: float, sum_a: float, sum_a2: float) -> float:
    """Relative standard uncertainty of the drawn power that the fit's covariance and scatter give."""
    row = np.array([1.0, sum_a, sum_a2])
    return sqrt(float(row @ fit.covariance @ row) / drawn_w**2 + fit.scatter**2)
