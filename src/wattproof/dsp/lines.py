"""Lines that stand out of the noise, what the noise is without them, and whose they may be."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp.spectrum import Spectrum, Weighting

__all__ = ["Line", "MainsHum", "find_lines", "find_mains", "noise_without_lines"]

FLOOR_KNOTS = 1000
MEDIAN_BINS = 1000
FALSE_ALARM = 0.01
"""Chance that noise alone makes one line or more appear in a whole record."""

FLOOR_BINS = 48
FLOOR_BLOCKS_AN_OCTAVE = 6
FEWEST_CLEAR = 0.2
"""Part of the bins that must lie clear of the tone's multiples, or the noise is not known apart from them."""

MAINS_HZ = (50.0, 60.0)
MAINS_DRIFT = 0.004
"""A public grid keeps within 0.2 Hz of 50 Hz; a small generator's hum is not looked for."""

HIGHEST_MAINS_HZ = 2000.0


@dataclass(frozen=True, kw_only=True)
class Line:
    """One discrete line.

    Attributes
    ----------
    frequency_hz : float, Hz
        To about a twentieth of a bin.
    rms : float, the samples' unit
        Less the noise beneath it; to 0.03 % of itself at best, for the side lobes are left out.
    """

    frequency_hz: float
    rms: float


@dataclass(frozen=True, kw_only=True)
class MainsHum:
    """Lines at multiples of a mains frequency.

    Attributes
    ----------
    mains_hz : float, Hz
        50 or 60.
    rms : float, the samples' unit
        Of all its lines together.
    lines : tuple of Line, ascending
    """

    mains_hz: float
    rms: float
    lines: tuple[Line, ...]


def find_lines(
    spectrum: Spectrum, *, low_hz: float, high_hz: float, fewest_rms: float = 0.0, most: int = 100
) -> tuple[Line, ...]:
    """Find lines that noise would make once in a hundred records at most.

    The noise beneath is the running median of the bins, so that up to half of the bins may belong to lines.

    Parameters
    ----------
    spectrum : Spectrum
        Of a residual: DC and the tone's fit taken out.
    low_hz, high_hz : float, Hz
        Where to look.
    fewest_rms : float, the samples' unit
        Smaller lines are not listed.
    most : int >= 1
        The strongest so many are listed.

    Returns
    -------
    tuple of Line, ascending in frequency
    """
    start = max(1, math.ceil(low_hz / spectrum.bin_hz))
    stop = min(spectrum.bins.size, math.floor(high_hz / spectrum.bin_hz) + 1)
    if stop - start < 3:
        return ()
    power = spectrum.power(start, stop)
    floor = _noise_floor(power, start)
    inner = power[1:-1]
    threshold = floor[1:-1] * math.log(power.size / FALSE_ALARM)
    peaks = 1 + np.flatnonzero((inner > threshold) & (inner >= power[:-2]) & (inner > power[2:]))
    strongest = peaks[np.argsort(power[peaks])[::-1]]
    kept = _apart(strongest.tolist(), spectrum.lobe_bins, most)
    lines = (_line(spectrum, power, floor, start, index) for index in sorted(kept))
    return tuple(line for line in lines if line.rms > fewest_rms)


