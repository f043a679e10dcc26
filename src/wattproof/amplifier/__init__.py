"""What the maker says and what was seen: ratings with conditions, controls, size, price."""

from wattproof.amplifier.model import Amplifier, Price, Rating

__all__ = ["Amplifier", "Price", "Rating"]
