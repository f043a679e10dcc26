"""Claps in a sound: what begins suddenly over the whole band and dies away at once."""

from dataclasses import dataclass
from itertools import pairwise
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp.spectrum import fast_length

__all__ = ["Clap", "find_claps"]

Real = NDArray[np.float64]
Sound = NDArray[np.float32] | Real

HOP_S = 1e-3
WINDOW_S = 2e-3
BANDS_HZ = (500.0, 2000.0, 5000.0, 20000.0)
"""A clap rises in all of them: a vowel has little in the highest, a hiss little in the lowest."""

RISE_S = 3e-3
"""A clap is there within so much: speech swells for longer, but for its sharpest consonants."""

BEFORE_S = 0.1
"""What the rise is measured against."""

LATER_S = (0.15, 0.25)
"""By then a clap has died away, reverberation and all."""

SWELL_S = 0.06
"""Within so much after its beginning a clap does not grow by more than 3 dB."""

LEAST_RISE_DB = 8.0
LEAST_FALL_DB = 10.0
APART_S = 0.25
"""Of two rises nearer than this the higher one is the clap, the other its echo or its approach."""

CHUNK = 1 << 14
"""Windows looked at in one go."""

EDGE_HZ = 1000.0
"""The exact place is looked for above this: hum and traffic lie below."""

FOOT, KNEE = 0.15, 0.5
"""The clap begins where its swing first passes this share of its first peak, and is surely there at the second."""

FIRST_PEAK_S = 4e-3

SLACK_U = 0.8
"""Standard uncertainty of the beginning, in times from foot to knee: so that 95 % of claps in noise lie within two."""


@dataclass(frozen=True, kw_only=True)
class Clap:
    """A sudden broadband sound.

    Attributes
    ----------
    t_s : float, seconds from the first sample
        Where it begins.
    u_s : float, seconds
        Standard uncertainty of that.
    rise_db : float, dB re the 0.1 s before
        Rise within 3 ms in that of three bands, from 500 Hz to 20 kHz, which rises least.
    """

    t_s: float
    u_s: float
    rise_db: float


def find_claps(samples: Sound, *, rate_hz: float) -> list[Clap]:
    """Find sounds that begin suddenly in all of the band from 500 Hz up and die away at once, the most sudden first.

    Parameters
    ----------
    samples : float array of shape (n,)
        Any unit.
    rate_hz : float >= 8000, Hz
        Samples a second.

    Returns
    -------
    list of Clap
        Speech, music and slow noises give none; a dropped spanner does.
    """
    bands = _band_power(samples, rate_hz=rate_hz)
    if bands.shape[1] == 0:
        return []
    rise_db, fall_db = _rises(bands)
    found: list[Clap] = []
    apart = round(APART_S / HOP_S)
    blocked = np.zeros(rise_db.size, dtype=bool)
    likely = np.flatnonzero((rise_db > LEAST_RISE_DB) & (fall_db > LEAST_FALL_DB))
    for k in likely[np.argsort(-rise_db[likely], kind="stable")]:
        if not blocked[k]:
            blocked[max(k - apart, 0) : k + apart + 1] = True
            clap = _placed(samples, rate_hz=rate_hz, about_s=k * HOP_S, rise_db=float(rise_db[k]))
            found += [] if clap is None else [clap]
    return found


