"""No signal: what the supply gives, the DC at the outputs, and the noise, flat and A-weighted."""

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import (
    Spectrum,
    a_weighting,
    band_power,
    display_spectrum,
    noise_degrees_of_freedom,
    spectrum_of,
    tone_band,
)
from wattproof.errors import MeasureError, Notice
from wattproof.measure.findings import Findings, joined
from wattproof.measure.model import Condition, Figure, Trace, Views
from wattproof.measure.pieces import scatter_of_mean
from wattproof.measure.record import BenchRecord, Track
from wattproof.measure.sanity import idle_line_notices
from wattproof.measure.supply import supply_findings
from wattproof.measure.views import POINTS, rounded, supply_views

Real = NDArray[np.float64]


def measure_idle(record: BenchRecord) -> Findings:
    """Measure a record without a drive: noise and DC of every output, idle current of the supply.

    Raises
    ------
    MeasureError
        The record is shorter than a period of the band's lower edge, and holds no supply to measure either.
    """
    samples = record.recording.read().samples
    low_hz, high_hz = tone_band(None, rate_hz=record.recording.rate_hz, high_hz=record.high_hz or 20e3)
    low_hz = record.low_hz or low_hz
    supply = _supply_side(record, samples)
    if record.duration_s < 1 / low_hz:
        return _without_noise(record, supply, low_hz)
    parts = [_output_findings(record, samples, name, (low_hz, high_hz)) for name in record.outputs]
    return joined([*parts, supply])


def _without_noise(record: BenchRecord, supply: Findings, low_hz: float) -> Findings:
    """Give what the supply tells only: in less than a period of it nobody sees the band's lower edge, nor DC."""
    lasts, wanted = f"it lasts {record.duration_s:.3g} s", f"a period of {low_hz:g} Hz takes {1 / low_hz:.3g} s"
    hint = f"Record {5 / low_hz:.3g} s or longer; a second or more makes the noise well known."
    if not supply.figures:
        raise MeasureError(
            f"{record.recording.source} is too short to measure.",
            why=f"no tone stands in it, {lasts}, and {wanted}, the lower edge of the noise's band",
            hint=hint,
        )
    told = Notice(
        code="too-short-for-noise",
        message=f"Noise and DC are left out: the record is shorter than a period of {low_hz:g} Hz; {lasts}, {wanted}.",
        hint=hint,
        numbers={"duration_s": record.duration_s, "needed_s": 1 / low_hz},
    )
    return joined([Findings(warnings=(told,)), supply])


def _output_findings(record: BenchRecord, samples: Real, name: str, band_hz: tuple[float, float]) -> Findings:
    track, (low_hz, high_hz) = record.voltage(name), band_hz
    if track.role == "unassigned":
        return Findings()
    rate_hz = record.recording.rate_hz
    volts = record.values(track, samples)
    mean = float(volts.mean())
    left = spectrum_of(volts - mean, rate_hz=rate_hz)
    u, dof = scatter_of_mean(volts, None)
    dc = record.reading(track, mean, u=u, dof=dof, label="scatter of the DC")
    figures = [
        record.figure("dc_offset", dc, "V", output=name, conditions={}),
        *_noise(record, track, left, name, (low_hz, high_hz)),
    ]
    noise_v = next(figure.value for figure in figures if figure.name == "noise_rms")
    views = Views(spectrum=(_noise_trace(left, name, low_hz),))
    return Findings(figures=tuple(figures), warnings=idle_line_notices(left, noise_v, name, low_hz=low_hz), views=views)


def _noise(record: BenchRecord, track: Track, left: Spectrum, name: str, band_hz: tuple[float, float]) -> list[Figure]:
    low_hz, high_hz = band_hz
    band: dict[str, Condition] = {"bandwidth_hz": band_hz}
    spread = 0.5 * float(np.sqrt(2 / (dof := noise_degrees_of_freedom(left, low_hz=low_hz, high_hz=high_hz))))
    length = record.observed(f"noise {name}", 1.0, spread, dof=dof, label="length of the noise record")
    factor = length * record.gain_factor(track)
    flat = float(np.sqrt(band_power(left, low_hz=low_hz, high_hz=high_hz)))
    weighted = float(np.sqrt(band_power(left, low_hz=low_hz, high_hz=high_hz, weighting=a_weighting)))
    return [
        record.figure("noise_rms", flat * factor, "V", output=name, conditions={**band, "weighting": "none"}),
        record.figure("noise_rms_a", weighted * factor, "V", output=name, conditions={**band, "weighting": "A"}),
    ]


def _noise_trace(left: Spectrum, name: str, low_hz: float) -> Trace:
    hz, rms = display_spectrum(left, points=POINTS, low_hz=low_hz / 2)
    return Trace(
        name="noise spectrum", output=name, x_label="frequency", x_unit="Hz", y_label="level", y_unit="V",
        x=rounded(hz), y=rounded(np.maximum(rms, 1e-15)),
    )  # fmt: skip


def _supply_side(record: BenchRecord, samples: Real) -> Findings:
    found = supply_findings(record, samples, frequency_hz=None)
    idle = [
        figure.model_copy(update={"name": "idle_current"}) if figure.name == "supply_current" else figure
        for figure in found.figures
    ]
    shown = Findings(views=supply_views(record, samples, shown=samples.shape[1]))
    return joined([Findings(figures=tuple(idle), warnings=found.warnings), shown])
