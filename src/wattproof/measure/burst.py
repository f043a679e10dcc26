"""Figures of tone bursts: power in the burst, how it falls, how all recovers, and what it is against steady power."""

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import display_spectrum, spectrum_of
from wattproof.errors import MeasureError, Notice, NoToneError, TooFewCyclesError
from wattproof.measure.burst_frames import EDGE_CYCLES, BurstFrames, burst_frames
from wattproof.measure.burst_recovery import level_recovery, rests_of, supply_recovery
from wattproof.measure.findings import Findings, joined
from wattproof.measure.model import Condition, CurvePoint, Figure, Trace, Views
from wattproof.measure.ramp import record_without_outputs
from wattproof.measure.record import ROLE_UNITS, BenchRecord
from wattproof.measure.supply import supply_power
from wattproof.measure.supply_frames import SupplyFrames, supply_frames
from wattproof.measure.views import POINTS, rounded, time_trace
from wattproof.quantity import Uncertain

Real = NDArray[np.float64]

FEW_CYCLES = 3


def measure_burst(record: BenchRecord) -> Findings:
    """Measure a record of tone bursts over silence or over a lower level of the same tone.

    Parameters
    ----------
    record : BenchRecord
        Its recording is read whole; ``steady_power_w`` gives the headroom.

    Returns
    -------
    Findings
        One curve point a burst.

    Raises
    ------
    NoToneError, TooFewCyclesError
        No output shows a burst that can be measured.

    References
    ----------
    .. [1] docs/methods/burst_power.md.
    """
    samples = record.recording.read().samples
    outputs: list[BurstFrames] = []
    parts, failed = [], []
    for name in record.outputs:
        try:
            outputs.append(burst_frames(record, samples, name))
        except (NoToneError, TooFewCyclesError) as error:
            failed.append(error)
            parts.append(Findings(warnings=(_skipped(name, error),)))
    if not outputs:
        raise failed[0] if failed else record_without_outputs()
    parts += [_findings(frames, samples) for frames in outputs]
    parts.append(_supply_side(outputs, samples))
    return joined(parts)


def _skipped(name: str, error: MeasureError) -> Notice:
    return Notice(code=error.code, message=f"Output {name} is left out: {error.message} ({error.why})", hint=error.hint)


def _findings(frames: BurstFrames, samples: Real) -> Findings:
    supply = supply_frames(frames.record, samples, frames.settled.grid)
    common = _conditions(frames, supply)
    figures = _time_figures(frames, common)
    if not frames.clipped:
        figures = [*_power_figures(frames, common), *_shape_figures(frames, common), *figures]
    parts = [
        Findings(
            figures=tuple(figures),
            curve=_curve(frames, supply),
            warnings=_notices(frames),
            views=_views(frames, samples),
        )
    ]
    rests = rests_of(frames)
    if rests is not None:
        parts.append(level_recovery(frames, rests, common))
    return joined(parts)


def _conditions(frames: BurstFrames, supply: SupplyFrames) -> dict[str, Condition]:
    conditions: dict[str, Condition] = {"frequency_hz": round(frames.tone_hz, 4)}
    row = frames.rows.get("load_current")
    if row is not None and frames.calibrated:
        volts, amps = frames.settled.phasors[0], frames.settled.phasors[row]
        conditions["load_ohm"] = float(f"{np.median((volts / amps).real):.6g}")
    elif frames.record.load is not None:
        conditions["load_ohm"] = frames.record.load.resistance_ohm
    if supply.volts is not None:
        conditions["supply_v"] = float(f"{supply.volts.mean():.6g}")
    settled = frames.n_settled * frames.settled.grid.n_cycles
    return {
        **conditions,
        "bandwidth_hz": frames.band_hz,
        "bursts": len(frames.bursts),
        "burst_cycles": frames.cycles,
        "settled_cycles": settled,
    }


def _scattered(frames: BurstFrames, what: str, values: Real) -> Uncertain:
    """Mean over bursts with the scatter from burst to burst as its doubt."""
    spread = float(values.std(ddof=1) / np.sqrt(values.size)) if values.size > 1 else 0.0
    return frames.record.observed(
        f"{what} {frames.output}",
        float(values.mean()),
        spread,
        dof=values.size - 1,
        label="scatter from burst to burst",
    )


