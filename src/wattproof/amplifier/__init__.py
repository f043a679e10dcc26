"""What the maker says and what was seen: ratings with conditions, controls, size, price; what a power needs."""

from wattproof.amplifier.claims import (
    STANDARD_THD,
    STANDARD_V,
    clean_power,
    clipped_share,
    direct_power,
    driven_in,
    is_loud,
    peak_volts,
    power_ratings,
    power_words,
    states_enough,
    system_volts,
)
from wattproof.amplifier.conductors import ampacity
from wattproof.amplifier.draw import SWITCHED, Efficiency, class_of, efficiency_of, heat, linear_bound, supply_current
from wattproof.amplifier.fuse import (
    FUSE_FOR_EVER,
    FUSE_FOR_MINUTES,
    LARGEST_BLADE_A,
    FuseDemand,
    fuse_demand,
    opening_time,
)
from wattproof.amplifier.inside import Inside
from wattproof.amplifier.model import Amplifier, Price, Rating
from wattproof.amplifier.parse import parse_amplifier
from wattproof.amplifier.units import RATING_UNITS

__all__ = [
    "FUSE_FOR_EVER",
    "FUSE_FOR_MINUTES",
    "LARGEST_BLADE_A",
    "RATING_UNITS",
    "STANDARD_THD",
    "STANDARD_V",
    "SWITCHED",
    "Amplifier",
    "Efficiency",
    "FuseDemand",
    "Inside",
    "Price",
    "Rating",
    "ampacity",
    "class_of",
    "clean_power",
    "clipped_share",
    "direct_power",
    "driven_in",
    "efficiency_of",
    "fuse_demand",
    "heat",
    "is_loud",
    "linear_bound",
    "opening_time",
    "parse_amplifier",
    "peak_volts",
    "power_ratings",
    "power_words",
    "states_enough",
    "supply_current",
    "system_volts",
]
