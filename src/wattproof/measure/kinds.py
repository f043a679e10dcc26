"""Tell a steady tone, a ramp, a burst train, a hold and an idle record apart by the level's course alone."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.measure.model import Kind
from wattproof.measure.record import BenchRecord, Track
from wattproof.waveform import Recording

Real = NDArray[np.float64]
Span = NDArray[np.int64]

FAINTEST = 1e-100
"""A swing under this cannot be squared in double precision."""

PIECE_S = 0.01
FEWEST_PIECES = 200
"""The level is looked at in pieces of a hundredth of a second, or in two hundred if these are shorter."""

HOLD_SECONDS = 20.0
"""A constant tone this long or longer is a hold: nobody waits so long for a steady reading."""

LOOKED_AT_S = (1.0, 0.25, 0.06)
"""A tone is looked for in these stretches about the loudest place: a short burst is lost in a long one."""

LOOKED_AT_MOST = 262_144
READ_WHOLE = 2_000_000
GLIMPSES = 200
GLIMPSE_SAMPLES = 8192

SHARE_OF_ALL = 0.1
PEAKINESS = 30.0
"""A tone's strongest line stands this far, in power, out of the median of its spectrum; noise does not."""

FAINT_V = 0.1
"""A line of the mains under this is hum: nobody tests at the mains' frequency and at a tenth of a volt."""

RESIDUE_HZ = 10e3
RESIDUE_V = 0.5
"""Nor with a tone as high and as faint as this, where switching residue folds to."""

MAINS_HZ = (50.0, 60.0)
MAINS_ORDERS = 6

RAMP_SPAN = 2.0
"""Level ratio over a ramp (6 dB) under which it counts as a steady tone that drifts."""

FEWEST_LEVELS = 8
"""A record of fewer cycles than this is steady: nothing else can be told from it."""

BURST_DEPTH = 1.6
"""Level ratio between burst and rest (4 dB) from which a switching level is a burst train."""

MIDDLE_SHARE = 0.05
FEWEST_IN_MIDDLE = 3
"""A ramp spends this share of its pieces, and this many, in the middle of its rise; a tone switched on does not."""

DEEPEST_DIP = 0.5
"""A ramp's level never falls below this share of what it has reached; a train of bursts does."""

QUIET = 0.03
"""Before and after the test a record is silent: under this share of its highest level (-30 dB)."""

ALIKE = 1.26
"""Bursts of one train are as loud as each other, within this ratio (2 dB)."""

LONGEST_BURST_S = 2.0
LARGEST_BURST_SHARE = 0.6
"""What is loud for longer at a time, or for more of the time, is a hold that mutes."""


@dataclass(frozen=True, kw_only=True)
class Course:
    """What the level does: rms piece by piece, each a cycle or longer, how long each stands for, and seconds in all."""

    levels: Real
    level_s: float
    duration_s: float
    tonal: bool


def tell_kind(record: BenchRecord) -> Kind:
    """Decide the kind of a record from its loudest output's voltage.

    A wrong answer is corrected by naming the kind.

    Parameters
    ----------
    record : BenchRecord
        As `lay_on_bench` gives it.

    Returns
    -------
    "steady", "ramp", "burst", "hold" or "idle"
    """
    return kind_of(level_course(record))


def kind_of(course: Course) -> Kind:
    """Decide the kind of a record from its level's course.

    Parameters
    ----------
    course : Course
        As `level_course` gives it.

    Returns
    -------
    "steady", "ramp", "burst", "hold" or "idle"
    """
    if not course.tonal:
        return "idle"
    start, stop = sounding(course.levels)
    # before bursts: a ramp between two silences is up for a short time only, as a single burst is
    if _is_ramp(course.levels[start:stop]):
        return "ramp"
    if _is_burst(course):
        return "burst"
    return "hold" if course.duration_s >= HOLD_SECONDS else "steady"


def sounding(levels: Real) -> tuple[int, int]:
    """First of the levels that is not silent, and the end of the last one."""
    loud = np.flatnonzero(levels > QUIET * levels.max(initial=0.0))
    return (int(loud[0]), int(loud[-1]) + 1) if loud.size else (0, levels.size)


