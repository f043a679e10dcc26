"""A rising tone cut into frames: where the ramp begins and ends, and what each channel does in every frame."""

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import FrameFit, FrameGrid, band_limit, cut_frames, fit_frames, fit_tone, tone_band, whole_cycles
from wattproof.errors import MeasureError, NoToneError, TooFewCyclesError
from wattproof.measure.record import BenchRecord, Track
from wattproof.measure.sanity import LARGEST, clip_edge
from wattproof.measure.tracks import OutputTracks, tracks_of

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

LEVEL_STEP_DB = 0.1
"""The level changes by about so much within a frame; one cycle is the least (docs/methods/power_at_thd.md)."""

FEWEST_FRAMES = 8
SEARCH_BLOCKS = 200
SHORTEST_SEARCH = 1024
"""Samples; on less the whole record is searched for the tone."""

BURIED = 0.5
"""A frame whose distortion and noise pass half of its r.m.s. shows no tone."""

SWITCHED = 0.7
"""A level under this share of the highest, after it, means that the ramp has ended."""

FILTER_MEMORY_CYCLES = 3.0
"""Cycles of the band's upper edge that its filter needs for neighbours at the record's ends."""

Basis = Literal["v*i", "v^2/r"]


@dataclass(frozen=True, kw_only=True, eq=False)
class OutputFrames(OutputTracks):
    """One output's ramp, frame by frame; all arrays have shape (n_frames,), engineering units.

    Attributes
    ----------
    samples : Real of shape (n_tracks, n_samples)
        Limited to the band, skew taken out.
    fit : FrameFit
    band_hz : (float, float)
        Where the lower edge was not asked for, it is where taking out DC and drift leaves half the power.
    cut_off : bool
        The recorder clipped, and the frames end before that.
    """

    samples: Real
    fit: FrameFit
    band_hz: tuple[float, float]
    cut_off: bool

    @property
    def grid(self) -> FrameGrid:
        """Where the frames lie."""
        return self.fit.grid

    @property
    def t_s(self) -> Real:
        """Centres, seconds from the record's first sample."""
        return self.grid.centres_s

    @cached_property
    def thd_n(self) -> Real:
        """Distortion and noise over the total, V/V."""
        return self.fit.distortion(0)

    @cached_property
    def volts(self) -> Real:
        """R.m.s. of the load voltage, without DC."""
        return np.asarray(np.sqrt(self.fit.mean_square(0)))

    @property
    def fundamental(self) -> Real:
        """Peak of the load voltage's fundamental."""
        return np.asarray(np.abs(self.fit.phasors[0]))

    @property
    def amps(self) -> Real | None:
        """R.m.s. of the load current."""
        row = self.rows.get("load_current")
        return None if row is None else np.asarray(np.sqrt(self.fit.mean_square(row)))

    @property
    def basis(self) -> Basis | None:
        """How power is had: from v and i, from the named load's resistance, or not at all."""
        if not self.calibrated:
            return None
        if "load_current" in self.tracks:
            return "v*i"
        return "v^2/r" if self.record.load is not None else None

    @cached_property
    def power(self) -> Real | None:
        """Power into the load, W."""
        if self.basis == "v*i":
            return np.asarray(self.fit.complex_power(0, self.rows["load_current"]).real)
        if self.basis == "v^2/r" and self.record.load is not None:
            return np.asarray(self.volts**2 / self.record.load.resistance_ohm)
        return None

    @cached_property
    def reactive(self) -> Real:
        """Reactive power of the fundamental, var; zero without a current."""
        if self.basis != "v*i":
            return np.zeros(self.grid.n_frames)
        return np.asarray(self.fit.complex_power(0, self.rows["load_current"]).imag)

    @property
    def load_ohm(self) -> Real | None:
        """Resistance of the load at the fundamental, as v and i show it."""
        row = self.rows.get("load_current")
        if row is None or not self.calibrated:
            return None
        return np.asarray((self.fit.phasors[0] / self.fit.phasors[row]).real)

    @cached_property
    def gain(self) -> Complex | None:
        """Load voltage over drive voltage at the fundamental."""
        row = self.rows.get("drive_voltage")
        return None if row is None else np.asarray(self.fit.phasors[0] / self.fit.phasors[row])


