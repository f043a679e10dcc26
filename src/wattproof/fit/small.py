"""The amplifier below its limits: gain and output resistance of an output, from its ramps' small-signal gains."""

from collections.abc import Sequence
from math import hypot, sqrt

import numpy as np

from wattproof.fit.model import Asked, BehaviourModel, Estimate, SmallSignal
from wattproof.fit.points import GainPoint
from wattproof.measure import Figure
from wattproof.quantity import Ledger, Quantity

_APART = 1.2
"""Loads whose ratio is less than this tell no output resistance."""
K95 = 1.959964
LEVEL_U = 5e-4
"""Relative: a tone of a watt and a ramp's small frames differ by so much on stages with a dead zone."""
LEVEL_LINE = "gain that changes with level"


def resistance_of(high: Figure, low: Figure, *, high_ohm: float, low_ohm: float) -> Quantity:
    """Give an output's small-signal resistance from its gains into two loads.

    From ``gain = g R / (R + R_o)`` in both; the scales of voltage and drive drop out of their ratio. What is left is
    the noise of both, and that the gain of a real stage is not one number: it changes a little with level and current.

    Parameters
    ----------
    high, low : Figure, V/V
        Gains into the higher and into the lower load, at one frequency.
    high_ohm, low_ohm : float
        The loads.
    """
    ledger = Ledger()
    ratio = ledger.restore(high) / ledger.restore(low)
    ratio = ratio + ledger.source(
        f"{low.origin}: {LEVEL_LINE}", 0.0, LEVEL_U, label=LEVEL_LINE, kind="B", dof=float("inf")
    )
    return ledger.quantity(high_ohm * low_ohm * (ratio - 1) / (high_ohm - ratio * low_ohm), unit="ohm")


def fit_small(points: Sequence[GainPoint], *, output: str | None) -> SmallSignal | None:
    """Fit gain and output resistance to the gains of ramps, the mean of all outputs or of one; None without any.

    Parameters
    ----------
    points : sequence of GainPoint
    output : str or None
        One output only; None takes all of them for alike, and lets their scatter widen the doubt.
    """
    chosen = [point for point in points if output in {None, point.output}]
    if not chosen:
        return None
    loads = [point.load_ohm for point in chosen]
    reference_ohm = sqrt(min(loads) * max(loads))
    found = [one for name in sorted({point.output for point in chosen}) for one in _resistances(chosen, name)]
    ohm = float(np.mean([one.value for one in found])) if found else None
    ohm_u = _with_scatter(found) if found else None
    gains = [point.gain.value * _shape(reference_ohm, ohm) / _shape(point.load_ohm, ohm) for point in chosen]
    own_u = max(point.gain.u / point.gain.value for point in chosen)
    gain = float(np.mean(gains))
    tones = [point.frequency_hz for point in chosen if point.frequency_hz is not None]
    return SmallSignal(
        gain=gain,
        gain_u=hypot(own_u * gain, float(np.std(gains))),
        reference_ohm=reference_ohm,
        output_ohm=ohm,
        output_ohm_u=ohm_u,
        frequency_hz=(min(tones), max(tones)) if tones else None,
    )


def _resistances(points: Sequence[GainPoint], output: str) -> list[Quantity]:
    """Give an output's resistance from its highest load against each lower one that lies apart, at one frequency."""
    own = sorted((point for point in points if point.output == output), key=lambda point: point.load_ohm)
    high = own[-1]
    return [
        resistance_of(high.gain, point.gain, high_ohm=high.load_ohm, low_ohm=point.load_ohm)
        for point in own
        if high.load_ohm > _APART * point.load_ohm and point.frequency_hz == high.frequency_hz
    ]


def _with_scatter(found: Sequence[Quantity]) -> float:
    scatter = float(np.std([one.value for one in found], ddof=1)) if len(found) > 1 else 0.0
    return hypot(max(one.u for one in found), scatter)


def _shape(load_ohm: float, output_ohm: float | None) -> float:
    return load_ohm / (load_ohm + output_ohm) if output_ohm is not None else 1.0


def gain_into(small: SmallSignal, load_ohm: float) -> tuple[float, float]:
    """Give the gain into a load, V/V, and its relative standard uncertainty.

    Without an output resistance the gain is taken for that of the measured load, within what loads change it by.
    """
    gain = small.gain * _shape(load_ohm, small.output_ohm) / _shape(small.reference_ohm, small.output_ohm)
    away = abs(1 / load_ohm - 1 / small.reference_ohm)
    return gain, hypot(small.gain_u / small.gain, away * (small.output_ohm_u or 0.0))


def drive_for(model: BehaviourModel, asked: Asked, load_voltage: Estimate, *, overdrive: float) -> Estimate | None:
    """Give the r.m.s. voltage at the input that brings an output to the limit that is asked for.

    Parameters
    ----------
    model : BehaviourModel
    asked : Asked
    load_voltage : Estimate, V
        At that limit.
    overdrive : float, V/V
        Undistorted voltage that the gain would make of the drive, over the voltage at the load, both r.m.s.
    """
    if model.small is None:
        return None
    gain, gain_u = gain_into(model.small, asked.load_ohm)
    factor = overdrive / gain
    value = factor * load_voltage.value
    below, above = (abs(factor * edge - value) for edge in (load_voltage.low, load_voltage.high))
    return Estimate(
        value=value,
        u=hypot(factor * load_voltage.u, gain_u * value),
        low=max(value - hypot(below, K95 * gain_u * value), 0.0),
        high=value + hypot(above, K95 * gain_u * value),
        unit="V",
    )


def damping_factor(model: BehaviourModel, asked: Asked) -> Estimate | None:
    """Give the load over the output's small-signal resistance; None where that is not known to be above zero."""
    small = model.small
    if small is None or small.output_ohm is None or small.output_ohm_u is None:
        return None
    least = small.output_ohm - K95 * small.output_ohm_u
    if least <= 0:
        return None
    value = asked.load_ohm / small.output_ohm
    return Estimate(
        value=value,
        u=value * small.output_ohm_u / small.output_ohm,
        low=asked.load_ohm / (small.output_ohm + K95 * small.output_ohm_u),
        high=asked.load_ohm / least,
        unit="1",
    )
