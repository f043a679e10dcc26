"""The small-signal gain: a tone that rises from next to nothing until the output shows the level asked for."""

from wattproof.capture import RampDrive
from wattproof.errors import RefusedError, RigError
from wattproof.plan import Step
from wattproof.run.course import Seen
from wattproof.run.playing import StoppedPlayError, play
from wattproof.run.stage import Stage

RISE_DB_PER_S = 20.0
START_SHARE = 1 / 2000
"""The search begins at the wanted output level over the highest gain there may be."""

ENOUGH = 0.7
"""The search ends at this share of the level: frames come late, and the tone rises on."""

LONGEST_S = 10.0
"""From the first level to the highest that a generator gives, seconds."""

SMALL_SHARE = 0.03
"""A ramp without a known gain looks for it at this share of its knee."""


class _Seek:
    """Ends a rising tone where the output shows enough, and remembers the gain there."""

    def __init__(self, drive: RampDrive, *, enough_v_rms: float) -> None:
        self._drive, self._enough_v_rms = drive, enough_v_rms
        self.gain: float | None = None
        self.highest_v_rms = 0.0

    def block(self, end: int) -> None:
        """Nothing depends on the clock."""

    def frame(self, seen: Seen) -> None:
        """Take the gain of the first frame with a clean tone of the level."""
        level_v_rms = seen.frame.output_v_rms or 0.0
        self.highest_v_rms = max(self.highest_v_rms, level_v_rms)
        if self.gain is None and level_v_rms >= self._enough_v_rms and seen.frame.thd_n is not None:
            self.gain = level_v_rms / seen.drive_v_rms
            self._drive.finish()


def known_gain(stage: Stage, step: Step) -> float:
    """Give the gain of the step's outputs; looked for with a small tone, if no step before has found it."""
    gain = stage.knowledge.gain(step.outputs)
    if gain is not None:
        return gain
    highest_v_rms = step.knee_v_rms or step.to_v_rms
    if highest_v_rms is None:
        raise RefusedError(
            f"Step {step.number}, {step.name}, cannot be carried out.",
            why="no gain is known, and the step names no knee_v_rms or to_v_rms to look for it below",
            hint="Put a gain step before it, or make the run sheet again with wattproof plan.",
        )
    return seek_gain(stage, step, level_v_rms=SMALL_SHARE * highest_v_rms)


def seek_gain(stage: Stage, step: Step, *, level_v_rms: float) -> float:
    """Raise a small tone until the output shows a level, and learn the gain; no capture is kept of it.

    Parameters
    ----------
    stage : Stage
    step : Step
        Whose outputs and load they are.
    level_v_rms : float, V
        At the output.

    Raises
    ------
    RigError
        The drive reached its ceiling and the output never showed the level.
    StoppedPlayError
        The guard stopped it.
    """
    start_v_rms = START_SHARE * level_v_rms
    drive = RampDrive(
        start_v_rms=min(start_v_rms, 0.1 * stage.ceiling_v_rms),
        ceiling_v_rms=stage.ceiling_v_rms,
        fast_db_per_s=RISE_DB_PER_S,
        slow_db_per_s=RISE_DB_PER_S,
        seconds_max=LONGEST_S,
        tone_hz=tone_of(step),
        outputs=step.outputs,
        rate_hz=stage.rig.rate_hz,
    )
    control = _Seek(drive, enough_v_rms=ENOUGH * level_v_rms)
    played = play(stage, step, drive, outputs=step.outputs, tone_hz=tone_of(step), keeping=None, control=control)
    if played.trip is not None:
        raise StoppedPlayError(played, played.trip)
    if control.gain is None:
        raise RigError(
            f"Output {step.outputs[0]} does not follow the drive.",
            why=f"{stage.ceiling_v_rms:.3g} V r.m.s. at its input brought {control.highest_v_rms:.3g} V r.m.s., "
            f"{level_v_rms:.3g} V were wanted",
            hint="Check that the amplifier is switched on (remote lead), its gain control, the cables of drive and "
            "load, and the recorder's input.",
        )
    stage.knowledge = stage.knowledge.with_gain(step.outputs, control.gain)
    return control.gain


def tone_of(step: Step) -> float:
    """Give the step's tone, Hz.

    Raises
    ------
    RefusedError
        It names none.
    """
    if step.tone_hz is None or not step.outputs:
        raise RefusedError(
            f"Step {step.number}, {step.name}, cannot be carried out.",
            why="it names no tone_hz, or no outputs",
            hint="Make the run sheet again with wattproof plan.",
        )
    return step.tone_hz
