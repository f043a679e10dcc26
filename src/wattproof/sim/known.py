"""What the simulated amplifiers truly do: averages of true waveforms, roots in the drive, heat by another method."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import log, sqrt

import numpy as np
from numpy.typing import NDArray

from wattproof.bench import parse_bench
from wattproof.sim.collection import FOLDER, parts_of, quiet
from wattproof.sim.engine import Engine, Happened
from wattproof.sim.heat import Bodies, Rises
from wattproof.sim.loads import Resistor
from wattproof.sim.parts import AmplifierParts, Feed
from wattproof.sim.simulated_bench import SimulatedBench

Samples = NDArray[np.float64]

TONE_HZ = 47.0
SUPPLY_V = 14.4
BAND_HZ = 20000.0
_CYCLE_SAMPLES = 2048
_SETTLE_CYCLES, _CYCLES = 4, 2
_ROCK = Bodies(inner_j_per_k=1e15, outer_j_per_k=1e15, between_k_per_w=1.0, outside_k_per_w=1.0)
"""Bodies that no power warms: a steady state is one of given temperatures."""
SMALL_V_RMS = 0.2
"""A level at which nothing clips."""


@dataclass(frozen=True, kw_only=True)
class Steady:
    """Averages over whole cycles of a constant tone at constant temperatures.

    Attributes
    ----------
    load_power : tuple of float
        Of each output, W.
    thd : float
        Of the first output: what the fundamental leaves up to 20 kHz, over the total.
    gain : float
        Fundamental over drive, first output, V/V.
    supply_voltage, supply_current, supply_power, heat : float
        Means: V, A, W, W.
    """

    load_power: tuple[float, ...]
    thd: float
    gain: float
    supply_voltage: float
    supply_current: float
    supply_power: float
    heat: float

    @property
    def efficiency(self) -> float:
        """All outputs' power over the supply's, W/W."""
        return sum(self.load_power) / self.supply_power


def steady_state(
    parts: AmplifierParts,
    loads: Sequence[Resistor],
    *,
    drive_v_rms: float,
    supply_v: float = SUPPLY_V,
    tone_hz: float = TONE_HZ,
    device_rise_k: float = 0.0,
    load_rise_k: float = 0.0,
) -> Steady:
    """Average a constant tone on all outputs, with everything held at given temperatures.

    Parameters
    ----------
    loads : sequence of Resistor, one for each output
    """
    held = [
        replace(one, resistance_ohm=one.resistance_ohm * (1 + one.tempco_per_k * load_rise_k), bodies=_ROCK)
        for one in loads
    ]
    engine = Engine(replace(quiet(parts), bodies=_ROCK), Feed(), held, rate_hz=tone_hz * _CYCLE_SAMPLES, seed=0)
    engine.fed.set_v, engine.fed.switched_on = supply_v, True
    engine.rises = Rises(inner_k=device_rise_k, outer_k=device_rise_k)
    engine.pass_time(1e-3)
    turns = np.arange((_SETTLE_CYCLES + _CYCLES) * _CYCLE_SAMPLES) / _CYCLE_SAMPLES
    drive_v = np.tile(sqrt(2) * drive_v_rms * np.sin(2 * np.pi * turns), (len(loads), 1))
    engine.play(drive_v[:, : _SETTLE_CYCLES * _CYCLE_SAMPLES])
    return averages(engine.play(drive_v[:, _SETTLE_CYCLES * _CYCLE_SAMPLES :]), tone_hz=tone_hz, cycles=_CYCLES)


def averages(happened: Happened, *, tone_hz: float, cycles: int) -> Steady:
    """Average a record of exactly so many cycles; distortion by a plain transform."""
    lines = np.abs(np.fft.rfft(happened.load_v[0]))[cycles::cycles]
    lines = lines[: int(BAND_HZ / tone_hz)]
    total = float(np.linalg.norm(lines))
    drive = np.abs(np.fft.rfft(happened.drive_v[0]))[cycles]
    return Steady(
        load_power=tuple(np.mean(happened.load_v * happened.load_a, axis=1).tolist()),
        thd=float(np.linalg.norm(lines[1:])) / total if total > 0 else 0.0,
        gain=float(lines[0] / drive) if drive > 0 else 0.0,
        supply_voltage=float(happened.supply_v.mean()),
        supply_current=float(happened.supply_a.mean()),
        supply_power=float(np.mean(happened.supply_v * happened.supply_a)),
        heat=float(happened.heat_w.mean()),
    )


def at_thd(
    parts: AmplifierParts, loads: Sequence[Resistor], thd: float, *, supply_v: float = SUPPLY_V
) -> tuple[float, Steady]:
    """Find the level (V r.m.s. at the input) whose distortion is `thd`, by its root, and its averages.

    Parameters
    ----------
    thd : float
        Over the total, V/V; above what the amplifier has before it clips.
    """
    from scipy.optimize import brentq

    def excess(log_drive: float) -> float:
        return log(steady_state(parts, loads, drive_v_rms=float(np.exp(log_drive)), supply_v=supply_v).thd / thd)

    drive_v_rms = float(np.exp(brentq(excess, log(0.5), log(5.0), xtol=1e-5)))
    return drive_v_rms, steady_state(parts, loads, drive_v_rms=drive_v_rms, supply_v=supply_v)


def true_loads(name: str) -> Mapping[str, tuple[Resistor, ...]]:
    """Give the load banks as they truly are on an amplifier's own bench, one resistor for each output."""
    bench = parse_bench((FOLDER / name / "bench.toml").read_text(encoding="utf-8"), file=f"{name}/bench.toml")
    return SimulatedBench(bench).true_loads


