"""Tone bursts of whole cycles over a low level, with droop inside the burst and recovery after it."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray

from wattproof.bench import BenchChannel
from wattproof.testing.capture import Capture, Recorder, Signal, bench_of, record, wire

_POINTS = 2048
"""Instants a cycle at which a cycle's mean power is taken; the wave is smooth within a burst, so the sum converges."""


@dataclass(frozen=True, kw_only=True)
class BurstTruth:
    """What the burst synthesis put in.

    Attributes
    ----------
    starts_s : tuple of float
        First instant of each burst that ends within the record, from the first sample.
    burst_s, period_s : float
        Length and spacing of the bursts.
    cycles_on : int
        Whole cycles in a burst.
    burst_v_peak, low_v_peak : float
        Peak at the first instant of a burst, and settled between bursts.
    """

    tone_hz: float
    starts_s: tuple[float, ...]
    burst_s: float
    period_s: float
    cycles_on: int
    burst_v_peak: float
    low_v_peak: float
    droop: float
    droop_tau_s: float
    recovery: float
    recovery_tau_s: float
    resistance_ohm: float

    def envelope(self, into_period_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Peak volts of the tone at times from the start of a burst, within one period."""
        on = into_period_s < self.burst_s
        since_end_s = np.maximum(into_period_s - self.burst_s, 0.0)
        high = self.burst_v_peak * (1 - self.droop * (1 - np.exp(-into_period_s / self.droop_tau_s)))
        low = self.low_v_peak * (1 - self.recovery * np.exp(-since_end_s / self.recovery_tau_s))
        return np.where(on, high, low)

    def cycle_power(self, cycle: int) -> float:
        """Mean power, W, of one cycle of a burst, counted from 0; of the low level past the burst's end."""
        return self.mean_power(cycle, cycle + 1)

    def mean_power(self, first_cycle: int = 0, stop_cycle: int | None = None) -> float:
        """Mean power, W, over whole cycles `first_cycle` to `stop_cycle` (exclusive; the burst's end when left out)."""
        stop = self.cycles_on if stop_cycle is None else stop_cycle
        n_points = (stop - first_cycle) * _POINTS
        cycles = first_cycle + (np.arange(n_points) + 0.5) / _POINTS
        volts = self.envelope(cycles / self.tone_hz) * np.sin(2 * pi * cycles)
        return float(np.mean(volts**2)) / self.resistance_ohm

    @property
    def low_power_w(self) -> float:
        """Settled power between bursts."""
        return self.low_v_peak**2 / (2 * self.resistance_ohm)


def burst_train(
    *,
    tone_hz: float = 47.0,
    cycles_on: int = 8,
    cycles_period: int = 47,
    low_db: float = -20.0,
    load_v_rms: float = 28.0,
    droop: float = 0.0,
    droop_tau_s: float = 0.05,
    recovery: float = 0.0,
    recovery_tau_s: float = 0.1,
    lead_cycles: float = 20.0,
    resistance_ohm: float = 2.0,
    gain: float = 20.0,
    wiring: Sequence[BenchChannel] | None = None,
    recorder: Recorder | None = None,
) -> Capture[BurstTruth]:
    """Synthesise bursts of whole cycles that start and end at zero crossings of one unbroken tone.

    Parameters
    ----------
    cycles_on, cycles_period : int >= 1
        Cycles of a burst, and from one burst to the next.
    low_db : float
        Level between bursts, dB re the burst's.
    load_v_rms : float, V
        R.m.s. at the first instant of a burst.
    droop, droop_tau_s : float
        Share of the amplitude lost within a long burst, V/V, and its time constant.
    recovery, recovery_tau_s : float
        Share of the low level missing right after a burst, V/V, and its time constant.
    lead_cycles : float
        Cycles of the low level before the first burst; need not be whole.
    wiring, recorder
        As in `steady_tone`; 4 s at 48 kHz when left out.

    Returns
    -------
    Capture of BurstTruth

    Examples
    --------
    >>> round(burst_train(load_v_rms=28.0, resistance_ohm=2.0).truth.mean_power(), 6)
    392.0
    """
    recorder = recorder or Recorder(seconds=4.0)
    wiring = tuple(wiring if wiring is not None else wire("load_voltage", "load_current"))
    lead_s, period_s, burst_s = lead_cycles / tone_hz, cycles_period / tone_hz, cycles_on / tone_hz
    n_bursts = max(0, int((recorder.seconds - burst_s - lead_s) / period_s) + 1)
    peak_v = sqrt(2) * load_v_rms
    truth = BurstTruth(
        tone_hz=tone_hz,
        starts_s=tuple(lead_s + k * period_s for k in range(n_bursts)),
        burst_s=burst_s,
        period_s=period_s,
        cycles_on=cycles_on,
        burst_v_peak=peak_v,
        low_v_peak=peak_v * 10 ** (low_db / 20),
        droop=droop,
        droop_tau_s=droop_tau_s,
        recovery=recovery,
        recovery_tau_s=recovery_tau_s,
        resistance_ohm=resistance_ohm,
    )
    return Capture(
        recording=record(_signals(truth, lead_s, gain), wiring, recorder, source="burst"),
        bench=bench_of(wiring, resistance_ohm=resistance_ohm),
        truth=truth,
    )


def _signals(truth: BurstTruth, lead_s: float, gain: float) -> dict[str, Signal]:
    def tone(times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.sin(2 * pi * truth.tone_hz * (times_s - lead_s))

    def volts(times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        since_s = times_s - lead_s
        into_period_s = np.where(since_s < 0, truth.period_s, np.mod(since_s, truth.period_s))
        return truth.envelope(into_period_s) * tone(times_s)

    def drive(times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        since_s = times_s - lead_s
        on = (since_s >= 0) & (np.mod(since_s, truth.period_s) < truth.burst_s)
        return np.where(on, truth.burst_v_peak, truth.low_v_peak) / gain * tone(times_s)

    return {
        "load_voltage": volts,
        "load_current": lambda times_s: volts(times_s) / truth.resistance_ohm,
        "drive_voltage": drive,
    }
