"""Figures of a rising level: power at limits of distortion, onset of clipping, gain and its compression, the supply."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import UPPER_TRANSITION, band_gain
from wattproof.errors import MeasureError, Notice, NoToneError, TooFewCyclesError
from wattproof.measure.findings import Findings, joined
from wattproof.measure.frames import OutputFrames, ramp_frames
from wattproof.measure.limits import Crossing, crossing
from wattproof.measure.model import Condition, CurvePoint, Figure
from wattproof.measure.onset import clip_onset
from wattproof.measure.ramp_gain import GainLine, gain_line
from wattproof.measure.ramp_notices import (
    clipped_notice,
    frame_notices,
    limit_notice,
    onset_notice,
    power_notices,
    unscaled_notice,
)
from wattproof.measure.ramp_views import ramp_views
from wattproof.measure.record import BenchRecord
from wattproof.measure.source import source_resistance_of_frames
from wattproof.measure.supply import supply_power
from wattproof.measure.supply_frames import SupplyFrames, supply_frames
from wattproof.quantity import Uncertain

Real = NDArray[np.float64]

EFFICIENCY_LIMIT = 0.01
"""Efficiency is given where the distortion is this, V/V."""


@dataclass(frozen=True, kw_only=True, eq=False)
class RampOutput:
    """One output's frames, the supply in them, and the line that its small-signal gain follows."""

    frames: OutputFrames
    supply: SupplyFrames
    line: GainLine

    @property
    def record(self) -> BenchRecord:
        """The record it comes from."""
        return self.frames.record

    def conditions(self, point: Crossing, **more: Condition) -> dict[str, Condition]:
        """Conditions of a figure at a point of the ramp."""
        frames = self.frames
        conditions: dict[str, Condition] = {"frequency_hz": round(self.line.frequency_hz, 4)}
        if frames.load_ohm is not None:
            conditions["load_ohm"] = _six(point.at(frames.load_ohm))
        elif self.record.load is not None:
            conditions["load_ohm"] = self.record.load.resistance_ohm
        if self.supply.volts is not None:
            conditions["supply_v"] = _six(point.at(self.supply.volts))
        conditions["bandwidth_hz"] = frames.band_hz
        conditions["frame_cycles"] = frames.grid.n_cycles
        if self.line.slope_db_per_s is not None:
            conditions["slope_db_per_s"] = round(self.line.slope_db_per_s, 3)
        return {**conditions, **more}

    def figure(self, name: str, number: Uncertain, unit: str, point: Crossing, **more: Condition) -> Figure:
        """Freeze a number at a point of the ramp as a figure of this output."""
        half = self.frames.grid.frame_s / 2
        return self.record.figure(
            name,
            number,
            unit,
            output=self.frames.output,
            conditions=self.conditions(point, **more),
            span_s=(point.t_s - half, point.t_s + half),
        )


def measure_ramp(record: BenchRecord) -> Findings:
    """Measure a record of rising level: the curve of distortion against power, and the figures read from it.

    All outputs that show a tone are measured; the supply's side stands beside them.

    Parameters
    ----------
    record : BenchRecord
        Its recording is read whole.

    Returns
    -------
    Findings

    Raises
    ------
    NoToneError, TooFewCyclesError
        No output shows a ramp.

    References
    ----------
    .. [1] docs/methods/power_at_thd.md, power_at_clip_onset.md and gain_compression.md.
    """
    samples = record.recording.read().samples
    outputs: list[RampOutput] = []
    parts, failed = [], []
    for name in record.outputs:
        try:
            outputs.append(_output(record, samples, name))
        except (NoToneError, TooFewCyclesError) as error:
            failed.append(error)
            parts.append(Findings(warnings=(_skipped(name, error),)))
    if not outputs:
        raise failed[0] if failed else record_without_outputs()
    parts += [_findings(output, _delivered(outputs, output.frames.t_s)) for output in outputs]
    parts.append(_supply_side(outputs))
    return joined(parts)


def record_without_outputs() -> MeasureError:
    """Make the error for a record that has no output at all."""
    return MeasureError(
        "The record has no output to measure.",
        why="none of its tracks is a load voltage",
        hint='Add a [[channels]] entry with role = "load_voltage" to the bench file.',
    )


