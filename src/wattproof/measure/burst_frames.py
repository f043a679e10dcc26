"""Tone bursts found in a record and cut into single cycles: those settled within a burst, and those after it."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import (
    Burst,
    Envelope,
    FrameFit,
    FrameGrid,
    band_limit,
    find_bursts,
    fit_frames,
    frame_length,
    rms_envelope,
    tone_band,
    whole_cycles,
)
from wattproof.errors import NoToneError, TooFewCyclesError
from wattproof.measure.frames import engineering_rows, first_clipped
from wattproof.measure.record import BenchRecord
from wattproof.measure.tracks import OutputTracks, tracks_of

Real = NDArray[np.float64]

HOPS_A_CYCLE = 16
"""The level is looked at so many times a cycle."""

EDGE_CYCLES = 0.125
"""How well an edge is known, cycles: within a cycle a level has no course of its own."""

SKIPPED_CYCLES = 1
"""Cycles left out at either end of a burst: the amplifier's filter and the recorder's swing in and out there."""

SHARPENED_CYCLES = 2.5
"""A window of one cycle must lie within the burst at both of its ends."""

PHASE_ROUNDS = 3
"""A level that falls within short bursts bends the first frequency; the phase from cycle to cycle does not mind it."""

LOWEST_HZ = 5.0
FEWEST_SAMPLES = 16
"""Samples a burst, or a frame in it, must hold."""

SEARCH_STEPS = 81


@dataclass(frozen=True, kw_only=True, eq=False)
class BurstFrames(OutputTracks):
    """One output's bursts in frames of one cycle (more where a cycle has few samples).

    Attributes
    ----------
    samples : Real of shape (n_tracks, n_samples)
        Engineering units, limited to the band, skew taken out.
    bursts : tuple of Burst
        All of one length.
    cycles : int
        Cycles of a burst, to the nearest.
    settled : FrameFit
        Frames within the bursts, `n_settled` for each, burst after burst.
    n_settled : int
    band_hz : (float, float)
    clipped : bool
        An input of the recorder clips somewhere.
    """

    samples: Real
    bursts: tuple[Burst, ...]
    cycles: int
    settled: FrameFit
    n_settled: int
    band_hz: tuple[float, float]
    clipped: bool

    @property
    def tone_hz(self) -> float:
        """The common frequency of all bursts."""
        return self.settled.grid.tone_hz

    @property
    def duration_s(self) -> float:
        """Length of a burst."""
        return float(np.mean([burst.stop_s - burst.start_s for burst in self.bursts]))

    @property
    def period_s(self) -> float | None:
        """From one burst to the next; None with a single burst."""
        if len(self.bursts) < 2:
            return None
        return float(np.median(np.diff([burst.start_s for burst in self.bursts])))

    def by_burst(self, values: Real) -> Real:
        """Arrange a quantity of the settled frames as (n_bursts, n_settled)."""
        return values.reshape(len(self.bursts), self.n_settled)

    @cached_property
    def square(self) -> Real:
        """Mean square of the voltage without DC, (n_bursts, n_settled)."""
        return self.by_burst(self.settled.mean_square(0))

    @cached_property
    def power(self) -> Real | None:
        """Power into the load, W, (n_bursts, n_settled); from v and i, else from the named load, else None."""
        if not self.calibrated:
            return None
        row = self.rows.get("load_current")
        if row is not None:
            return self.by_burst(self.settled.complex_power(0, row).real)
        load = self.record.load
        return None if load is None else self.square / load.resistance_ohm

    @property
    def reactive(self) -> float:
        """Reactive power of the fundamental, var, mean over all settled frames; zero without a current."""
        row = self.rows.get("load_current")
        return 0.0 if row is None else float(self.settled.complex_power(0, row).imag.mean())

    @property
    def basis(self) -> str:
        """How power is had."""
        return "v*i" if "load_current" in self.tracks else "v^2/r"

    @cached_property
    def thd_n(self) -> Real:
        """Distortion and noise over the total in each burst, V/V, (n_bursts,)."""
        left = self.by_burst(self.settled.left[0, 0]).mean(axis=1)
        return np.asarray(np.sqrt(left / self.square.mean(axis=1)))


def burst_frames(record: BenchRecord, samples: Real, output: str) -> BurstFrames:
    """Find one output's bursts and fit their settled cycles at one common frequency.

    Parameters
    ----------
    record : BenchRecord
    samples : Real of shape (n_channels, n_samples), file units
    output : str

    Raises
    ------
    NoToneError
        The level does not rise and fall again within the record.
    TooFewCyclesError
        A burst holds less than one cycle, or fewer than 16 samples.
    """
    rate_hz = record.recording.rate_hz
    tracks = tracks_of(record, output)
    engineering = engineering_rows(record, tracks, samples)
    coarse_hz = record.tone_hz or _strongest_hz(engineering[0], rate_hz)
    found = _found(engineering[0], rate_hz=rate_hz, tone_hz=coarse_hz, output=output)
    bursts = _alike(found, rate_hz=rate_hz, tone_hz=coarse_hz)
    tone_hz = _common_frequency(engineering[0], bursts, rate_hz=rate_hz, near_hz=coarse_hz)
    _, high_hz = tone_band(tone_hz, rate_hz=rate_hz, high_hz=record.high_hz or 20e3)
    limited = band_limit(
        engineering,
        rate_hz=rate_hz,
        low_hz=record.low_hz or 0.0,
        high_hz=high_hz,
        delay_s=[track.calibration.skew_s for track in tracks.values()],
    )
    cycles = round(float(np.median([burst.stop_s - burst.start_s for burst in bursts])) * tone_hz)
    for _ in range(PHASE_ROUNDS):
        grid, n_settled = _settled_grid(bursts, cycles, rate_hz=rate_hz, tone_hz=tone_hz, n_samples=samples.shape[1])
        settled = fit_frames(limited, grid)
        tone_hz += _left_over_hz(settled, n_settled)
    low_hz = record.low_hz or float(f"{0.443 / grid.frame_s:.3g}")
    return BurstFrames(
        record=record,
        output=output,
        tracks=tracks,
        samples=limited,
        bursts=bursts,
        cycles=cycles,
        settled=settled,
        n_settled=n_settled,
        band_hz=(low_hz, high_hz),
        clipped=first_clipped(tracks, samples) is not None,
    )


def _strongest_hz(values: Real, rate_hz: float) -> float:
    """Find the strongest line of the whole record, Hz: good to a line of a burst's width."""
    from scipy.fft import next_fast_len, rfft

    size = next_fast_len(values.size, real=True)
    power = np.abs(rfft(values - values.mean(), size)) ** 2
    first = int(np.ceil(LOWEST_HZ * size / rate_hz))
    if first >= power.size or not power[first:].any():
        raise NoToneError(
            "No tone was found.",
            why=f"nothing above {LOWEST_HZ:g} Hz stands in the {values.size} samples",
            hint="Check which channel is the load voltage; for a record without a tone use --kind idle.",
        )
    return float((first + np.argmax(power[first:])) * rate_hz / size)


