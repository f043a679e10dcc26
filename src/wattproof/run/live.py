"""Cheap figures of the blocks as they arrive: for control and display only; what counts comes from `measure`."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from wattproof.bench import Bench, BenchChannel, Role

Samples = NDArray[np.float64]

LEAST_FRAME_S = 0.04
"""A frame holds as many whole cycles as fit this, two at least, seconds."""

SILENT_FRAME_S = 0.05
"""A frame without a tone, seconds."""

HARMONICS_SEEN = 40
"""Neighbouring samples are averaged for the fit as long as so many harmonics stay under half of the lower rate."""


@dataclass(frozen=True, kw_only=True)
class LiveFrame:
    """What a few cycles showed; None where it is not recorded.

    Attributes
    ----------
    t_s : float
        Middle of the frame, from the drive's first sample.
    seconds : float
        Its length.
    output_v_rms : float or None
        Of the first driven output.
    output_w : float or None
        Of all driven outputs together: mean of v times i, or V²/R where no current is recorded.
    thd_n : float or None
        Of the first driven output, all that is no fundamental over all, V/V; None without a tone.
    drive_v_rms : float or None
        As recorded, where a channel records it.
    supply_v, supply_a, supply_w, temperature_c : float or None
        Means over the frame; the power is the mean of the product.
    """

    t_s: float
    seconds: float
    output_v_rms: float | None = None
    output_w: float | None = None
    thd_n: float | None = None
    drive_v_rms: float | None = None
    supply_v: float | None = None
    supply_a: float | None = None
    supply_w: float | None = None
    temperature_c: float | None = None

    @property
    def heat_w(self) -> float | None:
        """What stays in the amplifier: supply less load."""
        return None if self.supply_w is None or self.output_w is None else self.supply_w - self.output_w


class LiveMeter:
    """Takes blocks, gives frames.

    Per frame, the fundamental and its linear change are fitted by least squares, so that a rising level is not taken
    for distortion: at 40 dB a second and two cycles of 47 Hz what is left of it stays under 0.2 %.

    Parameters
    ----------
    bench : Bench
        Its channels with a numbered input are the columns of a block.
    outputs : tuple of str
        The driven outputs.
    rate_hz : float, Hz
        Samples a second.
    tone_hz : float or None, Hz
        The drive's tone, exactly; None for silence.
    load_ohm : float or None, ohm
        Where no load current is recorded.

    References
    ----------
    .. [1] docs/howto/run-a-bench-day.md.
    """

    def __init__(
        self, *, bench: Bench, outputs: tuple[str, ...], rate_hz: float, tone_hz: float | None, load_ohm: float | None
    ) -> None:
        self._wiring = _Wiring.of(bench, outputs)
        self._rate_hz = rate_hz
        self._load_ohm = load_ohm
        self._fit = None if tone_hz is None else _ToneFit(tone_hz, rate_hz)
        self._frame_samples = round(SILENT_FRAME_S * rate_hz) if self._fit is None else self._fit.n_samples
        self._waiting: list[Samples] = []
        self._n_waiting = 0
        self._next_start: int | None = None

    def add(self, samples: Samples, *, start: int) -> tuple[LiveFrame, ...]:
        """Take a block, give the frames that it completes.

        Parameters
        ----------
        samples : Samples of shape (n_samples, n_tracks), file units
        start : int
            Number of its first sample, from the drive's first.
        """
        if self._next_start is None:
            self._next_start = start
        self._waiting.append(samples)
        self._n_waiting += samples.shape[0]
        if self._n_waiting < self._frame_samples:
            return ()
        joined = np.concatenate(self._waiting)
        n_frames = joined.shape[0] // self._frame_samples
        frames = []
        for number in range(n_frames):
            first = number * self._frame_samples
            frames.append(self._frame(joined[first : first + self._frame_samples], self._next_start + first))
        used = n_frames * self._frame_samples
        self._waiting, self._n_waiting = [joined[used:]], joined.shape[0] - used
        self._next_start += used
        return tuple(frames)

    def first_output_v(self, samples: Samples) -> Samples | None:
        """Give a block's samples of the first driven output, in volts; None where none is driven or recorded."""
        outputs = self._wiring.outputs
        return self._wiring.values(samples, "load_voltage", outputs[0]) if outputs else None

    def _frame(self, rows: Samples, start: int) -> LiveFrame:
        wiring = self._wiring
        first_v = wiring.values(rows, "load_voltage", wiring.outputs[0]) if wiring.outputs else None
        output_v_rms, thd_n = (None, None) if first_v is None else self._level(first_v)
        drive_v = wiring.values(rows, "drive_voltage")
        supply_v, supply_a = wiring.values(rows, "supply_voltage"), wiring.values(rows, "supply_current")
        temperature = wiring.values(rows, "temperature")
        return LiveFrame(
            t_s=(start + rows.shape[0] / 2) / self._rate_hz,
            seconds=rows.shape[0] / self._rate_hz,
            output_v_rms=output_v_rms,
            output_w=self._power(rows),
            thd_n=thd_n,
            drive_v_rms=None if drive_v is None else float(drive_v.std()),
            supply_v=_mean(supply_v),
            supply_a=_mean(supply_a),
            supply_w=None if supply_v is None or supply_a is None else float(np.mean(supply_v * supply_a)),
            temperature_c=_mean(temperature),
        )

    def _level(self, volts: Samples) -> tuple[float, float | None]:
        rms = float(volts.std())
        return rms, None if self._fit is None else self._fit.thd_n(volts)

    def _power(self, rows: Samples) -> float | None:
        total_w = 0.0
        for output in self._wiring.outputs:
            volts = self._wiring.values(rows, "load_voltage", output)
            amps = self._wiring.values(rows, "load_current", output)
            if volts is None:
                return None
            if amps is not None:
                total_w += float(np.mean(volts * amps))
            elif self._load_ohm:
                total_w += float(np.mean(volts * volts)) / self._load_ohm
            else:
                return None
        return total_w if self._wiring.outputs else None


