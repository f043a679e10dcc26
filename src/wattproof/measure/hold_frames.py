"""A long record cut into frames of whole cycles, one in memory at a time, each boiled down to a few numbers."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import band_power, fast_length, fit_at, spectrum_of
from wattproof.errors import MeasureError
from wattproof.measure.record import BenchRecord
from wattproof.measure.sanity import LARGEST, clip_edge
from wattproof.measure.supply import smoothing_width

Real = NDArray[np.float64]
Columns = NDArray[np.float32] | Real

FRAME_S = 1.0
"""Length of a frame, to whole cycles; at least three cycles."""

DISTORTION_CYCLES = 8
"""Cycles at the start of each frame from which its distortion is taken: enough to see it, few enough to be quick."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Frame:
    """What one frame of a hold says, engineering units, rows as ``BenchRecord.tracks``.

    Attributes
    ----------
    start_s, seconds : float
        Where it lies in the record, and how long it is.
    mean : Real of shape (n_tracks,)
    product : Real of shape (n_tracks, n_tracks)
        Means of x * y over every sample of the frame.
    low, high : Real of shape (n_tracks,)
        Extremes.
    clipped : NDArray[np.int64] of shape (n_tracks,)
    levels : Real of shape (cycles,)
        The first output's voltage, rms of each cycle.
    fundamental : dict of str to float
        Peak of the fundamental by output, over the first cycles.
    thd_n : dict of str to float
        Ratio by output, over the first cycles.
    skewed_w : dict of str to float
        Power by output that the skew between volts and amperes hides at the fundamental; empty where there is none.
    trough : float or None
        Lowest supply voltage, as a mean over a hundredth of a cycle.
    ripple : float or None
        Supply voltage less its mean, V rms.
    """

    start_s: float
    seconds: float
    mean: Real
    product: Real
    low: Real
    high: Real
    clipped: NDArray[np.int64]
    levels: Real
    thd_n: dict[str, float]
    skewed_w: dict[str, float]
    trough: float | None
    ripple: float | None

    @property
    def middle_s(self) -> float:
        """Middle of the frame, seconds from the record's start."""
        return self.start_s + self.seconds / 2

    def covariance(self, first: int, second: int) -> float:
        """Mean of x * y without the DC of either."""
        return float(self.product[first, second] - self.mean[first] * self.mean[second])


def _skews(record: BenchRecord) -> dict[str, tuple[int, int]]:
    """Rows of volts and amperes, by output, of those outputs whose two channels lag differently."""
    rows = {}
    for name in record.outputs:
        volts, amps = record.track("load_voltage", name), record.track("load_current", name)
        if volts is not None and amps is not None and volts.calibration.skew_s != amps.calibration.skew_s:
            rows[name] = record.tracks.index(volts), record.tracks.index(amps)
    return rows