def _found(values: Real, *, rate_hz: float, tone_hz: float, output: str) -> list[Burst]:
    cycle_s = 1 / tone_hz
    hop_s = max(cycle_s / HOPS_A_CYCLE, 1 / rate_hz)
    envelope = rms_envelope(values - values.mean(), rate_hz=rate_hz, window_s=cycle_s, hop_s=hop_s)
    bursts = find_bursts(envelope) if envelope.rms.size else []
    if not bursts:
        raise NoToneError(
            f"Output {output} shows no bursts.",
            why=f"nowhere does the level of its {tone_hz:.4g} Hz tone rise and fall again by half within a cycle",
            hint="For a constant tone use --kind steady, for a rising one --kind ramp; "
            "a burst needs both its edges inside the record.",
        )
    return [_sharpened(burst, envelope, cycle_s) for burst in bursts]


def _sharpened(burst: Burst, envelope: Envelope, cycle_s: float) -> Burst:
    """Place a burst's edges by the powers next to them: in a burst that droops, its middle tells the edge too early."""
    if burst.stop_s - burst.start_s < SHARPENED_CYCLES * cycle_s:
        return burst
    start_s = _half_way_s(envelope, burst.start_s, cycle_s)
    return replace(burst, start_s=start_s, stop_s=_half_way_s(envelope, burst.stop_s, cycle_s))


def _half_way_s(envelope: Envelope, edge_s: float, cycle_s: float) -> float:
    """Find when the power of a one-cycle window is half way between those a little over half a cycle away."""
    away_s = 0.6 * cycle_s
    times_s = edge_s + np.linspace(-away_s, away_s, 4 * HOPS_A_CYCLE + 1)
    power = np.interp(times_s, envelope.times_s, envelope.rms**2)
    passed = (power - power[0]) / (power[-1] - power[0] or 1.0)
    k = int(np.argmax(passed >= 0.5))
    if k == 0:
        return edge_s
    share = (0.5 - passed[k - 1]) / (passed[k] - passed[k - 1])
    return float(times_s[k - 1] + share * (times_s[k] - times_s[k - 1]))


