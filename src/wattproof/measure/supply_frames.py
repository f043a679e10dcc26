"""The supply's side, frame by frame."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import FrameGrid, frame_means
from wattproof.measure.frames import engineering_rows
from wattproof.measure.record import BenchRecord

Real = NDArray[np.float64]

SMOOTHING_CYCLES = 0.01
"""The lowest voltage is that of a mean over this share of a cycle, as in a steady capture."""


@dataclass(frozen=True, kw_only=True, eq=False)
class SupplyFrames:
    """Means over frames of the supply's tracks and of the temperature; None for a track that is not there.

    All arrays have shape (n_frames,); V, A, W and K (or degrees, as the bench file scales them). ``lowest_v`` is the
    lowest voltage anywhere in the frames.
    """

    volts: Real | None = None
    amps: Real | None = None
    watts: Real | None = None
    temperature: Real | None = None
    lowest_v: float | None = None


def supply_frames(record: BenchRecord, samples: Real, grid: FrameGrid) -> SupplyFrames:
    """Take the means of the supply's tracks over frames; power is the mean of v*i, never the product of the means.

    Parameters
    ----------
    record : BenchRecord
    samples : Real of shape (n_channels, n_samples), file units
    grid : FrameGrid
    """
    if grid.n_frames == 0:
        return SupplyFrames()
    volts = _aligned(record, samples, "supply_voltage")
    amps = _aligned(record, samples, "supply_current")
    temperature = _aligned(record, samples, "temperature")
    span = slice(int(grid.starts.min()), int(grid.starts.max()) + grid.length)
    width = max(1, round(SMOOTHING_CYCLES * grid.rate_hz / grid.tone_hz))
    return SupplyFrames(
        volts=None if volts is None else frame_means(volts, grid),
        amps=None if amps is None else frame_means(amps, grid),
        watts=None if volts is None or amps is None else frame_means(volts * amps, grid),
        temperature=None if temperature is None else frame_means(temperature, grid),
        lowest_v=None if volts is None else _lowest(volts[span], width),
    )


def _aligned(record: BenchRecord, samples: Real, role: str) -> Real | None:
    """Engineering values of a role moved by its skew to the nearest sample: the supply changes slowly."""
    track = record.track(role)
    if track is None:
        return None
    values: Real = engineering_rows(record, {role: track}, samples)[0]
    lag = round(track.calibration.skew_s * record.recording.rate_hz)
    if lag == 0:
        return values
    return np.asarray(values[np.clip(np.arange(values.size) + lag, 0, values.size - 1)])


def _lowest(values: Real, width: int) -> float:
    if values.size <= width:
        return float(values.min())
    total = np.concatenate([[0.0], np.cumsum(values - values[0])])
    return float(values[0] + (total[width:] - total[:-width]).min() / width)
