"""The few hundred points a page draws of a capture; never a source of figures."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import display_spectrum
from wattproof.measure.model import Trace, Views
from wattproof.measure.record import ROLE_UNITS, BenchRecord

if TYPE_CHECKING:
    from wattproof.measure.output import SteadyOutput

Real = NDArray[np.float64]

CYCLES_SHOWN = 2
POINTS = 400


def rounded(values: Real) -> tuple[float, ...]:
    """Round to five significant figures, which is enough to draw; `values` finite, of shape (n,)."""
    size = np.where(values == 0, 1.0, np.abs(values))
    places = 4 - np.floor(np.log10(size))
    up, down = 10.0 ** np.maximum(places, 0), 10.0 ** np.maximum(-places, 0)
    return tuple((np.round(values * up / down) * down / up).tolist())


def thinned(values: Real, points: int = POINTS) -> Real:
    """Every n-th value, so that about `points` remain."""
    return values[:: max(1, values.size // points)]


def time_trace(name: str, values: Real, *, rate_hz: float, output: str | None, start_s: float, unit: str) -> Trace:
    """Trace a quantity against time; `values` of shape (N,) in `unit`."""
    step = max(1, values.size // POINTS)
    time_s = start_s + np.arange(0, values.size, step) / rate_hz
    return Trace(
        name=name, output=output, x_label="time", x_unit="s", y_label=name, y_unit=unit,
        x=tuple(np.round(time_s, 7).tolist()), y=rounded(values[::step]),
    )  # fmt: skip


def steady_views(output: "SteadyOutput") -> Views:
    """Trace two cycles of the waveforms and the spectrum: the fitted lines over what the fit leaves."""
    fit, rate_hz = output.fit, output.fit.rate_hz
    shown = min(fit.n_samples, round(CYCLES_SHOWN * rate_hz / fit.frequency_hz))
    roles = [role for role in (output.main, "load_current") if role in output.tracks]
    waves = tuple(
        time_trace(
            role, output.samples[output.rows[role], :shown], rate_hz=rate_hz, output=output.output, start_s=0.0,
            unit=ROLE_UNITS[role] if role != "unassigned" else output.unit,
        )
        for role in roles
    )  # fmt: skip
    return Views(waveform=waves, spectrum=(_spectrum_trace(output),))


def _spectrum_trace(output: "SteadyOutput") -> Trace:
    fit = output.fit
    fundamental = float(np.abs(fit.phasors[0, 0])) / np.sqrt(2)
    noise_hz, noise = display_spectrum(output.left(output.main), points=POINTS, low_hz=output.band_hz[0] / 2)
    lines_hz = fit.frequency_hz * np.arange(1, fit.n_harmonics + 1)
    hz = np.concatenate([noise_hz, lines_hz])
    level = np.concatenate([noise, np.abs(fit.phasors[0]) / np.sqrt(2)]) / fundamental
    order = np.argsort(hz, kind="stable")
    return Trace(
        name="spectrum", output=output.output, x_label="frequency", x_unit="Hz", y_label="level re fundamental",
        y_unit="V/V", x=rounded(hz[order]), y=rounded(np.maximum(level[order], 1e-12)),
    )  # fmt: skip


def supply_views(record: BenchRecord, samples: Real, *, shown: int) -> Views:
    """Trace the first `shown` samples of the supply's tracks, against time."""
    traces = []
    for role in ("supply_voltage", "supply_current"):
        track = record.track(role)
        if track is not None:
            values = record.values(track, samples[:, :shown])
            traces.append(
                time_trace(
                    role, values, rate_hz=record.recording.rate_hz, output=None, start_s=0.0, unit=ROLE_UNITS[role]
                )
            )
    return Views(supply=tuple(traces))