def _mean(values: Samples | None) -> float | None:
    return None if values is None else float(values.mean())


@dataclass(frozen=True, kw_only=True)
class _Wiring:
    """Which column of a block holds what."""

    outputs: tuple[str, ...]
    channels: Mapping[tuple[str, str], BenchChannel]

    @classmethod
    def of(cls, bench: Bench, outputs: tuple[str, ...]) -> "_Wiring":
        found: dict[tuple[str, str], BenchChannel] = {}
        for channel in bench.channels:
            if isinstance(channel.input, int):
                by_output = channel.role in {"load_voltage", "load_current"}
                found.setdefault((channel.role, channel.output if by_output else ""), channel)
        return cls(outputs=outputs, channels=found)

    def values(self, rows: Samples, role: Role, output: str = "") -> Samples | None:
        """Give a quantity in volts, amperes or degrees Celsius."""
        channel = self.channels.get((role, output))
        if channel is None or not isinstance(channel.input, int) or channel.input > rows.shape[1]:
            return None
        engineering: Samples = channel.offset + channel.scale * rows[:, channel.input - 1]
        return engineering


class _ToneFit:
    """Sine and cosine with their linear change, and a constant, for frames of one length: one product a frame."""

    def __init__(self, tone_hz: float, rate_hz: float) -> None:
        self._every = max(1, int(rate_hz / (2 * HARMONICS_SEEN * tone_hz)))
        n_cycles = max(2, ceil(LEAST_FRAME_S * tone_hz))
        self.n_samples = round(n_cycles * rate_hz / tone_hz)
        self._n_points = self.n_samples // self._every
        middle = (self._n_points - 1) / 2
        place = (np.arange(self._n_points) - middle) / self._n_points
        angle = 2 * pi * tone_hz * self._every / rate_hz * (np.arange(self._n_points) - middle)
        sine, cosine = np.sin(angle), np.cos(angle)
        self._basis = np.column_stack([sine, cosine, place * sine, place * cosine, np.ones(self._n_points)])
        self._inverse = np.linalg.pinv(self._basis)
        # averaging neighbours lowers the tone by this much, which would make it look more distorted
        half_step = pi * tone_hz / rate_hz
        self._droop = float(np.sin(self._every * half_step) / (self._every * np.sin(half_step)))

    def thd_n(self, volts: Samples) -> float | None:
        """Give all that is no fundamental over all, None for silence."""
        points = volts[: self._n_points * self._every].reshape(self._n_points, self._every).mean(axis=1)
        weights = self._inverse @ points
        rest = float(np.mean((points - self._basis @ weights) ** 2))
        tone = float(weights[0] ** 2 + weights[1] ** 2) / 2 / self._droop**2
        return sqrt(rest / (rest + tone)) if rest + tone > 0 else None
