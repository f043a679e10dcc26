"""What the maker says and what was seen: ratings with conditions, controls, size, price."""

from wattproof.amplifier.model import Amplifier, Price, Rating
from wattproof.amplifier.parse import parse_amplifier
from wattproof.amplifier.units import RATING_UNITS

__all__ = ["RATING_UNITS", "Amplifier", "Price", "Rating", "parse_amplifier"]
