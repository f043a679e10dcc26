"""One transform of a record, and what is read from it: power in a band, shared power, a chart."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Spectrum",
    "Weighting",
    "Window",
    "alias_of",
    "band_power",
    "cross_band_power",
    "display_spectrum",
    "fast_length",
    "frequencies_folding_to",
    "noise_degrees_of_freedom",
    "spectrum_of",
]

Window = Literal["hann", "blackman-harris-7"]
Weighting = Callable[[NDArray[np.float64]], NDArray[np.float64]]

COSINES: dict[Window, tuple[float, ...]] = {
    "hann": (0.5, 0.5),
    # the seven-term Blackman-Harris window: side lobes 180 dB down
    "blackman-harris-7": (
        0.27105140069342,
        0.43329793923448,
        0.21812299954311,
        0.06592544638803,
        0.01081174209837,
        0.00077658482522,
        0.00001388721735,
    ),
}
SHORTEST_TO_CUT = 65_536


@dataclass(frozen=True, kw_only=True, eq=False)
class Spectrum:
    """The windowed transform of one channel, scaled so that |bins|² summed over a band is the mean square in it.

    Attributes
    ----------
    bins : NDArray[np.complex128] of shape (n_samples // 2 + 1,)
        Bin k stands for the frequencies around ``k * bin_hz``; in the samples' unit, rms.
    rate_hz : float > 0
        Samples a second.
    n_samples : int
        Samples that were transformed: the record, or a little less where its length was slow.
    window : Window
        Weight of the samples.
    """

    bins: NDArray[np.complex128]
    rate_hz: float
    n_samples: int
    window: Window

    @property
    def bin_hz(self) -> float:
        """Distance from bin to bin, Hz."""
        return self.rate_hz / self.n_samples

    @property
    def lobe_bins(self) -> int:
        """Half-width of a line's main lobe, bins."""
        return len(COSINES[self.window])

    @property
    def noise_bandwidth_bins(self) -> float:
        """Equivalent noise bandwidth of one bin, bins: 1.5 for Hann."""
        first, *rest = COSINES[self.window]
        return 1 + sum(term * term for term in rest) / (2 * first * first)

    def power(self, start: int = 0, stop: int | None = None) -> NDArray[np.float64]:
        """Mean square of each bin from `start` up to but without `stop`, unit²."""
        part = self.bins[start:stop]
        return np.square(part.real) + np.square(part.imag)

    def __repr__(self) -> str:
        return f"<Spectrum {self.window} | {self.bins.size} bins of {self.bin_hz:.4g} Hz>"


def fast_length(n: int) -> int:
    """Give the largest length up to `n` whose transform is quick: under 1 % is lost, nothing below 65,536.

    A prime length costs ten times its neighbours.

    Examples
    --------
    >>> fast_length(960_000), fast_length(959_999), fast_length(13)
    (960000, 958320, 13)
    """
    from scipy.fft import next_fast_len

    if n < SHORTEST_TO_CUT:
        return n
    length = n
    while next_fast_len(length) != length:
        length -= 1
    return length


def spectrum_of(samples: NDArray[np.float64], *, rate_hz: float, window: Window = "hann") -> Spectrum:
    """Transform a record once; every band, weighting and chart is then read from the result.

    Parameters
    ----------
    samples : NDArray[np.float64] of shape (n,), n >= 2
        Evenly spaced samples, any unit. For noise, take DC and the tone's fit out first: the window
        spreads a line over ``2 * lobe_bins - 1`` bins.
    rate_hz : float > 0, Hz
        Samples a second.
    window : {"hann", "blackman-harris-7"}
        Hann resolves lines 2 bins apart with side lobes from 31 dB down; the other 7 bins and 180 dB.

    Returns
    -------
    Spectrum
        Its bins have the samples' unit, rms.

    References
    ----------
    F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier transform",
    Proc. IEEE 66 (1978); docs/methods/spectrum.md.
    """
    from scipy import fft

    n = fast_length(samples.shape[-1])
    bins: NDArray[np.complex128] = fft.rfft(samples[:n] * _window(n, window))
    bins *= math.sqrt(2) / (n * math.sqrt(_mean_square(window)))
    bins[0] /= math.sqrt(2)
    if n % 2 == 0:
        bins[-1] /= math.sqrt(2)
    return Spectrum(bins=bins, rate_hz=rate_hz, n_samples=n, window=window)


def _mean_square(window: Window) -> float:
    first, *rest = COSINES[window]
    return first * first + sum(term * term for term in rest) / 2


@lru_cache(maxsize=2)
def _window(n: int, window: Window) -> NDArray[np.float64]:
    """Periodic cosine-sum window, made once for all channels of a capture."""
    cosine = -np.cos(np.arange(n) * (2 * math.pi / n))
    weights: NDArray[np.float64] = np.polynomial.chebyshev.chebval(cosine, COSINES[window])
    weights.flags.writeable = False
    return weights


def _coverage(spectrum: Spectrum, *, low_hz: float, high_hz: float) -> tuple[int, int, NDArray[np.float64]]:
    """First bin, bin past the last, and how much of each lies within the band: so that bands add up exactly."""
    end = spectrum.n_samples / 2
    low, high = (min(max(edge_hz / spectrum.bin_hz, 0.0), end) for edge_hz in (low_hz, high_hz))
    start = math.floor(low + 0.5)
    stop = max(start, min(math.floor(high + 0.5) + 1, spectrum.bins.size))
    share = np.ones(stop - start)
    if share.size:
        share[0] -= (low - max(start - 0.5, 0.0)) / _width(start, end)
        share[-1] -= (min(stop - 0.5, end) - high) / _width(stop - 1, end)
    return start, stop, share


def _width(index: int, end: float) -> float:
    """Width of a bin, bins: the first and the last reach no further than 0 Hz and half the rate."""
    return 0.5 if index in {0, end} else 1.0


def _weights(
    spectrum: Spectrum, *, low_hz: float, high_hz: float, weighting: Weighting | None
) -> tuple[int, int, NDArray[np.float64]]:
    start, stop, share = _coverage(spectrum, low_hz=low_hz, high_hz=high_hz)
    if weighting is not None:
        share *= np.square(weighting(spectrum.bin_hz * np.arange(start, stop, dtype=np.float64)))
    return start, stop, share


def band_power(spectrum: Spectrum, *, low_hz: float, high_hz: float, weighting: Weighting | None = None) -> float:
    """Measure the mean square within a band; the bins at its edges count by the part of them inside.

    Parameters
    ----------
    spectrum : Spectrum
        Of a record without DC and without strong lines beside the edges.
    low_hz, high_hz : float, Hz
        Edges; parts beyond half the sample rate hold nothing.
    weighting : callable or None
        Frequencies in Hz to amplitude ratios, such as `a_weighting`.

    Returns
    -------
    float, the samples' unit squared
        For white noise without bias; its relative scatter is ``sqrt(2 / noise_degrees_of_freedom)``.
    """
    start, stop, share = _weights(spectrum, low_hz=low_hz, high_hz=high_hz, weighting=weighting)
    return float(share @ spectrum.power(start, stop))


def cross_band_power(one: Spectrum, other: Spectrum, *, low_hz: float, high_hz: float) -> float:
    """Measure the mean product of two channels within a band: of volts and amperes, the true power there.

    Parameters
    ----------
    one, other : Spectrum
        Of the same stretch of time with the same window.
    low_hz, high_hz : float, Hz
        Edges of the band.

    Returns
    -------
    float, product of the two units

    Raises
    ------
    ValueError
        The spectra differ in rate, length or window.
    """
    if (one.rate_hz, one.n_samples, one.window) != (other.rate_hz, other.n_samples, other.window):
        raise ValueError(f"{one} and {other} are not of the same stretch")
    start, stop, share = _coverage(one, low_hz=low_hz, high_hz=high_hz)
    a, b = one.bins[start:stop], other.bins[start:stop]
    return float(share @ (a.real * b.real + a.imag * b.imag))


def noise_degrees_of_freedom(spectrum: Spectrum, *, low_hz: float, high_hz: float) -> float:
    """Count the degrees of freedom of a band power of white noise: its relative variance is 2 over this.

    Neighbouring bins of a windowed transform are not independent; the ratio of the window's moments says how many are.

    Parameters
    ----------
    spectrum : Spectrum
        As given to `band_power`.
    low_hz, high_hz : float, Hz
        Edges of the band, many bins apart.

    Returns
    -------
    float >= 1
    """
    weights = _window(min(spectrum.n_samples, 4096), spectrum.window)
    effective = float(np.mean(weights**2) ** 2 / np.mean(weights**4))
    width_hz = min(high_hz, spectrum.rate_hz / 2) - low_hz
    return max(1.0, 2 * width_hz / spectrum.bin_hz * effective)


def display_spectrum(
    spectrum: Spectrum, *, points: int = 600, low_hz: float = 0.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Thin a spectrum out for a chart with a logarithmic axis, keeping the largest bin of every step.

    Parameters
    ----------
    spectrum : Spectrum
        Any.
    points : int >= 2
        Most points to give.
    low_hz : float, Hz
        Where the chart starts; the first bin above DC where it is 0.

    Returns
    -------
    frequency_hz, rms : NDArray[np.float64] of shape (m,), m <= points
        A line shows its rms (less the window's scalloping, 1.4 dB at most for Hann); noise shows the rms within
        ``noise_bandwidth_bins * bin_hz``.
    """
    first = max(1, math.ceil(low_hz / spectrum.bin_hz))
    last = spectrum.bins.size
    edges = np.unique(np.geomspace(first, last, points + 1).astype(np.int64))
    power = spectrum.power(0, last)
    largest = np.array([start + np.argmax(power[start:stop]) for start, stop in pairwise(edges)])
    rms: NDArray[np.float64] = np.sqrt(power[largest] * spectrum.noise_bandwidth_bins)
    return largest * spectrum.bin_hz, rms


def alias_of(frequency_hz: float, *, rate_hz: float) -> float:
    """Say where a frequency lands when it is sampled without a filter before the sampler.

    Parameters
    ----------
    frequency_hz : float >= 0, Hz
        For example an output stage's switching frequency.
    rate_hz : float > 0, Hz
        Samples a second.

    Returns
    -------
    float, Hz, 0 <= alias <= rate_hz / 2

    Examples
    --------
    >>> [alias_of(400e3, rate_hz=rate_hz) for rate_hz in (48e3, 96e3, 192e3)]
    [16000.0, 16000.0, 16000.0]
    """
    folded = math.fmod(frequency_hz, rate_hz)
    return min(folded, rate_hz - folded)


def frequencies_folding_to(line_hz: float, *, rate_hz: float, low_hz: float, high_hz: float) -> tuple[float, ...]:
    """List what a line may be the image of: every frequency in a range that folds to it.

    Parameters
    ----------
    line_hz : float, Hz, 0 <= line_hz <= rate_hz / 2
        Where the line is seen.
    rate_hz : float > 0, Hz
        Samples a second.
    low_hz, high_hz : float, Hz
        Range to list.

    Returns
    -------
    tuple of float, Hz, ascending

    Examples
    --------
    >>> frequencies_folding_to(16e3, rate_hz=192e3, low_hz=150e3, high_hz=450e3)
    (176000.0, 208000.0, 368000.0, 400000.0)
    """
    turns = range(math.floor(low_hz / rate_hz), math.ceil(high_hz / rate_hz) + 1)
    images = {turn * rate_hz + sign * line_hz for turn in turns for sign in (-1, 1)}
    return tuple(sorted(image for image in images if low_hz <= image <= high_hz))
