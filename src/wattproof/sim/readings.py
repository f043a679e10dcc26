"""What the person read off the meters and typed, from what truly happened."""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from wattproof.sim import drive, workshop
from wattproof.sim.amplifier import Played, SimulatedLoad, play

_RATE_HZ = 48000.0
_HEADER = (
    "output,load,frequency_hz,kind,load_voltage_v,load_current_a,supply_voltage_v,supply_current_a,"
    "thd_percent,power_w,note"
)


@dataclass(frozen=True, kw_only=True)
class SimulatedMeter:
    """Reads too much by a share of the reading, and shows whole counts."""

    error: float
    count: float
    decimals: int

    def shows(self, value: float) -> str:
        """Give the display."""
        return f"{round(value * (1 + self.error) / self.count) * self.count:.{self.decimals}f}"


# each error is within what bench.toml states for the meter
HANDHELD = SimulatedMeter(error=-0.0031, count=0.01, decimals=2)
CLAMP_LOAD = SimulatedMeter(error=0.0062, count=0.01, decimals=2)
CLAMP_SUPPLY = SimulatedMeter(error=0.0048, count=0.1, decimals=1)
PANEL = SimulatedMeter(error=0.0012, count=0.01, decimals=2)


def steady_second(load: SimulatedLoad, drive_v_rms: float) -> Played:
    """Give the second after the first of a constant tone: whole cycles, rail settled."""
    times_s = np.arange(round(2 * _RATE_HZ)) / _RATE_HZ
    drives = drive.tone(times_s, tone_hz=workshop.TONE_HZ, drive_v_rms=drive_v_rms)[None]
    played = play(workshop.BITTERN_1, drives, _RATE_HZ, source=workshop.SOURCE, loads=(load,), seed=31)
    return played.cut(round(_RATE_HZ), round(2 * _RATE_HZ))


def readings_csv() -> str:
    """Write three rows: idle, a moderate level into 4 ohm, and near clipping into 2 ohm."""
    rows = [
        _row("4 ohm", "idle", steady_second(workshop.LOAD_4, 0.0), note="no signal"),
        _row("4 ohm", "steady", steady_second(workshop.LOAD_4, 1.0), note="same level as 02"),
        _row("2 ohm", "steady", steady_second(workshop.LOAD_2, 1.6), note="no longer than six seconds"),
    ]
    return "\n".join([_HEADER, *rows, ""])


def _row(load: str, kind: str, played: Played, *, note: str) -> str:
    volts, amps = (sqrt(float(np.mean(x[0] ** 2))) for x in (played.load_v, played.load_a))
    supply = [PANEL.shows(float(played.supply_v.mean())), CLAMP_SUPPLY.shows(float(played.supply_a.mean()))]
    if kind == "idle":
        cells = ["A", load, "", kind, "", "", *supply, "", "", note]
    else:
        loaded = [HANDHELD.shows(volts), CLAMP_LOAD.shows(amps)]
        cells = ["A", load, f"{workshop.TONE_HZ:g}", kind, *loaded, *supply, "", "", note]
    return ",".join(cells)
