"""A tone held for long: power falls slowly, the output may mute; in memory or written to disk block by block."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import pi, sqrt
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wattproof.bench import Bench, BenchChannel, Role
from wattproof.testing.capture import Capture, Recorder, Signal, bench_of, record, sample, wire, workshop_wiring
from wattproof.testing.steady import Source


@dataclass(frozen=True, kw_only=True)
class HoldTruth:
    """What the hold synthesis put in: ``P(t) = P0 * (1 - decline * (1 - exp(-t / tau)))``, nothing while muted.

    Attributes
    ----------
    start_power_w : float
        Of fundamental and third harmonic together, at the first sample.
    mutes_s : tuple of (start, stop)
        Silent spans, seconds from the first sample.
    thd_f : float
        Third harmonic over the fundamental, constant.
    """

    tone_hz: float
    start_power_w: float
    decline: float
    decline_tau_s: float
    mutes_s: tuple[tuple[float, float], ...]
    thd_f: float
    resistance_ohm: float
    source: Source
    idle_w: float
    start_temperature_c: float
    rise_k: float
    rise_tau_s: float

    def unmuted(self, times_s: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether the output plays at each time."""
        playing = np.ones(times_s.shape, dtype=np.bool_)
        for start_s, stop_s in self.mutes_s:
            playing &= ~((times_s >= start_s) & (times_s < stop_s))
        return playing

    def power_at(self, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Load power, W, of the cycle around each time."""
        left = 1 - self.decline * (1 - np.exp(-times_s / self.decline_tau_s))
        return self.start_power_w * left * self.unmuted(times_s)

    def temperature_at(self, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Temperature, degrees Celsius."""
        return self.start_temperature_c + self.rise_k * (1 - np.exp(-times_s / self.rise_tau_s))

    def supply_at(self, times_s: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Supply voltage (V) and current (A), without ripple."""
        power_w = self.idle_w + self.power_at(times_s) / self.source.efficiency
        volts = 0.5 * (self.source.emf_v + np.sqrt(self.source.emf_v**2 - 4 * self.source.resistance_ohm * power_w))
        return volts, power_w / volts

    def energy_j(self, start_s: float, stop_s: float) -> float:
        """Energy into the load over a span without mutes, closed form."""
        tau = self.decline_tau_s
        bend = tau * (np.exp(-start_s / tau) - np.exp(-stop_s / tau))
        return float(self.start_power_w * ((1 - self.decline) * (stop_s - start_s) + self.decline * bend))


def hold(
    *,
    tone_hz: float = 47.0,
    load_v_rms: float = 30.0,
    decline: float = 0.12,
    decline_tau_s: float = 60.0,
    mutes_s: Sequence[tuple[float, float]] = (),
    thd_f: float = 0.004,
    resistance_ohm: float = 2.0,
    gain: float = 20.0,
    source: Source | None = None,
    idle_w: float = 12.0,
    rise_k: float = 40.0,
    rise_tau_s: float = 90.0,
    wiring: Sequence[BenchChannel] | None = None,
    recorder: Recorder | None = None,
) -> Capture[HoldTruth]:
    """Synthesise a held tone in memory; `write_hold` writes the same to disk for records longer than memory.

    Parameters
    ----------
    load_v_rms : float, V
        Of fundamental and third harmonic together at the start.
    decline, decline_tau_s : float
        Share of the power lost in the end, W/W, and its time constant.
    mutes_s : sequence of (start, stop), seconds
    thd_f : float, V/V
    rise_k, rise_tau_s : float
        Of the temperature channel, from 25 degrees Celsius.
    wiring, recorder
        As in `steady_tone`; 20 s at 12 kHz with supply and temperature when left out.

    Returns
    -------
    Capture of HoldTruth

    Examples
    --------
    >>> truth = hold(load_v_rms=30.0, resistance_ohm=2.0, decline=0.1, decline_tau_s=10.0).truth
    >>> round(float(truth.power_at(np.array([1e6]))[0]), 3)
    405.0
    """
    recorder = recorder or Recorder(rate_hz=12000.0, seconds=20.0)
    roles: tuple[Role, ...] = ("load_voltage", "load_current", "supply_voltage", "supply_current", "temperature")
    wiring = tuple(wiring if wiring is not None else wire(*roles))
    truth = HoldTruth(
        tone_hz=tone_hz,
        start_power_w=load_v_rms**2 / resistance_ohm,
        decline=decline,
        decline_tau_s=decline_tau_s,
        mutes_s=tuple(mutes_s),
        thd_f=thd_f,
        resistance_ohm=resistance_ohm,
        source=source or Source(),
        idle_w=idle_w,
        start_temperature_c=25.0,
        rise_k=rise_k,
        rise_tau_s=rise_tau_s,
    )
    return Capture(
        recording=record(_signals(truth, gain), wiring, recorder, source="hold"),
        bench=bench_of(wiring, resistance_ohm=resistance_ohm),
        truth=truth,
    )


def _signals(truth: HoldTruth, gain: float) -> dict[str, Signal]:
    omega = 2 * pi * truth.tone_hz
    shape_rms = sqrt(0.5 * (1 + truth.thd_f**2))

    def volts(times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        peak = np.sqrt(truth.power_at(times_s) * truth.resistance_ohm) / shape_rms
        sine = np.sin(omega * times_s)
        return peak * sine * (1 + truth.thd_f * (3 - 4 * sine**2))  # sin 3a = sin a (3 - 4 sin^2 a)

    drive_peak = sqrt(truth.start_power_w * truth.resistance_ohm) / shape_rms / gain
    return {
        "load_voltage": volts,
        "load_current": lambda times_s: volts(times_s) / truth.resistance_ohm,
        "drive_voltage": lambda times_s: drive_peak * np.sin(omega * times_s),
        "supply_voltage": lambda times_s: truth.supply_at(times_s)[0],
        "supply_current": lambda times_s: truth.supply_at(times_s)[1],
        "temperature": truth.temperature_at,
    }


def hold_blocks(
    truth: HoldTruth, wiring: Sequence[BenchChannel], recorder: Recorder, *, block: int = 1 << 16, gain: float = 20.0
) -> Iterator[NDArray[np.float64]]:
    """Give the hold's samples, file units, in blocks of shape (at most `block`, n_channels)."""
    signals, rng = _signals(truth, gain), np.random.default_rng(recorder.seed)
    for start in range(0, recorder.n_samples, block):
        times_s = np.arange(start, min(start + block, recorder.n_samples)) / recorder.rate_hz
        yield sample(signals, wiring, recorder, times_s, rng).T


def write_hold(
    path: Path,
    *,
    seconds: float,
    rate_hz: float = 96000.0,
    outputs: Sequence[str] = ("A", "B", "C"),
    subtype: str = "PCM_24",
    noise_v: float = 1e-3,
    block: int = 1 << 16,
    mutes_s: Sequence[tuple[float, float]] = (),
) -> tuple[HoldTruth, Bench]:
    """Write a long hold to a sound file, block by block: voltage and current of each output, then the supply.

    Parameters
    ----------
    path : Path
        Its suffix chooses the container (``.wav``, ``.flac``, ...).
    seconds, rate_hz : float
    outputs : sequence of str
        Three of them make the eight channels of the speed and memory tests; they all play the same.
    subtype : str
        Sample format as soundfile names it.

    Returns
    -------
    HoldTruth and the Bench that goes with the file
    """
    import soundfile

    pairs = [channel for output in outputs for channel in _pair(output)]
    supply = workshop_wiring("supply_voltage", "supply_current")
    wiring = tuple(c.model_copy(update={"input": n}) for n, c in enumerate([*pairs, *supply], start=1))
    recorder = Recorder(rate_hz=rate_hz, seconds=seconds, noise_rms={"load_voltage": noise_v})
    truth = hold(mutes_s=mutes_s, recorder=Recorder(seconds=0.0)).truth
    with soundfile.SoundFile(path, "w", samplerate=round(rate_hz), channels=len(wiring), subtype=subtype) as file:
        for rows in hold_blocks(truth, wiring, recorder, block=block):
            file.write(rows)
    return truth, bench_of(wiring, resistance_ohm=truth.resistance_ohm)


def _pair(output: str) -> tuple[BenchChannel, ...]:
    scales = {"load_voltage": 60.0, "load_current": 40.0}
    channels = workshop_wiring("load_voltage", "load_current", output=output)
    return tuple(channel.model_copy(update={"scale": scales[channel.role]}) for channel in channels)