def _alike(bursts: list[Burst], *, rate_hz: float, tone_hz: float) -> tuple[Burst, ...]:
    """Keep the bursts whose length is the usual one: a burst torn in two by a protection is none."""
    lengths = np.array([burst.stop_s - burst.start_s for burst in bursts])
    usual_s = float(np.sort(lengths)[lengths.size // 2])
    if usual_s * rate_hz < FEWEST_SAMPLES or round(usual_s * tone_hz) < 1:
        raise TooFewCyclesError(
            "The bursts are too short to measure.",
            why=f"a burst of {max(usual_s, 0.0):.3g} s holds {max(usual_s * tone_hz, 0.0):.2g} cycles and "
            f"{max(int(usual_s * rate_hz), 0)} samples; at least one cycle and {FEWEST_SAMPLES} samples are needed",
            hint="Use bursts of at least three cycles, and a recorder that takes 16 samples or more in them.",
        )
    return tuple(burst for burst, length in zip(bursts, lengths, strict=True) if abs(length / usual_s - 1) < 0.25)


def _common_frequency(values: Real, bursts: tuple[Burst, ...], *, rate_hz: float, near_hz: float) -> float:
    """Find the frequency at which one sine a burst, each with its own phase, leaves least of all bursts together."""
    from scipy.optimize import minimize_scalar

    length = min(int((burst.stop_s - burst.start_s) * rate_hz) for burst in bursts)
    starts = [min(round(burst.start_s * rate_hz), values.size - length) for burst in bursts]
    pieces = np.stack([values[start : start + length] for start in starts])
    times_s = (np.arange(length) - (length - 1) / 2) / rate_hz

    def left(hz: float) -> float:
        angle = 2 * np.pi * hz * times_s
        columns = np.stack([np.ones(length), np.cos(angle), np.sin(angle)])
        onto = columns @ pieces.T
        return -float(np.einsum("kb,kb->", onto, np.linalg.pinv(columns @ columns.T, hermitian=True) @ onto))

    reach_hz = min(1.2 * rate_hz / length, 0.3 * near_hz)
    grid_hz = near_hz + reach_hz * np.linspace(-1, 1, SEARCH_STEPS)
    best = float(grid_hz[np.argmin([left(hz) for hz in grid_hz])])
    step_hz = 2 * reach_hz / (SEARCH_STEPS - 1)
    found = minimize_scalar(left, bounds=(best - step_hz, best + step_hz), method="bounded", options={"xatol": 1e-9})
    return float(found.x)


def _settled_grid(
    bursts: tuple[Burst, ...], cycles: int, *, rate_hz: float, tone_hz: float, n_samples: int
) -> tuple[FrameGrid, int]:
    """Lay frames over the settled cycles of every burst; a burst of one or two cycles is taken as it is."""
    skipped = SKIPPED_CYCLES if cycles > 2 * SKIPPED_CYCLES else 0
    settled = max(cycles - 2 * skipped, 1)
    each = min(whole_cycles(tone_hz, rate_hz=rate_hz, most_s=0.0), settled)
    if frame_length(each, rate_hz=rate_hz, tone_hz=tone_hz) < FEWEST_SAMPLES:
        skipped, each, settled = 0, cycles, cycles
    begin_s = np.array([burst.start_s for burst in bursts]) + skipped / tone_hz
    return grid_at(
        begin_s, settled // each, n_cycles=each, rate_hz=rate_hz, tone_hz=tone_hz, n_samples=n_samples
    ), settled // each


def _left_over_hz(settled: FrameFit, n_settled: int) -> float:
    """Tell how far the bursts' frequency is from the grid's, by how the phase moves on within bursts."""
    if n_settled < 2:
        return 0.0
    envelope = settled.baseband[0].reshape(-1, n_settled)
    turn = np.sum(envelope[:, 1:] * envelope[:, :-1].conj())
    apart_s = float(settled.grid.centres_s[1] - settled.grid.centres_s[0])
    return float(np.angle(turn)) / (2 * np.pi * apart_s)


def grid_at(
    begin_s: Real, n_frames: int, *, n_cycles: int, rate_hz: float, tone_hz: float, n_samples: int
) -> FrameGrid:
    """Lay `n_frames` frames from each of the given times on, one after the other, inside a record of `n_samples`."""
    exact_s = n_cycles / tone_hz
    length = min(frame_length(n_cycles, rate_hz=rate_hz, tone_hz=tone_hz), n_samples)
    starts = np.round((begin_s[:, np.newaxis] + exact_s * np.arange(n_frames)) * rate_hz).astype(np.int64)
    return FrameGrid(
        starts=np.clip(starts, 0, n_samples - length).ravel(),
        length=length,
        n_cycles=n_cycles,
        tone_hz=tone_hz,
        rate_hz=rate_hz,
    )
