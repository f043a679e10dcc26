"""A constant tone with known harmonics, drift, load angle and supply."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import atan2, cos, hypot, pi, sin, sqrt, tan
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from wattproof.bench import BenchChannel
from wattproof.testing.capture import Capture, Recorder, Signal, bench_of, record, wire


class Harmonic(NamedTuple):
    """One partial of the tone: ``ratio * fundamental * sin(order * (w t + start phase) + phase)``."""

    order: int
    ratio: float
    phase_rad: float = 0.0


class Partial(NamedTuple):
    """One sine of a channel: ``peak * sin(order * w t + phase)``."""

    order: int
    peak: float
    phase_rad: float


@dataclass(frozen=True, kw_only=True)
class Source:
    """The DC supply as seen at the amplifier's terminals.

    ``i(t) = mean * (1 + ripple * sin(2 w t))`` and ``v(t) = emf - resistance * i(t)``; the mean current is the one at
    which the mean of v*i is the load's power over `efficiency`.
    """

    emf_v: float = 14.4
    resistance_ohm: float = 0.006
    efficiency: float = 0.8
    ripple: float = 0.0


@dataclass(frozen=True, kw_only=True)
class SupplyTruth:
    """Means, minimum and ripple of the supply's two channels."""

    voltage_v: float
    current_a: float
    power_w: float
    voltage_min_v: float
    ripple_rms_v: float
    ripple_peak_a: float
    source_resistance_ohm: float
    emf_v: float


@dataclass(frozen=True, kw_only=True)
class SteadyTruth:
    """What the steady synthesis put in, of whole cycles and without drift and noise.

    Attributes
    ----------
    fundamental_phase_rad : float
        Phase of the load voltage's fundamental at the first sample, sine convention.
    load_angle_rad : float
        By which the fundamental current lags.
    load_power_w, load_power_v2r_w : float
        Mean of v*i of all partials and DC; mean square of v over the resistance.
    power_fundamental_w : float
        Of the fundamental alone.
    thd_f, thd_r : float
        Of the load voltage, V/V.
    harmonics : tuple of Harmonic
        As given.
    """

    tone_hz: float
    load_v_rms: float
    load_v_fundamental_rms: float
    load_i_rms: float
    fundamental_phase_rad: float
    load_angle_rad: float
    load_power_w: float
    load_power_v2r_w: float
    power_fundamental_w: float
    apparent_power_va: float
    thd_f: float
    thd_r: float
    dc_v: float
    gain: float
    harmonics: tuple[Harmonic, ...]
    resistance_ohm: float
    inductance_h: float
    noise_rms: Mapping[str, float]
    supply: SupplyTruth

    @property
    def power_factor(self) -> float:
        """Power over apparent power."""
        return self.load_power_w / self.apparent_power_va

    @property
    def efficiency(self) -> float:
        """Load power over supply power."""
        return self.load_power_w / self.supply.power_w


def inductance_for_angle(*, resistance_ohm: float, angle_rad: float, tone_hz: float) -> float:
    """Series inductance, henry, at which the current lags by `angle_rad`."""
    return resistance_ohm * tan(angle_rad) / (2 * pi * tone_hz)


