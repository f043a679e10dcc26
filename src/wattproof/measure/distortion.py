"""How pure a tone is: THD in both bases, THD+N, SINAD, each harmonic, noise, with the recorder's floor beside them."""

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import noise_degrees_of_freedom, noise_without_lines
from wattproof.measure.floor import recorder_floor_ms
from wattproof.measure.model import Condition, Figure
from wattproof.measure.output import HARMONICS_LISTED, SteadyOutput

Real = NDArray[np.float64]


def distortion_figures(output: SteadyOutput) -> list[Figure]:
    """THD in both bases, THD+N, SINAD, the harmonics with their phases, and noise, with the recorder's floor beside.

    Of a tone so high that none of its harmonics lies in the band there is no THD: a sum of nothing is no 0.
    """
    return [*_thd_figures(output), *_noise_figures(output), *_line_figures(output)]


def _thd_figures(output: SteadyOutput) -> list[Figure]:
    if output.highest_in_band < 2:
        return []
    phasors = output.phasors(output.main)[:HARMONICS_LISTED]
    size = np.abs(phasors)
    u_line = output.line_u(output.main)
    listed = size[1:][output.in_band[1:HARMONICS_LISTED]]
    thd = float(np.sqrt((listed**2).sum())) / size[0]
    # noise alone adds 2 u^2 to each squared amplitude on average: what it would read as THD is stated beside it
    floor_thd = u_line * float(np.sqrt(2.0 * listed.size)) / size[0]
    u_thd = _distortion_u(thd * size[0], listed.size, u_line) / size[0]
    label = f"noise on the harmonics {output.output}"
    number = output.record.observed(f"thd {output.output}", thd, u_thd, dof=output.fit.dof, label=label)
    number = number * output.distortion_scatter
    thd_conditions: dict[str, Condition] = {"harmonics": int(listed.size) + 1, "floor": floor_thd}
    return [
        output.figure("thd_f", number, "V/V", basis="fundamental", **thd_conditions),
        output.figure("thd_r", number / (1 + number * number) ** 0.5, "V/V", basis="total", **thd_conditions),
    ]


def _line_figures(output: SteadyOutput) -> list[Figure]:
    """Each harmonic in the band over the fundamental, with its phase."""
    phasors = output.phasors(output.main)[:HARMONICS_LISTED]
    size, u_line = np.abs(phasors), output.line_u(output.main)
    figures = []
    for order in range(2, phasors.size + 1):
        if not output.in_band[order - 1]:
            continue
        phase = float(np.angle(phasors[order - 1] / (phasors[0] / size[0]) ** order))
        name = f"harmonic_{order}"
        line = output.record.observed(
            f"{name} {output.output}", size[order - 1] / size[0], u_line / size[0], dof=output.fit.dof, label="noise"
        )
        figures.append(output.figure(name, line, "V/V", phase_rad=round(phase, 4), floor=u_line / size[0]))
    return figures


def _distortion_u(root: float, n_listed: int, u_line: float) -> float:
    """Give the standard uncertainty of a root sum of squares of lines that each scatter by `u_line`.

    The root scatters by u_line; and noise lifts it by n u_line**2 / root, which is not taken off but counts as doubt.
    """
    return u_line * float(np.hypot(1.0, n_listed * u_line / root)) if root > 0 else u_line * n_listed**0.5


def _noise_figures(output: SteadyOutput) -> list[Figure]:
    low_hz, high_hz = output.band_hz
    role, left = output.main, output.left(output.main)
    total, unwanted = output.mean_square(role), output.mean_square(role, first=2)
    ratio = float(np.sqrt(unwanted / total)) if total > 0 else 0.0
    noise_ms = noise_without_lines(left, low_hz=low_hz, high_hz=high_hz, tone_hz=output.fit.frequency_hz)
    # a record too short to see between the harmonics: what the fit leaves is the best word on its noise
    noise_ms = output.noise_ms(role) if noise_ms is None else noise_ms
    dof = noise_degrees_of_freedom(left, low_hz=low_hz, high_hz=high_hz)
    # a mean square of nu degrees of freedom scatters by sqrt(2/nu); only the noisy share of the residue scatters
    relative = 0.5 * np.sqrt(2 / dof) * (noise_ms / unwanted if unwanted > 0 else 0.0)
    # and the harmonics, as far as the residue is theirs, are blurred by the noise at them
    harmonic_ms = max(unwanted - noise_ms, 0.0)
    blurred = np.sqrt(harmonic_ms) * output.line_u(role) / np.sqrt(2) / unwanted if unwanted > 0 else 0.0
    relative = float(np.hypot(relative, blurred))
    label = f"noise in the residue {output.output}"
    number = output.record.observed(f"thd_n {output.output}", ratio, float(ratio * relative), dof=dof, label=label)
    number = number * output.distortion_scatter
    extra: dict[str, Condition] = {"basis": "total"}
    floor_ms = recorder_floor_ms(output)
    if floor_ms is not None and total > 0:
        extra["floor"] = float(np.sqrt(floor_ms / total))
    figures = [output.figure("thd_n", number, "V/V", **extra)]
    if ratio > 0:
        figures.append(output.figure("sinad", 1 / number, "V/V", **extra))
    noise = float(np.sqrt(noise_ms))
    spread = output.record.observed(
        f"noise {output.output}", 1.0, float(0.5 * np.sqrt(2 / dof)), dof=dof, label="length of the noise record"
    )
    if role != "unassigned":
        figures.append(output.figure("noise_rms", noise * spread * output.scale(role), "V"))
    return figures
