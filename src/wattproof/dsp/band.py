"""Zero-phase band limits with the skew taken out: the same filter for volts and amperes."""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wattproof.errors import MeasureError

__all__ = ["UPPER_TRANSITION", "band_gain", "band_limit", "tone_band"]

UPPER_TRANSITION = 0.02
"""Width of the fall above the band, as a share of its upper edge."""

HIGHEST_SHARE_OF_RATE = 0.49
"""Highest upper edge: the fall above it ends just under half the sample rate."""

TONE_TOLERANCE = 1e-3
"""A generator's 39.97 Hz is a 40 Hz tone: without this its band would start at 9 Hz instead of 10 Hz."""

PAD_PERIODS = 2.0
"""Reflected samples at each end, in periods of the lower edge: the low cut rings no longer."""

SHORTEST_PAD = 256


def tone_band(tone_hz: float | None, *, rate_hz: float, high_hz: float = 20_000.0) -> tuple[float, float]:
    """Choose the band in which a tone's figures are stated.

    The lower edge is a quarter of the tone rounded down to one significant digit, and never above 20 Hz; so that the
    tone stays clear of the low cut and the edge is a number one can print. The upper edge is `high_hz`, or 0.49 of
    the sample rate where the record does not reach so far.

    Parameters
    ----------
    tone_hz : float > 0, Hz, or None
        The tone; None for an idle record.
    rate_hz : float > 0, Hz
        Samples a second.
    high_hz : float > 0, Hz
        The upper edge wanted.

    Returns
    -------
    tuple of float, Hz
        Lower and upper edge.

    Examples
    --------
    >>> tone_band(47.0, rate_hz=96_000)
    (10.0, 20000.0)
    >>> tone_band(997.0, rate_hz=8_000)
    (20.0, 3920.0)
    """
    return _lower_edge_hz(tone_hz), min(high_hz, HIGHEST_SHARE_OF_RATE * rate_hz)


def _lower_edge_hz(tone_hz: float | None) -> float:
    if tone_hz is None:
        return 20.0
    quarter_hz = tone_hz / 4 * (1 + TONE_TOLERANCE)
    decade = math.floor(math.log10(quarter_hz))
    digit = math.floor(quarter_hz / 10.0**decade)
    return min(20.0, float(f"{digit}e{decade}"))


def band_limit(
    samples: NDArray[np.float64],
    *,
    rate_hz: float,
    low_hz: float,
    high_hz: float,
    delay_s: ArrayLike = 0.0,
    tone_hz: float | None = None,
) -> NDArray[np.float64]:
    """Keep what lies within a band, without phase shift, and advance each channel by the time it lags.

    Gain by frequency: exactly 1 from `low_hz` to `high_hz`; below, a raised cosine that reaches 0 at 0 Hz (half at
    half the edge), so that DC goes altogether and the filter's memory stays as short as the edge allows; above, a
    raised cosine that reaches 0 at 1.02 `high_hz`. A `low_hz` of 0 keeps DC. The shift is exact for every frequency in
    the band, whatever part of a sample it is. The ends are continued by reflection; a steady tone that is named by
    `tone_hz` is taken out by least squares first and put back afterwards, so that a part of a cycle at the ends does
    no harm. Without it the error of a sine at 2 `low_hz` or higher is up to 10 % of its amplitude at the very ends,
    0.06 % two periods of `low_hz` inwards and 0.02 % at three.

    Parameters
    ----------
    samples : NDArray[np.float64] of shape (..., n)
        Evenly spaced samples, any unit.
    rate_hz : float > 0, Hz
        Samples a second.
    low_hz, high_hz : float, Hz, 0 <= low_hz < high_hz
        Edges of the band.
    delay_s : float or array broadcast to samples.shape[:-1], seconds
        How much each channel lags: its output at t is its input at t + delay_s.
    tone_hz : float, Hz, or None
        Exact frequency of a steady tone within the band.

    Returns
    -------
    NDArray[np.float64] of shape (..., n)
        In the unit of `samples`.

    Raises
    ------
    MeasureError
        A channel lags by more than the record can be continued at its ends.
    """
    n = samples.shape[-1]
    lag_s = np.broadcast_to(np.asarray(delay_s, dtype=np.float64), samples.shape[:-1])[..., np.newaxis]
    lowest_hz = low_hz if low_hz > 0 else high_hz / 1000
    pad = min(n - 1, max(SHORTEST_PAD, math.ceil(PAD_PERIODS * rate_hz / lowest_hz)))
    _check_lag(lag_s, longest_s=pad / rate_hz)
    offset, tone, shifted = _steady_part(samples, lag_s, rate_hz=rate_hz, tone_hz=tone_hz)
    rest = _filtered(samples - offset - tone, lag_s, pad=pad, rate_hz=rate_hz, low_hz=low_hz, high_hz=high_hz)
    rest += shifted
    if low_hz <= 0:
        rest += offset
    return rest


