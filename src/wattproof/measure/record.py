"""A recording laid on the bench: which track is what, in which unit, and how far it can be trusted."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from wattproof.bench import Bench, BenchChannel, Load, resistance_of
from wattproof.errors import MissingChannelError, Notice
from wattproof.measure.model import CapturedChannel, Condition, Figure
from wattproof.quantity import Ledger, Uncertain
from wattproof.waveform import Channel, Recording

Real = NDArray[np.float64]

ROLE_UNITS = {
    "load_voltage": "V",
    "load_current": "A",
    "supply_voltage": "V",
    "supply_current": "A",
    "drive_voltage": "V",
    "temperature": "K",
    "unassigned": "1",
}

FINGERPRINT_SAMPLES = 4096
"""Samples of each channel by which captures of one name are told apart."""


@dataclass(frozen=True, kw_only=True)
class Track:
    """One track of the recording with its role; `index` counts from 0, `calibration` is the bench file's entry."""

    index: int
    role: str
    output: str | None
    channel: Channel
    calibration: BenchChannel
    calibrated: bool = True

    @property
    def full_scale(self) -> float | None:
        """Magnitude in file units at which the input clips; None where nobody says."""
        return self.calibration.full_scale or self.channel.full_scale

    def engineering(self, file_values: Real) -> Real:
        """Scale and offset numbers of the file to V, A or K."""
        return np.asarray(file_values * self.calibration.scale + self.calibration.offset)