def _output(record: BenchRecord, samples: Real, name: str) -> RampOutput:
    frames = ramp_frames(record, samples, name)
    return RampOutput(frames=frames, supply=supply_frames(record, samples, frames.grid), line=gain_line(frames))


def _skipped(name: str, error: MeasureError) -> Notice:
    return Notice(code=error.code, message=f"Output {name} is left out: {error.message} ({error.why})", hint=error.hint)


def _delivered(outputs: list[RampOutput], t_s: Real) -> Real | None:
    """Power of all outputs together at the given times; None where one of them has none."""
    total = np.zeros(t_s.size)
    for output in outputs:
        if output.frames.power is None:
            return None
        total += np.interp(t_s, output.frames.t_s, output.frames.power)
    return total


def _findings(output: RampOutput, delivered: Real | None) -> Findings:
    frames, limits = output.frames, sorted(output.record.thd_limits)
    figures, notices = list(output.line.figures), list(frame_notices(frames, output.line))
    points: dict[float, Crossing] = {}
    missed = []
    for limit in limits:
        grid = frames.grid
        point = crossing(frames.t_s, frames.thd_n, limit, frame_s=grid.frame_s, n_cycles=grid.n_cycles)
        if point is None:
            missed.append(limit)
            continue
        points[limit] = point
        figures += _limit_figures(output, limit, point)
    notices += [limit_notice(frames, missed)] if missed else []
    onset_figures, onset_notices = _onset(output)
    notices += [*onset_notices, *([clipped_notice(frames)] if frames.cut_off else [])]
    notices += [unscaled_notice(frames)] if frames.power is None else []
    shown = points.get(EFFICIENCY_LIMIT) or next(iter(points.values()), None)
    at_s = frames.t_s[-2] if shown is None else shown.t_s
    return Findings(
        figures=(*figures, *onset_figures),
        curve=curve_of(output, delivered),
        warnings=tuple(notices),
        views=ramp_views(frames, output.supply, at_s=float(at_s)),
    )


def limit_name(limit: float) -> str:
    """Name a limit as figures do: 0.001 is ``"0_1"``, 0.1 is ``"10"`` (percent, the point an underscore)."""
    return f"{100 * limit:.6g}".replace(".", "_")


def _limit_figures(output: RampOutput, limit: float, point: Crossing) -> list[Figure]:
    frames, suffix = output.frames, limit_name(limit)
    extra: dict[str, Condition] = {"thd_n": limit, "thd_basis": "total"}
    figures = []
    if frames.power is not None:
        number = _power_at(output, f"power at {suffix} %", point)
        figures.append(output.figure(f"power_at_thd_{suffix}", number, "W", point, **extra, basis=frames.basis or ""))
    else:
        number = _level_at(output, f"level at {suffix} %", point)
        figures.append(output.figure(f"load_voltage_at_thd_{suffix}", number, frames.unit, point, **extra))
    compression = output.line.compression(point)
    if compression is not None:
        name = f"gain_compression_at_thd_{suffix}"
        figures.append(output.figure(name, compression, "V/V", point, **extra, basis=output.line.basis))
    return figures


def _power_at(output: RampOutput, what: str, point: Crossing) -> Uncertain:
    """Power at a point of the ramp, W: how well the frames tell it, times what the channels' doubts make of it."""
    frames = output.frames
    if frames.power is None:
        raise ValueError("power without a scale")
    watts = point.at(frames.power)
    number = power_number(frames, watts=watts, reactive=point.at(frames.reactive))
    return number * _placed(output, what, point, abs(point.slope(frames.power) / watts))


def _level_at(output: RampOutput, what: str, point: Crossing) -> Uncertain:
    frames = output.frames
    volts = point.at(frames.volts)
    level = volts * frames.record.gain_factor(frames.tracks[frames.main])
    return level * _placed(output, what, point, abs(point.slope(frames.volts) / volts))


