"""Where a tone may be: the strongest line of a record, good enough to start a fit from."""

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import NoToneError

Real = NDArray[np.float64]

COARSE_SAMPLES = 32768

_FEWEST_SAMPLES = 8

_FAINTEST = 1e-100
"""A swing under this cannot be squared in double precision."""

_LARGEST = 1e100
"""Nor can a sample over this be summed in squares."""


def coarse_frequency(line: Real, rate_hz: float, fewest_cycles: float) -> float:
    """Find the strongest tone to a fraction of a line width: Hann-windowed transform and its two-line interpolation.

    A piece in the middle will do when it holds plenty of cycles of what was found in it; else ever longer ones.
    """
    length = min(line.size, COARSE_SAMPLES)
    while True:
        start = (line.size - length) // 2
        hz, cycles = _strongest(line[start : start + length], rate_hz)
        if cycles > 4 * fewest_cycles or length == line.size:
            return hz
        length = min(line.size, 4 * length)


def refuse_silent(line: Real) -> None:
    """Refuse a channel of next to no samples, of none that differ, or of no numbers, with a `NoToneError`."""
    n = line.size
    low, high = (float(line.min()), float(line.max())) if n else (0.0, 0.0)
    if not (low > -_LARGEST and high < _LARGEST):
        raise NoToneError(
            "No tone was found.",
            why=f"samples are missing, off scale or not a number: they lie between {low:.3g} and {high:.3g}",
            hint="Set the recorder's range so that nothing runs off scale, and capture again.",
        )
    if n < _FEWEST_SAMPLES or high - low < _FAINTEST:
        raise NoToneError(
            "No tone was found.",
            why=f"the channel holds {n} samples" + (" of one constant value" if n >= _FEWEST_SAMPLES else ""),
            hint="Check which channel is the load voltage, or use --kind idle for a record without a tone.",
        )


def _strongest(piece: Real, rate_hz: float) -> tuple[float, float]:
    from scipy.fft import next_fast_len, rfft

    n = piece.size
    tau = np.linspace(-1, 1, n)
    trend = np.polynomial.polynomial.polyfit(tau, piece, 1)
    window = 0.5 + 0.5 * np.cos(np.pi * tau)
    # short records need a fine grid to start from: padded fourfold
    size = next_fast_len(4 * n if n <= COARSE_SAMPLES else n, real=True)
    magnitude = np.abs(rfft((piece - trend[0] - trend[1] * tau) * window, size))
    lowest = max(int(size / n), 1)
    k = int(np.argmax(magnitude[lowest:])) + lowest
    if magnitude[k] == 0:
        k = lowest
    left, middle, right = (float(magnitude[min(max(i, 0), magnitude.size - 1)]) for i in (k - 1, k, k + 1))
    bend = left - 2 * middle + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    hz = (k + shift) * rate_hz / size
    return hz, hz * n / rate_hz