@dataclass(frozen=True, kw_only=True, eq=False)
class BenchRecord:
    """A recording whose tracks have roles, with the ledger all its figures draw their doubts from.

    Attributes
    ----------
    recording : Recording
    tracks : tuple of Track
    bench : Bench
    load : Load or None
        The load in use; None where nobody named one.
    ledger : Ledger
    low_hz, high_hz : float or None
        Measuring band asked for; None takes the default for the tone.
    tone_hz : float or None
        Nominal tone, where the person gave it.
    thd_limits : tuple of float
        Ratios of THD+N at which a ramp's power is wanted.
    steady_power_w : float or None
        Steady power that a burst is compared with.
    captured_on : date or None
        When it was captured; a calibration is overdue or not on that day.
    span_s : tuple of float or None
        Where in the capture the recording lies, seconds, if it is a part of it: the origin of its figures.
    """

    recording: Recording
    tracks: tuple[Track, ...]
    bench: Bench
    load: Load | None
    ledger: Ledger
    low_hz: float | None = None
    high_hz: float | None = None
    tone_hz: float | None = None
    thd_limits: tuple[float, ...] = (0.001, 0.01, 0.03, 0.1)
    steady_power_w: float | None = None
    captured_on: date | None = None
    span_s: tuple[float, float] | None = None

    @property
    def outputs(self) -> tuple[str, ...]:
        """The amplifier outputs with a voltage track, in file order."""
        return tuple(t.output or "A" for t in self.tracks if t.role in {"load_voltage", "unassigned"})

    @cached_property
    def place(self) -> str:
        """Name of this capture in budgets: captures of one file name in different folders share no noise."""
        wave = self.recording.read(0, min(self.recording.n_samples, FINGERPRINT_SAMPLES))
        facts = f"{self.recording.n_samples} {self.recording.rate_hz!r}".encode()
        return f"{self.recording.source} {hashlib.sha256(facts + wave.samples.tobytes()).hexdigest()[:8]}"

    @property
    def duration_s(self) -> float:
        """Length of the recording, seconds."""
        return self.recording.n_samples / self.recording.rate_hz

    def track(self, role: str, output: str | None = None) -> Track | None:
        """Give the track of a role (and output, for load_* roles), or None."""
        for track in self.tracks:
            if track.role == role and (output is None or track.output in {None, output}):
                return track
        return None

    def voltage(self, output: str) -> Track:
        """Give the voltage track of an output; raises `MissingChannelError` where there is none."""
        track = self.track("load_voltage", output) or self.track("unassigned", output)
        if track is None:
            raise MissingChannelError(
                f"Output {output} has no voltage channel.",
                why=f"the capture has {', '.join(t.role for t in self.tracks) or 'no channels'}",
                hint='Add a [[channels]] entry with role = "load_voltage" to the bench file, '
                "or name the channel: --channel load_voltage=1",
            )
        return track

    def values(self, track: Track, samples: Real) -> Real:
        """Give a track's engineering values from file samples of shape (n_channels, n)."""
        return track.engineering(samples[track.index])

    # --- doubts -------------------------------------------------------------------------------------------------

    def gain_factor(self, track: Track) -> Uncertain:
        """Uncertain factor 1 that carries a channel's scale doubt: the same object wherever the calibration is used."""
        return self._type_b(track, "scale", 1.0, track.calibration.scale_u)

    def offset_error(self, track: Track) -> Uncertain:
        """Uncertain 0 that carries a channel's offset doubt, engineering units."""
        return self._type_b(track, "offset", 0.0, track.calibration.offset_u)

    def clock_factor(self) -> Uncertain:
        """Uncertain factor 1 that carries the doubt of the recorder's sample clock."""
        name = f"bench {self.bench.name}: sample clock"
        return self.ledger.source(name, 1.0, self.bench.clock_u, label="sample clock", kind="B")

    def mean_supply_v(self, samples: Real) -> float | None:
        """Mean supply voltage over file samples of shape (n_channels, n), V: a condition; None without its track."""
        track = self.track("supply_voltage")
        return None if track is None else float(track.engineering(samples[track.index].mean(keepdims=True))[0])

    def skew_error(self, track: Track) -> Uncertain:
        """Uncertain 0 that carries a channel's timing doubt, seconds."""
        return self._type_b(track, "skew", 0.0, track.calibration.skew_u_s)

    def load_resistance(self, load: Load) -> Uncertain:
        """Resistance of a named load with its calibration's and its heating's doubt, ohm."""
        return resistance_of(load, bench_name=self.bench.name, ledger=self.ledger)

    def observed(
        self, what: str, value: float, u: float, *, dof: float, label: str, origin: str | None = None
    ) -> Uncertain:
        """Uncertain number evaluated from this capture's own samples (type A)."""
        place = origin or self.place
        return self.ledger.source(f"{place}: {what}", value, u, label=label, kind="A", dof=max(dof, 1.0))

    def reading(self, track: Track, value: float, *, u: float, dof: float, label: str) -> Uncertain:
        """Uncertain mean of a track, engineering units, with its scale's, its offset's and its scatter's doubt.

        The scale's doubt acts on what was read, not on the offset added to it.
        """
        noise = self.observed(
            f"{label} of {track.role} {track.output}", 0.0, u, dof=dof, label=f"{label} of {track.role}"
        )
        read = value - track.calibration.offset
        return value + read * (self.gain_factor(track) - 1) + self.offset_error(track) + noise

    def _type_b(self, track: Track, what: str, value: float, u: float) -> Uncertain:
        calibration = hashlib.sha256(track.calibration.model_dump_json().encode()).hexdigest()[:8]
        name = f"{track.role} {track.output}" if track.role.startswith("load") else track.role
        return self.ledger.source(
            f"bench {self.bench.name} {calibration}: {what} of {name}", value, u, label=f"{what} of {name}", kind="B"
        )

    # --- results ------------------------------------------------------------------------------------------------

    def figure(
        self,
        name: str,
        number: Uncertain,
        unit: str,
        *,
        output: str | None,
        conditions: dict[str, Condition],
        span_s: tuple[float, float] | None = None,
    ) -> Figure:
        """Freeze a number into a figure whose origin is this capture and the given span, seconds from its start."""
        quantity = self.ledger.quantity(number, unit=unit)
        span_s = span_s or self.span_s
        span = "" if span_s is None else f" {span_s[0]:.4g}-{span_s[1]:.4g} s"
        fields = {field: getattr(quantity, field) for field in type(quantity).model_fields}
        return Figure(
            **fields, name=name, output=output, conditions=conditions, origin=f"{self.recording.source}{span}"
        )

    def captured(self, peaks: Sequence[float], clipped: Sequence[int]) -> tuple[CapturedChannel, ...]:
        """List the tracks as they were used, with their peaks (engineering units) and clipped samples."""
        return tuple(
            CapturedChannel(role=t.role, output=t.output, name=t.channel.name, peak=float(peak), clipped=int(count))
            for t, peak, count in zip(self.tracks, peaks, clipped, strict=True)
        )