def sum_of_partials(partials: Sequence[Partial], omega: float, dc: float = 0.0) -> Signal:
    """Give the signal ``dc + sum of peak * sin(order * omega * t + phase)``."""

    def signal(times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        values = np.full(times_s.shape, dc)
        for order, peak, phase_rad in partials:
            values += peak * np.sin(order * omega * times_s + phase_rad)
        return values

    return signal


def through_load(
    partials: Sequence[Partial], omega: float, resistance_ohm: float, inductance_h: float
) -> list[Partial]:
    """Give the current's partials: each divided by its own impedance ``R + j n w L``."""
    currents = []
    for order, peak, phase_rad in partials:
        reactance = order * omega * inductance_h
        currents.append(
            Partial(order, peak / hypot(resistance_ohm, reactance), phase_rad - atan2(reactance, resistance_ohm))
        )
    return currents


def mean_product(first: Sequence[Partial], second: Sequence[Partial], dc_product: float = 0.0) -> float:
    """Mean over whole cycles of the product of two sums of partials: only equal orders contribute."""
    theirs = {partial.order: partial for partial in second}
    total = dc_product
    for order, peak, phase_rad in first:
        other = theirs[order]
        total += 0.5 * peak * other.peak * cos(phase_rad - other.phase_rad)
    return total


def supply_truth(source: Source, load_power_w: float) -> SupplyTruth:
    """Solve ``emf*I - R*I**2*(1 + ripple**2/2) = P/efficiency`` for the mean current I."""
    wanted_w = load_power_w / source.efficiency
    bend = source.resistance_ohm * (1 + source.ripple**2 / 2)
    discriminant = source.emf_v**2 - 4 * bend * wanted_w
    if discriminant <= 0:
        raise ValueError(f"a source of {source.emf_v} V and {source.resistance_ohm} ohm cannot give {wanted_w:.1f} W")
    current_a = 2 * wanted_w / (source.emf_v + sqrt(discriminant))
    ripple_peak_a = current_a * source.ripple
    return SupplyTruth(
        voltage_v=source.emf_v - source.resistance_ohm * current_a,
        current_a=current_a,
        power_w=wanted_w,
        voltage_min_v=source.emf_v - source.resistance_ohm * (current_a + abs(ripple_peak_a)),
        ripple_rms_v=source.resistance_ohm * abs(ripple_peak_a) / sqrt(2),
        ripple_peak_a=ripple_peak_a,
        source_resistance_ohm=source.resistance_ohm,
        emf_v=source.emf_v,
    )


def supply_signals(supply: SupplyTruth, omega: float, phase_rad: float = 0.0) -> dict[str, Signal]:
    """Give the supply's two channels; ripple at twice the tone."""
    ripple = [Partial(2, supply.ripple_peak_a, 2 * phase_rad)]
    sag = [Partial(2, -supply.source_resistance_ohm * supply.ripple_peak_a, 2 * phase_rad)]
    return {
        "supply_current": sum_of_partials(ripple, omega, supply.current_a),
        "supply_voltage": sum_of_partials(sag, omega, supply.voltage_v),
    }


def _drifting(signal: Signal, drift_per_s: float, drift_per_s2: float) -> Signal:
    return lambda times_s: signal(times_s) + drift_per_s * times_s + drift_per_s2 * times_s**2


def steady_tone(
    *,
    tone_hz: float = 997.0,
    load_v_rms: float = 20.0,
    harmonics: Sequence[Harmonic] = (),
    phase_rad: float = 0.3,
    dc_v: float = 0.0,
    drift_v_per_s: float = 0.0,
    drift_v_per_s2: float = 0.0,
    resistance_ohm: float = 4.0,
    inductance_h: float = 0.0,
    gain: float = 20.0,
    source: Source | None = None,
    wiring: Sequence[BenchChannel] | None = None,
    recorder: Recorder | None = None,
    output: str | None = None,
) -> Capture[SteadyTruth]:
    """Synthesise a constant tone on any of the roles, each sample from its formula.

    Parameters
    ----------
    tone_hz : float > 0, Hz
        Need not give whole cycles in the record.
    load_v_rms : float > 0, V
        R.m.s. of the fundamental.
    harmonics : sequence of Harmonic
        Of the load voltage; the drive is a pure tone.
    phase_rad : float
        Of the fundamental at the first sample, sine convention.
    dc_v, drift_v_per_s, drift_v_per_s2 : float
        Added to the load voltage; the current follows DC over the resistance and does not drift.
    resistance_ohm, inductance_h : float
        The load in series; `inductance_for_angle` gives the inductance for an angle.
    gain : float
        Load over drive, V/V.
    source : Source
    wiring : sequence of BenchChannel
        The recorded channels in order, with scale, offset, skew and full scale; load voltage and current when left out.
    recorder : Recorder
        Rate, length, bits, noise and seed.
    output : str or None
        Renames the amplifier output of every load channel.

    Returns
    -------
    Capture of SteadyTruth

    Examples
    --------
    >>> capture = steady_tone(tone_hz=997.0, load_v_rms=20.0, harmonics=[Harmonic(3, 0.01)])
    >>> capture.truth.thd_f, round(capture.truth.load_power_w, 3)
    (0.01, 100.01)
    """
    recorder = recorder or Recorder()
    wiring = tuple(wiring if wiring is not None else wire("load_voltage", "load_current"))
    if output is not None:
        wiring = tuple(channel.model_copy(update={"output": output}) for channel in wiring)
    omega, peak_v = 2 * pi * tone_hz, sqrt(2) * load_v_rms
    volts = [Partial(1, peak_v, phase_rad)]
    volts += [Partial(h.order, h.ratio * peak_v, h.order * phase_rad + h.phase_rad) for h in harmonics]
    amps = through_load(volts, omega, resistance_ohm, inductance_h)
    supply = supply_truth(source or Source(), mean_product(volts, amps, dc_v**2 / resistance_ohm))
    signals: dict[str, Signal] = {
        "load_voltage": _drifting(sum_of_partials(volts, omega, dc_v), drift_v_per_s, drift_v_per_s2),
        "load_current": sum_of_partials(amps, omega, dc_v / resistance_ohm),
        "drive_voltage": sum_of_partials([Partial(1, peak_v / gain, phase_rad)], omega),
        "temperature": lambda times_s: np.full(times_s.shape, 25.0),
        **supply_signals(supply, omega, phase_rad),
    }
    truth = _truth(tone_hz, volts, amps, dc_v, resistance_ohm, inductance_h, gain, harmonics, recorder, supply)
    return Capture(
        recording=record(signals, wiring, recorder, source="steady"),
        bench=bench_of(wiring, resistance_ohm=resistance_ohm, inductance_h=inductance_h),
        truth=truth,
    )


def _truth(
    tone_hz: float,
    volts: Sequence[Partial],
    amps: Sequence[Partial],
    dc_v: float,
    resistance_ohm: float,
    inductance_h: float,
    gain: float,
    harmonics: Sequence[Harmonic],
    recorder: Recorder,
    supply: SupplyTruth,
) -> SteadyTruth:
    mean_square_v = mean_product(volts, volts, dc_v**2)
    mean_square_i = mean_product(amps, amps, (dc_v / resistance_ohm) ** 2)
    thd_f = sqrt(sum(h.ratio**2 for h in harmonics))
    angle_rad = volts[0].phase_rad - amps[0].phase_rad
    return SteadyTruth(
        tone_hz=tone_hz,
        load_v_rms=sqrt(mean_square_v),
        load_v_fundamental_rms=volts[0].peak / sqrt(2),
        load_i_rms=sqrt(mean_square_i),
        fundamental_phase_rad=atan2(sin(volts[0].phase_rad), cos(volts[0].phase_rad)),
        load_angle_rad=angle_rad,
        load_power_w=mean_product(volts, amps, dc_v**2 / resistance_ohm),
        load_power_v2r_w=mean_square_v / resistance_ohm,
        power_fundamental_w=0.5 * volts[0].peak * amps[0].peak * cos(angle_rad),
        apparent_power_va=sqrt(mean_square_v * mean_square_i),
        thd_f=thd_f,
        thd_r=thd_f / sqrt(1 + thd_f**2),
        dc_v=dc_v,
        gain=gain,
        harmonics=tuple(harmonics),
        resistance_ohm=resistance_ohm,
        inductance_h=inductance_h,
        noise_rms=dict(recorder.noise_rms),
        supply=supply,
    )
