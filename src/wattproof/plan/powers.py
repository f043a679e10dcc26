"""What one output is expected to do into a load, from what the maker states, and what bounds it otherwise."""

from dataclasses import dataclass
from functools import cache
from math import inf, sqrt

from wattproof.amplifier import (
    FUSE_FOR_MINUTES,
    Amplifier,
    Rating,
    clean_power,
    clipped_share,
    efficiency_of,
    is_loud,
    power_ratings,
    states_enough,
)
from wattproof.bench import Bench, BenchChannel, Load
from wattproof.dsp import overdrive_for_thd, thd_r_to_f
from wattproof.errors import RefusedError

LIKE_LOADS = 0.05
"""A rating speaks of a load of the bench when their resistances differ by less than this share."""

LIMIT_THD = 0.01
"""Distortion of the power that holds play at, V/V; half of this power is where full power begins to be counted."""

BURST_THD_N = 0.1
"""Distortion of the level that bursts play at, V/V re total: what a short burst may have at the most."""

STOP_THD_N = 0.12
"""A ramp ends here, V/V re total: past the highest limit that is asked for."""

FALL_TO_LOWER = 0.7
"""Power rises as the resistance to the power -0.7 below a rated load, where rails give way, and to -1 above it."""

CLAIM_OVER_FUSE = 2.0
"""No claim raises the ceiling past so many times what the fuse carries for minutes."""


@dataclass(frozen=True, kw_only=True)
class OutputPower:
    """What one output is expected to do into a load.

    Attributes
    ----------
    clean_w : float or None, W
        Of the largest clean sine; None where no rating says enough.
    ceiling_w : float, W
        Of the largest clean sine that a claim, or else the bench, lets one reckon with.
    said : str
        What it was taken from.
    """

    load: Load
    clean_w: float | None
    ceiling_w: float
    said: str

    @property
    def limit_w(self) -> float | None:
        """Power expected at the lower limit of distortion, W."""
        return None if self.clean_w is None else self.clean_w * clipped_share(LIMIT_THD)

    @property
    def burst_w(self) -> float:
        """Power expected of a burst, which plays at the upper limit of distortion, W."""
        return self.ceiling_w if self.clean_w is None else self.clean_w * clipped_share(thd_r_to_f(BURST_THD_N))

    @property
    def expected_w(self) -> float:
        """The same, or the bound where nothing is expected, W."""
        return self.ceiling_w if self.limit_w is None else self.limit_w

    @property
    def knee_v_rms(self) -> float | None:
        """R.m.s. volts of the largest clean sine expected."""
        return None if self.clean_w is None else sqrt(self.clean_w * self.load.resistance_ohm)

    @property
    def ceiling_v_rms(self) -> float:
        """R.m.s. volts of the largest clean sine to reckon with."""
        return sqrt(self.ceiling_w * self.load.resistance_ohm)


@cache
def stop_overdrive() -> float:
    """Give the overdrive at which a hard-clipped sine reaches the ramp's last distortion, V/V.

    Examples
    --------
    >>> from wattproof.dsp import clipped_power
    >>> round(stop_overdrive(), 3), round(clipped_power(stop_overdrive()), 3)
    (1.361, 1.334)
    """
    return overdrive_for_thd(thd_r_to_f(STOP_THD_N))


def at_load(power_w: float, *, rated_ohm: float, load_ohm: float) -> float:
    """Carry a power from the load it is rated for to another, W."""
    ratio = rated_ohm / load_ohm
    return power_w * (ratio if ratio <= 1 else ratio**FALL_TO_LOWER)


