"""How long after a burst the level between the bursts, and the supply, take to come back."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import FrameGrid, fit_frames
from wattproof.errors import Notice
from wattproof.measure.burst_frames import BurstFrames, grid_at
from wattproof.measure.findings import Findings
from wattproof.measure.frames import BURIED, FILTER_MEMORY_CYCLES
from wattproof.measure.model import Condition, Figure
from wattproof.measure.supply_frames import supply_frames

Real = NDArray[np.float64]

RECOVERED = 0.01
"""Back within this of where it settles before the next burst."""

FEWEST_FRAMES = 6
QUIET = 4.0
"""The settled level must scatter by less than the tolerance over this, else noise would set the time."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Rests:
    """Frames between the bursts: `n_frames` after each of the bursts that leave room, their centres `after_s` later."""

    grid: FrameGrid
    n_frames: int
    after_s: Real

    def by_rest(self, values: Real) -> Real:
        """Arrange a quantity of the frames as (n_rests, n_frames)."""
        return values.reshape(-1, self.n_frames)


def rests_of(frames: BurstFrames) -> Rests | None:
    """Lay frames between the bursts, half a cycle away from them; None where there is no room for six."""
    grid, bursts = frames.settled.grid, frames.bursts
    half_s = 0.5 / frames.tone_hz
    end_s = frames.samples.shape[1] / grid.rate_hz - FILTER_MEMORY_CYCLES / frames.band_hz[1]
    stops = np.array([burst.stop_s for burst in bursts])
    last = min(end_s, bursts[-1].start_s + (frames.period_s or np.inf))
    rooms = np.array([burst.start_s for burst in bursts[1:]] + [last]) - stops - 2 * half_s
    frame_s = grid.n_cycles / frames.tone_hz
    n_frames = int((rooms[:-1].min() if rooms.size > 1 else rooms[0]) / frame_s)
    if n_frames < FEWEST_FRAMES:
        return None
    begin_s = stops[rooms >= n_frames * frame_s] + half_s
    cut = grid_at(
        begin_s,
        n_frames,
        n_cycles=grid.n_cycles,
        rate_hz=grid.rate_hz,
        tone_hz=grid.tone_hz,
        n_samples=frames.samples.shape[1],
    )
    return Rests(grid=cut, n_frames=n_frames, after_s=np.asarray(half_s + frame_s * (np.arange(n_frames) + 0.5)))


def level_recovery(frames: BurstFrames, rests: Rests, conditions: dict[str, Condition]) -> Findings:
    """Measure how long the small tone between the bursts takes to come back to its level."""
    fit = fit_frames(frames.samples[:1], rests.grid)
    if np.median(fit.distortion(0)) > BURIED:
        return Findings()
    return _findings(
        frames, rests, np.abs(fit.phasors[0]), what="level between the bursts", output=frames.output, common=conditions
    )


def supply_recovery(frames: BurstFrames, rests: Rests, samples: Real, conditions: dict[str, Condition]) -> Findings:
    """Measure how long the supply voltage takes to come back; `samples` in file units, (n_channels, n_samples)."""
    volts = supply_frames(frames.record, samples, rests.grid).volts
    if volts is None:
        return Findings()
    return _findings(frames, rests, volts, what="supply voltage", output=None, common=conditions)


def _findings(
    frames: BurstFrames, rests: Rests, values: Real, *, what: str, output: str | None, common: dict[str, Condition]
) -> Findings:
    levels = rests.by_rest(values)
    tail = levels[:, -(rests.n_frames // 3) :]
    settled = np.median(tail, axis=1, keepdims=True)
    if np.any(settled <= 0) or np.any(tail.std(axis=1) > RECOVERED / QUIET * settled[:, 0]):
        return Findings(warnings=(_unsettled(frames, what),))
    times = np.array([_time_within(row, rests.after_s) for row in np.abs(levels / settled - 1)])
    return Findings(figures=(_figure(frames, times, rests, what=what, output=output, common=common),))


def _time_within(departure: Real, after_s: Real) -> float:
    """Time after which a departure stays within the tolerance, by a straight line between frames; 0 if always."""
    (beyond,) = np.nonzero(departure > RECOVERED)
    if beyond.size == 0:
        return 0.0
    k = min(int(beyond[-1]), after_s.size - 2)
    share = (departure[k] - RECOVERED) / max(departure[k] - departure[k + 1], 1e-12)
    return float(after_s[k] + min(max(share, 0.0), 1.0) * (after_s[k + 1] - after_s[k]))


def _figure(
    frames: BurstFrames, times: Real, rests: Rests, *, what: str, output: str | None, common: dict[str, Condition]
) -> Figure:
    record, frame_s = frames.record, rests.grid.frame_s
    spread = float(times.std(ddof=1) / np.sqrt(times.size)) if times.size > 1 else 0.0
    place = f"{what} {frames.output}"
    number = (
        float(times.mean())
        + record.observed(f"recovery of {place}", 0.0, spread, dof=times.size - 1, label="scatter from burst to burst")
        + record.ledger.source(
            f"{record.recording.source}: frames of {place}", 0.0, frame_s / np.sqrt(12), label="length of the frames",
            kind="B",
        )
    )  # fmt: skip
    conditions: dict[str, Condition] = {**common, "of": what, "within": RECOVERED, "bursts": int(times.size)}
    return record.figure("burst_recovery", number, "s", output=output, conditions=conditions)


def _unsettled(frames: BurstFrames, what: str) -> Notice:
    return Notice(
        code="not-settled",
        message=f"Output {frames.output}: {what} does not settle within {100 * RECOVERED:.0f} % before the next burst, "
        "so no recovery time is given.",
        hint="Leave more time between the bursts, or raise the level between them over the noise.",
    )