def _placed(output: RampOutput, what: str, point: Crossing, per_second: float) -> Uncertain:
    """Uncertain factor 1: what the doubt of the point's time makes of a quantity that changes by so much a second."""
    record, name = output.record, output.frames.output
    scatter = record.observed(
        f"frames at {what} {name}", 0.0, per_second * point.t_u_s, dof=point.dof, label="scatter of the frames"
    )
    length = record.ledger.source(
        f"{record.recording.source}: frame length at {what} {name}", 0.0, per_second * point.frame_u_s,
        label="length of the frames", kind="B",
    )  # fmt: skip
    return 1 + scatter + length


def power_number(frames: OutputFrames, *, watts: float, reactive: float) -> Uncertain:
    """Give a power with the doubts of its channels: scales and skew with a current, else scale and resistance.

    A lag of the current behind the voltage by a time e changes P by the reactive power times w e.
    """
    record = frames.record
    volts = record.gain_factor(frames.tracks[frames.main])
    if frames.basis == "v*i":
        amp_track = frames.tracks["load_current"]
        lag = record.skew_error(frames.tracks[frames.main]) - record.skew_error(amp_track)
        turned = watts - 2 * np.pi * frames.grid.tone_hz * reactive * lag
        return turned * volts * record.gain_factor(amp_track)
    if record.load is None:
        raise ValueError("power without a load")
    return watts * record.load.resistance_ohm * volts * volts / record.load_resistance(record.load)


def _gains(frames: OutputFrames) -> Real:
    """Give the band's gain for each harmonic, as it is and a quarter of the edge's slope lower and higher; (3, n)."""
    low_hz, high_hz = frames.band_hz
    orders_hz = frames.grid.tone_hz * np.arange(1.0, (1 + 2 * UPPER_TRANSITION) * high_hz / frames.grid.tone_hz)
    away_hz = np.array([[0.0], [-0.25], [0.25]]) * UPPER_TRANSITION * high_hz
    gains = band_gain(orders_hz + away_hz, low_hz=low_hz, high_hz=high_hz)
    return gains[:, : np.flatnonzero(gains.any(axis=0))[-1] + 1]


def _onset(output: RampOutput) -> tuple[list[Figure], list[Notice]]:
    frames = output.frames
    gains = _gains(frames)
    onset = clip_onset(
        frames.t_s,
        frames.thd_n,
        frames.volts,
        frame_s=frames.grid.frame_s,
        n_cycles=frames.grid.n_cycles,
        gains=gains[0],
        nearby=gains[1:],
        edge_hz=UPPER_TRANSITION * frames.band_hz[1],
    )
    if onset is None:
        return [], [onset_notice(frames)]
    record, name = output.record, frames.output
    scatter = record.observed(
        f"frames at clip onset {name}", 0.0, onset.scatter_u / onset.volts, dof=onset.dof, label="scatter of the frames"
    )
    law = record.ledger.source(
        f"{record.recording.source}: law of the knee {name}", 0.0, onset.law_u / onset.volts,
        label="law of the knee", kind="B",
    )  # fmt: skip
    ratio = 1 + scatter + law
    extra: dict[str, Condition] = {"onset": "where a hard limit would begin to give this distortion"}
    if frames.power is None:
        number = onset.volts * ratio * record.gain_factor(frames.tracks[frames.main])
        return [output.figure("load_voltage_at_clip_onset", number, frames.unit, onset.point, **extra)], []
    # power over voltage squared is the load's conductance, smooth through the knee
    conductance = onset.point.at(frames.power / frames.volts**2)
    number = power_number(frames, watts=onset.volts**2 * conductance, reactive=onset.point.at(frames.reactive))
    number = number * ratio * ratio
    return [output.figure("power_at_clip_onset", number, "W", onset.point, **extra, basis=frames.basis or "")], []


