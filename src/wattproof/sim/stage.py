"""The output stage at each instant: what it wants to put out, where it stops, what it draws from the rail."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.sim.parts import Stage

Samples = NDArray[np.float64]
_LEAST_V = 1e-3
"""A limit never closes wholly: the ratio to it is taken to a high power."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Asked:
    """What stands before the outputs during a piece; rows are outputs.

    Attributes
    ----------
    wanted_v : Samples of shape (n_outputs, n_samples)
        Drive times gain as turned down by protection.
    floor_v : Samples of shape (n_outputs, n_samples)
        Offset, hiss and mains lines.
    limit_v : Samples of shape (n_outputs, 1)
        Where the current limit holds the voltage.
    instant_per_ohm : Samples of shape (n_outputs, 1)
        Conductance of the loads for a change within one sample, siemens.
    stage_ohm : float
        At the present temperature.
    open_rail_v : float
        Rail without load, for the share of it that leaks into the gain.
    """

    wanted_v: Samples
    floor_v: Samples
    limit_v: Samples
    instant_per_ohm: Samples
    stage_ohm: float
    open_rail_v: float


def put_out(stage: Stage, asked: Asked, rail_v: Samples, past_a: Samples) -> tuple[Samples, Samples]:
    """Give the outputs' volts, and how much each follows the rail (0 to 1).

    A load takes ``instant_per_ohm * v + past_a``: the part of its current that depends on this instant's voltage is
    eliminated, so that only inductance and resonance are left to the rounds.

    Parameters
    ----------
    rail_v : Samples of shape (n_samples,)
    past_a : Samples of shape (n_outputs, n_samples)
    """
    wanted = asked.wanted_v * (rail_v * (stage.rail_leak / asked.open_rail_v) + (1 - stage.rail_leak))
    wanted -= stage.closed_loop_ohm * past_a
    wanted /= 1 + stage.closed_loop_ohm * asked.instant_per_ohm
    share = wanted / rail_v
    turn = (asked.instant_per_ohm / stage.dead_a) * wanted + past_a / stage.dead_a
    wanted *= 1 + share * (stage.square + stage.cube * share)
    wanted += asked.floor_v - stage.dead_v * turn / np.sqrt(1 + turn * turn)
    side = np.copysign(1.0, wanted)
    middle, half = (stage.swing + stage.swing_negative) / 2, (stage.swing - stage.swing_negative) / 2
    limit = (middle + half * side) * rail_v
    limit -= (asked.stage_ohm * side) * past_a
    limit /= 1 + asked.stage_ohm * asked.instant_per_ohm
    follows = limit < asked.limit_v
    np.minimum(limit, asked.limit_v, out=limit)
    np.maximum(limit, _LEAST_V, out=limit)
    return _limited(wanted, limit, stage.knee_doublings, follows)


def _limited(wanted: Samples, limit: Samples, doublings: int, follows: NDArray[np.bool_]) -> tuple[Samples, Samples]:
    """Bend toward the limit, powers of two by squaring, roots by square roots; and the share that follows the limit."""
    power = wanted / limit
    for _ in range(doublings):
        power *= power
    whole = 1 + power
    power /= whole
    power *= follows
    for _ in range(doublings):
        np.sqrt(whole, out=whole)
    return wanted / whole, power


def drawn(
    stage: Stage, stage_ohm: float, load_v: Samples, load_a: Samples, rail_v: Samples, following: Samples
) -> tuple[Samples, Samples]:
    """Give the watts each output takes from the rail, and how fast the current of them rises with the rail, siemens."""
    size_a = np.sqrt(load_a * load_a + stage.turn_a**2) - stage.turn_a
    turned_w = stage.turn_v * size_a
    passed_w = rail_v * size_a if stage.kind == "AB" else np.zeros_like(size_a)
    drawn_w = turned_w + stage_ohm * load_a * load_a
    drawn_w += passed_w if stage.kind == "AB" else load_v * load_a
    # where an output follows the rail its current grows with it, and what is a product of two such grows twice
    growth_w = passed_w + following * (2 * drawn_w - turned_w - passed_w) - drawn_w
    return drawn_w, growth_w / (rail_v * rail_v)
