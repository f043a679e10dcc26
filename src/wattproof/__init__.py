"""Wattproof: from bench captures of vehicle audio amplifiers to figures one can defend."""

__version__ = "0.1.0"
