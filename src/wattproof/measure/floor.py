"""The recorder's own floor: what its codes alone would read as distortion and noise."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wattproof.measure.record import Track

if TYPE_CHECKING:
    from wattproof.measure.output import SteadyOutput

_LOOKED_AT = 8192
_FEWEST_CODES = 4


def recorder_step(track: Track, file_values: NDArray[np.float64]) -> float | None:
    """Size of one code in the file's unit: what the reader says, else the distance at which values repeat.

    Parameters
    ----------
    track : Track
    file_values : NDArray[np.float64] of shape (N,)
        The track's samples as in the file.

    Returns
    -------
    float > 0, or None where the values show no codes (a floating-point recorder).
    """
    if track.channel.step is not None:
        return track.channel.step
    looked = file_values[:_LOOKED_AT]
    codes = np.unique(looked)
    if codes.size < _FEWEST_CODES or codes.size > looked.size / 3:
        return None
    gaps = np.diff(codes)
    # printed numbers repeat a code with a wrong last digit: such gaps are no steps
    gaps = gaps[gaps > 1e-6 * (codes[-1] - codes[0])]
    return float(np.percentile(gaps, 10)) if gaps.size else None


def recorder_floor_ms(output: "SteadyOutput") -> float | None:
    """Mean square that the recorder's rounding puts into an output's band, engineering units squared.

    Rounding to a step q is taken as white noise of q**2/12 up to half the sample rate; None where no step shows.
    """
    track = output.tracks[output.main]
    samples = (output.samples[0, :_LOOKED_AT] - track.calibration.offset) / track.calibration.scale
    step = recorder_step(track, samples)
    if step is None:
        return None
    low_hz, high_hz = output.band_hz
    share = (high_hz - low_hz) / (output.fit.rate_hz / 2)
    return (step * track.calibration.scale) ** 2 / 12 * min(share, 1.0)
