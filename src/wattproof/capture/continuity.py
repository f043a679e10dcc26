"""Whether a recording is the drive without a gap, a splice or a repetition, told from the tone itself."""

from dataclasses import dataclass

import numpy as np

from wattproof.capture.contract import Samples

FRAME_S = 0.05
"""A frame holds a cycle of the lowest tone at least, seconds."""

NEIGHBOURS = 6
"""A frame is compared with so many on either side: hum and noise move all of them, a splice one."""

TIMES_NEIGHBOURS = 6.0
"""A step of the phase is one when it is so many times as large as its neighbours' are in the median."""

LEAST_STEP_RAD = {"drive": 0.05, "load": 0.5}
"""No smaller step of the phase is called a splice: a coupling capacitor moves the drive's own track by less where a
burst begins, and an amplifier that begins to limit moves its output by less."""

LEAST_REST = 0.1
"""The drive's own track differs from the drive by less than this share, unless something is missing."""

MOST_REST = 0.5
"""A frame that is less like the drive than this tells nothing: noise, or the amplifier has switched off."""


@dataclass(frozen=True, kw_only=True)
class Break:
    """A place where the recording is not the drive as it was given.

    Attributes
    ----------
    start, stop : int
        Samples between which it lies, counted from the drive's first.
    samples : float or None
        By how many samples the recording comes later from there on, as far as a periodic tone tells: whole cycles go
        unseen. None where something is missing and what follows is in time again.
    """

    start: int
    stop: int
    samples: float | None


@dataclass(frozen=True, kw_only=True)
class _Frame:
    """How the record follows the drive in a frame: phase, phase per sample of delay, share that is not drive."""

    phase_rad: float
    per_sample_rad: float
    rest: float


class Continuity:
    """Follows a track that hears the drive, frame by frame, and tells in the end where it leaps.

    In each frame the track is fitted by the drive, its slope and a constant. For a tone of slowly moving level the
    two weights are a gain and a phase. The phase of an unbroken recording moves slowly, however far the level goes.

    Parameters
    ----------
    rate_hz : float
        Samples a second.
    own_track : bool
        Whether it records the drive itself rather than what an amplifier makes of it: then the frames must be alike as
        well, while an amplifier may clip, limit and switch off.
    """

    def __init__(self, *, rate_hz: float, own_track: bool) -> None:
        self._length = round(FRAME_S * rate_hz)
        self._own = own_track
        self._drive = np.zeros(0)
        self._record = np.zeros(0)
        self._frames: list[_Frame | None] = []

    def add(self, drive: Samples, record: Samples) -> None:
        """Take samples of the drive and what was recorded of them, both of shape (n,), in order."""
        self._drive = np.concatenate((self._drive, drive))
        self._record = np.concatenate((self._record, record))
        while len(self._drive) >= self._length:
            self._frames.append(_fitted(self._drive[: self._length], self._record[: self._length]))
            self._drive, self._record = self._drive[self._length :], self._record[self._length :]

    def breaks(self) -> tuple[Break, ...]:
        """Give the places where the recording leaps, in order; frames in a row are one place."""
        nothing = _Frame(phase_rad=np.nan, per_sample_rad=np.nan, rest=np.nan)
        frames = [frame or nothing for frame in self._frames]
        phase = np.array([frame.phase_rad for frame in frames])
        per_sample = np.array([frame.per_sample_rad for frame in frames])
        rest = np.array([frame.rest for frame in frames])
        steps = self._steps(phase, rest)
        wrong = ~np.isnan(steps)
        if self._own:
            wrong |= rest > np.maximum(LEAST_REST, TIMES_NEIGHBOURS * _beside(rest))
        return tuple(self._break(first, last, steps, phase, per_sample) for first, last in _runs(wrong))

    def _steps(self, phase: Samples, rest: Samples) -> Samples:
        """Give the phase's step across each frame, rad; NaN where it is as small as its neighbours'."""
        usable = np.where(rest <= MOST_REST, phase, np.nan)
        steps = np.full(len(phase), np.nan)
        if len(phase) > 2:
            steps[1:-1] = np.angle(np.exp(1j * (usable[2:] - usable[:-2])))
        least = LEAST_STEP_RAD["drive" if self._own else "load"]
        large = np.abs(steps) > np.maximum(least, TIMES_NEIGHBOURS * _beside(np.abs(steps)))
        return np.where(large, steps, np.nan)

    def _break(self, first: int, last: int, steps: Samples, phase: Samples, per_sample: Samples) -> Break:
        moved = None
        if not np.isnan(steps[first : last + 1]).all():
            before, after = max(first - 1, 0), min(last + 1, len(phase) - 1)
            step = float(np.angle(np.exp(1j * (phase[after] - phase[before]))))
            moved = -step / float(np.nanmedian(per_sample[before : after + 1]))
        return Break(
            start=first * self._length,
            stop=(last + 1) * self._length,
            samples=moved if moved is not None and np.isfinite(moved) else None,
        )


def _fitted(drive: Samples, record: Samples) -> _Frame | None:
    """Fit a frame by drive, slope and constant; None where the drive is silent."""
    inner = drive[1:-1] - drive[1:-1].mean()
    slope = 0.5 * (drive[2:] - drive[:-2])
    level, steepness = float(np.sqrt(inner @ inner)), float(np.sqrt(slope @ slope))
    if level == 0 or steepness == 0:
        return None
    columns = np.column_stack((inner / level, slope / steepness, np.ones(len(inner))))
    weights = np.linalg.lstsq(columns, record[1:-1], rcond=None)[0]
    varying = record[1:-1] - record[1:-1].mean()
    left = record[1:-1] - columns @ weights
    whole = float(varying @ varying)
    return _Frame(
        phase_rad=float(np.arctan2(weights[1], weights[0])),
        per_sample_rad=steepness / level,
        rest=float(np.sqrt(left @ left / whole)) if whole > 0 else 1.0,
    )


def _beside(values: Samples) -> Samples:
    """Give the median of each value's neighbours, itself and the two next to it left out; 0 where there are none."""
    found = np.zeros(len(values))
    for i in range(len(values)):
        before, after = values[max(i - 1 - NEIGHBOURS, 0) : max(i - 1, 0)], values[i + 2 : i + 2 + NEIGHBOURS]
        near = np.concatenate((before, after))
        near = near[~np.isnan(near)]
        found[i] = np.median(near) if len(near) else 0.0
    return found


def _runs(wrong: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> list[tuple[int, int]]:
    """Give first and last index of each run of true values; runs with one value between them are one."""
    places = np.flatnonzero(wrong)
    if not len(places):
        return []
    ends = np.flatnonzero(np.diff(places) > 2)
    firsts, lasts = places[np.concatenate(([0], ends + 1))], places[np.concatenate((ends, [len(places) - 1]))]
    return [(int(first), int(last)) for first, last in zip(firsts, lasts, strict=True)]
