"""What stepping the level by hand would cost: the comparison that a ramp is put beside."""

from math import floor, sqrt

import numpy as np

from wattproof.amplifier import Amplifier, clipped_share
from wattproof.plan.level import decibels, delivered_w
from wattproof.plan.losses import losses_of
from wattproof.plan.model import Step, Stepping
from wattproof.plan.powers import LIMIT_THD, stop_overdrive

STEP_DB = 0.1
STEP_S = 1.0


def stepping_cost(*, range_db: float, mean_supply_w: float) -> Stepping:
    """Reckon what it costs to step through a range of level above half of the full power.

    Parameters
    ----------
    range_db : float, dB
        From half of the full power to the last level; a ramp that was measured tells it.
    mean_supply_w : float, W
        Mean power drawn over these levels.

    Returns
    -------
    Stepping
        One second at every tenth of a decibel, both ends included.

    Examples
    --------
    >>> stepping_cost(range_db=5.5, mean_supply_w=600.0)
    Stepping(full_power_s=56.0, energy_j=33600.0)
    """
    seconds = STEP_S * _levels(range_db)
    return Stepping(full_power_s=seconds, energy_j=seconds * mean_supply_w)


def _levels(range_db: float) -> int:
    return floor(max(range_db, 0.0) / STEP_DB + 1e-9) + 1


def stepping_of(step: Step, amplifier: Amplifier, *, supply_v: float) -> Stepping:
    """Reckon what stepping through a ramp of a run sheet by hand would cost above half of the expected power.

    Parameters
    ----------
    step : Step
        A ramp; nothing else would be stepped.
    amplifier : Amplifier
    supply_v : float, V

    Returns
    -------
    Stepping
        All zero for other steps, and where nothing is expected.
    """
    if step.kind != "ramp" or not step.load_ohm or not step.to_v_rms:
        return Stepping(full_power_s=0.0, energy_j=0.0)
    count, knee_v = len(step.outputs), step.knee_v_rms
    each_w = (step.to_v_rms**2 if knee_v is None else knee_v**2 * clipped_share(LIMIT_THD)) / step.load_ohm
    full_w = count * each_w
    first_v = sqrt(each_w / 2 * step.load_ohm)
    last_v = step.to_v_rms if knee_v is None else knee_v * stop_overdrive()
    levels_v = first_v * 10 ** (STEP_DB * np.arange(_levels(decibels(last_v / first_v))) / 20)
    output_w = count * delivered_w(levels_v, knee_v=knee_v, load_ohm=step.load_ohm)
    drawn_w = losses_of(amplifier, full_w=full_w, supply_v=supply_v).supply_w(output_w)
    return Stepping(full_power_s=STEP_S * levels_v.size, energy_j=float(drawn_w.sum()) * STEP_S)
