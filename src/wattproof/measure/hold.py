"""A tone held for minutes: power, distortion, supply and temperature against time, sustained power, events."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import ToneFit, fit_tone, tone_band
from wattproof.errors import MeasureError, MissingChannelError, Notice, NoToneError
from wattproof.measure.findings import Findings
from wattproof.measure.hold_events import event_notices, loud_frames
from wattproof.measure.hold_frames import FRAME_S, Frame, FrameReader
from wattproof.measure.model import CapturedChannel, Condition, CurvePoint, Figure, Trace, Views
from wattproof.measure.record import ROLE_UNITS, BenchRecord, Track
from wattproof.measure.sanity import clipped_notice
from wattproof.measure.source import source_resistance_of_frames
from wattproof.measure.supply import supply_power
from wattproof.measure.views import rounded, thinned
from wattproof.quantity import Uncertain

Real = NDArray[np.float64]

SEARCH_S = 2.0
SUSTAINED_S = (1.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0)
"""Times at which the power still there is stated."""


def measure_hold(record: BenchRecord) -> Findings:
    """Measure a long constant tone in one pass, holding one frame in memory at a time.

    Power, voltages and currents use every sample; the distortion of a frame is that of its first cycles.

    Raises
    ------
    NoToneError
        No tone was found in any part of the record.
    MeasureError
        The record is shorter than one frame, or holds values that are no numbers.
    """
    if not record.outputs:
        raise _without_outputs(record)
    tone = _find_tone(record)
    low_hz, high_hz = tone_band(tone.frequency_hz, rate_hz=record.recording.rate_hz, high_hz=record.high_hz or 20e3)
    reader = FrameReader(record, frequency_hz=tone.frequency_hz, band_hz=(record.low_hz or low_hz, high_hz))
    frames = tuple(reader)
    if not frames:
        raise MeasureError(
            f"{record.recording.source} is too short for a hold.",
            why=f"it lasts {record.recording.n_samples / record.recording.rate_hz:.3g} s; a frame takes {FRAME_S:g} s",
            hint="Measure it with --kind steady.",
        )
    conditions: dict[str, Condition] = {"frequency_hz": round(tone.frequency_hz, 4)}
    if record.load is not None:
        conditions["load_ohm"] = record.load.resistance_ohm
    banded: dict[str, Condition] = {**conditions, "bandwidth_hz": reader.band_hz}
    figures = [figure for name in record.outputs for figure in _output_figures(record, frames, name, banded)]
    figures += _supply_figures(record, frames, conditions)
    return Findings(
        figures=tuple(figures),
        curve=tuple(_point(record, frame, name) for name in record.outputs for frame in frames),
        warnings=(*_clipped_notices(record, frames), *event_notices(frames)),
        views=_views(record, frames),
        channels=_captured(record, frames),
    )


def _without_outputs(record: BenchRecord) -> MissingChannelError:
    return MissingChannelError(
        f"{record.recording.source} has no load voltage to follow.",
        why=f"it has {', '.join(track.role for track in record.tracks)}",
        hint='Give the bench file a channel with role = "load_voltage", or measure it with --kind idle.',
    )


def _find_tone(record: BenchRecord) -> ToneFit:
    """Find the frequency on the first piece that holds a tone; a hold may begin muted."""
    recording = record.recording
    length = min(recording.n_samples, round(SEARCH_S * recording.rate_hz))
    row = record.voltage(record.outputs[0]).index
    failed: NoToneError | None = None
    for share in (0.1, 0.3, 0.5, 0.02, 0.7, 0.9):
        start = min(round(share * recording.n_samples), recording.n_samples - length)
        piece = recording.read(start, start + length).samples[row : row + 1]
        try:
            return fit_tone(piece, rate_hz=recording.rate_hz, tone_hz=record.tone_hz)
        except NoToneError as error:
            failed = error
    raise failed or NoToneError("No tone was found.")


def _row(record: BenchRecord, role: str, output: str | None = None) -> int | None:
    track = record.track(role, output)
    return None if track is None else record.tracks.index(track)


def _watts(record: BenchRecord, frame: Frame, name: str) -> float | None:
    """Power into a load in one frame, W: mean of v*i, else V²/R of the named load."""
    volts, amps = _row(record, "load_voltage", name), _row(record, "load_current", name)
    if volts is None:
        return None
    if amps is not None:
        return frame.covariance(volts, amps) + frame.skewed_w.get(name, 0.0)
    return None if record.load is None else frame.covariance(volts, volts) / record.load.resistance_ohm


def _point(record: BenchRecord, frame: Frame, name: str) -> CurvePoint:
    voltage = record.tracks.index(record.voltage(name))
    amps = _row(record, "load_current", name)
    supply_v, supply_i = _row(record, "supply_voltage"), _row(record, "supply_current")
    heat, watts = _row(record, "temperature"), _watts(record, frame, name)
    drawn = None if supply_v is None or supply_i is None else float(frame.product[supply_v, supply_i])
    return CurvePoint(
        t_s=round(frame.middle_s, 6),
        output=name,
        load_voltage_rms=float(np.sqrt(max(frame.covariance(voltage, voltage), 0.0))),
        load_current_rms=None if amps is None else float(np.sqrt(max(frame.covariance(amps, amps), 0.0))),
        load_power=watts,
        thd_n=frame.thd_n[name],
        supply_voltage=None if supply_v is None else float(frame.mean[supply_v]),
        supply_current=None if supply_i is None else float(frame.mean[supply_i]),
        supply_power=drawn,
        efficiency=None if watts is None or not drawn or len(record.outputs) > 1 else watts / drawn,
        temperature=None if heat is None else float(frame.mean[heat]),
    )


def _output_figures(
    record: BenchRecord, frames: Sequence[Frame], name: str, common: dict[str, Condition]
) -> list[Figure]:
    powers = [_watts(record, frame, name) for frame in frames]
    figures = []
    for at_s in SUSTAINED_S:
        n = next((n for n, frame in enumerate(frames) if frame.start_s <= at_s < frame.start_s + frame.seconds), None)
        watts = None if n is None else powers[n]
        if n is None or watts is None:
            continue
        doubt = _power_doubt(record, name, *_power_and_angle(record, (frames[n],), name))
        number = watts * doubt + _scatter(record, powers, n, what=f"power {name}")
        basis = "v*i" if record.track("load_current", name) else "v^2/r"
        figures.append(
            record.figure(
                "sustained_power", number, "W", output=name, span_s=_span(frames[n]),
                conditions={**_whole_band(record, common), **_supply_at(record, frames[n]), "at_s": at_s,
                            "basis": basis},
            )
        )  # fmt: skip
    loud = loud_frames(frames)
    if loud:
        ratios = [frame.thd_n[name] for frame in frames]
        worst = max(loud, key=lambda n: ratios[n])
        number = ratios[worst] + _scatter(record, ratios, worst, what=f"thd_n {name}")
        figures.append(
            record.figure("thd_n", number, "V/V", output=name, span_s=_span(frames[worst]),
                          conditions={**common, "which": "worst frame", "basis": "total"})
        )  # fmt: skip
    return figures


def _whole_band(record: BenchRecord, common: dict[str, Condition]) -> dict[str, Condition]:
    """Conditions of what every sample makes, unfiltered: up to half the sample rate."""
    return {**common, "bandwidth_hz": (0.0, record.recording.rate_hz / 2)}


def _span(frame: Frame) -> tuple[float, float]:
    return frame.start_s, frame.start_s + frame.seconds


def _supply_at(record: BenchRecord, frame: Frame) -> dict[str, Condition]:
    row = _row(record, "supply_voltage")
    return {} if row is None else {"supply_v": round(float(frame.mean[row]), 3)}


def _power_and_angle(record: BenchRecord, frames: Sequence[Frame], name: str) -> tuple[float, float]:
    """Tangent of the load's angle over the frames, its sign unknown and taken as inductive, and rad/s of the tone."""
    volts, amps = _row(record, "load_voltage", name), _row(record, "load_current", name)
    if volts is None or amps is None:
        return 0.0, 0.0
    watts = sum(frame.covariance(volts, amps) for frame in frames)
    volt_amperes = sum((frame.covariance(volts, volts) * frame.covariance(amps, amps)) ** 0.5 for frame in frames)
    cycles_hz = frames[0].levels.size / frames[0].seconds
    tangent = max(volt_amperes**2 - watts**2, 0.0) ** 0.5 / abs(watts) if watts else 0.0
    return tangent, 2 * np.pi * cycles_hz


