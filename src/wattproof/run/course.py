"""What a step's frames add up to: the level at a limit of distortion, seconds at full power, energy."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, log10

import numpy as np
from numpy.typing import NDArray

from wattproof.run.live import LiveFrame

STEP_DB = 0.1
STEP_S = 1.0
"""By hand one steps the level by 0.1 dB and waits a second for the reading to settle."""

LEAST_SHARE = 0.1
"""Below this share of the highest output, noise may look like distortion: no limit is looked for there."""


@dataclass(frozen=True, kw_only=True)
class Seen:
    """A frame with the level that was played then, r.m.s. volts at the amplifier's input."""

    frame: LiveFrame
    drive_v_rms: float
    slow: bool = False


@dataclass(frozen=True, kw_only=True)
class Reached:
    """Where a ramp reached a limit of distortion."""

    t_s: float
    drive_v_rms: float
    output_v_rms: float
    output_w: float | None


@dataclass(frozen=True, kw_only=True)
class Cost:
    """Seconds above the stated power, and joules drawn from the supply; None where it is not recorded."""

    full_power_s: float
    energy_j: float | None


def reached(course: Sequence[Seen], *, limit: float) -> Reached | None:
    """Find where THD+N passed a limit and stayed past it, between two frames; None where it never did.

    Between frames the logarithm of the distortion follows the logarithm of the level.
    """
    loud = _loud(course)
    for before, after, later in zip(loud, loud[1:], [*loud[2:], None], strict=False):
        low, high = before.frame.thd_n, after.frame.thd_n
        if low is None or high is None or not low < limit <= high:
            continue
        if later is not None and (later.frame.thd_n or 0.0) < limit:
            continue
        share = log(limit / low) / log(high / low) if low > 0 else 1.0
        return _between(before, after, share)
    return None


def _loud(course: Sequence[Seen]) -> list[Seen]:
    highest = max((seen.frame.output_v_rms or 0.0 for seen in course), default=0.0)
    return [seen for seen in course if (seen.frame.output_v_rms or 0.0) > LEAST_SHARE * highest]


def _between(before: Seen, after: Seen, share: float) -> Reached:
    def level(low: float | None, high: float | None) -> float | None:
        if not low or not high or low < 0 or high < 0:
            return high
        return exp(log(low) + share * (log(high) - log(low)))

    first, second = before.frame, after.frame
    return Reached(
        t_s=first.t_s + share * (second.t_s - first.t_s),
        drive_v_rms=level(before.drive_v_rms, after.drive_v_rms) or after.drive_v_rms,
        output_v_rms=level(first.output_v_rms, second.output_v_rms) or 0.0,
        output_w=level(first.output_w, second.output_w),
    )


def highest_w(course: Sequence[Seen]) -> float:
    """Give the highest power of any frame."""
    return max((seen.frame.output_w or 0.0 for seen in course), default=0.0)


def cost(course: Sequence[Seen], *, over_w: float) -> Cost:
    """Add up the seconds above a power and the energy drawn.

    Parameters
    ----------
    course : sequence of Seen
    over_w : float, W
        Power from which a second counts.
    """
    full_s = sum(seen.frame.seconds for seen in course if (seen.frame.output_w or 0.0) > over_w)
    drawn = [seen.frame.supply_w * seen.frame.seconds for seen in course if seen.frame.supply_w is not None]
    return Cost(full_power_s=full_s, energy_j=sum(drawn) if drawn else None)


def stepping_cost(course: Sequence[Seen], *, over_w: float) -> Cost:
    """Say what a ramp's levels at full power would have cost in steps by hand: 0.1 dB apart, a second each.

    Every level of the ramp from `over_w` up is given the powers that the ramp showed there; that the amplifier
    would have grown hotter by hand is left out.

    Parameters
    ----------
    course : sequence of Seen
        Of a ramp.
    over_w : float, W
        Power from which a second counts.
    """
    rising = [seen for seen in course if seen.drive_v_rms > 0]
    if len(rising) < 2:
        return Cost(full_power_s=0.0, energy_j=None)
    levels_db = np.array([20 * log10(seen.drive_v_rms) for seen in rising])
    order = np.argsort(levels_db)
    n_steps = int((levels_db[order[-1]] - levels_db[order[0]]) / STEP_DB) + 1
    steps_db = levels_db[order[0]] + STEP_DB * np.arange(n_steps)

    def at_steps(values: list[float | None]) -> NDArray[np.float64] | None:
        if any(value is None for value in values):
            return None
        interpolated: NDArray[np.float64] = np.interp(steps_db, levels_db[order], np.array(values, dtype=float)[order])
        return interpolated

    output_w = at_steps([seen.frame.output_w for seen in rising])
    supply_w = at_steps([seen.frame.supply_w for seen in rising])
    full = np.zeros(n_steps, dtype=np.bool_) if output_w is None else output_w > over_w
    return Cost(
        full_power_s=STEP_S * int(full.sum()),
        energy_j=None if supply_w is None else STEP_S * float(supply_w[full].sum()),
    )