def ramp_frames(record: BenchRecord, samples: Real, output: str) -> OutputFrames:
    """Cut one output's ramp into frames of whole cycles and fit them.

    Parameters
    ----------
    record : BenchRecord
    samples : Real of shape (n_channels, n_samples), file units
    output : str

    Raises
    ------
    NoToneError
        No tone stands out of the noise.
    TooFewCyclesError
        The ramp is shorter than eight frames.
    """
    rate_hz = record.recording.rate_hz
    tracks = tracks_of(record, output)
    engineering = engineering_rows(record, tracks, samples)
    tone_hz = tone_of_ramp(engineering[0], rate_hz=rate_hz, tone_hz=record.tone_hz)
    _, high_hz = tone_band(tone_hz, rate_hz=rate_hz, high_hz=record.high_hz or 20e3)
    limited = band_limit(
        engineering,
        rate_hz=rate_hz,
        low_hz=record.low_hz or 0.0,
        high_hz=high_hz,
        delay_s=[track.calibration.skew_s for track in tracks.values()],
    )
    margin = int(np.ceil(FILTER_MEMORY_CYCLES * rate_hz / high_hz))
    stop = samples.shape[1] - margin
    clipped = first_clipped(tracks, samples)
    if clipped is not None:
        stop = min(stop, clipped - margin)
    fit = _fitted(limited, (margin, stop), rate_hz=rate_hz, tone_hz=tone_hz)
    # what a frame's DC takes of slow components: 1 - sinc(f T)^2 is a half at f T = 0.443
    low_hz = record.low_hz or float(f"{0.443 / fit.grid.frame_s:.3g}")
    return OutputFrames(
        record=record,
        output=output,
        tracks=tracks,
        samples=limited,
        fit=fit,
        band_hz=(low_hz, high_hz),
        cut_off=clipped is not None,
    )


def engineering_rows(record: BenchRecord, tracks: dict[str, Track], samples: Real) -> Real:
    """Give the tracks' values, V and A, one row each; `samples` of shape (n_channels, n_samples), file units.

    Raises
    ------
    MeasureError
        A value is missing or is no number: a filter would spread it over the whole record.
    """
    rows = np.stack([record.values(track, samples) for track in tracks.values()])
    for track, row in zip(tracks.values(), rows, strict=True):
        broken = int(np.count_nonzero(~(np.abs(row) < LARGEST)))  # a NaN compares as false
        if broken:
            raise MeasureError(
                f"Channel {track.channel.name} of {record.recording.source} cannot be measured.",
                why=f"{broken} of {row.size} samples are missing, off scale or not a number",
                hint="Set the recorder's range so that nothing runs off scale, and capture again; "
                "or leave the channel out of the bench file.",
            )
    return rows


def first_clipped(tracks: dict[str, Track], samples: Real) -> int | None:
    """Find the first place where an input stays at its limit for two samples on end, file units; None if nowhere."""
    first = [_first_stuck(samples[track.index], track) for track in tracks.values()]
    found = [index for index in first if index is not None]
    return min(found) if found else None


def _first_stuck(values: Real, track: Track) -> int | None:
    edge = clip_edge(track)
    if edge is None:
        return None
    stuck = np.abs(values) >= edge
    (runs,) = np.nonzero(stuck[1:] & stuck[:-1])
    return int(runs[0]) if runs.size else None


def tone_of_ramp(values: Real, *, rate_hz: float, tone_hz: float | None) -> float:
    """Find the tone's frequency where the ramp is loud but not yet at its top, Hz; `values` of shape (n_samples,)."""
    start, stop = _loud_span(values)
    part = values[np.newaxis, start:stop]
    found = fit_tone(part, rate_hz=rate_hz, n_harmonics=3).frequency_hz
    if tone_hz is not None and abs(found / tone_hz - 1) > 0.02:
        found = fit_tone(part, rate_hz=rate_hz, n_harmonics=3, tone_hz=tone_hz).frequency_hz
    return found


