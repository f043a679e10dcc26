"""Tell a steady tone, a ramp, a burst train, a hold and an idle record apart by the level's course alone."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.measure.model import Kind
from wattproof.measure.record import BenchRecord
from wattproof.waveform import Recording

Real = NDArray[np.float64]

HOPS = 200
"""The record's level is looked at in this many pieces."""

HOLD_SECONDS = 20.0
"""A constant tone this long or longer is a hold: nobody waits so long for a steady reading."""

LOOKED_AT_S = 1.0
LOOKED_AT_MOST = 262_144
READ_WHOLE = 2_000_000
SHORT_PIECE = 8192

SHARE_OF_ALL = 0.1
PEAKINESS = 30.0
"""A tone's strongest line stands this far, in power, out of the median of its spectrum; noise does not."""

RAMP_SPAN = 2.0
"""Level ratio over a ramp (6 dB) under which it counts as a steady tone that drifts."""

FEWEST_LEVELS = 8
"""A record of fewer cycles than this is steady: nothing else can be told from it."""

BURST_DEPTH = 1.6
"""Level ratio between burst and rest (4 dB) from which a switching level is a burst train."""


@dataclass(frozen=True, kw_only=True)
class Course:
    """What the level does: rms piece by piece, each a cycle or longer, and seconds in all."""

    levels: Real
    duration_s: float
    tonal: bool


def tell_kind(record: BenchRecord) -> Kind:
    """Decide the kind of a record from its first output's voltage.

    A wrong answer is corrected by naming the kind.

    Parameters
    ----------
    record : BenchRecord
        As `lay_on_bench` gives it.

    Returns
    -------
    "steady", "ramp", "burst", "hold" or "idle"
    """
    course = _course(record)
    if not course.tonal:
        return "idle"
    if _is_burst(course.levels):
        return "burst"
    if _is_ramp(course.levels):
        return "ramp"
    return "hold" if course.duration_s >= HOLD_SECONDS else "steady"


def _course(record: BenchRecord) -> Course:
    recording = record.recording
    track = record.voltage(record.outputs[0]) if record.outputs else record.tracks[0]
    hop = max(1, recording.n_samples // HOPS)
    starts = range(0, recording.n_samples - hop + 1, hop)
    with np.errstate(over="ignore", invalid="ignore"):
        sums = np.array([_sums(piece) for piece in _pieces(recording, track.index, starts, hop)])
    if not np.isfinite(sums).all():
        return Course(levels=np.empty(0), duration_s=record.duration_s, tonal=False)
    # the DC of the whole record, not of each piece: a piece may be shorter than a cycle
    dc = float(sums[:, 0].mean())
    squares = sums[:, 1] - 2 * dc * sums[:, 0] + dc**2
    loudest = int(np.argmax(squares)) * hop + hop // 2
    length = int(min(recording.n_samples, LOOKED_AT_S * recording.rate_hz, LOOKED_AT_MOST))
    start = min(max(0, loudest - length // 2), recording.n_samples - length)
    cycle = _cycle_samples(recording.read(start, start + length).samples[track.index])
    if cycle is None:
        return Course(levels=np.sqrt(np.maximum(squares, 0.0)), duration_s=record.duration_s, tonal=False)
    group = max(1, round(np.ceil(cycle / hop)))
    whole = squares[: squares.size // group * group].reshape(-1, group).mean(axis=1)
    return Course(levels=np.sqrt(np.maximum(whole, 0.0)), duration_s=record.duration_s, tonal=True)


def _pieces(recording: Recording, row: int, starts: range, hop: int) -> Iterator[Real]:
    """Pieces of one track; of a record too long to read just for this, a short part of each."""
    if recording.n_samples <= READ_WHOLE:
        samples = recording.read().samples[row]
        yield from (samples[start : start + hop] for start in starts)
        return
    part = min(hop, SHORT_PIECE)
    yield from (recording.read(start, start + part).samples[row] for start in starts)


def _sums(piece: Real) -> tuple[float, float]:
    return float(piece.mean()), float(np.dot(piece, piece)) / piece.size


def _cycle_samples(piece: Real) -> float | None:
    """Length of a cycle of the tone that stands out of a piece, samples; None where none does."""
    from scipy.fft import rfft

    if piece.size < 16 or not np.any(piece != piece[0]):
        return None
    power = np.abs(rfft((piece - piece.mean()) * np.hanning(piece.size))) ** 2
    tone = power[2:]
    strongest = float(tone.max())
    if strongest < SHARE_OF_ALL * float(tone.sum()) or strongest < PEAKINESS * float(np.median(tone)):
        return None
    return piece.size / (int(np.argmax(tone)) + 2)


def _is_burst(levels: Real) -> bool:
    """Recognise a level that keeps jumping up and down between two values, rather than going one way."""
    if levels.size < FEWEST_LEVELS:
        return False
    low, high = np.percentile(levels, [5, 98])
    if high < BURST_DEPTH * max(low, 1e-12 * high):
        return False
    middle = np.sqrt(max(low, 1e-6 * high) * high)
    loud = levels > middle
    falls = int(np.count_nonzero(loud[:-1] & ~loud[1:]))
    if falls == 0:
        return False
    # a ramp rises through the middle once; a burst also comes down again before the record's end
    return falls >= 2 or not loud[-1]


def _is_ramp(levels: Real) -> bool:
    if levels.size < FEWEST_LEVELS:
        return False
    smooth = np.convolve(levels, np.ones(5) / 5, mode="valid")
    third = max(1, smooth.size // 3)
    start, end = float(smooth[:third].mean()), float(smooth[-third:].mean())
    if end < RAMP_SPAN**0.5 * start or smooth[-1] < RAMP_SPAN * max(smooth[0], 1e-300):
        return False
    falling = np.diff(smooth) < -0.02 * smooth.max()
    return float(falling.mean()) < 0.1
