"""An amplifier in the time domain: converter, rail store, output stage and heat, solved together for a whole record."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
_AMBIENT_C = 21.0
_MOST_ROUNDS = 40
_SETTLED = 1e-7
"""The rounds end when no sample of the rail moves by more than this share of it."""


@dataclass(frozen=True, kw_only=True)
class SimulatedSource:
    """A DC supply: electromotive force behind a resistance (leads included)."""

    emf_v: float = 14.66
    resistance_ohm: float = 0.006


@dataclass(frozen=True, kw_only=True)
class SimulatedLoad:
    """A load resistor that warms: resistance when cold, inductance, and how hot a watt makes it."""

    resistance_ohm: float
    inductance_h: float = 2e-6
    tempco_per_k: float = 60e-6
    kelvin_per_w: float = 0.3
    tau_s: float = 45.0


@dataclass(frozen=True, kw_only=True)
class SimulatedAmplifier:
    """What the amplifier is made of.

    Attributes
    ----------
    stage : "D" or "AB"
        A switching stage draws what it gives and its losses; a linear one draws rail times current.
    gain : float
        V/V, unloaded.
    ratio, converter_ohm, store_f : float
        Rail volts per supply volt; the converter's resistance on the supply's side; the rail's capacitance.
    swing, swing_negative : float
        Share of the rail the output reaches upward, and downward.
    knee_doublings : int
        Softness of the limit: ``u / (1 + |u/limit|**m)**(1/m)`` with ``m = 2**knee_doublings``.
    stage_ohm, closed_loop_ohm : float
        Output resistance when limiting, and with the feedback at work.
    dead_v, dead_a : float
        Size of the error around zero current (dead time, crossover) and the current over which it turns.
    square, cube : float
        Curvature of the transfer, over the rail.
    rail_leak : float
        Share of the rail's movement that modulates the gain.
    idle_a, loss_v, loss_ohm : float
        Supply current without signal; losses ``loss_v * |i| + loss_ohm * i**2``.
    noise_v_per_rthz, hum_v : float
        Output noise density, and r.m.s. of the mains lines picked up.
    kelvin_per_w, tau_s, warm_per_k : float
        Heating by its own losses, and growth of its resistances with it.
    foldback_c, foldback_per_k : float
        Temperature from which its protection turns the gain down, and by how much a kelvin.
    """

    stage: Literal["D", "AB"] = "D"
    gain: float = 20.0
    ratio: float = 3.5
    converter_ohm: float = 0.009
    store_f: float = 0.0066
    swing: float = 0.97
    swing_negative: float = 0.966
    knee_doublings: int = 5
    stage_ohm: float = 0.06
    closed_loop_ohm: float = 0.012
    dead_v: float = 0.012
    dead_a: float = 0.6
    square: float = 4e-4
    cube: float = 6e-4
    rail_leak: float = 0.004
    idle_a: float = 0.92
    loss_v: float = 0.9
    loss_ohm: float = 0.07
    noise_v_per_rthz: float = 9e-7
    hum_v: float = 6e-5
    dc_v: float = 0.004
    kelvin_per_w: float = 1.9
    tau_s: float = 40.0
    warm_per_k: float = 0.008
    foldback_c: float = 56.0
    foldback_per_k: float = 0.006


@dataclass(frozen=True, kw_only=True, eq=False)
class Played:
    """What truly happened: rows are outputs, columns instants; volts, amperes, degrees Celsius.

    Attributes
    ----------
    drive_v, load_v, load_a : NDArray[np.float64] of shape (n_outputs, n_samples)
    supply_v, supply_a, rail_v, amplifier_c : NDArray[np.float64] of shape (n_samples,)
    """

    rate_hz: float
    drive_v: Samples
    load_v: Samples
    load_a: Samples
    supply_v: Samples
    supply_a: Samples
    rail_v: Samples
    amplifier_c: Samples

    @property
    def n_samples(self) -> int:
        """Instants."""
        return int(self.supply_v.size)

    def cut(self, start: int, stop: int) -> "Played":
        """Give the samples `start` to `stop`."""
        parts = {name: value[..., start:stop] for name, value in vars(self).items() if name != "rate_hz"}
        return Played(rate_hz=self.rate_hz, **parts)


def play(
    amplifier: SimulatedAmplifier,
    drive_v: Samples,
    rate_hz: float,
    *,
    source: SimulatedSource,
    loads: Sequence[SimulatedLoad],
    seed: int = 1,
) -> Played:
    """Play a drive through the amplifier into its loads.

    Output, rail and heat depend on each other; the whole record is solved by repeating output, current
    and rail until the rail stands still. Each round shrinks the error by about the share by which the rail sags.

    Parameters
    ----------
    drive_v : NDArray[np.float64] of shape (n_outputs, n_samples)
    rate_hz : float > 0
        High enough that the limiter's harmonics past half of it do not matter.
    source : SimulatedSource
    loads : sequence of SimulatedLoad
        One for each output.
    seed : int
        Of the output noise.
    """
    floor_v = _floor(amplifier, drive_v.shape, rate_hz, seed)
    n_samples = drive_v.shape[1]
    rail_v = np.full(n_samples, _open_rail(amplifier, source))
    load_c = np.zeros_like(drive_v)
    warm_k = np.zeros(n_samples)
    for _ in range(_MOST_ROUNDS):
        load_v, load_a = _outputs(amplifier, drive_v, rail_v, warm_k, loads, load_c, floor_v, rate_hz)
        before = rail_v
        rail_v, supply_a, drawn_w = _rail(amplifier, source, load_v, load_a, rail_v, warm_k, rate_hz)
        given_w = load_v * load_a
        warm_k = _warmed(drawn_w - given_w.sum(axis=0), amplifier.kelvin_per_w, amplifier.tau_s, rate_hz)
        load_c = np.array(
            [_warmed(w, load.kelvin_per_w, load.tau_s, rate_hz) for w, load in zip(given_w, loads, strict=True)]
        )
        if np.abs(rail_v - before).max() < _SETTLED * rail_v[0]:
            break
    return Played(
        rate_hz=rate_hz,
        drive_v=drive_v,
        load_v=load_v,
        load_a=load_a,
        supply_v=source.emf_v - source.resistance_ohm * supply_a,
        supply_a=supply_a,
        rail_v=rail_v,
        amplifier_c=_AMBIENT_C + warm_k,
    )


def _floor(amplifier: SimulatedAmplifier, shape: tuple[int, ...], rate_hz: float, seed: int) -> Samples:
    """Offset, hiss and mains lines at the output, whatever the drive."""
    rng = np.random.default_rng(seed)
    times_s = np.arange(shape[1]) / rate_hz
    hum = np.sin(2 * np.pi * 50 * times_s) + 0.5 * np.sin(2 * np.pi * 150 * times_s + 1.1)
    sigma = amplifier.noise_v_per_rthz * sqrt(rate_hz / 2)
    floor: Samples = amplifier.dc_v + sqrt(2) * amplifier.hum_v * hum + rng.normal(0.0, sigma, shape)
    return floor


def _open_rail(amplifier: SimulatedAmplifier, source: SimulatedSource) -> float:
    """Rail without signal: the idle current flows ahead of the converter."""
    return amplifier.ratio * (source.emf_v - source.resistance_ohm * amplifier.idle_a)


def _outputs(
    amplifier: SimulatedAmplifier,
    drive_v: Samples,
    rail_v: Samples,
    warm_k: Samples,
    loads: Sequence[SimulatedLoad],
    load_k: Samples,
    floor_v: Samples,
    rate_hz: float,
) -> tuple[Samples, Samples]:
    """Volts and amperes of each load on a given rail and at given temperatures."""
    stage_ohm = amplifier.stage_ohm * (1 + amplifier.warm_per_k * warm_k)
    movement = 1 + amplifier.rail_leak * (rail_v / rail_v[0] - 1)
    movement /= 1 + amplifier.foldback_per_k * np.maximum(_AMBIENT_C + warm_k - amplifier.foldback_c, 0.0)
    volts, amps = np.empty_like(drive_v), np.empty_like(drive_v)
    for row, load in enumerate(loads):
        ohm = load.resistance_ohm * (1 + load.tempco_per_k * load_k[row])
        wanted_v = drive_v[row] * amplifier.gain * movement * (ohm / (ohm + amplifier.closed_loop_ohm))
        share = wanted_v / rail_v
        wanted_v = wanted_v * (1 + amplifier.square * share + amplifier.cube * share * share)
        wanted_v -= amplifier.dead_v * np.tanh(wanted_v / (ohm * amplifier.dead_a))
        reach = np.where(wanted_v >= 0, amplifier.swing, amplifier.swing_negative)
        volts[row] = _limited(wanted_v, reach * rail_v * (ohm / (ohm + stage_ohm)), amplifier.knee_doublings)
        volts[row] += floor_v[row]
        # L/R is far under a sample: the first term of the series in s L / R is the inductance
        amps[row] = volts[row] / ohm - load.inductance_h / ohm**2 * np.gradient(volts[row], 1 / rate_hz)
    return volts, amps


def _limited(wanted_v: Samples, limit_v: Samples, doublings: int) -> Samples:
    """Bend toward the limit: ``u / (1 + |u/limit|**m)**(1/m)``, powers of two by squaring, roots by square roots."""
    power = (wanted_v / limit_v) ** 2
    for _ in range(doublings - 1):
        power *= power
    root = 1 + power
    for _ in range(doublings):
        root = np.sqrt(root)
    return wanted_v / root


def _rail(
    amplifier: SimulatedAmplifier,
    source: SimulatedSource,
    load_v: Samples,
    load_a: Samples,
    rail_v: Samples,
    warm_k: Samples,
    rate_hz: float,
) -> tuple[Samples, Samples, Samples]:
    """Rail volts, supply amperes and the watts the stages draw, for given outputs.

    The source and the converter, seen from the rail, are ``ratio**2 * (R_source + R_converter)`` behind the open rail;
    the store makes it one pole, stepped exactly for a current that stands still within a sample.
    """
    from scipy.signal import lfilter

    drawn_w = _drawn(amplifier, load_v, load_a, rail_v)
    hot_ohm = amplifier.converter_ohm * (1 + amplifier.warm_per_k * warm_k)
    seen_ohm = amplifier.ratio**2 * (source.resistance_ohm + hot_ohm)
    open_v = _open_rail(amplifier, source)
    pole = exp(-1 / (rate_hz * amplifier.store_f * float(seen_ohm.mean())))
    target_v = open_v - seen_ohm * drawn_w / rail_v
    moved, _ = lfilter([0.0, 1 - pole], [1.0, -pole], target_v - open_v, zi=[0.0])
    new_v: Samples = open_v + moved
    supply_a = amplifier.idle_a + amplifier.ratio * (open_v - new_v) / seen_ohm
    return new_v, supply_a, drawn_w


def _drawn(amplifier: SimulatedAmplifier, load_v: Samples, load_a: Samples, rail_v: Samples) -> Samples:
    """Watts taken from the rail at each instant, all outputs together."""
    size_a = np.abs(load_a)
    lost_w = amplifier.loss_v * size_a + amplifier.loss_ohm * load_a**2
    given_w = load_v * load_a if amplifier.stage == "D" else rail_v * size_a
    total: Samples = (given_w + lost_w).sum(axis=0)
    return total


def _warmed(power_w: Samples, kelvin_per_w: float, tau_s: float, rate_hz: float) -> Samples:
    """Temperature rise of one body with one time constant, kelvin."""
    from scipy.signal import lfilter

    pole = exp(-1 / (rate_hz * tau_s))
    rise: Samples = lfilter([0.0, (1 - pole) * kelvin_per_w], [1.0, -pole], power_w)
    return rise
