"""What a fuse says of a power: what passes for ever, what for seconds; a doubt and never a verdict."""

from dataclasses import dataclass

from wattproof.amplifier.claims import driven_in, system_volts
from wattproof.amplifier.draw import Efficiency, efficiency_of, supply_current
from wattproof.amplifier.model import Amplifier, Rating

FUSE_FOR_EVER = 1.10
"""A blade fuse carries this share of its rating for a hundred hours."""

FUSE_FOR_MINUTES = 1.35
"""At this share of its rating a blade fuse opens between three quarters of a second and ten minutes."""

LARGEST_BLADE_A = 40.0
"""Of the common size; larger ones and those that are bolted down follow other curves."""

_OPENS = (
    (FUSE_FOR_EVER, 360_000.0, None),
    (FUSE_FOR_MINUTES, 0.75, 600.0),
    (2.0, 0.15, 5.0),
    (3.5, 0.04, 0.5),
    (6.0, 0.0, 0.1),
)
"""Of a blade fuse: times its rating, opens no sooner, opens no later, s; the first two as in ISO 8820-3,
at second hand, the others recalled."""


def opening_time(times: float) -> tuple[float, float | None]:
    """Give the seconds within which a blade fuse opens at a multiple of its rating.

    Between two rows of the table nothing is interpolated: it opens no sooner than at the next higher row and no later
    than at the next lower one.

    Parameters
    ----------
    times : float
        Current over the fuse's rating.

    Returns
    -------
    tuple of float and (float or None), s
        No sooner, and no later; None: it may never open.

    Examples
    --------
    >>> opening_time(1.5), opening_time(1.2), opening_time(1.0)
    ((0.15, 600.0), (0.75, None), (360000.0, None))
    """
    soonest = next((seconds for ratio, seconds, _ in _OPENS if times <= ratio), 0.0)
    latest = [seconds for ratio, _, seconds in _OPENS if times >= ratio]
    return soonest, latest[-1] if latest else None


@dataclass(frozen=True, kw_only=True)
class FuseDemand:
    """A claimed power against the fuse it has to come through.

    Attributes
    ----------
    claimed_w : float, W
        Of all outputs that are driven at once.
    fuse_a, supply_v : float
    efficiency : Efficiency
    """

    claimed_w: float
    fuse_a: float
    supply_v: float
    efficiency: Efficiency

    @property
    def through_w(self) -> float:
        """What the fuse passes at its rating, W."""
        return self.fuse_a * self.supply_v

    @property
    def usual_w(self) -> float:
        """What that leaves for the loads with the usual efficiency of the class, W."""
        return self.through_w * self.efficiency.usual

    @property
    def best_w(self) -> float:
        """The same with the best efficiency of the class, W."""
        return self.through_w * self.efficiency.best

    @property
    def need_a(self) -> float:
        """What the claim draws with the best efficiency of the class, A."""
        return supply_current(self.claimed_w, efficiency=self.efficiency.best, supply_v=self.supply_v)

    @property
    def times(self) -> float:
        """The same over the fuse's rating."""
        return self.need_a / self.fuse_a


def fuse_demand(rating: Rating, amplifier: Amplifier, *, supply_v: float | None = None) -> FuseDemand | None:
    """Weigh a rated power against the amplifier's fuse; None where no fuse is stated.

    Parameters
    ----------
    rating : Rating
        Of a power.
    amplifier : Amplifier
    supply_v : float or None, V
        Where the rating states none; the usual one when left out.
    """
    if amplifier.fuse_a is None:
        return None
    return FuseDemand(
        claimed_w=driven_in(rating, amplifier) * rating.value_si,
        fuse_a=amplifier.fuse_a,
        supply_v=rating.supply_v or supply_v or system_volts(amplifier),
        efficiency=efficiency_of(amplifier),
    )
