"""Power ratings as claims: which speak of the outputs as wired, what they say in words, the sine behind them."""

from functools import cache
from math import sqrt

from wattproof.amplifier.model import Amplifier, Rating
from wattproof.dsp import SQUARE_THD, clipped_power, overdrive_for_thd

STANDARD_V = 14.4
"""At the supply terminals: what ratings of vehicle amplifiers usually mean."""

_HIGHEST_12_V = 18.0
"""Above it a stated supply voltage speaks of a supply of 24 V."""

STANDARD_THD = 0.01
"""Distortion at which a power is read where none is stated, V/V."""

_MOST_THD = 0.4
"""Beyond it hard clipping is so near a square wave that a limit of distortion says nothing more, V/V."""

_LOUD_WORDS = ("max", "peak", "music", "pmpo", "dynamic", "burst")


def power_words(rating: Rating) -> str:
    """Write a rated power in words: ``520 W into 2 ohm``."""
    into = "" if rating.load_ohm is None else f" into {rating.load_ohm:g} ohm"
    bridged = " bridged" if rating.bridged else ""
    return f"{rating.value:g} {rating.unit}{into}{bridged}"


def power_ratings(amplifier: Amplifier, *, bridged: bool) -> tuple[Rating, ...]:
    """Give the power ratings that speak of the outputs as they are wired.

    An amplifier with one output cannot be wired otherwise, whatever goes on inside it.
    """
    single = len(amplifier.outputs) == 1
    return tuple(
        rating
        for rating in amplifier.ratings
        if rating.quantity == "power" and rating.value > 0 and (single or bool(rating.bridged) is bridged)
    )


def is_loud(rating: Rating) -> bool:
    """Say whether a rating is one of those that promise most and state nothing: never expected, but possible."""
    words = f"{rating.note or ''} {rating.source or ''}".lower()
    bare = rating.thd_percent is None and rating.supply_v is None
    return bare and (rating.load_ohm is None or any(word in words for word in _LOUD_WORDS))


def states_enough(rating: Rating) -> bool:
    """Say whether a power is stated with its load and with distortion or supply voltage."""
    return rating.load_ohm is not None and (rating.thd_percent is not None or rating.supply_v is not None)


def driven_in(rating: Rating, amplifier: Amplifier) -> int:
    """Give how many outputs give this power at once, as stated; one where that is left open."""
    return min(rating.channels_driven or 1, len(amplifier.outputs))


def system_volts(amplifier: Amplifier) -> float:
    """Give the supply voltage to reckon with where a rating states none: the usual 14.4 V, more for 24 V systems, V.

    Examples
    --------
    >>> system_volts(Amplifier(maker="Sorrel Thaw", model="Dunlin 1"))
    14.4
    """
    seen = amplifier.inside.rail_at_supply_v if amplifier.inside is not None else None
    stated = [*(rating.supply_v for rating in amplifier.ratings), seen]
    return max((volts for volts in stated if volts is not None and volts > _HIGHEST_12_V), default=STANDARD_V)


def clean_power(rating: Rating) -> float:
    """Give the power of the largest clean sine behind a rated power, W, as if hard-clipped; 1 % where none is stated.

    Examples
    --------
    >>> round(clean_power(Rating(quantity="power", value=128.78, unit="W", thd_percent=10)), 1)
    100.0
    """
    stated = STANDARD_THD if rating.thd_percent is None else rating.thd_percent / 100
    return rating.value_si / clipped_share(min(stated, _MOST_THD))


@cache
def clipped_share(thd: float) -> float:
    """Give the power of a hard-clipped sine of that THD_F over the largest clean one, W/W; 2 for a square wave."""
    return 2.0 if thd >= SQUARE_THD else clipped_power(overdrive_for_thd(thd))


def peak_volts(clean_w: float, load_ohm: float) -> float:
    """Give the peak volts of a clean sine of that power, ``sqrt(2 P R)``.

    Examples
    --------
    >>> peak_volts(25.92, 4.0)
    14.4
    """
    return sqrt(2 * clean_w * load_ohm)


def direct_power(supply_v: float, load_ohm: float) -> float:
    """Give the largest clean sine of a lossless bridge fed straight from the supply, ``V² / (2 R)``, W.

    Examples
    --------
    >>> round(direct_power(14.4, 4.0), 2)
    25.92
    """
    return supply_v**2 / (2 * load_ohm)
