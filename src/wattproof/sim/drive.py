"""What the generator puts out: a tone with a level that stands, rises or comes in bursts."""

from math import sqrt

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]


def tone(times_s: Samples, *, tone_hz: float, drive_v_rms: float, phase_rad: float = 0.0) -> Samples:
    """Give a constant tone, volts."""
    return sqrt(2) * drive_v_rms * np.sin(2 * np.pi * tone_hz * times_s + phase_rad)


def ramp(times_s: Samples, *, tone_hz: float, start_v_rms: float, slope_db_per_s: float) -> Samples:
    """Give a tone whose level rises evenly in decibels from time 0 on; before it, the starting level."""
    level_db = slope_db_per_s * np.maximum(times_s, 0.0)
    return tone(times_s, tone_hz=tone_hz, drive_v_rms=start_v_rms) * 10 ** (level_db / 20)


def bursts(
    times_s: Samples, *, tone_hz: float, drive_v_rms: float, low_db: float, cycles_on: int, cycles_period: int
) -> Samples:
    """Give whole cycles at full level, one burst a period, over a low level; the first burst ends the first period."""
    cycle = np.mod(np.floor(times_s * tone_hz), cycles_period)
    level = np.where(cycle >= cycles_period - cycles_on, 1.0, 10 ** (low_db / 20))
    return tone(times_s, tone_hz=tone_hz, drive_v_rms=drive_v_rms) * level
