"""A synthetic capture: samples as a recorder would have written them, the bench they came from, and the truth."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from wattproof.bench import Bench, BenchChannel, Load, Role
from wattproof.bench import Supply as BenchSupply
from wattproof.waveform import Channel, MemoryRecording, Waveform

Signal = Callable[[NDArray[np.float64]], NDArray[np.float64]]
"""A channel's true course: seconds in, engineering units (V, A, K) out."""
Truth = TypeVar("Truth")

UNITS: Mapping[Role, str] = {
    "load_voltage": "V",
    "load_current": "A",
    "supply_voltage": "V",
    "supply_current": "A",
    "drive_voltage": "V",
    "temperature": "degC",
}
_WORKSHOP_SCALES: Mapping[Role, float] = {
    "load_voltage": 42.0,
    "load_current": 30.0,
    "supply_voltage": 20.0,
    "supply_current": 125.0,
    "drive_voltage": 3.5,
    "temperature": 150.0,
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Capture(Generic[Truth]):
    """What a synthesis gives.

    Attributes
    ----------
    recording : MemoryRecording
        Samples in file units.
    bench : Bench
        The channels and the load that turn them into volts and amperes.
    truth : frozen dataclass
        What was put in; its kind depends on the synthesis.
    """

    recording: MemoryRecording
    bench: Bench
    truth: Truth

    @property
    def waveform(self) -> Waveform:
        """All samples, file units."""
        return self.recording.waveform


@dataclass(frozen=True, kw_only=True)
class Recorder:
    """How the samples are taken.

    Attributes
    ----------
    rate_hz : float > 0
    seconds : float > 0
        Length; the number of samples is rounded to the nearest.
    bits : int or None
        Word length; samples are rounded to it and limited to full scale. Needs `full_scale` on every channel.
    noise_rms : mapping of role to float
        White noise added to a channel, engineering units r.m.s.; roles left out have none.
    seed : int
        Of the noise.
    start_s : float
        Time of the first sample on the recorder's clock; signals start there, so it moves no phase.
    """

    rate_hz: float = 48000.0
    seconds: float = 1.0
    bits: int | None = None
    noise_rms: Mapping[str, float] = field(default_factory=dict)
    seed: int = 2031
    start_s: float = 0.0

    @property
    def n_samples(self) -> int:
        """Samples of each channel."""
        return round(self.rate_hz * self.seconds)

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Times of the samples from the first one, seconds, shape (n_samples,)."""
        return np.arange(self.n_samples) / self.rate_hz


def wire(*roles: Role, **settings: object) -> tuple[BenchChannel, ...]:
    """Give bench channels for the roles in this order, inputs counted from 1, all with the same further settings.

    Examples
    --------
    >>> [(c.input, c.role, c.scale) for c in wire("load_voltage", "load_current", scale=2.0)]
    [(1, 'load_voltage', 2.0), (2, 'load_current', 2.0)]
    """
    return tuple(
        BenchChannel.model_validate({"input": number, "role": role, **settings})
        for number, role in enumerate(roles, start=1)
    )


def workshop_wiring(*roles: Role, **settings: object) -> tuple[BenchChannel, ...]:
    """Give bench channels of an interface behind dividers and shunts: full scale 1, each role its scale."""
    return tuple(
        BenchChannel.model_validate(
            {"input": number, "role": role, "scale": _WORKSHOP_SCALES[role], "full_scale": 1.0, **settings}
        )
        for number, role in enumerate(roles, start=1)
    )


def to_file_units(
    values: NDArray[np.float64], channel: BenchChannel, *, bits: int | None = None
) -> NDArray[np.float64]:
    """Turn engineering units into the file's numbers, limited to full scale and rounded to the word length."""
    file_values = (values - channel.offset) / channel.scale
    full_scale = channel.full_scale
    if bits is not None and full_scale is None:
        raise ValueError(f"{bits} bits need a full scale on input {channel.input}")
    if full_scale is None:
        return file_values
    if bits is None:
        return np.clip(file_values, -full_scale, full_scale)
    step = full_scale / 2 ** (bits - 1)
    rounded: NDArray[np.float64] = np.clip(np.round(file_values / step) * step, -full_scale, full_scale - step)
    return rounded


def describe(channel: BenchChannel, *, bits: int | None = None) -> Channel:
    """Give the recorded channel as a reader would describe it."""
    if channel.full_scale is None:
        unit = UNITS[channel.role] if channel.scale == 1.0 else None
        return Channel(name=str(channel.input), unit=unit)
    step = None if bits is None else channel.full_scale / 2 ** (bits - 1)
    return Channel(name=str(channel.input), unit="FS", full_scale=channel.full_scale, step=step)


def sample(
    signals: Mapping[str, Signal],
    wiring: Sequence[BenchChannel],
    recorder: Recorder,
    times_s: NDArray[np.float64],
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    """Give file units of shape (n_channels, n_times): each role's signal, later by its channel's skew, with noise.

    A skew moves the time axis of the analytic signal, so it is exact for any fraction of a sample.
    """
    rows = np.empty((len(wiring), times_s.size))
    for row, channel in zip(rows, wiring, strict=True):
        values = signals[channel.role](times_s - channel.skew_s)
        sigma = recorder.noise_rms.get(channel.role, 0.0)
        if sigma > 0:
            values = values + rng.normal(0.0, sigma, times_s.size)
        row[:] = to_file_units(values, channel, bits=recorder.bits)
    return rows


def record(
    signals: Mapping[str, Signal], wiring: Sequence[BenchChannel], recorder: Recorder, *, source: str
) -> MemoryRecording:
    """Sample all channels at once into a recording in memory."""
    waveform = Waveform(
        samples=sample(signals, wiring, recorder, recorder.times_s, np.random.default_rng(recorder.seed)),
        rate_hz=recorder.rate_hz,
        channels=tuple(describe(channel, bits=recorder.bits) for channel in wiring),
        start_s=recorder.start_s,
    )
    return MemoryRecording(waveform=waveform, source=source)


def bench_of(wiring: Sequence[BenchChannel], *, resistance_ohm: float, inductance_h: float = 0.0) -> Bench:
    """Give the bench with these channels and one load, named after its resistance."""
    load = Load(name=f"{resistance_ohm:g} ohm", resistance_ohm=resistance_ohm, inductance_h=inductance_h)
    return Bench(name="synthetic bench", channels=tuple(wiring), loads=(load,), supply=BenchSupply(nominal_v=14.4))


def merge(first: Capture[Any], second: Capture[Any]) -> Capture[tuple[Any, Any]]:
    """Put the channels of two captures of equal rate and length into one record: two outputs, say."""
    ours, theirs = first.waveform, second.waveform
    if (ours.rate_hz, ours.n_samples) != (theirs.rate_hz, theirs.n_samples):
        raise ValueError("captures of unequal rate or length have no common clock")
    wiring = [*first.bench.channels, *second.bench.channels]
    wiring = [channel.model_copy(update={"input": number}) for number, channel in enumerate(wiring, start=1)]
    described = [*ours.channels, *theirs.channels]
    channels = tuple(
        Channel(name=str(number), unit=c.unit, full_scale=c.full_scale, step=c.step)
        for number, c in enumerate(described, start=1)
    )
    waveform = Waveform(
        samples=np.concatenate([ours.samples, theirs.samples]),
        rate_hz=ours.rate_hz,
        channels=channels,
        start_s=ours.start_s,
    )
    loads = first.bench.loads + tuple(load for load in second.bench.loads if load not in first.bench.loads)
    bench = first.bench.model_copy(update={"channels": tuple(wiring), "loads": loads})
    recording = MemoryRecording(waveform=waveform, source=first.recording.source)
    return Capture(recording=recording, bench=bench, truth=(first.truth, second.truth))
