"""Solves amplifier, cable and source together: where the sag and the current that the amplifier draws agree."""

from dataclasses import dataclass
from math import cos

from wattproof.errors import BeyondDataError
from wattproof.fit.losses import LossFit
from wattproof.fit.model import Asked
from wattproof.fit.rail import Limit

_LEAST_SHARE = 0.3
"""Below this share of its open voltage no supply is looked for a point: the amplifier has switched off long before."""
_TOLERANCE_V = 1e-9


@dataclass(frozen=True, kw_only=True)
class OperatingPoint:
    """One output's volts, amperes and watts, and the supply's; `None` without losses in the model."""

    load_v_rms: float
    load_a_rms: float
    power_w: float
    supply_v: float
    supply_a: float | None
    supply_w: float | None
    heat_w: float | None
    efficiency: float | None
    by_current: bool


def operating_point(limit: Limit, losses: LossFit | None, asked: Asked) -> OperatingPoint:
    """Find the operating point of an amplifier that plays a sine at a limit of distortion.

    With ``V_s = E − R·I_s`` and ``I_s = P_s(V_s)/V_s`` the sag is the root of one function of V_s; from above, the
    first root is the stable one. An amplifier that holds its power as the supply falls draws more current the lower
    it gets: past a certain source resistance there is no root.

    Raises
    ------
    BeyondDataError
        The supply collapses: there is no operating point; or the source has resistance and the model no losses.
    """
    if asked.source_ohm == 0.0:
        return _at_terminals(limit, losses, asked, asked.supply_v)
    if losses is None:
        raise BeyondDataError(
            "Cannot tell how far the supply sags.",
            why="the captures hold no supply current, so that the model does not know what the amplifier draws",
            hint="Capture supply voltage and current in the ramps, or ask for a voltage at the terminals.",
        )
    return _at_terminals(limit, losses, asked, _settled_v(limit, losses, asked))


def _settled_v(limit: Limit, losses: LossFit, asked: Asked) -> float:
    from scipy.optimize import brentq

    def above(supply_v: float) -> float:
        drawn_a = _at_terminals(limit, losses, asked, supply_v).supply_a or 0.0
        return asked.supply_v - asked.source_ohm * drawn_a - supply_v

    steps = 80
    high_v = asked.supply_v
    for step in range(1, steps + 1):
        low_v = asked.supply_v * (1 - (1 - _LEAST_SHARE) * step / steps)
        if above(low_v) >= 0:
            return float(brentq(above, low_v, high_v, xtol=_TOLERANCE_V))
        high_v = low_v
    drawn_a = _at_terminals(limit, losses, asked, asked.supply_v).supply_a or 0.0
    raise BeyondDataError(
        "The supply collapses: there is no operating point.",
        why=f"the amplifier would draw {drawn_a:.0f} A at {asked.supply_v:g} V, and {1e3 * asked.source_ohm:g} mohm of "
        "source and cable cannot deliver the power at any voltage",
        hint="Ask for a stiffer source, a shorter or thicker cable, or a higher load resistance.",
    )


def _at_terminals(limit: Limit, losses: LossFit | None, asked: Asked, supply_v: float) -> OperatingPoint:
    volts = limit.voltage_v_rms(supply_v, asked.load_ohm, asked.thd_n)
    amps = volts / asked.load_ohm
    given_w = asked.driven * volts * amps * cos(asked.phase_rad)
    drawn_w = None
    if losses is not None:
        share = limit.open_v(supply_v) / limit.open_v(losses.reference_v)
        drawn_w = losses.drawn_w(
            given_w, asked.driven * amps, asked.driven * amps**2, supply_v=supply_v, rail_share=share
        )
    return OperatingPoint(
        load_v_rms=volts,
        load_a_rms=amps,
        power_w=volts * amps * cos(asked.phase_rad),
        supply_v=supply_v,
        supply_a=None if drawn_w is None else drawn_w / supply_v,
        supply_w=drawn_w,
        heat_w=None if drawn_w is None else drawn_w - given_w,
        efficiency=None if drawn_w is None else given_w / drawn_w,
        by_current=limit.limited_by_current(supply_v, asked.load_ohm),
    )