def _loud_span(values: Real) -> tuple[int, int]:
    """Span before the loudest block whose level is 3 to 15 dB under it; all before it where there is none."""
    size = max(values.size // SEARCH_BLOCKS, 1)
    blocks = values[: values.size // size * size].reshape(-1, size)
    level = np.sqrt(np.mean((blocks - values.mean()) ** 2, axis=1))
    top = int(np.argmax(level))
    if level[top] == 0:
        raise NoToneError(
            "The ramp's voltage channel is silent.",
            why=f"all of its {values.size} samples are equal",
            hint="Check which channel is the load voltage; for a record without a tone use --kind idle.",
        )
    under = np.nonzero(level[:top] < level[top] * 10 ** (-3 / 20))[0]
    stop = int(under[-1]) + 1 if under.size else top + 1
    quiet = np.nonzero(level[:stop] < level[top] * 10 ** (-15 / 20))[0]
    start = int(quiet[-1]) + 1 if quiet.size else 0
    return (start * size, stop * size) if (stop - start) * size >= SHORTEST_SEARCH else (0, values.size)


def _fitted(limited: Real, span: tuple[int, int], *, rate_hz: float, tone_hz: float) -> FrameFit:
    """Fit twice: short frames tell where the ramp lies, how fast it rises and where the tone crosses zero."""
    shortest = whole_cycles(tone_hz, rate_hz=rate_hz, most_s=0.0)
    grid = cut_frames(*span, rate_hz=rate_hz, tone_hz=tone_hz, n_cycles=shortest)
    if grid.n_frames < FEWEST_FRAMES:
        raise _too_short(grid)
    first = fit_frames(limited[:1], grid)
    start, stop = _ramp_span(first)
    ramp = slice(start, stop)
    if stop - start < FEWEST_FRAMES:
        raise _too_short(grid, found=stop - start)
    slope_db_per_s = _steepness(np.abs(first.phasors[0, ramp]), grid.centres_s[ramp])
    longest = (grid.centres_s[stop - 1] - grid.centres_s[start]) / FEWEST_FRAMES
    most_s = min(LEVEL_STEP_DB / slope_db_per_s if slope_db_per_s > 0 else np.inf, longest)
    begin = grid.starts[start] + _to_zero(first, ramp)
    return fit_frames(
        limited,
        cut_frames(
            float(begin),
            int(grid.starts[stop - 1]) + grid.length,
            rate_hz=rate_hz,
            tone_hz=tone_hz,
            n_cycles=whole_cycles(tone_hz, rate_hz=rate_hz, most_s=most_s),
        ),
    )


def _ramp_span(first: FrameFit) -> tuple[int, int]:
    """First frame and the one after the last of the ramp: the tone stands out, and the level has not been cut."""
    level = np.abs(first.phasors[0])
    top = int(np.argmax(level))
    buried = np.nonzero(first.distortion(0)[:top] > BURIED)[0]
    # frames overlap by half: two of them may lie across a switch without failing by themselves
    start = int(buried[-1]) + 3 if buried.size else 0
    ended = np.nonzero(level[top:] < SWITCHED * level[top])[0]
    stop = top + int(ended[0]) - 2 if ended.size else level.size
    return start, stop


def _steepness(level: Real, t_s: Real) -> float:
    """Rise of the level 3 to 9 dB under its top, dB/s: frames must fit the slope where clipping will begin."""
    db = 20 * np.log10(level / level.max())
    wanted = (db < -3) & (db > -9)
    if np.count_nonzero(wanted) < 3:
        wanted = np.ones(db.size, dtype=bool)
    return float(np.polyfit(t_s[wanted] - t_s[0], db[wanted], 1)[0])


def _to_zero(first: FrameFit, ramp: slice) -> float:
    """Count samples from the ramp's first frame to the tone's next zero crossing, by the phase of loud frames."""
    grid = first.grid
    envelope = first.baseband[0, ramp]
    phase = np.angle(np.sum(envelope * np.abs(envelope)))
    cycles = grid.tone_hz * grid.starts[ramp.start] / grid.rate_hz + phase / (2 * np.pi)
    # Re(exp(j 2 pi cycles)) crosses zero at odd quarters
    return float(np.mod(0.25 - cycles, 0.5) * grid.rate_hz / grid.tone_hz)


def _too_short(grid: FrameGrid, found: int | None = None) -> TooFewCyclesError:
    have = grid.n_frames if found is None else found
    return TooFewCyclesError(
        "The record holds no ramp long enough to measure.",
        why=f"only {max(have, 0)} half-overlapping frames of {grid.n_cycles} cycles at {grid.tone_hz:.6g} Hz show a "
        f"tone before the level falls or the input clips; at least {FEWEST_FRAMES} are needed",
        hint="Record a level that rises through the whole capture, below the recorder's full scale; "
        "for a constant level use --kind steady.",
    )
