"""A tone rising in level through hard clipping, with the power at any distortion known in closed form."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, log, log10, pi

import numpy as np
from numpy.typing import NDArray

from wattproof.bench import BenchChannel
from wattproof.testing.capture import Capture, Recorder, Signal, bench_of, record, wire
from wattproof.testing.clipping import Form, clipped_power, clipped_sine, harmonic_peak, overdrive_at
from wattproof.testing.steady import Source

_GRID = 4001
"""Instants at which the supply is solved; the straight lines between them lose under a millionth."""


@dataclass(frozen=True, kw_only=True)
class RampTruth:
    """What the ramp synthesis put in.

    Attributes
    ----------
    limit_v : float
        Peak at which the output clips.
    unclipped_power_w : float
        Of the largest clean sine, ``limit**2 / (2 R)``.
    clip_s : float
        Time at which clipping starts, from the first sample.
    n_harmonics : int
        Highest harmonic in the samples.
    noise_ratio : float
        Noise on the load voltage, over its whole band, relative to the largest clean sine.
    """

    tone_hz: float
    slope_db_per_s: float
    start_v_peak: float
    limit_v: float
    resistance_ohm: float
    unclipped_power_w: float
    gain: float
    clip_s: float
    end_s: float
    n_harmonics: int
    noise_ratio: float
    source: Source
    idle_w: float

    def harmonics_in(self, band_hz: float | None) -> int:
        """Orders under the upper edge of a band, those in the record when None."""
        return self.n_harmonics if band_hz is None else min(self.n_harmonics, int(band_hz / self.tone_hz))

    def overdrive_at_thd(self, thd: float, *, form: Form = "f", band_hz: float | None = None) -> float:
        """Peak before clipping over the limit at which distortion of the harmonics in the band reaches `thd`."""
        return overdrive_at(thd, form=form, n_harmonics=self.harmonics_in(band_hz))

    def power_at_thd(self, thd: float, *, form: Form = "f", band_hz: float | None = None) -> float:
        """Load power, W, of the harmonics in the band where their distortion reaches `thd` (V/V); noise left out."""
        x = self.overdrive_at_thd(thd, form=form, band_hz=band_hz)
        return self.unclipped_power_w * clipped_power(x, n_harmonics=self.harmonics_in(band_hz))

    def time_at_thd(self, thd: float, *, form: Form = "f", band_hz: float | None = None) -> float:
        """Seconds from the first sample to where distortion reaches `thd`."""
        return self.clip_s + 20 * log10(self.overdrive_at_thd(thd, form=form, band_hz=band_hz)) / self.slope_db_per_s

    def overdrive(self, t_s: float) -> float:
        """Peak before clipping over the limit at a time."""
        return self.start_v_peak / self.limit_v * float(10 ** (self.slope_db_per_s * t_s / 20))

    def power_at(self, t_s: float) -> float:
        """Load power, W, of the cycle around a time if the level stood still there."""
        return self.unclipped_power_w * clipped_power(self.overdrive(t_s), n_harmonics=self.n_harmonics)

    def compression_at(self, t_s: float) -> float:
        """Gain of the fundamental over the small-signal gain, V/V."""
        x = self.overdrive(t_s)
        return harmonic_peak(1, x) / x

    def supply_at(self, t_s: float) -> tuple[float, float]:
        """Supply voltage (V) and current (A) at a time."""
        load_w = self.unclipped_power_w * clipped_power(self.overdrive(t_s))
        volts, amps = _operating_point(np.array([load_w]), self.source, self.idle_w)
        return float(volts[0]), float(amps[0])


def _operating_point(
    load_w: NDArray[np.float64], source: Source, idle_w: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Voltage and current at which the source gives idle power and the load's power over the efficiency."""
    supply_w = idle_w + load_w / source.efficiency
    discriminant = source.emf_v**2 - 4 * source.resistance_ohm * supply_w
    if (discriminant <= 0).any():
        raise ValueError(f"the source cannot give {supply_w.max():.1f} W")
    volts = 0.5 * (source.emf_v + np.sqrt(discriminant))
    return volts, supply_w / volts


