"""The source's resistance from how its voltage falls with current, frame by frame."""

from collections.abc import Sequence

import numpy as np

from wattproof.measure.model import Condition, Figure
from wattproof.measure.record import BenchRecord

FEWEST_FRAMES = 4
SMALLEST_SWING = 0.05
"""The current must change by this share of its largest value, or the line has nothing to lean on."""


def source_resistance_of_frames(
    record: BenchRecord, pairs: Sequence[tuple[float, float]], *, conditions: dict[str, Condition]
) -> list[Figure]:
    """Fit a straight line V = E - R*I through frames and give R, ohm; nothing where the current hardly changes.

    Parameters
    ----------
    record : BenchRecord
    pairs : sequence of (V, A)
        Mean supply voltage and current of each frame.
    conditions : dict
        Conditions of the figure; the open-circuit voltage is added.

    Returns
    -------
    list of Figure
        Empty, or one `source_resistance`.
    """
    volts, amps = np.array(pairs).T if pairs else (np.empty(0), np.empty(0))
    if volts.size < FEWEST_FRAMES or np.ptp(amps) < SMALLEST_SWING * np.abs(amps).max():
        return []
    volt_track, amp_track = record.track("supply_voltage"), record.track("supply_current")
    if volt_track is None or amp_track is None:
        return []
    centred = amps - amps.mean()
    slope = float(centred @ volts / (centred @ centred))
    left = volts - volts.mean() - slope * centred
    dof = volts.size - 2
    u = float(np.sqrt((left @ left) / dof / (centred @ centred)))
    if -slope < 3 * u:
        return []
    number = record.observed("source resistance", -slope, u, dof=dof, label="scatter about the line of V over I")
    number = number * record.gain_factor(volt_track) / record.gain_factor(amp_track)
    emf = float(volts.mean() - slope * amps.mean())
    return [
        record.figure(
            "source_resistance", number, "ohm", output=None, conditions={**conditions, "emf_v": round(emf, 3)}
        )
    ]
