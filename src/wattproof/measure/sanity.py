"""Sanity speaks up: what a careful colleague would say on seeing these numbers."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import Line, MainsHum, Spectrum, find_lines, find_mains, flat_top, frequencies_folding_to
from wattproof.errors import Notice
from wattproof.measure.model import Figure
from wattproof.measure.output import SteadyOutput
from wattproof.measure.power import load_impedance
from wattproof.measure.record import BenchRecord, Track
from wattproof.measure.steadiness import steadiness_notices
from wattproof.quantity import correlation

Real = NDArray[np.float64]

FEW_CYCLES = 10
POINTS_A_CYCLE = 32
LOWEST_OF_CLIPPING = 3
"""Symmetric clipping makes odd harmonics: without the third a distortion does not see it."""

FAINTEST = 1e-5
"""Lines under this share of the tone (-100 dB) are not worth a word."""

SWITCHING_HZ = (50e3, 2.5e6)
ANGLE_SIGMA = 3.0
SMALLEST_ANGLE_RAD = np.radians(0.5)
LINES_TOLD = 4

LARGEST = 1e15
"""No recorder writes such a number: 1e37 and the like stand for off-scale samples in files."""

SMALLEST = 1e-30
"""A channel that never exceeds this, and is not silent, is no recording either."""


def clip_edge(track: Track) -> float | None:
    """Magnitude in file units from which a sample counts as clipped; None where the limit is unknown."""
    limit = track.full_scale
    # the largest positive code of a PCM file lies one step under full scale
    return None if limit is None else limit - 1.5 * (track.channel.step or limit * 1e-6)


def clipped_samples(track: Track, file_values: NDArray[np.float32] | Real, *, largest: float) -> int:
    """Count samples of a track at the recorder's limit, given their `largest` magnitude; 0 where no limit is known."""
    edge = clip_edge(track)
    if edge is None or largest < edge:
        return 0
    return int(np.count_nonzero(np.abs(file_values) >= edge))


def clipped_notice(track: Track, count: int, size: int) -> Notice:
    """Tell that a recorder's input clipped."""
    return Notice(
        code="clipped-input",
        message=f"{count} of {size} samples of {track.role} (channel {track.channel.name}) reach the recorder's limit.",
        hint="The recorder clips, not only the amplifier: lower its gain or divide more, and repeat the capture.",
        numbers={"clipped": count, "samples": size},
    )


def overdue_notices(record: BenchRecord) -> tuple[Notice, ...]:
    """Tell of calibrations that were overdue on the day of the capture."""
    return () if record.captured_on is None else record.bench.overdue(record.captured_on)


def tone_notices(output: SteadyOutput) -> tuple[Notice, ...]:
    """Look at the tone itself: few cycles, a level that moves, a clipped waveform, a mains multiple."""
    notices, fit = [], output.fit
    if fit.cycles < FEW_CYCLES:
        notices.append(
            Notice(
                code="few-cycles",
                message=f"The record holds only {fit.cycles:.1f} cycles of {fit.frequency_hz:.4g} Hz.",
                hint="Figures stand, noise in them is larger: "
                f"record {_rounded_up_s(FEW_CYCLES / fit.frequency_hz):g} s or longer.",
                numbers={"cycles": fit.cycles},
            )
        )
    notices += steadiness_notices(
        output.frame_tones,
        output=output.output,
        frequency_hz=fit.frequency_hz,
        residue_rad=float(np.sqrt(output.mean_square(output.main, first=2) / output.mean_square(output.main))),
        noise_rad=output.frame_noise,
    )
    if output.highest_in_band < LOWEST_OF_CLIPPING:
        notices.append(_blind_notice(output))
    # of a tone near a fraction of the sample rate the same few points come again and again: that is no flat top
    seen = fit.rate_hz / fit.frequency_hz >= POINTS_A_CYCLE
    if seen and (flat := flat_top(output.samples[0, : _some_cycles(output)])).clipped:
        notices.append(
            Notice(
                code="clipped-waveform",
                message=f"The waveform of output {output.output} stays near its extremes {flat.ratio:.1f} times as "
                "long as a sine: it is clipped.",
                hint="The amplifier (or what drives it) clips here: quote the power together with the distortion.",
                numbers={"ratio": flat.ratio, "upper": flat.upper, "lower": flat.lower},
            )
        )
    return tuple(notices)