def output_power(
    amplifier: Amplifier, bench: Bench, load: Load, *, supply_v: float, outputs: int, bridged: bool = False
) -> OutputPower:
    """Find what one output is expected to do into a load.

    The best-supported ratings count: those for this load that state their conditions; else those for other loads; else
    bare ones. Of these the lowest, carried to this load and this supply voltage, but not more than the fuse carries
    for minutes. Larger claims only raise the ceiling.

    Parameters
    ----------
    amplifier : Amplifier
    bench : Bench
    load : Load
    supply_v : float, V
    outputs : int >= 1
        Driven at once: they share fuse and supply.
    bridged : bool

    Returns
    -------
    OutputPower

    Raises
    ------
    RefusedError
        Nothing is rated and nothing else bounds the power.
    """
    ratings = power_ratings(amplifier, bridged=bridged)
    fuse_w = _fuse_power(amplifier, supply_v) / outputs
    carried = [(rating, _carried(rating, amplifier, load, supply_v)) for rating in ratings if rating.load_ohm]
    tier = _best_supported(carried, load)
    ceiling_w = min(_largest_claim(ratings, carried, load), CLAIM_OVER_FUSE * fuse_w)
    if not tier:
        bound_w = min(ceiling_w if ceiling_w > 0 else inf, _bench_bound(bench, amplifier, load, supply_v, outputs))
        bound_w = min(bound_w, fuse_w)
        if bound_w == inf:
            raise _boundless(amplifier)
        return OutputPower(load=load, clean_w=None, ceiling_w=bound_w, said="no rating: what the bench allows")
    rating, clean_w = min(tier, key=lambda pair: pair[1])
    said = f"{rating.value:g} {rating.unit} rated into {rating.load_ohm:g} ohm"
    if clean_w > fuse_w:
        clean_w, said = fuse_w, f"{said}, no more than the fuse of {amplifier.fuse_a:g} A carries for minutes"
    return OutputPower(load=load, clean_w=clean_w, ceiling_w=max(ceiling_w, clean_w), said=said)


def matches(rating: Rating, load: Load) -> bool:
    """Say whether a rating speaks of this load."""
    return rating.load_ohm is not None and abs(load.resistance_ohm / rating.load_ohm - 1) <= LIKE_LOADS


def _carried(rating: Rating, amplifier: Amplifier, load: Load, supply_v: float) -> float:
    ratio = supply_v / rating.supply_v if rating.supply_v else 1.0
    follows = amplifier.supply in {"unregulated", "direct"} or (amplifier.supply == "unknown" and ratio < 1)
    power_w = clean_power(rating) * (ratio**2 if follows else 1.0)
    return at_load(power_w, rated_ohm=rating.load_ohm or load.resistance_ohm, load_ohm=load.resistance_ohm)


def _best_supported(carried: list[tuple[Rating, float]], load: Load) -> list[tuple[Rating, float]]:
    plain = [pair for pair in carried if not is_loud(pair[0])]
    enough = [pair for pair in plain if states_enough(pair[0])]
    here = [pair for pair in enough if matches(pair[0], load)]
    bare_here = [pair for pair in plain if matches(pair[0], load)]
    return here or enough or bare_here or plain


def _largest_claim(ratings: tuple[Rating, ...], carried: list[tuple[Rating, float]], load: Load) -> float:
    """Give the largest power claimed, carried to the load, W; one without a load is made for the lowest rated."""
    placed_ohm = [rating.load_ohm for rating in ratings if rating.load_ohm is not None]
    least_ohm = min(placed_ohm, default=load.resistance_ohm)
    unplaced = [
        at_load(clean_power(rating), rated_ohm=least_ohm, load_ohm=load.resistance_ohm)
        for rating in ratings
        if rating.load_ohm is None
    ]
    return max([*unplaced, *(power_w for _, power_w in carried)], default=0.0)


def _fuse_power(amplifier: Amplifier, supply_v: float) -> float:
    if amplifier.fuse_a is None:
        return inf
    return FUSE_FOR_MINUTES * amplifier.fuse_a * supply_v * efficiency_of(amplifier).usual


def _bench_bound(bench: Bench, amplifier: Amplifier, load: Load, supply_v: float, outputs: int) -> float:
    """Give the most that this bench lets one output deliver, W; infinite where nothing bounds it."""
    currents = [a for a in (bench.supply.max_current_a, bench.limits.supply_current_a) if a is not None]
    bounds = [amps * supply_v * efficiency_of(amplifier).usual / outputs for amps in currents]
    bounds += [load.continuous_w] if load.continuous_w is not None else []
    peaks = [bench.limits.load_voltage_v, *(reach_of(c) for c in bench.channels if c.role == "load_voltage")]
    bounds += [peak_v**2 / (2 * load.resistance_ohm) for peak_v in peaks if peak_v is not None]
    return min(bounds, default=inf)


def reach_of(channel: BenchChannel) -> float | None:
    """Give the largest volts or amperes of either sign that a channel can record; None where it is not known."""
    if channel.full_scale is None:
        return None
    return abs(channel.scale) * channel.full_scale - abs(channel.offset)


def _boundless(amplifier: Amplifier) -> RefusedError:
    return RefusedError(
        f"Nothing says how much {amplifier.maker} {amplifier.model} may give.",
        why="it has no power rating with a load and no fuse_a, and the bench file neither supply limits nor "
        "load_voltage_v, continuous_w of the load nor full_scale of the load voltage's channel",
        hint="Write load_voltage_v and supply_current_a under [limits] in the bench file.",
    )
