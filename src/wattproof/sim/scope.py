"""A picture from an oscilloscope: two channels of eight bits as text with two header rows."""

import numpy as np
from numpy.typing import NDArray

from wattproof.sim import drive, workshop
from wattproof.sim.amplifier import Played, play

SCOPE_TONE_HZ = 997.0
SCOPE_DRIVE_V_RMS = 0.7
_RATE_HZ = 200e3
_POINTS = 2400
_SETTLE_S = 0.1
_SCREEN_V = {"drive": 1.6, "output": 32.0}
_NOISE_CODES = 0.4


def scope_played(seconds: float = _POINTS / _RATE_HZ) -> Played:
    """Give what truly happened while the picture was taken, and after it where more than the picture is asked for."""
    settle, points = round(_SETTLE_S * _RATE_HZ), round(seconds * _RATE_HZ)
    times_s = np.arange(settle + points + 1) / _RATE_HZ
    drives = drive.tone(times_s, tone_hz=SCOPE_TONE_HZ, drive_v_rms=SCOPE_DRIVE_V_RMS, phase_rad=1.9)[None]
    loads = (workshop.LOAD_4,)
    played = play(workshop.BITTERN_1, drives, _RATE_HZ, source=workshop.SOURCE, loads=loads, seed=21)
    return played.cut(settle, settle + points)


def scope_csv() -> str:
    """Write the picture: a row of names, a row of units, then time, drive and output."""
    played, rng = scope_played(), np.random.default_rng(22)
    columns = [
        _digitised(values[0], _SCREEN_V[name], rng)
        for name, values in (("drive", played.drive_v), ("output", played.load_v))
    ]
    times_s = np.arange(_POINTS) / _RATE_HZ - _POINTS / 2 / _RATE_HZ
    rows = zip(times_s, *columns, strict=True)
    lines = [f"{t:.6e},{first:.5e},{second:.5e}" for t, first, second in rows]
    return "\n".join(["time,drive,output", "s,V,V", *lines, ""])


def _digitised(values: NDArray[np.float64], screen_v: float, rng: np.random.Generator) -> NDArray[np.float64]:
    step_v = screen_v / 128
    codes = np.round(values / step_v + rng.normal(0.0, _NOISE_CODES, values.size))
    limited: NDArray[np.float64] = np.clip(codes, -128, 127) * step_v
    return limited