def _blind_notice(output: SteadyOutput) -> Notice:
    tone_hz, high_hz = output.fit.frequency_hz, output.band_hz[1]
    seen = "only the second harmonic" if output.highest_in_band == 2 else "no harmonic"
    lost = (
        "the distortion is blind to symmetric clipping, which makes odd ones"
        if output.highest_in_band == 2
        else "there is no THD, and THD+N is noise alone"
    )
    return Notice(
        code="harmonics-out-of-band",
        message=f"Output {output.output}: {seen} of {tone_hz:.6g} Hz lies in the band up to {high_hz:g} Hz: {lost}.",
        hint=f"Look at the crest factor and the gain; use a tone under {_rounded_down_hz(high_hz / 3):g} Hz or, with a "
        "recorder fast enough, a higher --high-hz.",
        numbers={"frequency_hz": tone_hz, "high_hz": high_hz, "highest_harmonic": float(output.highest_in_band)},
    )


def _rounded_down_hz(hz: float) -> float:
    """Round down to two figures: a tone under that must be low enough."""
    step = 10.0 ** (np.floor(np.log10(hz)) - 1)
    return float(np.floor(hz / step) * step)


def _rounded_up_s(seconds: float) -> float:
    """Round up to two figures: advice that is followed must cure."""
    step = 10.0 ** (np.floor(np.log10(seconds)) - 1)
    return float(f"{np.ceil(seconds / step * (1 + 1e-3)) * step:.3g}")


def _some_cycles(output: SteadyOutput) -> int:
    """Count the samples of up to 20 whole cycles."""
    cycles = min(20, int(output.fit.cycles))
    return round(cycles * output.fit.rate_hz / output.fit.frequency_hz)


def power_notices(output: SteadyOutput, figures: Sequence[Figure]) -> tuple[Notice, ...]:
    """Look at power and load: a reversed channel, a resistor with a phase, powers or loads that differ."""
    power = next((figure for figure in figures if figure.name == "load_power"), None)
    if power is None:
        return ()
    if power.value < -2 * power.u:
        return (
            Notice(
                code="negative-power",
                message=f"The power into output {output.output} comes out as {power.value:.4g} W.",
                hint="The voltage or the current channel is reversed: swap its leads or give its scale a minus sign.",
                numbers={"load_power_w": power.value},
            ),
        )
    if not output.has_current:
        return (_open_notice(output),)
    return (*_angle_notices(output), *_two_power_notices(figures), *_load_notices(output, figures))


def _open_notice(output: SteadyOutput) -> Notice:
    return Notice(
        code="no-load-current",
        message=f"No current at the tone stands out on output {output.output}.",
        hint="Check that the load is connected and which input its current is on: the power is that of no load.",
        numbers={"load_current_a": float(np.abs(output.phasors("load_current")[0])) / 2**0.5},
    )


def _angle_notices(output: SteadyOutput) -> list[Notice]:
    load, fit = output.record.load, output.fit
    if load is None:
        return []
    omega = 2 * np.pi * fit.frequency_hz
    _, angle = load_impedance(output)
    excess = angle - float(np.arctan2(omega * load.inductance_h, load.resistance_ohm))
    skew_u = float(
        np.hypot(output.tracks[output.main].calibration.skew_u_s, output.tracks["load_current"].calibration.skew_u_s)
    )
    noise = float(np.hypot(*(output.line_u(r) / abs(fit.phasors[output.rows[r], 0])
                             for r in (output.main, "load_current"))))  # fmt: skip
    allowed = max(ANGLE_SIGMA * float(np.hypot(omega * skew_u, noise)), SMALLEST_ANGLE_RAD)
    if abs(excess) <= allowed:
        return []
    return [
        Notice(
            code="phase-on-resistor",
            message=f"Load {load.name} is a resistor, yet voltage {'leads' if excess > 0 else 'lags'} current by "
            f"{abs(np.degrees(excess)):.2f} degrees that no inductance of it explains: "
            f"{abs(excess) / omega * 1e6:.1f} µs at {fit.frequency_hz:.4g} Hz.",
            hint="If the load is that resistor, the channels are skewed: put the time into skew_s of the current "
            "channel. If it is a loudspeaker, do not name a resistor as the load.",
            numbers={"angle_rad": excess, "skew_s": excess / omega},
        )
    ]


def _two_power_notices(figures: Sequence[Figure]) -> list[Notice]:
    named = {figure.name: figure for figure in figures}
    power, square = named["load_power"], named["load_power_v2r"]
    gap = square.value - power.value
    # both move together with the scales: what could part them is the skew and the noise
    shared = correlation(power, square) * power.u * square.u
    apart = max(power.u**2 + square.u**2 - 2 * shared, 0.0) ** 0.5
    if abs(gap) <= max(2 * apart, 0.005 * power.value):
        return []
    return [
        Notice(
            code="powers-differ",
            message=f"V²/R gives {square.value:.4g} W where the mean of v·i is {power.value:.4g} W.",
            hint="The load is not a pure resistance at this frequency, or the channels are skewed. "
            "The mean of v·i is what is delivered.",
            numbers={"load_power_v2r_w": square.value, "load_power_w": power.value},
        )
    ]


