"""What a power draws from the supply and leaves as heat, by the class of its output stage, until it is measured."""

from dataclasses import dataclass
from math import asin, pi, sqrt

from wattproof.amplifier.model import Amplifier
from wattproof.dsp import clipped_power, overdrive_for_thd


@dataclass(frozen=True, kw_only=True)
class Efficiency:
    """Power delivered over power drawn at full power, W/W: what a poor one of its class gives, a usual, and the best.

    The usual one is the maker's own where that is worse, since a supply must bear the worse of the two.
    """

    poor: float
    usual: float
    best: float


SWITCHED = frozenset({"D", "T"})
"""Classes of stages that switch."""

_CLASSES = {
    **dict.fromkeys(SWITCHED, Efficiency(poor=0.65, usual=0.85, best=0.90)),
    **dict.fromkeys(("AB", "B"), Efficiency(poor=0.50, usual=0.60, best=0.785)),
    **dict.fromkeys(("G", "H"), Efficiency(poor=0.50, usual=0.65, best=0.85)),
    "A": Efficiency(poor=0.15, usual=0.25, best=0.50),
}
_UNKNOWN = Efficiency(poor=0.50, usual=0.65, best=0.90)


def class_of(amplifier: Amplifier) -> str:
    """Give the class as capital letters alone: ``AB`` for "class ab"; empty where it is not stated."""
    return (amplifier.class_ or "").strip().upper().removeprefix("CLASS").strip(" -")


def efficiency_of(amplifier: Amplifier) -> Efficiency:
    """Give the efficiency at full power to reckon with, before it is measured.

    Ratings outside 0.1 to 0.99 are no efficiencies and are passed over.
    """
    known = _CLASSES.get(class_of(amplifier), _UNKNOWN)
    stated = [r.value_si for r in amplifier.ratings if r.quantity == "efficiency" and 0.1 <= r.value_si <= 0.99]
    usual = min([known.usual, *stated])
    return Efficiency(poor=min(known.poor, usual), usual=usual, best=known.best)


def supply_current(output_w: float, *, efficiency: float, supply_v: float) -> float:
    """Give the mean current that a power draws, A.

    Examples
    --------
    >>> round(supply_current(1000.0, efficiency=0.8, supply_v=14.4), 1)
    86.8
    """
    return output_w / efficiency / supply_v


def heat(output_w: float, *, efficiency: float) -> float:
    """Give the heat that a power leaves in the amplifier, W.

    Examples
    --------
    >>> heat(500.0, efficiency=0.8)
    125.0
    """
    return output_w / efficiency - output_w


def linear_bound(thd: float) -> float:
    """Give the best efficiency that a class-B stage on a steady rail can have, W/W.

    The stage draws the mean of its output's magnitude at the rail's voltage; for a sine of amplitude x cut off at
    the rail, with θ = asin(1/x), that mean is ``2/π · (x (1 - cos θ) + π/2 - θ)``.

    Parameters
    ----------
    thd : float, V/V
        Distortion of the hard-clipped sine; 0: it just does not clip.

    Examples
    --------
    >>> round(linear_bound(0.0), 3), round(linear_bound(0.1), 3)
    (0.785, 0.874)
    """
    x = overdrive_for_thd(thd) if thd > 0 else 1.0
    mean = 2 / pi * (x * (1 - sqrt(1 - 1 / x**2)) + pi / 2 - asin(1 / x))
    return clipped_power(x) / 2 / mean