def _power_factor(frames: BurstFrames) -> Uncertain:
    """Uncertain factor 1 on a power: scales and skew with a current, else scale and the load's resistance."""
    record = frames.record
    volts = record.gain_factor(frames.tracks[frames.main])
    if frames.basis == "v^2/r" and record.load is not None:
        return volts * volts * record.load.resistance_ohm / record.load_resistance(record.load)
    amps = frames.tracks["load_current"]
    lag = record.skew_error(frames.tracks[frames.main]) - record.skew_error(amps)
    watts = 1.0 if frames.power is None else float(frames.power.mean())
    per_second = 2 * np.pi * frames.tone_hz * frames.reactive / watts
    return volts * record.gain_factor(amps) * (1 - per_second * lag)


def _power_figures(frames: BurstFrames, common: dict[str, Condition]) -> list[Figure]:
    record, power = frames.record, frames.power
    if power is None:
        level = _scattered(frames, "burst level", np.sqrt(frames.square.mean(axis=1)))
        level = level * record.gain_factor(frames.tracks[frames.main])
        return [record.figure("burst_voltage_rms", level, frames.unit, output=frames.output, conditions=common)]
    number = _scattered(frames, "burst power", power.mean(axis=1)) * _power_factor(frames)
    number = number * (1 + _fall_per_s(frames, power) * _edge_s(frames))
    conditions: dict[str, Condition] = {**common, "basis": frames.basis}
    figures = [record.figure("burst_power", number, "W", output=frames.output, conditions=conditions)]
    if record.steady_power_w:
        against: dict[str, Condition] = {**conditions, "steady_power_w": record.steady_power_w}
        headroom = number / record.steady_power_w
        figures.append(record.figure("burst_headroom", headroom, "W/W", output=frames.output, conditions=against))
    return figures


def _fall_per_s(frames: BurstFrames, power: Real) -> float:
    """Relative change of power a second within the bursts: what a misplaced edge does to the settled cycles."""
    if frames.n_settled < 2:
        return 0.0
    change = float(np.mean(power[:, -1] / power[:, 0])) - 1
    return change / ((frames.n_settled - 1) * frames.settled.grid.frame_s)


def _shape_figures(frames: BurstFrames, common: dict[str, Condition]) -> list[Figure]:
    """Distortion, droop and the pattern's mean power: ratios that need no scale."""
    record, output = frames.record, frames.output
    thd = _scattered(frames, "distortion in the bursts", frames.thd_n)
    basis: dict[str, Condition] = {**common, "thd_basis": "total"}
    figures = [record.figure("thd_n", thd, "V/V", output=output, conditions=basis)]
    course = frames.square if frames.power is None else frames.power
    if frames.n_settled > 1:
        droop = _scattered(frames, "droop", course[:, -1] / course[:, 0])
        figures.append(record.figure("burst_droop", droop, "W/W", output=output, conditions=common))
    share = _mean_over_burst(frames)
    if share.size:
        number = _scattered(frames, "mean power", share)
        figures.append(record.figure("mean_over_burst_power", number, "W/W", output=output, conditions=common))
    return figures


def _mean_over_burst(frames: BurstFrames) -> Real:
    """Mean power of each whole period over the power in its burst, (n_bursts - 1,).

    A period is cut between bursts, up to two cycles before each, so that no edge falls on one.
    """
    grid, bursts = frames.settled.grid, frames.bursts
    period_s = frames.period_s
    if period_s is None:
        return np.empty(0)
    early_s = min((period_s - frames.duration_s) / 4, 2 / frames.tone_hz)
    other = frames.rows.get("load_current", 0) if frames.calibrated else 0
    product = frames.samples[0] * frames.samples[other]
    cuts = np.array([round((burst.start_s - early_s) * grid.rate_hz) for burst in bursts])
    course = frames.power if other and frames.power is not None else frames.square
    whole = cuts >= 0
    if np.count_nonzero(whole) < 2:
        return np.empty(0)
    means = np.add.reduceat(product, cuts[whole])[:-1] / np.diff(cuts[whole])
    return np.asarray(means / course.mean(axis=1)[whole][:-1])