def _noise_floor(power: NDArray[np.float64], start: int, clear: NDArray[np.bool_] | None = None) -> NDArray[np.float64]:
    """Mean noise of each bin, interpolated on logarithmic axes between the medians of blocks (of their clear bins)."""
    edges = [0]
    while edges[-1] < power.size:
        width = max(FLOOR_BINS, round((start + edges[-1]) * (2 ** (1 / FLOOR_BLOCKS_AN_OCTAVE) - 1)))
        edges.append(edges[-1] + width)
    edges = [*edges[:-2], power.size] if len(edges) > 2 else [0, power.size]
    centres, levels = [], []
    for a, b in pairwise(edges):
        block = power[a:b] if clear is None else power[a:b][clear[a:b]]
        if block.size:
            centres.append(math.log(start + (a + b - 1) / 2))
            # a thousand bins tell a median to 3 %; the power of a noise bin is distributed exponentially, so that its
            # median is ln 2 of its mean
            some = block[:: max(1, block.size // MEDIAN_BINS)]
            median = float(np.partition(some, some.size // 2)[some.size // 2])
            levels.append(math.log(max(median / math.log(2), np.finfo(np.float64).tiny)))
    # logarithms of a thousand bins and straight lines between them: within 0.1 % of all bins, in a tenth of the time
    knots = np.unique(np.geomspace(start, start + power.size - 1, FLOOR_KNOTS).round())
    at_knots = np.exp(np.interp(np.log(knots), centres, levels))
    floor: NDArray[np.float64] = np.interp(np.arange(start, start + power.size), knots, at_knots)
    return floor


def _apart(strongest: Sequence[int], reach: int, most: int) -> list[int]:
    """Keep the strongest peaks, and of those within one main lobe only the first."""
    taken: set[int] = set()
    kept: list[int] = []
    for index in strongest:
        if len(kept) == most:
            break
        if index not in taken:
            kept.append(index)
            taken.update(range(index - reach, index + reach + 1))
    return kept


def _line(spectrum: Spectrum, power: NDArray[np.float64], floor: NDArray[np.float64], start: int, index: int) -> Line:
    lobe = slice(max(0, index - spectrum.lobe_bins), index + spectrum.lobe_bins + 1)
    mean_square = float(np.sum(power[lobe] - floor[lobe]))
    before, top, after = np.log(np.maximum(power[index - 1 : index + 2], np.finfo(np.float64).tiny))
    shift = float((before - after) / (2 * (before - 2 * top + after)))
    return Line(
        frequency_hz=(start + index + shift) * spectrum.bin_hz,
        rms=math.sqrt(max(mean_square, 0.0)),
    )


def find_mains(lines: Iterable[Line], *, bin_hz: float, tone_hz: float | None = None) -> MainsHum | None:
    """Recognise hum: lines at multiples of 50 or 60 Hz, the first or the second of them included.

    Parameters
    ----------
    lines : iterable of Line
        As `find_lines` gives them, up to 2 kHz or more.
    bin_hz : float > 0, Hz
        How finely the spectrum they came from resolves.
    tone_hz : float, Hz, or None
        The test tone: lines at its multiples are its own.

    Returns
    -------
    MainsHum or None
        The stronger family; None where there is none, or where the bins are too wide to tell.
    """
    if bin_hz > min(MAINS_HZ) / 10:
        return None
    foreign = [line for line in lines if line.frequency_hz < HIGHEST_MAINS_HZ and not _own(line, tone_hz, bin_hz)]
    families = [_family(foreign, mains_hz, bin_hz) for mains_hz in MAINS_HZ]
    return max((family for family in families if family), key=lambda family: family.rms, default=None)


def _own(line: Line, tone_hz: float | None, bin_hz: float) -> bool:
    return tone_hz is not None and _off_multiple(line.frequency_hz, tone_hz) < 1.5 * bin_hz


def _off_multiple(frequency_hz: float, base_hz: float) -> float:
    return abs(frequency_hz - base_hz * max(1, round(frequency_hz / base_hz)))


def _family(lines: Sequence[Line], mains_hz: float, bin_hz: float) -> MainsHum | None:
    members = tuple(
        line
        for line in lines
        if _off_multiple(line.frequency_hz, mains_hz) < max(MAINS_DRIFT * line.frequency_hz, bin_hz)
        and MAINS_DRIFT * line.frequency_hz < mains_hz / 10
    )
    if not any(round(line.frequency_hz / mains_hz) <= 2 for line in members):
        return None
    return MainsHum(mains_hz=mains_hz, rms=math.hypot(*(line.rms for line in members)), lines=members)


def noise_without_lines(
    spectrum: Spectrum,
    *,
    low_hz: float,
    high_hz: float,
    tone_hz: float,
    first_harmonic: int = 1,
    weighting: Weighting | None = None,
) -> float | None:
    """Measure the noise in a band with the bins at the tone's multiples replaced by the floor around them.

    Parameters
    ----------
    spectrum : Spectrum
        Of a record of the tone, or of what is left of it once a fit is taken out.
    low_hz, high_hz : float, Hz
        Edges of the band.
    tone_hz : float > 0, Hz
        The tone's exact frequency.
    first_harmonic : int >= 1
        The first multiple that may still be there.
    weighting : callable or None
        As in `band_power`.

    Returns
    -------
    float, the samples' unit squared, or None
        None where the record is too short to see noise between the multiples: less than a fifth of the bins is clear.
    """
    start = max(1, math.ceil(low_hz / spectrum.bin_hz))
    stop = min(spectrum.bins.size, math.floor(high_hz / spectrum.bin_hz) + 1)
    if stop <= start:
        return None
    power = spectrum.power(start, stop)
    spacing = tone_hz / spectrum.bin_hz
    last_harmonic = math.floor((stop + spectrum.lobe_bins) / spacing)
    centres = spacing * np.arange(first_harmonic, last_harmonic + 1, dtype=np.float64) - start
    clear = _clear_bins(centres, power.size, spectrum.lobe_bins)
    if np.count_nonzero(clear) < FEWEST_CLEAR * power.size:
        return None
    filled = np.where(clear, power, _noise_floor(power, start, clear))
    if weighting is not None:
        filled *= np.square(weighting(spectrum.bin_hz * np.arange(start, stop, dtype=np.float64)))
    width_bins = (min(high_hz, spectrum.rate_hz / 2) - low_hz) / spectrum.bin_hz
    return float(np.sum(filled)) * width_bins / power.size


def _clear_bins(centres: NDArray[np.float64], n: int, reach: int) -> NDArray[np.bool_]:
    first = np.clip(np.ceil(centres - reach), 0, n).astype(np.int64)
    past = np.clip(np.floor(centres + reach) + 1, 0, n).astype(np.int64)
    change = np.bincount(first, minlength=n + 1) - np.bincount(past, minlength=n + 1)
    clear: NDArray[np.bool_] = np.cumsum(change)[:n] == 0
    return clear
