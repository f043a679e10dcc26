"""How strongly each frequency counts: A, C and the broadcasters' noise weighting, as amplitude ratios."""

import numpy as np
from numpy.typing import NDArray

__all__ = ["a_weighting", "c_weighting", "itu_r_468", "itu_r_468_rms"]

POLES_HZ = (20.598997, 107.65265, 737.86223, 12194.217)
"""Pole frequencies of IEC 61672-1:2013, annex E."""

REFERENCE_HZ = 1000.0


def a_weighting(frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the A-weighting of IEC 61672-1 in closed form, exactly 1 at 1 kHz.

    Parameters
    ----------
    frequency_hz : NDArray[np.float64] of any shape, Hz, >= 0

    Returns
    -------
    NDArray[np.float64] of that shape, V/V
        Applied to the power of spectrum bins it is exact at every sample rate, unlike a digital filter near half of it.

    References
    ----------
    IEC 61672-1:2013, annex E.

    Examples
    --------
    >>> [round(float(level_db), 1) for level_db in 20 * np.log10(a_weighting(np.array([100.0, 1000.0, 10000.0])))]
    [-19.1, 0.0, -2.5]
    """
    return _a_shape(frequency_hz) / _a_shape(np.array(REFERENCE_HZ))


def c_weighting(frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the C-weighting of IEC 61672-1 in closed form, exactly 1 at 1 kHz; as `a_weighting`."""
    return _c_shape(frequency_hz) / _c_shape(np.array(REFERENCE_HZ))


def itu_r_468(frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the noise weighting of ITU-R BS.468-4, +12.2 dB at 6.3 kHz; within 0.1 dB of its table.

    The recommendation reads the weighted noise with a quasi-peak detector; with an rms detector say so.

    Parameters
    ----------
    frequency_hz : NDArray[np.float64] of any shape, Hz, >= 0

    Returns
    -------
    NDArray[np.float64] of that shape, V/V
        1 at 1 kHz, to 0.04 dB.

    References
    ----------
    ITU-R BS.468-4, annex 1; the polynomials are the transfer function of its passive network.
    """
    square = np.square(frequency_hz)
    even = ((-4.737338981378384e-24 * square + 2.043828333606125e-15) * square - 1.363894795463638e-7) * square + 1
    odd = ((1.306612257412824e-19 * square - 2.118150887518656e-11) * square + 5.559488023498642e-4) * frequency_hz
    shape: NDArray[np.float64] = 10 ** (18.2 / 20) * 1.246332637532143e-4 * frequency_hz / np.hypot(even, odd)
    return shape


def itu_r_468_rms(frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the same weighting lowered by 5.63 dB, 1 at 2 kHz: what goes with an rms detector in AES17."""
    return itu_r_468(frequency_hz) * 10 ** (-5.63 / 20)


def _a_shape(frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    square = np.square(frequency_hz)
    _, second, third, _ = (pole_hz**2 for pole_hz in POLES_HZ)
    shape: NDArray[np.float64] = _c_shape(frequency_hz) * square / np.sqrt((square + second) * (square + third))
    return shape


def _c_shape(frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    square = np.square(frequency_hz)
    first, _, _, fourth = (pole_hz**2 for pole_hz in POLES_HZ)
    shape: NDArray[np.float64] = fourth * square / ((square + first) * (square + fourth))
    return shape
