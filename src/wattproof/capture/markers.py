"""The short signal by which a recording is found again in time, and the search for it."""

from dataclasses import dataclass, replace

import numpy as np

from wattproof.capture.contract import Samples
from wattproof.dsp import fast_length

MARKER_S = 0.25
"""Length of the marker, seconds."""

MARKER_HZ = (20.0, 5000.0)
"""It sweeps from the lower to the upper edge, the same time for each octave: bass amplifiers and tweeters hear it."""

MARKER_V_PEAK = 0.02
"""Its level, peak volts at the amplifier's input: about 17 dB below what drives the most sensitive one fully."""

LEAST_LIKENESS = 0.25
"""Correlation coefficient from which on a stretch of the recording is taken for the marker; mains hum stays below."""

LEAST_OVER_NOISE = 10.0
"""The same, over the r.m.s. of the correlation with what was recorded before the marker can have arrived."""

SETTLE_S = 0.05
"""The highest peak is not believed before so much more was looked at, seconds."""


@dataclass(frozen=True, kw_only=True)
class Heard:
    """The marker in a recording.

    Attributes
    ----------
    sample : int
        Where it begins, counted from the first sample looked at.
    exactly : float
        The same to a fraction of a sample.
    likeness : float
        Correlation coefficient, -1 to 1; below 0 where the track hears the marker upside down.
    doubt : float
        Standard uncertainty of the place, samples: what noise of the size heard before the marker moves its peak by.
    """

    sample: int
    exactly: float
    likeness: float
    doubt: float


def marker(*, rate_hz: float) -> Samples:
    """Make the marker: a sweep with peak 1 that begins and ends at 0, the same at every call.

    A sweep has the smallest peak for its energy, so that it may be lower than noise of the same use; its correlation
    with itself is one narrow peak.
    """
    n_samples = round(MARKER_S * rate_hz)
    low_hz, high_hz = MARKER_HZ[0], min(MARKER_HZ[1], 0.4 * rate_hz)
    part = np.arange(n_samples) / n_samples
    octaves = np.log(high_hz / low_hz)
    phase = 2 * np.pi * low_hz * MARKER_S / octaves * (np.exp(octaves * part) - 1)
    edge = np.clip(np.minimum(part, 1 - part) / 0.05, 0, 1)
    return np.asarray(np.sin(phase) * np.sin(np.pi / 2 * edge) ** 2)


class MarkerSearch:
    """Looks for the marker in one track as it arrives.

    Parameters
    ----------
    pattern : Samples of shape (n,)
        The marker.
    rate_hz : float
        Samples a second.
    quiet : int
        Samples at the beginning of the track that were recorded before the marker can have arrived: what the
        recorder hears without it.
    """

    def __init__(self, pattern: Samples, *, rate_hz: float, quiet: int) -> None:
        self._pattern = pattern
        self._settle = round(SETTLE_S * rate_hz)
        self._quiet = quiet
        self._noise: float | None = None
        self._looked = 0
        self.best: Heard | None = None
        """The likeliest place so far, likely or not."""

    def look(self, track: Samples) -> Heard | None:
        """Look at all that was recorded so far; gives the marker once its peak has passed.

        Parameters
        ----------
        track : Samples of shape (n,)
            From the first sample on; longer at every call.
        """
        places = len(track) - len(self._pattern) + 1
        # the place before and the place after are needed to interpolate a peak
        start = max(self._looked - 1, 0)
        if places - start < self._settle and self._looked:
            return None
        if places < self._quiet:
            return None
        if self._noise is None:
            self._noise = _noise(track[: self._quiet], self._pattern)
        found = find_marker(track[start:], self._pattern, noise=self._noise)
        self._looked = places
        if found is not None and (self.best is None or abs(found.likeness) > abs(self.best.likeness)):
            self.best = replace(found, sample=found.sample + start, exactly=found.exactly + start)
        best = self.best
        sure = best is not None and abs(best.likeness) >= LEAST_LIKENESS and places - best.sample > self._settle
        return best if sure else None


def find_marker(track: Samples, pattern: Samples, *, noise: float = 0.0) -> Heard | None:
    """Give the place most like the marker, likely or not.

    Parameters
    ----------
    track, pattern : Samples of shape (n,) and (m,)
        What was recorded, and the marker.
    noise : float
        R.m.s. of the correlation without the marker; only places that stand out of it are looked at.

    Returns
    -------
    Heard or None
        None where nothing stands out.
    """
    correlation, energy = _correlated(track, pattern)
    size = np.abs(correlation)
    strong = size > max(LEAST_OVER_NOISE * noise, np.finfo(float).tiny)
    if not strong.any():
        return None
    whole = float(np.sqrt(len(pattern)) * pattern.std())
    likeness = np.where(strong, correlation / np.where(strong, np.sqrt(energy) * whole, 1.0), 0.0)
    place = int(np.argmax(np.abs(likeness)))
    beside, bend = _vertex(size, place)
    return Heard(
        sample=place,
        exactly=place + beside,
        likeness=float(np.clip(likeness[place], -1, 1)),
        # the slope of such noise, as narrow in band as the peak, over the peak's curvature
        doubt=noise / float(size[place]) / np.sqrt(bend) if bend > 0 else float("inf"),
    )


def _noise(quiet: Samples, pattern: Samples) -> float:
    """Give the r.m.s. of the correlation with what was recorded before the marker."""
    correlation, _ = _correlated(quiet, pattern)
    return float(np.sqrt(np.mean(correlation**2))) if len(correlation) else 0.0


def _correlated(track: Samples, pattern: Samples) -> tuple[Samples, Samples]:
    """Give, for each place where the whole pattern fits, the correlation and the track's energy about its mean."""
    n = len(pattern)
    if len(track) < n:
        return np.zeros(0), np.zeros(0)
    size = fast_length(len(track))
    spectrum = np.fft.rfft(track, size) * np.conj(np.fft.rfft(pattern, size))
    correlation = np.fft.irfft(spectrum, size)[: len(track) - n + 1]
    total = np.concatenate(([0.0], np.cumsum(track)))
    square = np.concatenate(([0.0], np.cumsum(track**2)))
    mean = (total[n:] - total[:-n]) / n
    energy = square[n:] - square[:-n] - n * mean**2
    # a constant has no energy about its mean but for rounding, which must not become a likeness
    least = 1e-12 * max(float(square[-1]), np.finfo(float).tiny)
    return correlation - mean * pattern.sum(), np.maximum(energy, least)


def _vertex(values: Samples, place: int) -> tuple[float, float]:
    """Give how far beside a peak the parabola through it and its neighbours is highest, and its relative curvature."""
    if not 0 < place < len(values) - 1:
        return 0.0, 0.0
    before, at, after = values[place - 1 : place + 2]
    bend = before - 2 * at + after
    return (float(0.5 * (before - after) / bend), float(-bend / at)) if bend < 0 else (0.0, 0.0)