def _edge_s(frames: BurstFrames) -> Uncertain:
    """Uncertain 0 s: how well an edge is known, rectangular."""
    step_s = EDGE_CYCLES / frames.tone_hz
    return frames.record.ledger.source(
        f"{frames.record.recording.source}: edges of bursts {frames.output}", 0.0, step_s / np.sqrt(3),
        label="edges of the bursts", kind="B",
    )  # fmt: skip


def _time_figures(frames: BurstFrames, common: dict[str, Condition]) -> list[Figure]:
    record, output = frames.record, frames.output
    lengths = np.array([burst.stop_s - burst.start_s for burst in frames.bursts])
    # either edge counts: the doubts of two equal ones
    duration = _scattered(frames, "burst duration", lengths) + np.sqrt(2) * _edge_s(frames)
    figures = [record.figure("burst_duration", duration, "s", output=output, conditions=common)]
    if len(frames.bursts) > 1:
        periods = np.diff([burst.start_s for burst in frames.bursts])
        period = _scattered(frames, "burst period", periods)
        figures.append(record.figure("burst_period", period, "s", output=output, conditions=common))
    return figures


def _curve(frames: BurstFrames, supply: SupplyFrames) -> tuple[CurvePoint, ...]:
    """One point a burst: means over its settled cycles."""
    row, drive = frames.rows.get("load_current"), frames.rows.get("drive_voltage")
    columns: dict[str, Real | None] = {
        "load_voltage_rms": np.sqrt(frames.square.mean(axis=1)),
        "load_current_rms": None
        if row is None
        else np.sqrt(frames.by_burst(frames.settled.mean_square(row)).mean(axis=1)),
        "load_power": None if frames.power is None else frames.power.mean(axis=1),
        "thd_n": frames.thd_n,
        "gain": None
        if drive is None
        else np.abs(frames.by_burst(frames.settled.phasors[0] / frames.settled.phasors[drive])).mean(axis=1),
    }
    for name, values in (
        ("supply_voltage", supply.volts),
        ("supply_current", supply.amps),
        ("supply_power", supply.watts),
        ("temperature", supply.temperature),
    ):
        columns[name] = None if values is None else frames.by_burst(values).mean(axis=1)
    return tuple(
        CurvePoint(
            t_s=burst.start_s,
            output=frames.output,
            **{name: float(column[k]) for name, column in columns.items() if column is not None},
        )
        for k, burst in enumerate(frames.bursts)
    )


def _notices(frames: BurstFrames) -> tuple[Notice, ...]:
    told = []
    place = f"Output {frames.output}"
    if frames.clipped:
        told.append(
            Notice(
                code="clipped-input",
                message=f"{place}: the recorder's input clips, so that neither power nor distortion is given.",
                hint="Lower the recorder's gain or divide more, and repeat the capture.",
            )
        )
    if frames.power is None:
        told.append(
            Notice(
                code="no-power",
                message=f"{place}: without a scale in volts and a load (or its current) there is no power.",
                hint="Name the load with --load or --load-ohm, or give a bench file with the channels' scales.",
            )
        )
    elif frames.record.steady_power_w is None and not frames.clipped:
        told.append(
            Notice(
                code="no-steady-power",
                message=f"{place}: the headroom needs the steady power, which is not given.",
                hint="Give --steady-power-w, or measure a ramp into the same load in the same session.",
            )
        )
    if frames.cycles < FEW_CYCLES:
        told.append(
            Notice(
                code="short-bursts",
                message=f"{place}: a burst holds {frames.cycles} cycles, so that none is settled and all are used.",
                hint="Use bursts of at least three cycles, whatever the tone.",
                numbers={"cycles": frames.cycles},
            )
        )
    if len(frames.bursts) == 1:
        told.append(
            Notice(
                code="one-burst",
                message=f"{place}: a single burst shows no scatter, so that repeatability is not in the uncertainty.",
                hint="Record several bursts.",
            )
        )
    return tuple(told)