@cache
def truth_of(name: str) -> Mapping[str, Mapping[str, float]]:
    """Give what a simulated amplifier truly does at 14.4 V and 47 Hz, cold, all outputs driven.

    Returns
    -------
    mapping
        For "idle": ``idle_current``. For the name of each load of its bench: ``power_at_thd_1``, ``power_at_thd_10``
        with the levels at which they are reached, ``gain`` at 0.2 V r.m.s., and at 1 % ``efficiency``,
        ``supply_voltage``, ``supply_current``. Of the first output, where there are several.
    """
    parts, loads = parts_of(name), true_loads(name)
    first = next(iter(loads.values()))
    idle = steady_state(parts, first, drive_v_rms=0.0)
    return {"idle": {"idle_current": idle.supply_current}} | {
        load: _figures(parts, resistors) for load, resistors in loads.items()
    }


def _figures(parts: AmplifierParts, loads: Sequence[Resistor]) -> dict[str, float]:
    drive_v_rms, one = at_thd(parts, loads, 0.01)
    ten_v_rms, ten = at_thd(parts, loads, 0.10)
    return {
        "power_at_thd_1": one.load_power[0],
        "power_at_thd_10": ten.load_power[0],
        "drive_v_rms_at_thd_1": drive_v_rms,
        "drive_v_rms_at_thd_10": ten_v_rms,
        "gain": steady_state(parts, loads, drive_v_rms=SMALL_V_RMS).gain,
        "efficiency": one.efficiency,
        "supply_voltage": one.supply_voltage,
        "supply_current": one.supply_current,
    }


def held_power(
    parts: AmplifierParts,
    loads: Sequence[Resistor],
    *,
    drive_v_rms: float,
    seconds: float,
    began: Rises,
    supply_v: float = SUPPLY_V,
    hottest_k: float = 90.0,
) -> tuple[Samples, Samples]:
    """Give the first output's power against the time of a hold.

    Steady states at some temperatures give heat and power in between; the four bodies' differential equations are left
    to a general solver.

    Parameters
    ----------
    seconds : float > 0
        How far it goes.
    began : Rises
        How warm the amplifier is when it begins; the load is cold.
    hottest_k : float
        Highest rise of the devices that is prepared for.

    Returns
    -------
    times_s, power_w : Samples
        Every twentieth of a second.
    """
    from scipy.integrate import solve_ivp
    from scipy.interpolate import RegularGridInterpolator

    fold_k = parts.protection.foldback_c - 21.0
    device_k = np.unique([*np.linspace(0.0, hottest_k, 7), *(fold_k + np.linspace(0.0, 10.0, 11))])
    load_k = np.array([0.0, 80.0])
    states = [
        [steady_state(parts, loads, drive_v_rms=drive_v_rms, supply_v=supply_v, device_rise_k=d, load_rise_k=r)
         for r in load_k]
        for d in device_k
    ]  # fmt: skip
    table = np.array([[[s.heat, s.load_power[0]] for s in row] for row in states])
    at = RegularGridInterpolator((device_k, load_k), table, bounds_error=False, fill_value=None)
    ours, theirs = parts.bodies, loads[0].bodies

    def rates(_t_s: float, x: Samples) -> list[float]:
        heat_w, load_w = at([[x[0], x[2]]])[0]
        return [*_flows(ours, heat_w, x[0], x[1]), *_flows(theirs, load_w, x[2], x[3])]

    cold = [began.inner_k, began.outer_k, 0.0, 0.0]
    times_s = np.linspace(0.0, seconds, 1 + round(20 * seconds))
    solved = solve_ivp(rates, (0.0, seconds), cold, t_eval=times_s, rtol=1e-6, atol=1e-5, max_step=0.25)
    return times_s, at(np.column_stack([solved.y[0], solved.y[2]]))[:, 1]


def _flows(bodies: Bodies, power_w: float, inner_k: float, outer_k: float) -> tuple[float, float]:
    """Kelvins a second of both bodies."""
    across_w = (inner_k - outer_k) / bodies.between_k_per_w
    return (
        (power_w - across_w) / bodies.inner_j_per_k,
        (across_w - outer_k / bodies.outside_k_per_w) / bodies.outer_j_per_k,
    )