def _supply_side(outputs: list[RampOutput]) -> Findings:
    """Supply power, efficiency and heat where the first output reaches 1 %, lowest voltage, the source's resistance."""
    first = outputs[0]
    grid, record = first.frames.grid, first.record
    figures = _drawn_figures(outputs)
    track, lowest = record.track("supply_voltage"), first.supply.lowest_v
    common: dict[str, Condition] = {"frequency_hz": round(first.line.frequency_hz, 4)}
    if track is not None and lowest is not None:
        figures.append(
            record.figure(
                "supply_voltage_min",
                record.reading(track, lowest, u=0.0, dof=1.0, label="minimum"),
                "V",
                output=None,
                conditions=common,
                span_s=(float(grid.starts[0]) / grid.rate_hz, float(first.frames.t_s[-1]) + grid.frame_s / 2),
            )
        )
    if first.supply.volts is not None and first.supply.amps is not None:
        # every second frame: those between overlap them and would count the same scatter twice
        pairs = list(zip(first.supply.volts[::2].tolist(), first.supply.amps[::2].tolist(), strict=True))
        figures += source_resistance_of_frames(record, pairs, conditions=common)
    efficiency = next((figure.value for figure in figures if figure.name == "efficiency"), None)
    warnings = [notice for output in outputs for notice in power_notices(output.frames, None)]
    return Findings(figures=tuple(figures), warnings=(*warnings, *power_notices(first.frames, efficiency)))


def _drawn_figures(outputs: list[RampOutput]) -> list[Figure]:
    """Power from the supply where the first output reaches 1 %, and what all loads get of it."""
    first = outputs[0]
    frames, supply = first.frames, first.supply
    point = crossing(
        frames.t_s, frames.thd_n, EFFICIENCY_LIMIT, frame_s=frames.grid.frame_s, n_cycles=frames.grid.n_cycles
    )
    if point is None or supply.watts is None or supply.volts is None or supply.amps is None:
        return []
    drawn = supply_power(
        first.record, watts=point.at(supply.watts), mean_v=point.at(supply.volts), mean_a=point.at(supply.amps)
    )
    half = frames.grid.frame_s / 2
    span_s = (point.t_s - half, point.t_s + half)

    def figure(name: str, number: Uncertain, unit: str, **more: Condition) -> Figure:
        conditions = first.conditions(point, thd_n=EFFICIENCY_LIMIT, **more)
        return first.record.figure(name, number, unit, output=None, conditions=conditions, span_s=span_s)

    figures = [figure("supply_power", drawn, "W", basis="v*i")]
    delivered = _delivered_at(outputs, point)
    if delivered is not None:
        figures.append(figure("efficiency", delivered / drawn, "W/W", outputs_measured=len(outputs)))
        figures.append(figure("heat", drawn - delivered, "W", outputs_measured=len(outputs)))
    return figures


def _delivered_at(outputs: list[RampOutput], point: Crossing) -> Uncertain | None:
    """Power into all loads at a point of the first output's ramp; None where one of them has none."""
    delivered: Uncertain = 0.0
    for output in outputs:
        if output.frames.power is None:
            return None
        watts, reactive = (
            point.at(np.interp(outputs[0].frames.t_s, output.frames.t_s, column))
            for column in (output.frames.power, output.frames.reactive)
        )
        delivered = delivered + power_number(output.frames, watts=watts, reactive=reactive)
    return delivered


def curve_of(output: RampOutput, delivered: Real | None) -> tuple[CurvePoint, ...]:
    """Give every frame that does not overlap the one before as a point of the curve."""
    frames, supply = output.frames, output.supply
    efficiency = None
    if delivered is not None and supply.watts is not None:
        efficiency = np.divide(delivered, supply.watts, out=np.full(delivered.shape, np.nan), where=supply.watts > 0)
    columns: dict[str, Real | None] = {
        "t_s": frames.t_s,
        "load_voltage_rms": frames.volts,
        "load_current_rms": frames.amps,
        "load_power": frames.power,
        "thd_n": frames.thd_n,
        "gain": None if frames.gain is None else np.abs(frames.gain),
        "supply_voltage": supply.volts,
        "supply_current": supply.amps,
        "supply_power": supply.watts,
        "efficiency": efficiency,
        "temperature": supply.temperature,
    }
    points = []
    for k in range(0, frames.grid.n_frames, 2):
        values = {name: float(column[k]) for name, column in columns.items() if column is not None}
        points.append(
            CurvePoint(output=frames.output, **{name: value for name, value in values.items() if np.isfinite(value)})
        )
    return tuple(points)


def _six(value: float) -> float:
    return float(f"{value:.6g}")
