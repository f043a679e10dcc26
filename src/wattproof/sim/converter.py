"""The rail: what the converter can give, what its store holds, and one step of Newton's method for a whole piece."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.sim.parts import Rail

Samples = NDArray[np.float64]
_FASTEST = 0.55
"""Least share of the rail that one sample may leave: under it the products below would run out of range."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Feeding:
    """What stands ahead of the rail during a piece.

    Attributes
    ----------
    emf_v : Samples of shape (n_samples,)
        Electromotive force of the supply.
    source_ohm, converter_ohm : float
        Of the supply with its cable, and of the converter at its present temperature.
    idle_a : float
        Flows ahead of the converter.
    connected : bool
        False: nothing feeds the rail.
    """

    emf_v: Samples
    source_ohm: float
    converter_ohm: float
    idle_a: float
    connected: bool = True

    def open_v(self, rail: Rail) -> Samples:
        """Rail that the converter would reach without load, at its full ratio."""
        open_v: Samples = rail.ratio * (self.emf_v - self.source_ohm * self.idle_a - rail.converter_v)
        return open_v


def offered(rail: Rail, feeding: Feeding, rail_v: Samples) -> tuple[Samples, Samples]:
    """Give the current the converter sends into the rail, as a line at each instant: amperes, and siemens it falls by.

    It is the lesser of what regulation asks for and what the ratio allows, and never flows back.
    """
    if not feeding.connected:
        return np.zeros_like(rail_v), np.zeros_like(rail_v)
    slope = 1 / (rail.ratio**2 * (feeding.source_ohm + feeding.converter_ohm))
    amps = slope * (feeding.open_v(rail) - rail_v)
    if rail.regulated_v is None:
        falls: Samples = np.where(amps > 0, slope, 0.0)
        return np.maximum(amps, 0.0), falls
    asked = (rail.regulated_v - rail_v) / rail.stiffness_ohm
    falls = np.where(asked < amps, 1 / rail.stiffness_ohm, slope)
    np.minimum(asked, amps, out=amps)
    falls *= amps > 0
    return np.maximum(amps, 0.0), falls


def moved(
    rail: Rail, rate_hz: float, before_v: float, rail_v: Samples, net_a: Samples, net_per_ohm: Samples
) -> tuple[Samples, Samples]:
    """Step the store through a piece.

    ``C (V[n] - V[n-1]) rate = net - slope (mid - rail)`` with ``mid = (V[n] + V[n-1]) / 2`` is a recursion with
    coefficients that change from sample to sample; products of them turn it into a running sum.

    Parameters
    ----------
    before_v : float
        Volts at the end of the sample before the piece.
    rail_v : Samples of shape (n_samples,)
        Where the line was drawn: the means over each sample of the last round.
    net_a, net_per_ohm : Samples of shape (n_samples,)
        Current into the store there, and how fast it falls with the rail.

    Returns
    -------
    ends, mids : Samples of shape (n_samples,)
    """
    store = rail.store_f * rate_hz
    half = np.minimum(net_per_ohm / 2, store * (1 - _FASTEST) / (1 + _FASTEST))
    kept = (store - half) / (store + half)
    given = (net_a + 2 * half * rail_v) / (store + half)
    left = np.cumprod(kept)
    ends = left * (before_v + np.cumsum(given / left))
    mids = np.empty_like(ends)
    mids[0] = (before_v + ends[0]) / 2
    mids[1:] = (ends[1:] + ends[:-1]) / 2
    return ends, mids


def primary(rail: Rail, feeding: Feeding, rail_v: Samples, into_a: Samples) -> tuple[Samples, Samples]:
    """Give the converter's own input current and the volts at the amplifier's supply terminals, by balance of power."""
    if not feeding.connected:
        return np.zeros_like(rail_v), np.zeros_like(rail_v)
    ohm = feeding.source_ohm + feeding.converter_ohm
    usable_v = feeding.emf_v - feeding.source_ohm * feeding.idle_a - rail.converter_v
    root = np.sqrt(np.maximum(usable_v**2 - 4 * ohm * rail_v * into_a, 0.0))
    amps = 2 * rail_v * into_a / (usable_v + root)
    return amps, feeding.emf_v - feeding.source_ohm * (feeding.idle_a + amps)
