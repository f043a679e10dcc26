"""What a careful colleague would say of a ramp."""

from collections.abc import Sequence

import numpy as np

from wattproof.errors import Notice
from wattproof.measure.frames import OutputFrames
from wattproof.measure.ramp_gain import GainLine

FEW_FRAMES = 40
WANDER_RAD = 0.2


def frame_notices(frames: OutputFrames, line: GainLine) -> tuple[Notice, ...]:
    """Tell of a tone that moves, of a ramp with few frames, and of frames in which the level changes much."""
    told = []
    if line.wander_rad > WANDER_RAD:
        told.append(
            Notice(
                code="tone-not-steady",
                message=f"Output {frames.output}: the tone's phase departs by {line.wander_rad:.2g} rad from that of a "
                f"steady {line.frequency_hz:.6g} Hz.",
                hint="Use a generator that keeps its frequency and phase while the level rises.",
                numbers={"phase_rad": line.wander_rad, "frequency_hz": line.frequency_hz},
            )
        )
    if frames.grid.n_frames < FEW_FRAMES:
        told.append(
            Notice(
                code="few-frames",
                message=f"Output {frames.output}: the ramp holds only {frames.grid.n_frames} half-overlapping frames "
                f"of {frames.grid.n_cycles} cycles.",
                hint="Let the level rise more slowly, so that more cycles lie between small signal and clipping.",
                numbers={"frames": frames.grid.n_frames, "frame_s": frames.grid.frame_s},
            )
        )
    return tuple(told)


def power_notices(frames: OutputFrames, efficiency: float | None) -> tuple[Notice, ...]:
    """Tell of power that flows backwards, and of more power coming out than goes in."""
    told = []
    if frames.power is not None and frames.power[-1] < 0:
        told.append(
            Notice(
                code="negative-power",
                message=f"The power into output {frames.output} comes out as {frames.power[-1]:.4g} W.",
                hint="The voltage or the current channel is reversed: swap its leads or give its scale a minus sign.",
                numbers={"load_power_w": float(frames.power[-1])},
            )
        )
    if efficiency is not None and efficiency > 1:
        told.append(
            Notice(
                code="efficiency-over-1",
                message=f"Efficiency comes out as {100 * efficiency:.1f} %: more leaves than enters the amplifier.",
                hint="Check the scales of the four channels against a meter, and the load's resistance. On a fast ramp "
                "the amplifier's own storage may feed the load: let the level rise more slowly.",
                numbers={"efficiency": efficiency},
            )
        )
    return tuple(told)


def limit_notice(frames: OutputFrames, limits: Sequence[float]) -> Notice:
    """Tell why limits of distortion give no figure: never reached, or never under them."""
    thd_n = frames.thd_n
    lowest = int(np.argmin(thd_n))
    highest = lowest + int(np.argmax(thd_n[lowest:]))
    named = ", ".join(f"{100 * limit:.6g}" for limit in limits)
    numbers = {"lowest_thd_n": float(thd_n[lowest]), "highest_thd_n": float(thd_n[highest])}
    if thd_n[lowest] >= max(limits):
        return Notice(
            code="limit-not-reached",
            message=f"Output {frames.output}: distortion and noise lie above {named} % all along; "
            f"the least is {100 * thd_n[lowest]:.3g} % at {_level(frames, lowest)}.",
            hint="Ask for a higher limit, or lower the noise: use more of the recorder's range, or a narrower band.",
            numbers=numbers,
        )
    return Notice(
        code="limit-not-reached",
        message=f"Output {frames.output}: distortion and noise reach {100 * thd_n[highest]:.3g} % at most, at "
        f"{_level(frames, highest)}; the way up never crosses {named} %.",
        hint=_higher(frames),
        numbers=numbers,
    )


def _higher(frames: OutputFrames) -> str:
    if 3 * frames.grid.tone_hz > frames.band_hz[1]:
        return (
            f"The third harmonic of {frames.grid.tone_hz:.6g} Hz lies outside the band of {frames.band_hz[1]:g} Hz, so "
            "that even clipping does not show: use a lower tone or, with a faster recorder, a higher band edge."
        )
    if frames.cut_off:
        return "The recorder clips before that: lower its gain or divide more, and repeat the capture."
    return "Let the level rise further, or ask for a lower limit."


def onset_notice(frames: OutputFrames) -> Notice:
    """Tell that no onset of clipping was found."""
    highest = int(np.argmax(frames.volts))
    return Notice(
        code="clip-onset-not-found",
        message=f"Output {frames.output}: no steep rise of distortion was found up to {_level(frames, highest)}.",
        hint=_higher(frames),
        numbers={"volts": float(frames.volts[highest]), "thd_n": float(frames.thd_n[highest])},
    )


def clipped_notice(frames: OutputFrames) -> Notice:
    """Tell that the recorder clips at the ramp's top, and that the frames end there."""
    last = frames.grid.n_frames - 1
    return Notice(
        code="clipped-input",
        message=f"Output {frames.output}: the recorder's input clips at {float(frames.t_s[last]):.4g} s "
        f"({_level(frames, last)}); nothing beyond is used.",
        hint="The distortion there is the recorder's: lower its gain or divide more, and repeat the capture.",
        numbers={"t_s": float(frames.t_s[last]), "volts": float(frames.volts[last])},
    )


def unscaled_notice(frames: OutputFrames) -> Notice:
    """Tell what is missing for power."""
    missing = (
        "neither a load current nor a load is known"
        if frames.calibrated
        else "the voltage channel has no scale in volts"
    )
    return Notice(
        code="no-power",
        message=f"Output {frames.output}: {missing}, so levels are given instead of powers.",
        hint="Name the load with --load or --load-ohm, or give a bench file with the channels' scales.",
    )


def _level(frames: OutputFrames, index: int) -> str:
    if frames.power is not None:
        return f"{float(frames.power[index]):.4g} W"
    return f"{float(frames.volts[index]):.4g} {frames.unit} r.m.s"
