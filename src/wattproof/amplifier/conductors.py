"""What a supply lead of a cross-section carries: a band, for insulation, air and bundling decide."""

from itertools import pairwise
from math import exp, log

_FREE_AIR = (
    (0.82, 20.0), (1.31, 25.0), (2.08, 35.0), (3.31, 45.0), (5.26, 60.0), (8.37, 80.0), (13.3, 120.0), (21.15, 160.0),
    (33.6, 210.0), (53.5, 285.0), (67.4, 330.0), (85.0, 385.0), (107.2, 445.0),
)  # fmt: skip
"""Square millimetre and ampere: one lead of 105 °C insulation in free air, from a republished table for boats."""

_LOWEST_SHARE = 0.6
"""Tables for bundles, engine spaces and plainer insulation come down to this."""


def ampacity(area_mm2: float) -> tuple[float, float]:
    """Give the current that a copper lead carries without end: at least, and at most in free air, A.

    Between and beyond the table's sizes by the power law through the two nearest.

    Examples
    --------
    >>> ampacity(21.15)
    (96.0, 160.0)
    """
    pairs = list(pairwise(_FREE_AIR))
    (area, amps), (next_area, next_amps) = next((pair for pair in pairs if area_mm2 <= pair[1][0]), pairs[-1])
    slope = log(next_amps / amps) / log(next_area / area)
    most_a = next_amps * exp(slope * log(area_mm2 / next_area))
    return _LOWEST_SHARE * most_a, most_a