def _power_doubt(record: BenchRecord, name: str, tangent: float, omega: float) -> Uncertain:
    """Uncertain factor 1 from the calibrations that a power is made of; skew counts with the load's angle."""
    volts, amps = record.track("load_voltage", name), record.track("load_current", name)
    if volts is None:
        return 1.0
    if amps is not None:
        skew = record.skew_error(volts) - record.skew_error(amps)
        return record.gain_factor(volts) * record.gain_factor(amps) * (1 - omega * tangent * skew)
    factor = record.gain_factor(volts)
    if record.load is None:
        return factor * factor
    return factor * factor * record.load.resistance_ohm / record.load_resistance(record.load)


def _scatter(record: BenchRecord, values: Sequence[float | None], n: int, *, what: str) -> Uncertain:
    """Uncertain 0: how frames nearby scatter about a straight line, so that a slow fall is no scatter."""
    near = [value for value in values[max(0, n - 4) : n + 5] if value is not None]
    if len(near) < 4:
        return 0.0
    x = np.arange(len(near), dtype=float)
    left = np.array(near) - np.polynomial.polynomial.polyval(x, np.polynomial.polynomial.polyfit(x, near, 1))
    dof = len(near) - 2
    u = float(np.sqrt((left**2).sum() / dof))
    return record.observed(
        f"frames about {n}: {what}", 0.0, u, dof=dof, label="scatter of the frames nearby about a straight line"
    )


