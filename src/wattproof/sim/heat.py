"""Two bodies that warm: devices on a heat sink, a coil in a magnet, resistance wire in its case."""

from dataclasses import dataclass
from functools import lru_cache
from math import exp, sqrt

AMBIENT_C = 21.0


@dataclass(frozen=True, kw_only=True)
class Bodies:
    """Heat capacities and thermal resistances: power enters the inner body and leaves through the outer one.

    Attributes
    ----------
    inner_j_per_k, outer_j_per_k : float
    between_k_per_w, outside_k_per_w : float
    """

    inner_j_per_k: float
    outer_j_per_k: float
    between_k_per_w: float
    outside_k_per_w: float


@dataclass(frozen=True, kw_only=True)
class Rises:
    """How far both are above the room, kelvin."""

    inner_k: float = 0.0
    outer_k: float = 0.0


def warmed(bodies: Bodies, rises: Rises, *, power_w: float, seconds: float) -> Rises:
    """Give the rises after a time of constant power: the exact solution, for a tick as for an hour.

    Parameters
    ----------
    power_w : float
        Into the inner body.
    seconds : float >= 0
    """
    settled_inner = power_w * (bodies.between_k_per_w + bodies.outside_k_per_w)
    settled_outer = power_w * bodies.outside_k_per_w
    one_one, one_two, two_one, two_two = _left(bodies, seconds)
    inner, outer = rises.inner_k - settled_inner, rises.outer_k - settled_outer
    return Rises(
        inner_k=settled_inner + one_one * inner + one_two * outer,
        outer_k=settled_outer + two_one * inner + two_two * outer,
    )


@lru_cache(maxsize=256)
def _left(bodies: Bodies, seconds: float) -> tuple[float, float, float, float]:
    """Give what is left of a deviation: the exponential of the rates' matrix, by Sylvester's formula."""
    inner = -1 / (bodies.between_k_per_w * bodies.inner_j_per_k)
    across = 1 / (bodies.between_k_per_w * bodies.outer_j_per_k)
    outer = -across - 1 / (bodies.outside_k_per_w * bodies.outer_j_per_k)
    half_sum, half_gap = (inner + outer) / 2, sqrt(((inner - outer) / 2) ** 2 - inner * across)
    slow, fast = half_sum + half_gap, half_sum - half_gap
    slow_left, fast_left = exp(slow * seconds), exp(fast * seconds)
    share = (slow_left - fast_left) / (slow - fast)
    rest = slow_left - share * slow
    return rest + share * inner, -share * inner, share * across, rest + share * outer
