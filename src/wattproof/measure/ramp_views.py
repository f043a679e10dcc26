"""What a page shows of a ramp: two cycles and the spectrum at the limit, and the supply against time."""

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import display_spectrum, spectrum_of
from wattproof.measure.frames import OutputFrames
from wattproof.measure.model import Trace, Views
from wattproof.measure.record import ROLE_UNITS
from wattproof.measure.supply_frames import SupplyFrames
from wattproof.measure.views import CYCLES_SHOWN, POINTS, rounded, thinned, time_trace

Real = NDArray[np.float64]

SPECTRUM_CYCLES = 32


def ramp_views(frames: OutputFrames, supply: SupplyFrames, *, at_s: float) -> Views:
    """Draw an output at a moment of its ramp, seconds from the record's first sample."""
    return Views(
        waveform=_waves(frames, at_s), spectrum=(_spectrum(frames, at_s),), supply=supply_traces(frames.t_s, supply)
    )


def _piece(frames: OutputFrames, at_s: float, cycles: float) -> slice:
    """Whole cycles around a moment, within the ramp."""
    grid = frames.grid
    first, last = int(grid.starts[0]), int(grid.starts[-1]) + grid.length
    size = min(round(cycles * grid.rate_hz / grid.tone_hz), last - first)
    start = int(np.clip(round(at_s * grid.rate_hz - size / 2), first, last - size))
    return slice(start, start + size)


def _waves(frames: OutputFrames, at_s: float) -> tuple[Trace, ...]:
    shown, rate_hz = _piece(frames, at_s, CYCLES_SHOWN), frames.grid.rate_hz
    return tuple(
        time_trace(
            role, frames.samples[frames.rows[role], shown], rate_hz=rate_hz, output=frames.output,
            start_s=shown.start / rate_hz, unit=frames.unit if role == frames.main else ROLE_UNITS[role],
        )
        for role in (frames.main, "load_current")
        if role in frames.tracks
    )  # fmt: skip


def _spectrum(frames: OutputFrames, at_s: float) -> Trace:
    piece, rate_hz = frames.samples[0, _piece(frames, at_s, SPECTRUM_CYCLES)], frames.grid.rate_hz
    spectrum = spectrum_of(piece - piece.mean(), rate_hz=rate_hz)
    hz, rms = display_spectrum(spectrum, points=POINTS, low_hz=frames.grid.tone_hz / 2)
    wanted = hz <= frames.band_hz[1]
    return Trace(
        name="spectrum", output=frames.output, x_label="frequency", x_unit="Hz", y_label="level re fundamental",
        y_unit="V/V", x=rounded(hz[wanted]), y=rounded(np.maximum(rms[wanted] / rms.max(), 1e-12)),
    )  # fmt: skip


def supply_traces(t_s: Real, supply: SupplyFrames) -> tuple[Trace, ...]:
    """Draw the supply's voltage and current, means over frames, against time."""
    return tuple(
        Trace(
            name=role, x_label="time", x_unit="s", y_label=role, y_unit=ROLE_UNITS[role],
            x=rounded(thinned(t_s)), y=rounded(thinned(values)),
        )
        for role, values in (("supply_voltage", supply.volts), ("supply_current", supply.amps))
        if values is not None
    )  # fmt: skip