def _check_lag(lag_s: NDArray[np.float64], *, longest_s: float) -> None:
    worst_s = float(np.max(np.abs(lag_s), initial=0.0))
    if worst_s > longest_s:
        raise MeasureError(
            "Cannot take out the skew of a channel.",
            why=f"It lags by {worst_s:.4g} s; this record bears at most {longest_s:.4g} s.",
            hint=f"State a skew_s of less than {0.99 * longest_s:.3g} s.",
        )


def _steady_part(
    samples: NDArray[np.float64], lag_s: NDArray[np.float64], *, rate_hz: float, tone_hz: float | None
) -> tuple[NDArray[np.float64], NDArray[np.float64] | float, NDArray[np.float64] | float]:
    """Fit offset and tone; give the offset, the tone as it lies in the samples, and the tone advanced by the lag."""
    if tone_hz is None:
        return samples.mean(axis=-1, keepdims=True), 0.0, 0.0
    n = samples.shape[-1]
    angle = 2 * math.pi * tone_hz / rate_hz * (np.arange(n) - (n - 1) / 2)
    columns = np.stack([np.ones(n), np.cos(angle), np.sin(angle)])
    parts = np.linalg.solve(columns @ columns.T, columns @ np.moveaxis(samples, -1, 0).reshape(n, -1))
    offset, cosine, sine = parts.reshape(3, *samples.shape[:-1], 1)
    turn = 2 * math.pi * tone_hz * lag_s
    ahead_cosine = cosine * np.cos(turn) + sine * np.sin(turn)
    ahead_sine = sine * np.cos(turn) - cosine * np.sin(turn)
    tone = cosine * columns[1] + sine * columns[2]
    return offset, tone, ahead_cosine * columns[1] + ahead_sine * columns[2]


def _filtered(
    samples: NDArray[np.float64],
    lag_s: NDArray[np.float64],
    *,
    pad: int,
    rate_hz: float,
    low_hz: float,
    high_hz: float,
) -> NDArray[np.float64]:
    from scipy import fft

    n = samples.shape[-1]
    continued = np.concatenate([samples[..., pad:0:-1], samples, samples[..., -2 : -pad - 2 : -1]], axis=-1)
    length = fft.next_fast_len(continued.shape[-1], real=True)
    bins: NDArray[np.complex128] = fft.rfft(continued, length, axis=-1)
    top = min(bins.shape[-1], math.ceil((1 + UPPER_TRANSITION) * high_hz * length / rate_hz))
    frequency_hz = np.arange(top) * (rate_hz / length)
    bins[..., top:] = 0.0
    bins[..., :top] *= band_gain(frequency_hz, low_hz=low_hz, high_hz=high_hz)
    if np.any(lag_s):
        bins[..., :top] *= np.exp(2j * math.pi * frequency_hz * lag_s)
    limited: NDArray[np.float64] = fft.irfft(bins, length, axis=-1)[..., pad : pad + n]
    return limited


def band_gain(frequency_hz: NDArray[np.float64], *, low_hz: float, high_hz: float) -> NDArray[np.float64]:
    """Give the amplitude gain of `band_limit`: a harmonic just above the band is still seen in part.

    Parameters
    ----------
    frequency_hz : NDArray[np.float64] of shape (n,), >= 0, Hz
    low_hz, high_hz : float, Hz
        Edges of the band.

    Returns
    -------
    NDArray[np.float64] of shape (n,), V/V

    Examples
    --------
    >>> band_gain(np.array([10.0, 20.0, 5000.0, 5050.0, 5100.0]), low_hz=20, high_hz=5000).round(3).tolist()
    [0.5, 1.0, 1.0, 0.5, 0.0]
    """
    gain = np.ones_like(frequency_hz)
    below, above = frequency_hz < low_hz, frequency_hz > high_hz
    gain[below] = 0.5 - 0.5 * np.cos(math.pi * frequency_hz[below] / low_hz)
    beyond = np.minimum((frequency_hz[above] - high_hz) / (UPPER_TRANSITION * high_hz), 1.0)
    gain[above] = 0.5 + 0.5 * np.cos(math.pi * beyond)
    return gain
