"""Shipped helpers: synthetic captures with known truth, strategies, asserts."""