def _band_power(samples: Sound, *, rate_hz: float) -> Real:
    """Power in each band of windows that follow each other by `HOP_S`, (n_bands, n_windows)."""
    length = max(round(WINDOW_S * rate_hz), 16)
    starts = np.round(np.arange(0, max(samples.size - length, 0) / rate_hz, HOP_S) * rate_hz).astype(np.int64)
    lines_hz = np.arange(length // 2 + 1) * rate_hz / length
    edges = [edge for edge in BANDS_HZ[:-1] if edge < 0.4 * rate_hz] + [min(BANDS_HZ[-1], 0.48 * rate_hz)]
    masks = np.stack([(lines_hz >= low) & (lines_hz < high) for low, high in pairwise(edges)])
    masks = masks.astype(np.float64)
    taper = np.hanning(length)
    power = np.empty((masks.shape[0], starts.size))
    for first in range(0, starts.size, CHUNK):
        chosen = starts[first : first + CHUNK]
        frames = samples[chosen[:, np.newaxis] + np.arange(length)] * taper
        power[:, first : first + chosen.size] = masks @ (np.abs(np.fft.rfft(frames, axis=1)) ** 2).T
    return power


def _rises(bands: Real) -> tuple[Real, Real]:
    """Rise within `RISE_S` in the band that rises least, and fall of the whole until `LATER_S`, dB, (n_windows,)."""
    n = bands.shape[1]
    total = np.concatenate([np.zeros((bands.shape[0], 1)), np.cumsum(bands, axis=1)], axis=1)
    at = np.arange(n)

    def mean(first: NDArray[np.int64], last: NDArray[np.int64]) -> Real:
        low, high = np.clip(first, 0, n), np.clip(last, 0, n)
        return np.asarray((total[:, high] - total[:, low]) / np.maximum(high - low, 1))

    # digital silence before a clap is no infinite rise
    least = 1e-9 * float(bands.max(initial=0.0)) + np.finfo(float).tiny
    rise = round(RISE_S / HOP_S)
    long_before = mean(at - rise - round(BEFORE_S / HOP_S), at - rise)
    just_before = mean(at - 2 * rise, at - rise)
    rises_db = 10 * np.log10((bands + least) / (np.maximum(long_before, just_before) + least)).min(axis=0)
    # a sound that was there when the recording began did not rise
    rises_db[: rise + 10] = 0.0
    later = mean(at + round(LATER_S[0] / HOP_S), at + round(LATER_S[1] / HOP_S)) + least
    whole = bands.sum(axis=0) + least
    falls_db = 10 * np.log10(whole / later.sum(axis=0))
    # what swells on has not arrived yet
    swell = round(SWELL_S / HOP_S)
    padded = np.append(whole, np.zeros(swell))
    highest = np.lib.stride_tricks.sliding_window_view(padded, swell + 1).max(axis=1)
    falls_db[whole < highest / 2] = 0.0
    return rises_db, falls_db


def _placed(samples: Sound, *, rate_hz: float, about_s: float, rise_db: float) -> Clap | None:
    """Find where in the high band the swing first passes a share of its first peak."""
    start = max(round((about_s - 0.03) * rate_hz), 0)
    piece = np.asarray(samples[start : round((about_s + 0.03) * rate_hz)], dtype=np.float64)
    swing = _swing(piece, rate_hz=rate_hz)
    near = round((about_s - 0.005) * rate_hz) - start
    if near < 1 or near >= swing.size:
        return None
    noise = float(np.sqrt(np.mean(swing[: max(near, 1)] ** 2)))
    reach = round(FIRST_PEAK_S * rate_hz)
    loud = np.flatnonzero(swing[near:] > max(4 * noise, FOOT * float(swing[near:].max())))
    if loud.size == 0:
        return None
    peak = float(swing[near + int(loud[0]) :][:reach].max())
    foot, knee = (near + int(np.argmax(swing[near:] >= share * peak)) for share in (FOOT, KNEE))
    if swing[foot] < FOOT * peak:
        return None
    # the true beginning lies before the foot by no more than it takes from foot to knee, or a few samples
    slack = max((knee - foot) / rate_hz, 2 / rate_hz)
    blur = noise / peak * slack
    return Clap(t_s=(start + foot) / rate_hz, u_s=sqrt((SLACK_U * slack) ** 2 + blur**2), rise_db=rise_db)


def _swing(piece: Real, *, rate_hz: float) -> Real:
    """Magnitude of the analytic signal above `EDGE_HZ`."""
    size = fast_length(piece.size)
    spectrum = np.fft.fft(piece, size)
    hz = np.fft.fftfreq(size, 1 / rate_hz)
    spectrum[hz <= 0] = 0
    rising = np.clip((hz - 0.7 * EDGE_HZ) / (0.6 * EDGE_HZ), 0, 1)
    return np.asarray(np.abs(np.fft.ifft(2 * spectrum * rising))[: piece.size])