def clipped_ramp(
    *,
    tone_hz: float = 997.0,
    slope_db_per_s: float = 34.0,
    limit_v: float = 40.0,
    start_v_peak: float = 4.0,
    phase_rad: float = 0.0,
    resistance_ohm: float = 4.0,
    gain: float = 20.0,
    source: Source | None = None,
    idle_w: float = 12.0,
    wiring: Sequence[BenchChannel] | None = None,
    recorder: Recorder | None = None,
) -> Capture[RampTruth]:
    """Synthesise an exponentially rising sine that is hard-clipped at a constant limit.

    The clipped wave is the analytic Fourier series of the clipped sine with coefficients following the level sample by
    sample, up to the last harmonic under half the sampling rate: exact, without aliases and without any filter.
    The supply's channels follow the cycle-mean power (a stiff rail store: no ripple), and sag on the source.

    Parameters
    ----------
    slope_db_per_s : float > 0
        Rise of the level.
    limit_v, start_v_peak : float, V
        Clipping limit and starting level at the load, both peak.
    idle_w : float
        Supply power without signal; the rest is load power over the source's efficiency.
    wiring, recorder
        As in `steady_tone`; the record length defaults to 1.5 s.

    Returns
    -------
    Capture of RampTruth

    Examples
    --------
    >>> truth = clipped_ramp(tone_hz=997.0).truth
    >>> round(truth.power_at_thd(0.01) / truth.unclipped_power_w, 3)
    1.048
    """
    recorder = recorder or Recorder(rate_hz=96000.0, seconds=1.0)
    wiring = tuple(wiring if wiring is not None else wire("load_voltage", "load_current"))
    source = source or Source()
    n_harmonics = ceil(recorder.rate_hz / 2 / tone_hz) - 1
    power_w = limit_v**2 / (2 * resistance_ohm)
    truth = RampTruth(
        tone_hz=tone_hz,
        slope_db_per_s=slope_db_per_s,
        start_v_peak=start_v_peak,
        limit_v=limit_v,
        resistance_ohm=resistance_ohm,
        unclipped_power_w=power_w,
        gain=gain,
        clip_s=20 * log10(limit_v / start_v_peak) / slope_db_per_s,
        end_s=recorder.seconds,
        n_harmonics=n_harmonics,
        noise_ratio=recorder.noise_rms.get("load_voltage", 0.0) / limit_v * 2**0.5,
        source=source,
        idle_w=idle_w,
    )
    return Capture(
        recording=record(_signals(truth, phase_rad), wiring, recorder, source="ramp"),
        bench=bench_of(wiring, resistance_ohm=resistance_ohm),
        truth=truth,
    )


def _signals(truth: RampTruth, phase_rad: float) -> dict[str, Signal]:
    nepers_per_s = log(10) / 20 * truth.slope_db_per_s
    omega = 2 * pi * truth.tone_hz

    def overdrive(times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        return truth.start_v_peak / truth.limit_v * np.exp(nepers_per_s * times_s)

    def volts(times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        angle = omega * times_s + phase_rad
        return truth.limit_v * clipped_sine(overdrive(times_s), angle, n_harmonics=truth.n_harmonics)

    def drive(times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        return truth.limit_v / truth.gain * overdrive(times_s) * np.sin(omega * times_s + phase_rad)

    def supply(times_s: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        grid_s = np.linspace(times_s[0], times_s[-1], _GRID)
        load_w = truth.unclipped_power_w * np.array([clipped_power(truth.overdrive(t_s)) for t_s in grid_s])
        volts_v, amps_a = _operating_point(load_w, truth.source, truth.idle_w)
        return np.interp(times_s, grid_s, volts_v), np.interp(times_s, grid_s, amps_a)

    return {
        "load_voltage": volts,
        "load_current": lambda times_s: volts(times_s) / truth.resistance_ohm,
        "drive_voltage": drive,
        "supply_voltage": lambda times_s: supply(times_s)[0],
        "supply_current": lambda times_s: supply(times_s)[1],
    }