def _views(frames: BurstFrames, samples: Real) -> Views:
    """Draw the first burst with half its length on either side, its spectrum, and the supply meanwhile."""
    record, burst, rate_hz = frames.record, frames.bursts[0], frames.settled.grid.rate_hz
    half_s = frames.duration_s / 2
    start = max(round((burst.start_s - half_s) * rate_hz), 0)
    shown = slice(start, min(round((burst.stop_s + half_s) * rate_hz), samples.shape[1]))
    waves = tuple(
        time_trace(
            role, frames.samples[frames.rows[role], shown], rate_hz=rate_hz, output=frames.output,
            start_s=start / rate_hz, unit=frames.unit if role == frames.main else ROLE_UNITS[role],
        )
        for role in (frames.main, "load_current")
        if role in frames.tracks
    )  # fmt: skip
    tracks = [record.track(role) for role in ("supply_voltage", "supply_current")]
    supply = tuple(
        time_trace(
            track.role, record.values(track, samples[:, shown]), rate_hz=rate_hz, output=None, start_s=start / rate_hz,
            unit=ROLE_UNITS[track.role],
        )
        for track in tracks
        if track is not None
    )  # fmt: skip
    return Views(waveform=waves, spectrum=(_spectrum(frames),), supply=supply)


def _spectrum(frames: BurstFrames) -> Trace:
    grid = frames.settled.grid
    piece = frames.samples[0, grid.starts[0] : grid.starts[frames.n_settled - 1] + grid.length]
    hz, rms = display_spectrum(
        spectrum_of(piece - piece.mean(), rate_hz=grid.rate_hz), points=POINTS, low_hz=frames.tone_hz / 2
    )
    wanted = hz <= frames.band_hz[1]
    return Trace(
        name="spectrum", output=frames.output, x_label="frequency", x_unit="Hz", y_label="level re fundamental",
        y_unit="V/V", x=rounded(hz[wanted]), y=rounded(np.maximum(rms[wanted] / rms.max(), 1e-12)),
    )  # fmt: skip


def _supply_side(outputs: list[BurstFrames], samples: Real) -> Findings:
    """Give the supply's power in the bursts, its lowest voltage from the first to the last, and how it comes back."""
    frames = outputs[0]
    record = frames.record
    track = record.track("supply_voltage")
    supply = supply_frames(record, samples, frames.settled.grid)
    if track is None or supply.lowest_v is None:
        return Findings()
    common = _conditions(frames, supply)
    number = record.reading(track, supply.lowest_v, u=0.0, dof=1.0, label="minimum")
    lowest = record.figure("supply_voltage_min", number, "V", output=None, conditions=common)
    rests = rests_of(frames)
    parts = [Findings(figures=(*_drawn_figures(outputs, supply, common), lowest))]
    if rests is not None:
        parts.append(supply_recovery(frames, rests, samples, common))
    return joined(parts)


def _drawn_figures(outputs: list[BurstFrames], supply: SupplyFrames, common: dict[str, Condition]) -> list[Figure]:
    """Power from the supply in the settled cycles of the first output's bursts, and what all loads get of it."""
    record = outputs[0].record
    if supply.watts is None or supply.volts is None or supply.amps is None:
        return []
    by_burst = outputs[0].by_burst(supply.watts).mean(axis=1)
    scatter = _scattered(outputs[0], "supply power in the bursts", by_burst)
    drawn = (
        scatter
        / float(by_burst.mean())
        * supply_power(
            record,
            watts=float(supply.watts.mean()),
            mean_v=float(supply.volts.mean()),
            mean_a=float(supply.amps.mean()),
        )
    )
    figures = [record.figure("supply_power", drawn, "W", output=None, conditions={**common, "basis": "v*i"})]
    delivered: Uncertain = 0.0
    for frames in outputs:
        if frames.power is None or frames.clipped:
            return figures
        number = _scattered(frames, "burst power", frames.power.mean(axis=1)) * _power_factor(frames)
        delivered = delivered + number
    driven: dict[str, Condition] = {**common, "outputs_measured": len(outputs)}
    return [
        *figures,
        record.figure("efficiency", delivered / drawn, "W/W", output=None, conditions=driven),
        record.figure("heat", drawn - delivered, "W", output=None, conditions=driven),
    ]