def lay_on_bench(
    recording: Recording,
    *,
    bench: Bench | None,
    load: Load | None = None,
    ledger: Ledger | None = None,
    low_hz: float | None = None,
    high_hz: float | None = None,
    tone_hz: float | None = None,
    thd_limits: tuple[float, ...] = (0.001, 0.01, 0.03, 0.1),
    steady_power_w: float | None = None,
    captured_on: date | None = None,
) -> tuple[BenchRecord, tuple[Notice, ...]]:
    """Match a recording's tracks with the bench's channels; without a bench every track stands for itself.

    Parameters
    ----------
    recording : Recording
        Samples in file units, from whatever source.
    bench : Bench or None
        What the tracks are, their scales and how far these are to be trusted.
    load : Load or None
        The load in use, where it is known.
    ledger : Ledger or None
        Sources of doubt that several captures share; a new one when left out.
    low_hz, high_hz : float or None, Hz
        Edges of the measuring band; what is left out follows the tone.
    tone_hz : float or None, Hz
        Nominal tone, where the search for it fails.
    thd_limits : tuple of float, V/V
        Distortions at which a ramp's power is wanted.
    steady_power_w : float or None, W
        Power a burst is compared with.
    captured_on : date or None
        Day of the capture, for calibrations that run out.

    Returns
    -------
    tuple of BenchRecord and of Notice
        The record that `measure` takes, and what is doubtful about the match.

    Raises
    ------
    MissingChannelError
        The bench names a track or header that the recording does not have, and nothing usable remains.
    """
    notices: list[Notice] = []
    if bench is None or not bench.channels:
        tracks = tuple(_unassigned(i, channel) for i, channel in enumerate(recording.channels))
        notices.append(
            Notice(
                code="no-bench",
                message="Without a bench file volts, amperes and watts are unknown: "
                "only figures that need no scale are given.",
                hint="Give --bench bench.toml, or for a quick look --volts-per-unit and --load-ohm.",
            )
        )
    else:
        tracks, missing = _matched(recording, bench)
        notices += missing
    record = BenchRecord(
        recording=recording,
        tracks=tracks,
        bench=bench or Bench(),
        load=load,
        ledger=ledger or Ledger(),
        low_hz=low_hz,
        high_hz=high_hz,
        tone_hz=tone_hz,
        thd_limits=thd_limits,
        steady_power_w=steady_power_w,
        captured_on=captured_on,
    )
    return record, tuple(notices)


def _unassigned(index: int, channel: Channel) -> Track:
    calibration = BenchChannel(input=index + 1, role="load_voltage", output=channel.name)
    return Track(
        index=index, role="unassigned", output=channel.name, channel=channel, calibration=calibration, calibrated=False
    )


def _matched(recording: Recording, bench: Bench) -> tuple[tuple[Track, ...], list[Notice]]:
    by_name = {channel.name: i for i, channel in enumerate(recording.channels)}
    tracks, missing = [], []
    for entry in bench.channels:
        # a track that is named with the number is meant before the track that has this place
        place = entry.input - 1 if isinstance(entry.input, int) else -1
        index = by_name.get(str(entry.input), place)
        if not 0 <= index < len(recording.channels):
            missing.append(entry)
            continue
        output = entry.output if entry.role.startswith("load") else None
        tracks.append(
            Track(index=index, role=entry.role, output=output, channel=recording.channels[index], calibration=entry)
        )
    names = ", ".join(channel.name for channel in recording.channels)
    if not any(track.role == "load_voltage" or track.role.startswith("supply") for track in tracks):
        raise MissingChannelError(
            f"The bench file fits none of the tracks of {recording.source}.",
            why=f"it asks for {', '.join(str(e.input) for e in bench.channels)}; the recording has {names}",
            hint="Correct `input` in the bench file, or say it: --channel load_voltage=1",
        )
    return tuple(tracks), [_absent(entry, names) for entry in missing]


def _absent(entry: BenchChannel, names: str) -> Notice:
    return Notice(
        code="channel-absent",
        message=f"The bench's {entry.role} is on input {entry.input}, which this recording ({names}) does not have.",
        hint="Figures that need it are left out; record that channel too, or correct `input` in the bench file.",
    )
