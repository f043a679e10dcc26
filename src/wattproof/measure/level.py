"""How large a tone is: frequency, voltage, current, DC, crest factor and gain."""

import numpy as np

from wattproof.dsp import true_peak
from wattproof.measure.model import Condition, Figure
from wattproof.measure.output import SteadyOutput
from wattproof.measure.power import load_current


def level_figures(output: SteadyOutput) -> list[Figure]:
    """Frequency, voltages, DC and crest factor."""
    fit, record = output.fit, output.record
    frequency = record.observed(
        f"frequency {output.output}", fit.frequency_hz, fit.frequency_u_hz, dof=fit.dof, label="noise on the frequency"
    )
    # without a stated doubt of the recorder's clock the figure says that it was taken as exact
    clock: dict[str, Condition] = {} if record.bench.clock_u else {"clock": "taken as exact"}
    figures = [output.figure("fundamental_frequency", frequency * record.clock_factor(), "Hz", **clock)]
    rms = float(np.sqrt(output.mean_square(output.main)))
    track = output.tracks[output.main]
    peak = true_peak(output.samples[0] - fit.dc[0])
    figures.append(_crest_factor(output, peak / rms, peak))
    if output.main == "unassigned":
        return figures
    level = output.scale(output.main) * output.noise_factor(output.main)
    repeat = output.repeatability
    fundamental = float(np.abs(fit.phasors[0, 0])) / np.sqrt(2)
    figures.append(output.figure("load_voltage_rms", rms * level * repeat * output.counted_noise(output.main), "V"))
    figures.append(output.figure("load_voltage_fundamental", fundamental * level * repeat, "V"))
    dc = record.reading(track, float(fit.dc[0]), u=float(fit.dc_u[0]), dof=fit.dof, label="noise on the DC")
    figures.append(output.figure("dc_offset", dc, "V"))
    if "load_current" in output.tracks:
        figures.append(output.figure("load_current_rms", load_current(output), "A"))
    return figures


def _crest_factor(output: SteadyOutput, ratio: float, peak: float) -> Figure:
    """Peak over r.m.s.: the scale cancels; the peak, unlike the rest, is that of the whole recorded band."""
    noise = float(np.sqrt(output.fit.residual_ms[0])) / peak
    what = f"noise at the peak {output.output}"
    number = ratio * output.record.observed(what, 1.0, noise, dof=output.fit.dof, label="noise at the peak")
    return output.figure("crest_factor", number, "1", peak_bandwidth_hz=(0.0, output.fit.rate_hz / 2))


def gain_figures(output: SteadyOutput) -> list[Figure]:
    """Gain from drive to load at the fundamental, with its phase; nothing where the drive does not stand out."""
    if "drive_voltage" not in output.tracks or output.main == "unassigned":
        return []
    out, drive = output.phasors(output.main)[0], output.phasors("drive_voltage")[0]
    if np.abs(drive) <= 3 * output.fit.amplitude_u[output.rows["drive_voltage"]]:
        return []
    factor = output.scale(output.main) * output.noise_factor(output.main)
    factor = factor / (output.scale("drive_voltage") * output.noise_factor("drive_voltage"))
    phase = float(np.angle(out / drive))
    return [output.figure("gain", float(np.abs(out / drive)) * factor, "V/V", phase_rad=round(phase, 6))]