def level_course(record: BenchRecord) -> Course:
    """Follow the level of a record's loudest output: of several, perhaps only one is driven.

    Parameters
    ----------
    record : BenchRecord
        As `lay_on_bench` gives it.

    Returns
    -------
    Course
        Of a record too long to read just for this, of glimpses spread over it.
    """
    recording = record.recording
    tracks = [record.voltage(output) for output in record.outputs] or [record.tracks[0]]
    hop = max(1, min(round(PIECE_S * recording.rate_hz), recording.n_samples // FEWEST_PIECES))
    with np.errstate(over="ignore", invalid="ignore"):
        every, starts = _sums(recording, [track.index for track in tracks], hop)
        loudest = int(np.argmax([_swing(track, sums) for track, sums in zip(tracks, every, strict=True)]))
    track, sums = tracks[loudest], every[loudest]
    duration_s = recording.n_samples / recording.rate_hz
    level_s = duration_s / max(len(starts), 1)
    if not np.isfinite(sums).all():
        return Course(levels=np.empty(0), level_s=level_s, duration_s=duration_s, tonal=False)
    # the DC of the whole record, not of each piece: a piece may be shorter than a cycle
    dc = float(sums[:, 0].mean())
    squares = np.maximum(sums[:, 1] - 2 * dc * sums[:, 0] + dc**2, 0.0)
    cycle = _tone_cycle(record, track, starts[int(np.argmax(squares))] + hop // 2, float(squares.mean()))
    if cycle is None:
        return Course(levels=np.sqrt(squares), level_s=level_s, duration_s=duration_s, tonal=False)
    group = max(1, round(np.ceil(cycle / hop)))
    whole = squares[: squares.size // group * group].reshape(-1, group).mean(axis=1)
    return Course(levels=np.sqrt(whole), level_s=level_s * group, duration_s=duration_s, tonal=True)


def _swing(track: Track, sums: Real) -> float:
    """Mean square of a track about its mean, engineering units; -1 where it cannot be told."""
    square = track.calibration.scale**2 * float(sums[:, 1].mean() - sums[:, 0].mean() ** 2)
    return square if np.isfinite(square) else -1.0


def _sums(recording: Recording, rows: list[int], hop: int) -> tuple[Real, list[int]]:
    """Mean and mean square of pieces of some tracks, shape (tracks, pieces, 2), and where each piece starts.

    Of a record too long to read just for this, glimpses spread over it.
    """
    if recording.n_samples <= READ_WHOLE:
        spans = [(0, recording.n_samples)]
    else:
        length = max(GLIMPSE_SAMPLES // hop, 1) * hop
        first = np.linspace(0, recording.n_samples - length, GLIMPSES).astype(int).tolist()
        spans = [(start, start + length) for start in first]
    sums, starts = [], []
    for start, stop in spans:
        count = (stop - start) // hop
        samples = recording.read(start, start + count * hop).samples
        for row in rows:
            pieces = samples[row].reshape(count, hop)
            sums.append(np.stack([pieces.mean(axis=1), np.einsum("kn,kn->k", pieces, pieces) / hop], axis=1))
        starts += [start + k * hop for k in range(count)]
    by_track = [np.concatenate(sums[n :: len(rows)]) for n in range(len(rows))]
    return np.stack(by_track), starts


def _tone_cycle(record: BenchRecord, track: Track, loudest: int, mean_square: float) -> float | None:
    """Length of a cycle of the tone about the loudest place, samples; None where there is none, or only hum."""
    recording = record.recording
    drive = record.track("drive_voltage")
    for seconds in LOOKED_AT_S:
        length = int(min(recording.n_samples, seconds * recording.rate_hz, LOOKED_AT_MOST))
        start = min(max(0, loudest - length // 2), recording.n_samples - length)
        samples = recording.read(start, start + length).samples
        cycle = _cycle_samples(samples[track.index])
        if cycle is None:
            continue
        if drive is not None:
            return cycle if _cycle_samples(samples[drive.index]) is not None else None
        level_v = abs(track.calibration.scale) * mean_square**0.5
        stray = track.calibrated and _is_stray(recording.rate_hz / cycle, level_v, bin_hz=recording.rate_hz / length)
        return None if stray else cycle
    return None


def _is_stray(hz: float, level_v: float, *, bin_hz: float) -> bool:
    """Whether a line is as faint as, and where, hum or folded switching residue lies, rather than where people test."""
    off_mains = min(abs(hz - base * order) for base in MAINS_HZ for order in range(1, MAINS_ORDERS + 1))
    hum = level_v < FAINT_V and off_mains < 0.004 * hz + 0.3 * bin_hz
    return hum or (level_v < RESIDUE_V and hz > RESIDUE_HZ)


def _cycle_samples(piece: Real) -> float | None:
    """Length of a cycle of the tone that stands out of a piece, samples; None where none does."""
    from scipy.fft import rfft

    swing = float(np.ptp(piece))
    if piece.size < 16 or swing < FAINTEST:
        return None
    # of size one, so that no square of it overflows
    power = np.abs(rfft((piece - piece.mean()) / swing * np.hanning(piece.size))) ** 2
    tone = power[2:]
    strongest = float(tone.max())
    if strongest < SHARE_OF_ALL * float(tone.sum()) or strongest < PEAKINESS * float(np.median(tone)):
        return None
    k = int(np.argmax(tone)) + 2
    # of a Hann window the amplitudes beside the largest tell where the line lies between the bins
    left, right = (float(power[min(n, power.size - 1)]) ** 0.5 for n in (k - 1, k + 1))
    ratio = max(left, right) / strongest**0.5
    shift = (2 * ratio - 1) / (ratio + 1) * (1 if right > left else -1)
    return float(piece.size / (k + min(max(shift, -0.5), 0.5)))


def _is_burst(course: Course) -> bool:
    """Recognise a level that keeps jumping up and down between two values, and is up for short times only."""
    levels = course.levels
    if levels.size < FEWEST_LEVELS:
        return False
    low, high = float(np.percentile(levels, 5)), float(levels.max())
    if high < BURST_DEPTH * max(low, 1e-12 * high):
        return False
    loud = levels > np.sqrt(max(low, 1e-6 * high) * high)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], loud, [False]]).astype(int))).reshape(-1, 2)
    whole = edges[:-1] if loud[-1] else edges
    # a ramp rises through the middle once; a burst also comes down again before the record's end
    if not len(whole) or (loud[-1] and len(whole) == 1 and not _is_like(levels, edges[1], whole[0])):
        return False
    share = float(loud.mean())
    return share < LARGEST_BURST_SHARE and share * course.duration_s / len(edges) < LONGEST_BURST_S


def _is_like(levels: Real, last: Span, first: Span) -> bool:
    """Whether what the record's end cuts off may be another burst like the first: as loud, and not longer."""
    loud = [float(np.median(levels[start:stop])) for start, stop in (first, last)]
    lengths = [int(stop - start) for start, stop in (first, last)]
    return max(loud) < ALIKE * min(loud) and lengths[1] <= lengths[0] + 1


def _is_ramp(levels: Real) -> bool:
    """Recognise a level that rises, and that does so gradually."""
    if levels.size < FEWEST_LEVELS:
        return False
    smooth = np.convolve(levels, np.ones(5) / 5, mode="valid")
    third = max(1, smooth.size // 3)
    start, end = float(smooth[:third].mean()), float(smooth[-third:].mean())
    if end < RAMP_SPAN**0.5 * start or smooth[-1] < RAMP_SPAN * max(smooth[0], 1e-300):
        return False
    falling = np.diff(smooth) < -0.02 * smooth.max()
    dips = smooth < DEEPEST_DIP * np.maximum.accumulate(smooth)
    return float(falling.mean()) < 0.1 and not dips.any() and _is_gradual(levels)


def _is_gradual(levels: Real) -> bool:
    low, high = max(float(levels[0]), QUIET * float(levels.max())), float(levels.max())
    below, above = low * (high / low) ** 0.25, low * (high / low) ** 0.75
    middle = int(np.count_nonzero((levels > below) & (levels < above)))
    return middle >= max(FEWEST_IN_MIDDLE, MIDDLE_SHARE * levels.size)
