"""An amplifier without a signal: noise of known density, hum lines, DC, supply current, switching residue."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray

from wattproof.bench import BenchChannel
from wattproof.testing.capture import Capture, Recorder, Signal, bench_of, record, wire
from wattproof.testing.steady import Partial, sum_of_partials

# IEC 61672-1:2013, annex E: the four corner frequencies of the A-weighting, hertz, and its gain at 1 kHz, dB
_A_CORNERS_HZ = (20.598997, 107.65265, 737.86223, 12194.217)
_A_1000_DB = 1.9997


def a_weight(frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """A-weighting as a ratio, V/V, from its analogue formula (IEC 61672-1:2013, annex E)."""
    f1, f2, f3, f4 = _A_CORNERS_HZ
    square = np.asarray(frequency_hz, dtype=np.float64) ** 2
    curve: NDArray[np.float64] = (f4**2 * square**2) / (
        (square + f1**2) * np.sqrt((square + f2**2) * (square + f3**2)) * (square + f4**2)
    )
    return curve * 10 ** (_A_1000_DB / 20)


@dataclass(frozen=True, kw_only=True)
class IdleTruth:
    """What the idle synthesis put in.

    Attributes
    ----------
    density_v_per_rthz : float
        One-sided density of the white noise, volt per root hertz.
    hum : tuple of (frequency, r.m.s.)
        Hertz and volts.
    residue_alias_hz : float
        Where the switching residue folds to.
    """

    density_v_per_rthz: float
    dc_v: float
    hum: tuple[tuple[float, float], ...]
    idle_current_a: float
    supply_v: float
    residue_hz: float
    residue_rms_v: float
    residue_alias_hz: float

    def white_rms(self, low_hz: float = 20.0, high_hz: float = 20000.0) -> float:
        """R.m.s. of the white noise alone in a band, V."""
        return self.density_v_per_rthz * sqrt(high_hz - low_hz)

    def noise_rms(self, low_hz: float = 20.0, high_hz: float = 20000.0, *, a_weighted: bool = False) -> float:
        """R.m.s. of all within a band, hum and folded residue too, V; DC left out."""
        grid_hz = np.linspace(low_hz, high_hz, 200001)
        weight = a_weight(grid_hz) ** 2 if a_weighted else np.ones_like(grid_hz)
        square = self.density_v_per_rthz**2 * float(np.trapezoid(weight, grid_hz))
        for line_hz, rms_v in (*self.hum, (self.residue_alias_hz, self.residue_rms_v)):
            if low_hz <= line_hz <= high_hz:
                square += rms_v**2 * (float(a_weight(np.array(line_hz))) ** 2 if a_weighted else 1.0)
        return sqrt(square)


def idle(
    *,
    density_v_per_rthz: float = 1e-6,
    dc_v: float = 0.004,
    hum: Sequence[tuple[float, float]] = (),
    idle_current_a: float = 0.85,
    supply_v: float = 14.4,
    residue_hz: float = 0.0,
    residue_rms_v: float = 0.0,
    resistance_ohm: float = 4.0,
    wiring: Sequence[BenchChannel] | None = None,
    recorder: Recorder | None = None,
) -> Capture[IdleTruth]:
    """Synthesise what an amplifier gives without a signal.

    Parameters
    ----------
    density_v_per_rthz : float >= 0
        One-sided density of white noise on the load voltage: ``sigma = density * sqrt(rate / 2)``.
    hum : sequence of (Hz, V r.m.s.)
    residue_hz, residue_rms_v : float
        Switching residue ahead of a recorder without an anti-alias filter: sampled as it is, it folds.
    wiring, recorder
        As in `steady_tone`; the recorder's own noise of the load voltage is replaced. 5 s with supply when left out.

    Returns
    -------
    Capture of IdleTruth

    Examples
    --------
    >>> idle(residue_hz=400e3, residue_rms_v=0.1, recorder=Recorder(rate_hz=48000.0)).truth.residue_alias_hz
    16000.0
    """
    recorder = recorder or Recorder(seconds=5.0)
    wiring = tuple(wiring if wiring is not None else wire("load_voltage", "supply_voltage", "supply_current"))
    sigma_v = density_v_per_rthz * sqrt(recorder.rate_hz / 2)
    noisy = Recorder(
        rate_hz=recorder.rate_hz,
        seconds=recorder.seconds,
        bits=recorder.bits,
        noise_rms={**recorder.noise_rms, "load_voltage": sigma_v},
        seed=recorder.seed,
        start_s=recorder.start_s,
    )
    lines = [*hum, (residue_hz, residue_rms_v)]

    def volts(times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        values = np.full(times_s.shape, dc_v)
        for line_hz, rms_v in lines:
            values += sum_of_partials([Partial(1, sqrt(2) * rms_v, 0.4)], 2 * pi * line_hz)(times_s)
        return values

    signals: dict[str, Signal] = {
        "load_voltage": volts,
        "load_current": lambda times_s: volts(times_s) / resistance_ohm,
        "drive_voltage": np.zeros_like,
        "supply_voltage": lambda times_s: np.full(times_s.shape, supply_v),
        "supply_current": lambda times_s: np.full(times_s.shape, idle_current_a),
    }
    truth = IdleTruth(
        density_v_per_rthz=density_v_per_rthz,
        dc_v=dc_v,
        hum=tuple(hum),
        idle_current_a=idle_current_a,
        supply_v=supply_v,
        residue_hz=residue_hz,
        residue_rms_v=residue_rms_v,
        residue_alias_hz=abs(residue_hz - round(residue_hz / recorder.rate_hz) * recorder.rate_hz),
    )
    return Capture(
        recording=record(signals, wiring, noisy, source="idle"),
        bench=bench_of(wiring, resistance_ohm=resistance_ohm),
        truth=truth,
    )
