"""A known tone's course found in another recording: bursts, a ramp, a hold, heard through a room."""

from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp.spectrum import fast_length

__all__ = ["Likeness", "ToneCourse", "match_courses", "tone_course"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Sound = NDArray[np.float32] | Real

CHUNK = 1 << 14
"""Steps looked at in one go."""

CYCLES = 1.5
"""Cycles of the tone that its course is smoothed over: fewer would let its own swing through."""

WIDEST, WIDEST_S = 20.0, 0.25
"""Smoothing times, and seconds, within which the exact place is looked for about the coarse one: reverberation makes a
level late."""

ECHO_SHARE = 0.5
"""Standard uncertainty by echoes, in smoothing times: a strong early one makes part of the same change."""

STEPS = 16
"""Steps of the course in that time."""

FINEST_S = 2.5e-4


@dataclass(frozen=True, kw_only=True, eq=False)
class ToneCourse:
    """One tone against time.

    Attributes
    ----------
    phasor : Complex of shape (m,)
        Peak and phase of the tone, smoothed over `smooth_s`; the samples' unit.
    first_s, step_s : float, seconds
        Where the first level stands, from the first sample, and from one to the next.
    smooth_s : float, seconds
    """

    phasor: Complex
    first_s: float
    step_s: float
    smooth_s: float

    def on(self, step_s: float) -> Complex:
        """Give the phasor at multiples of a step from the first sample, seconds."""
        count = max(int((self.first_s + (self.phasor.size - 1) * self.step_s) / step_s) + 1, 0)
        own_s = self.first_s + self.step_s * np.arange(self.phasor.size)
        return np.asarray(np.interp(step_s * np.arange(count), own_s, self.phasor))


def tone_course(samples: Sound, *, rate_hz: float, tone_hz: float) -> ToneCourse:
    """Follow a tone.

    Parameters
    ----------
    samples : float array of shape (n,)
    rate_hz : float, Hz
    tone_hz : float, Hz, 0 < tone_hz < rate_hz / 2

    Returns
    -------
    ToneCourse
        Empty where there are fewer samples than it is smoothed over.
    """
    smooth_s = CYCLES / tone_hz
    hop = max(round(max(smooth_s / STEPS, FINEST_S) * rate_hz), 1)
    whole = samples.size // hop
    sums = np.empty(whole, dtype=np.complex128)
    # the turn within a hop is the same for every hop; from hop to hop it is one more factor
    within = np.exp(-2j * np.pi * tone_hz / rate_hz * np.arange(hop))
    for first in range(0, whole, CHUNK):
        block = samples[first * hop : min(first + CHUNK, whole) * hop].reshape(-1, hop)
        turn = np.exp(-2j * np.pi * tone_hz / rate_hz * hop * np.arange(first, first + block.shape[0]))
        sums[first : first + block.shape[0]] = (block @ within) * turn
    taper = np.hanning(max(round(2 * smooth_s * rate_hz / hop), 2) + 2)[1:-1]
    step_s = hop / rate_hz
    if whole < taper.size:
        return ToneCourse(phasor=np.empty(0, dtype=np.complex128), first_s=0.0, step_s=step_s, smooth_s=smooth_s)
    smooth = np.convolve(sums, taper / (taper.sum() * hop), mode="valid")
    first_s = (taper.size * hop - 1) / 2 / rate_hz
    return ToneCourse(phasor=2 * smooth, first_s=first_s, step_s=step_s, smooth_s=smooth_s)


@dataclass(frozen=True, kw_only=True)
class Likeness:
    """Where one course lies in another.

    Attributes
    ----------
    lag_s : float, seconds
        Time of the sound at which the pattern's first sample lies.
    u_s : float, seconds
        Standard uncertainty of that.
    alike_percent : float
        Correlation coefficient there; 100 is the same.
    next_percent : float
        The same at the likeliest other place.
    """

    lag_s: float
    u_s: float
    alike_percent: float
    next_percent: float


def match_courses(pattern: ToneCourse, sound: ToneCourse) -> Likeness | None:
    """Find a tone's known course in a sound.

    The coarse place is where the levels correlate best, each about its mean over the pattern's length; the exact one
    where the sizes of the phasors' changes do. An echo adds to a level, or takes from it, for long; but it changes the
    phasor at a time of its own and by less than the sound that came straight.

    Parameters
    ----------
    pattern, sound : ToneCourse
        Of one tone.

    Returns
    -------
    Likeness or None
        None where the sound is shorter than the pattern, or either is silent.
    """
    step_s = max(pattern.step_s, sound.step_s)
    mine, theirs = pattern.on(step_s), sound.on(step_s)
    if mine.size < 4 or theirs.size < mine.size or np.ptp(np.abs(mine)) == 0 or np.ptp(np.abs(theirs)) == 0:
        return None
    ratio = _correlation(np.abs(theirs), np.abs(mine))
    place = int(np.argmax(ratio))
    apart = ceil(max(WIDEST * pattern.smooth_s, WIDEST_S) / step_s)
    others = np.concatenate([ratio[: max(place - apart, 0)], ratio[place + apart + 1 :]])
    lag, blur = _by_changes(np.abs(np.gradient(theirs)), np.abs(np.gradient(mine)), place, apart)
    return Likeness(
        lag_s=lag * step_s,
        u_s=float(np.hypot(blur * step_s, ECHO_SHARE * pattern.smooth_s)),
        alike_percent=100 * float(ratio[place]),
        next_percent=100 * float(others.max(initial=0.0)),
    )


def _correlation(sound: Real, pattern: Real) -> Real:
    """Correlation coefficient at each place where the whole pattern fits."""
    n, size = pattern.size, fast_length(sound.size)
    centred = pattern - pattern.mean()
    spectrum = np.fft.rfft(sound - sound.mean(), size) * np.conj(np.fft.rfft(centred, size))
    product = np.fft.irfft(spectrum, size)[: sound.size - n + 1]
    moved = sound - sound.mean()
    total, square = (np.concatenate([[0.0], np.cumsum(values)]) for values in (moved, moved**2))
    energy = square[n:] - square[:-n] - (total[n:] - total[:-n]) ** 2 / n
    least = 1e-9 * max(float(square[-1]), np.finfo(float).tiny)
    return np.asarray(product / np.sqrt(np.maximum(energy, least) * float(centred @ centred)))


def _by_changes(sound: Real, pattern: Real, place: int, reach: int) -> tuple[float, float]:
    """Place at which changes fit best, near a coarse one, and its standard uncertainty by noise, both in steps."""
    lags = np.arange(max(place - reach, 0), min(place + reach, sound.size - pattern.size) + 1)
    scores = np.array([float(pattern @ sound[lag : lag + pattern.size]) for lag in lags])
    best = int(np.argmax(scores))
    lag = int(lags[best])
    if not 0 < best < scores.size - 1:
        return float(lag), float(reach)
    bend = scores[best - 1] - 2 * scores[best] + scores[best + 1]
    beside = 0.5 * (scores[best - 1] - scores[best + 1]) / bend
    part = sound[lag : lag + pattern.size]
    left = part - float(pattern @ part) / float(pattern @ pattern) * pattern
    # what is left moves the vertex by its product with the pattern's slope, over the curvature
    moved = float(np.sqrt(np.var(left) * np.sum(np.gradient(pattern) ** 2)) / abs(bend))
    return lag + float(beside), moved