def _load_notices(output: SteadyOutput, figures: Sequence[Figure]) -> list[Notice]:
    load = output.record.load
    found = next(figure for figure in figures if figure.name == "load_resistance")
    if load is None:
        return []
    heating = abs(load.tempco_per_k) * (load.rise_k or 100.0) * load.resistance_ohm
    allowed = 2 * float(np.hypot(found.u, load.resistance_u_ohm)) + heating
    gap = found.value - load.resistance_ohm
    if abs(gap) <= max(allowed, 0.005 * load.resistance_ohm):
        return []
    return [
        Notice(
            code="load-differs",
            message=f"Volts over amperes give {found.value:.4g} ohm; the load named has {load.resistance_ohm:.4g} ohm.",
            hint="Another load may be connected, leads or contacts may add resistance, or a scale is wrong.",
            numbers={"load_resistance_ohm": found.value, "named_ohm": load.resistance_ohm},
        )
    ]


def line_notices(output: SteadyOutput) -> tuple[Notice, ...]:
    """Look for lines in what the fit leaves: mains, and what may be switching residue folded down."""
    left, tone_hz = output.left(output.main), output.fit.frequency_hz
    level = float(np.abs(output.fit.phasors[0, 0])) / np.sqrt(2)
    low_hz, high_hz = output.band_hz
    lines = find_lines(left, low_hz=low_hz, high_hz=high_hz, fewest_rms=FAINTEST * level)
    lines = tuple(line for line in lines if not _is_harmonic(line.frequency_hz, tone_hz, left.bin_hz))
    return _lines_told(lines, left, level=level, against=f"of output {output.output}'s tone", tone_hz=tone_hz)


def idle_line_notices(left: Spectrum, noise_v: float, name: str, *, low_hz: float) -> tuple[Notice, ...]:
    """Look for lines in an idle output's noise that carry a tenth of it or more."""
    lines = find_lines(left, low_hz=low_hz, high_hz=left.rate_hz / 2, fewest_rms=0.1 * noise_v)
    return _lines_told(lines, left, level=noise_v, against=f"of output {name}'s noise", tone_hz=None)


def _is_harmonic(hz: float, tone_hz: float, bin_hz: float) -> bool:
    return abs(hz - tone_hz * round(hz / tone_hz)) <= 3 * bin_hz


def _lines_told(
    lines: tuple[Line, ...], left: Spectrum, *, level: float, against: str, tone_hz: float | None
) -> tuple[Notice, ...]:
    hum = find_mains(lines, bin_hz=left.bin_hz, tone_hz=tone_hz)
    rest = [line for line in lines if hum is None or line not in hum.lines]
    told = [] if hum is None else [_mains_notice(hum, level, against)]
    if rest:
        told.append(_stray_notice(max(rest, key=lambda line: line.rms), level, against, left.rate_hz))
    return tuple(told)


def _percent(ratio: float) -> str:
    return f"{100 * ratio:.2g} %"


def _mains_notice(hum: MainsHum, level: float, against: str) -> Notice:
    strongest = sorted(hum.lines, key=lambda line: -line.rms)[:LINES_TOLD]
    told = ", ".join(f"{line.frequency_hz:.0f} Hz" for line in strongest)
    return Notice(
        code="mains-lines",
        message=f"Mains lines stand in the record ({told}): together {_percent(hum.rms / level)} {against}.",
        hint="They count as noise. Look for a ground loop: laptop on battery, one ground, drive cable away from mains.",
        numbers={"mains_hz": hum.mains_hz, "ratio": hum.rms / level},
    )


def _stray_notice(line: Line, level: float, against: str, rate_hz: float) -> Notice:
    low_hz, high_hz = SWITCHING_HZ
    images = frequencies_folding_to(line.frequency_hz, rate_hz=rate_hz, low_hz=low_hz, high_hz=high_hz)
    shown = ", ".join(f"{image / 1e3:.4g}" for image in images[:LINES_TOLD])
    return Notice(
        code="stray-line",
        message=f"A line at {line.frequency_hz:.5g} Hz ({_percent(line.rms / level)} {against}) is no harmonic.",
        hint=f"It may be switching residue folded down from {shown} ... kHz: record at another sample rate and see "
        "whether it moves, and put a low-pass before the recorder.",
        numbers={"frequency_hz": line.frequency_hz, "ratio": line.rms / level},
    )