class FrameReader:
    """Cuts a recording of a tone of known frequency into frames; iterating it reads the record once."""

    def __init__(self, record: BenchRecord, *, frequency_hz: float, band_hz: tuple[float, float]) -> None:
        self.record = record
        self.frequency_hz = frequency_hz
        self.band_hz = band_hz
        self.rate_hz = record.recording.rate_hz
        cycle = self.rate_hz / frequency_hz
        cycles = max(3, round(FRAME_S * frequency_hz))
        self.length = round(cycles * cycle)
        self._edges = np.minimum(np.round(np.arange(cycles) * cycle).astype(np.int64), self.length - 1)
        self._counts = np.diff(np.append(self._edges, self.length))
        self._scale = np.array([track.calibration.scale for track in record.tracks])
        self._offset = np.array([track.calibration.offset for track in record.tracks])
        self._rows = [track.index for track in record.tracks]
        self._first = record.tracks.index(record.voltage(record.outputs[0]))
        self._voltages = [record.tracks.index(record.voltage(name)) for name in record.outputs]
        self._piece = min(self.length, fast_length(round(DISTORTION_CYCLES * cycle)))
        self._skews = _skews(record)
        supply = record.track("supply_voltage")
        self._supply = None if supply is None else record.tracks.index(supply)
        self._width = min(smoothing_width(cycle), self.length)

    def __iter__(self) -> Iterator[Frame]:
        for number, block in enumerate(self.record.recording.blocks(self.length)):
            if block.shape[0] == self.length:
                yield self._boiled_down(self._columns(block), number * self.length)

    def _columns(self, block: Columns) -> Columns:
        """Turn a block (n, channels) into rows of the tracks; a view would make every later step stride."""
        return cast(Columns, np.ascontiguousarray(block[:, self._rows].T))

    def _boiled_down(self, columns: Columns, start: int) -> Frame:
        n = self.length
        low, high = columns.min(axis=1).astype(np.float64), columns.max(axis=1).astype(np.float64)
        if not (np.maximum(-low, high) < LARGEST).all():
            raise self._broken(columns, start)
        # matrix products in the file's own precision: BLAS sums in blocks, far below the 20 ppm that matter
        mean = (columns @ np.ones(n, dtype=columns.dtype)).astype(np.float64) / n
        product = (columns @ columns.T).astype(np.float64) / n
        square = np.add.reduceat(np.square(columns[self._first] - columns.dtype.type(mean[self._first])), self._edges)
        ends = np.stack([low, high]) * self._scale + self._offset
        cross = np.outer(mean * self._scale, self._offset)
        return Frame(
            start_s=start / self.rate_hz,
            seconds=n / self.rate_hz,
            mean=mean * self._scale + self._offset,
            # <(ax + b)(cy + d)> from the sums of the file's numbers
            product=product * np.outer(self._scale, self._scale)
            + cross
            + cross.T
            + np.outer(self._offset, self._offset),
            low=ends.min(axis=0),
            high=ends.max(axis=0),
            clipped=self._clipped(columns, low, high),
            levels=np.sqrt(square / self._counts).astype(np.float64) * abs(float(self._scale[self._first])),
            thd_n=self._distortion(columns),
            skewed_w={name: self._skewed_w(columns, rows) for name, rows in self._skews.items()},
            trough=self._trough(columns),
            ripple=self._ripple(columns, mean),
        )

    def _skewed_w(self, columns: Columns, rows: tuple[int, int]) -> float:
        """Power of the first cycles' fundamental once the skew is taken out, less what it is with it, W."""
        volts, amps = rows
        lag_s = self._lag_s(volts) - self._lag_s(amps)
        length = min(self.length, round(DISTORTION_CYCLES * self.rate_hz / self.frequency_hz))
        piece = columns[[volts, amps], :length].astype(np.float64) * self._scale[[volts, amps], np.newaxis]
        fit = fit_at(piece, rate_hz=self.rate_hz, frequency_hz=self.frequency_hz, n_harmonics=1)
        v, i = fit.phasors[:, 0]
        turn = np.exp(2j * np.pi * self.frequency_hz * lag_s)
        return float((v * np.conj(i) * (turn - 1)).real) / 2

    def _lag_s(self, row: int) -> float:
        return self.record.tracks[row].calibration.skew_s

    def _ripple(self, columns: Columns, mean: Real) -> float | None:
        if self._supply is None:
            return None
        # the mean is taken off first: single precision has no room for ripple beside it
        swing = columns[self._supply] - columns.dtype.type(mean[self._supply])
        return abs(float(self._scale[self._supply])) * float(np.sqrt(float(np.dot(swing, swing)) / self.length))

    def _trough(self, columns: Columns) -> float | None:
        if self._supply is None:
            return None
        whole = self.length // self._width * self._width
        means = columns[self._supply, :whole].reshape(-1, self._width).mean(axis=1)
        ends = np.array([means.min(), means.max()]) * self._scale[self._supply] + self._offset[self._supply]
        return float(ends.min())

    def _broken(self, columns: Columns, start: int) -> MeasureError:
        named = zip(self.record.tracks, columns, strict=True)
        names = [track.channel.name for track, values in named if not (np.abs(values) < LARGEST).all()]
        return MeasureError(
            f"Channel {', '.join(names)} of {self.record.recording.source} cannot be measured.",
            why=f"samples after {start / self.rate_hz:.3g} s are missing, off scale or not a number",
            hint="Set the recorder's range so that nothing runs off scale, and capture again.",
        )

    def _clipped(self, columns: Columns, low: Real, high: Real) -> NDArray[np.int64]:
        counts = np.zeros(len(self.record.tracks), dtype=np.int64)
        for row, track in enumerate(self.record.tracks):
            edge = clip_edge(track)
            if edge is not None and max(high[row], -low[row]) >= edge:
                counts[row] = np.count_nonzero(np.abs(columns[row]) >= edge)
        return counts

    def _distortion(self, columns: Columns) -> dict[str, float]:
        """THD+N of each output, from the frame's first cycles."""
        pieces = columns[self._voltages, : self._piece].astype(np.float64)
        fit = fit_at(pieces, rate_hz=self.rate_hz, frequency_hz=self.frequency_hz, n_harmonics=1)
        found = {}
        for row, name in enumerate(self.record.outputs):
            left = spectrum_of(fit.residual(pieces[row], row), rate_hz=self.rate_hz)
            unwanted = band_power(left, low_hz=self.band_hz[0], high_hz=self.band_hz[1])
            total = unwanted + float(np.abs(fit.phasors[row, 0])) ** 2 / 2
            found[name] = float(np.sqrt(unwanted / total)) if total > 0 else 0.0
        return found