def _supply_figures(record: BenchRecord, frames: Sequence[Frame], common: dict[str, Condition]) -> list[Figure]:
    figures = []
    common = _whole_band(record, common)
    track, row = record.track("supply_voltage"), _row(record, "supply_voltage")
    troughs = [frame.trough for frame in frames if frame.trough is not None]
    if track is not None and troughs:
        lowest = int(np.argmin(troughs))
        number = record.reading(track, troughs[lowest], u=0.0, dof=1, label="minimum")
        number = number + _scatter(record, troughs, lowest, what="supply minimum")
        figures.append(
            record.figure(
                "supply_voltage_min", number, "V", output=None, conditions=common, span_s=_span(frames[lowest])
            )
        )
        ripple = float(np.sqrt(np.mean(np.square([frame.ripple for frame in frames if frame.ripple is not None]))))
        figures.append(
            record.figure("supply_ripple_rms", ripple * record.gain_factor(track), "V", output=None, conditions=common)
        )
    figures += _mean_figure(record, frames, "supply_voltage", "V", common)
    figures += _mean_figure(record, frames, "supply_current", "A", common)
    figures += _efficiency_figure(record, frames, common)
    amps = _row(record, "supply_current")
    if row is not None and amps is not None:
        pairs = [(float(f.mean[row]), float(f.mean[amps])) for f in frames]
        figures += source_resistance_of_frames(record, pairs, conditions=common)
    figures += _rise_figure(record, frames, common)
    return figures


def _mean_figure(
    record: BenchRecord, frames: Sequence[Frame], role: str, unit: str, common: dict[str, Condition]
) -> list[Figure]:
    track, row = record.track(role), _row(record, role)
    if track is None or row is None:
        return []
    values = np.array([frame.mean[row] for frame in frames])
    u = float(values.std(ddof=1) / np.sqrt(values.size)) if values.size > 1 else 0.0
    number = record.reading(track, float(values.mean()), u=u, dof=max(values.size - 1, 1), label="scatter")
    return [record.figure(role, number, unit, output=None, conditions=common)]


def _efficiency_figure(record: BenchRecord, frames: Sequence[Frame], common: dict[str, Condition]) -> list[Figure]:
    volts, amps = record.track("supply_voltage"), record.track("supply_current")
    if volts is None or amps is None or record.outputs == ():
        return []
    rows = record.tracks.index(volts), record.tracks.index(amps)
    drawn = float(np.mean([frame.product[rows] for frame in frames]))
    delivered: Uncertain = 0.0
    for name in record.outputs:
        powers = [_watts(record, frame, name) for frame in frames]
        if any(power is None for power in powers):
            return []
        doubt = _power_doubt(record, name, *_power_and_angle(record, frames, name))
        delivered = delivered + float(np.mean([p for p in powers if p is not None])) * doubt
    mean_v, mean_i = (float(np.mean([frame.mean[row] for frame in frames])) for row in rows)
    supply = supply_power(record, watts=drawn, mean_v=mean_v, mean_a=mean_i)
    extra: dict[str, Condition] = {**common, "outputs_measured": len(record.outputs)}
    return [
        record.figure("supply_power", supply, "W", output=None, conditions={**common, "basis": "v*i"}),
        record.figure("efficiency", delivered / supply, "W/W", output=None, conditions=extra),
        record.figure("heat", supply - delivered, "W", output=None, conditions=extra),
    ]


def _rise_figure(record: BenchRecord, frames: Sequence[Frame], common: dict[str, Condition]) -> list[Figure]:
    track, row = record.track("temperature"), _row(record, "temperature")
    if track is None or row is None:
        return []
    hottest = max(float(frame.mean[row]) for frame in frames)
    rise = (hottest - float(frames[0].mean[row])) * record.gain_factor(track)
    return [record.figure("temperature_rise", rise, "K", output=None, conditions=common)]


def _clipped_notices(record: BenchRecord, frames: Sequence[Frame]) -> list[Notice]:
    counts = np.sum([frame.clipped for frame in frames], axis=0)
    return [
        clipped_notice(track, int(count), record.recording.n_samples)
        for track, count in zip(record.tracks, counts, strict=True)
        if count
    ]


def _captured(record: BenchRecord, frames: Sequence[Frame]) -> tuple[CapturedChannel, ...]:
    peaks = np.max([np.maximum(np.abs(frame.low), np.abs(frame.high)) for frame in frames], axis=0)
    return record.captured(peaks, np.sum([frame.clipped for frame in frames], axis=0))


def _views(record: BenchRecord, frames: Sequence[Frame]) -> Views:
    time_s = thinned(np.array([frame.middle_s for frame in frames]))

    def trace(role: str, track: Track) -> Trace:
        values = thinned(np.array([frame.mean[record.tracks.index(track)] for frame in frames]))
        return Trace(
            name=role, output=None, x_label="time", x_unit="s", y_label=role, y_unit=ROLE_UNITS[role],
            x=rounded(time_s), y=rounded(values),
        )  # fmt: skip

    roles = [(role, record.track(role)) for role in ("supply_voltage", "supply_current", "temperature")]
    return Views(supply=tuple(trace(role, track) for role, track in roles if track is not None))
