"""How a rated power can be read: what the maker states, what has to be assumed, what would make the number true."""

from collections.abc import Iterator, Sequence

from wattproof.amplifier import Amplifier, Rating, system_volts
from wattproof.dsp import clipped_power, overdrive_for_thd
from wattproof.judge.model import Reading

STANDARD_OHM = 4.0
HIGH_V = 16.0
"""A supply that some makers use, far above what a vehicle has."""
LIMITS = (0.01, 0.1)
"""Where sines are read, V/V of distortion: at the standard's limit, and at the one that chips are rated at."""
SQUARE_U = 0.06
"""Relative: a bridged chip rated 22 W at 1 % gives 45 W with a square wave, where hard clipping makes it 42 W."""
PEAK = 2.0
"""Instantaneous peak power of a sine over its mean."""


def square_factor() -> float:
    """Give the power of a square wave over that of a sine clipped to 1 % by the same limit.

    Examples
    --------
    >>> round(square_factor(), 3)
    1.909
    """
    return 2.0 / clipped_power(overdrive_for_thd(LIMITS[0]))


def power_readings(rating: Rating, amplifier: Amplifier) -> tuple[Reading, ...]:
    """Give the readings of a rated power, the plausible ones first; one alone is plausible if all is stated.

    Parameters
    ----------
    rating : Rating
        Of a power.
    amplifier : Amplifier
        For its outputs, its least load, and the loads of its other ratings.
    """
    limits = LIMITS if rating.thd_percent is None else (rating.thd_percent / 100,)
    found = [
        _reading(rating, amplifier, load_ohm=load_ohm, limit=limit, driven=driven)
        for load_ohm in loads_of(rating, amplifier)
        for driven in _driven(rating, amplifier)
        for limit in limits
    ]
    return (*found, *_stretched(rating, amplifier))


def loads_of(rating: Rating, amplifier: Amplifier) -> list[float]:
    """Give the stated load; else the least allowed, the standard's, and those of the other ratings."""
    if rating.load_ohm is not None:
        return [rating.load_ohm]
    others = [
        one.load_ohm
        for one in amplifier.ratings
        if one.quantity == "power" and bool(one.bridged) == bool(rating.bridged)
    ]
    least = [] if rating.bridged else [amplifier.minimum_load_ohm]
    return sorted({load for load in (*least, STANDARD_OHM, *others) if load is not None})


def volts_of(rating: Rating, amplifier: Amplifier) -> tuple[float, str]:
    """Give the supply voltage that a rating is for, and where the maker is silent the words of what is assumed.

    Assumed is the one voltage that all other ratings state, else the usual one of such a vehicle.
    """
    if rating.supply_v is not None:
        return rating.supply_v, ""
    others = {one.supply_v for one in amplifier.ratings if one.supply_v is not None}
    if len(others) == 1:
        (volts,) = others
        return volts, f"{volts:g} V at the terminals, as its other ratings say"
    volts = system_volts(amplifier)
    return volts, f"{volts:g} V at the terminals"


def _driven(rating: Rating, amplifier: Amplifier) -> Sequence[int]:
    if rating.channels_driven is not None:
        return (rating.channels_driven,)
    return sorted({1, 1 if rating.bridged else len(amplifier.outputs)})


def _reading(
    rating: Rating,
    amplifier: Amplifier,
    *,
    load_ohm: float,
    limit: float,
    driven: int,
    supply_v: float | None = None,
    kind: str = "",
    factor: float = 1.0,
    factor_u: float = 0.0,
    added: bool = False,
) -> Reading:
    volts = supply_v or volts_of(rating, amplifier)[0]
    words = [kind or f"sine at {100 * limit:g} % distortion", f"{load_ohm:g} ohm", f"{volts:g} V"]
    if len(amplifier.outputs) > 1:
        words.append("one output driven" if driven == 1 else f"{driven} outputs driven")
    if rating.seconds is not None:
        words.append(f"for {rating.seconds:g} s")
    return Reading(
        words=", ".join(words),
        assumed=tuple(_assumed(rating, amplifier, load_ohm=load_ohm, limit=limit, driven=driven)),
        factor=factor,
        factor_u=factor_u,
        load_ohm=load_ohm,
        supply_v=volts,
        thd_n=limit,
        driven=driven,
        frequency_hz=rating.frequency_hz,
        seconds=rating.seconds,
        added=added,
        stretched=bool(kind) or supply_v is not None,
    )


def _assumed(rating: Rating, amplifier: Amplifier, *, load_ohm: float, limit: float, driven: int) -> Iterator[str]:
    if rating.load_ohm is None:
        yield f"a load of {load_ohm:g} ohm"
    _, assumed = volts_of(rating, amplifier)
    if assumed:
        yield assumed
    if rating.thd_percent is None:
        yield f"{100 * limit:g} % distortion"
    if rating.channels_driven is None and len(amplifier.outputs) > 1:
        yield "one output driven" if driven == 1 else f"all {driven} outputs driven"


def _stretched(rating: Rating, amplifier: Amplifier) -> Iterator[Reading]:
    """Give readings that nobody would expect of a sine in one output, but that numbers on boxes are made of."""
    limit = LIMITS[0] if rating.thd_percent is None else rating.thd_percent / 100
    both = LIMITS if rating.thd_percent is None else (limit,)
    for load_ohm in loads_of(rating, amplifier):
        for driven in _driven(rating, amplifier):
            if rating.thd_percent is not None and limit < LIMITS[1]:
                kind = f"sine at {100 * LIMITS[1]:g} % distortion instead of {100 * limit:g} %"
                yield _reading(rating, amplifier, load_ohm=load_ohm, limit=LIMITS[1], driven=driven, kind=kind)
            yield _reading(
                rating, amplifier, load_ohm=load_ohm, limit=LIMITS[0], driven=driven, kind="square wave",
                factor=square_factor(), factor_u=SQUARE_U,
            )  # fmt: skip
            for one in both:
                kind = f"instantaneous peak of a sine at {100 * one:g} % distortion"
                yield _reading(rating, amplifier, load_ohm=load_ohm, limit=one, driven=driven, kind=kind, factor=PEAK)
                if volts_of(rating, amplifier)[0] < HIGH_V:
                    yield _reading(rating, amplifier, load_ohm=load_ohm, limit=one, driven=driven, supply_v=HIGH_V)
        n_outputs = len(amplifier.outputs)
        for one in both if n_outputs > 1 and not rating.bridged else ():
            kind = f"all {n_outputs} outputs added, each a sine at {100 * one:g} % distortion"
            yield _reading(rating, amplifier, load_ohm=load_ohm, limit=one, driven=n_outputs, kind=kind, added=True)
