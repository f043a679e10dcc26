"""What the bench day's files should be measured to be: averages of what truly happened, before any recorder."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from math import gcd, log, sqrt

import numpy as np

from wattproof.sim import drive, workshop
from wattproof.sim.amplifier import Played, SimulatedAmplifier, SimulatedLoad, play
from wattproof.sim.bench_day import STEPS, Step, kept, play_step
from wattproof.sim.scope import SCOPE_TONE_HZ, scope_played

_RATE_HZ = 96000.0
_BAND_HZ = 20000.0


@dataclass(frozen=True, kw_only=True)
class Steady:
    """Averages over whole cycles of one output.

    Attributes
    ----------
    thd_f : float
        Of harmonics 2 to 10, over the fundamental.
    thd_f_in_band : float
        Of all harmonics up to 20 kHz: what a notch leaves of them.
    """

    load_power: float
    load_voltage_rms: float
    load_current_rms: float
    thd_f: float
    thd_f_in_band: float
    gain: float
    supply_voltage: float
    supply_current: float
    supply_power: float


def averages(played: Played, *, row: int = 0, tone_hz: float = workshop.TONE_HZ) -> Steady:
    """Average over the longest part that is whole cycles and whole samples at once; all harmonics up to 20 kHz.

    Parameters
    ----------
    played : Played
        Of a constant tone, at least a second long where tone and rate share no divisor.
    row : int
        Which output.
    tone_hz : float > 0
        A whole number of hertz, as the rate is.
    """
    # a fraction of a sample left over would leak the fundamental into small harmonics
    shared = gcd(int(tone_hz), int(played.rate_hz))
    repeats = played.n_samples * shared // int(played.rate_hz)
    cycles = repeats * int(tone_hz) // shared
    whole = played.cut(0, repeats * int(played.rate_hz) // shared)
    volts, amps, drive_v = whole.load_v[row], whole.load_a[row], whole.drive_v[row]
    orders = np.arange(1, int(min(_BAND_HZ, 0.45 * played.rate_hz) / tone_hz) + 1)
    lines = np.abs(np.fft.rfft(volts - volts.mean()))[orders * cycles]
    drive_peak = np.abs(np.fft.rfft(drive_v))[cycles]
    return Steady(
        load_power=float(np.mean(volts * amps)),
        load_voltage_rms=sqrt(float(np.mean(volts**2))),
        load_current_rms=sqrt(float(np.mean(amps**2))),
        thd_f=float(np.linalg.norm(lines[1:10]) / lines[0]),
        thd_f_in_band=float(np.linalg.norm(lines[1:]) / lines[0]),
        gain=float(lines[0] / drive_peak),
        supply_voltage=float(whole.supply_v.mean()),
        supply_current=float(whole.supply_a.mean()),
        supply_power=float(np.mean(whole.supply_v * whole.supply_a)),
    )


def steady_at(amplifier: SimulatedAmplifier, load: SimulatedLoad, drive_v_rms: float) -> Steady:
    """Average one second of a constant tone, after a quarter of a second to settle: cold, as a ramp meets it."""
    times_s = np.arange(round(1.25 * _RATE_HZ)) / _RATE_HZ
    drives = drive.tone(times_s, tone_hz=workshop.TONE_HZ, drive_v_rms=drive_v_rms)[None]
    played = play(amplifier, drives, _RATE_HZ, source=workshop.SOURCE, loads=(load,))
    return averages(played.cut(round(0.25 * _RATE_HZ), times_s.size))


@cache
def steady_at_thd(amplifier: SimulatedAmplifier, load: SimulatedLoad, thd: float) -> Steady:
    """Find the constant tone whose distortion up to 20 kHz is `thd` (V/V), by its root in the drive from 1 to 3 V."""
    from scipy.optimize import brentq

    def excess(drive_v_rms: float) -> float:
        return log(steady_at(amplifier, load, drive_v_rms).thd_f_in_band / thd)

    return steady_at(amplifier, load, float(brentq(excess, 1.0, 3.0, xtol=1e-5)))


def _step(file: str) -> Step:
    return next(step for step in STEPS if step.file == file)


@cache
def day_truth() -> Mapping[str, Mapping[str, float]]:
    """Give the truth of each file by the names of the figures; some seconds of work, done once.

    The powers at 1 and 10 % are those of constant tones on a cold amplifier, not of the ramp's own samples.
    """
    four, two = (_powers(load) for load in (workshop.LOAD_4, workshop.LOAD_2))
    return {
        "01-idle.wav": {"idle_current": workshop.BITTERN_1.idle_a, "dc_offset": workshop.BITTERN_1.dc_v},
        "02-steady-4-ohm.wav": _steady("02-steady-4-ohm.wav"),
        "03-ramp-4-ohm.flac": four,
        "04-ramp-2-ohm.wav": two,
        "05-burst-2-ohm.wav": {"burst_power": _burst_power()},
        "06-hold-2-ohm.flac": _hold(),
        "07-scope-1khz.csv": vars(averages(scope_played(seconds=1.0), tone_hz=SCOPE_TONE_HZ)),
        "fieldfare-2/01-steady-both-4-ohm.wav": {
            **_steady("fieldfare-2/01-steady-both-4-ohm.wav"),
            **{f"{k}_b": v for k, v in _steady("fieldfare-2/01-steady-both-4-ohm.wav", row=1).items()},
        },
    }


def _powers(load: SimulatedLoad) -> dict[str, float]:
    one, ten = (steady_at_thd(workshop.BITTERN_1, load, thd) for thd in (0.01, 0.10))
    return {
        "power_at_thd_1": one.load_power,
        "power_at_thd_10": ten.load_power,
        "supply_voltage_at_thd_1": one.supply_voltage,
    }


def _steady(file: str, *, row: int = 0) -> dict[str, float]:
    step = _step(file)
    return vars(averages(kept(step, play_step(step)), row=row))


def _burst_power() -> float:
    """Mean of v*i over the last burst that lies wholly within the capture, all of its cycles."""
    step = _step("05-burst-2-ohm.wav")
    played = kept(step, play_step(step))
    first, stop = (round(cycle / workshop.TONE_HZ * played.rate_hz) for cycle in (4 * 47 - 8, 4 * 47))
    return float(np.mean(played.load_v[0, first:stop] * played.load_a[0, first:stop]))


def _hold() -> dict[str, float]:
    """Mean power over the whole second around each time; the second before the end for the last."""
    step = _step("06-hold-2-ohm.flac")
    played = kept(step, play_step(step))
    power_w = played.load_v[0] * played.load_a[0]

    def around(t_s: float) -> float:
        start = round(min(max(t_s - 0.5, 0.0), step.seconds - 1) * played.rate_hz)
        return float(power_w[start : start + round(played.rate_hz)].mean())

    return {f"sustained_power_{t_s:g}_s": around(t_s) for t_s in (1.0, 10.0, 30.0, 60.0)}
