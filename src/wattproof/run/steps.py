"""What each kind of step plays, and at which level."""

from collections.abc import Callable, Mapping
from statistics import median

from wattproof.capture import BurstDrive, SilentDrive, ToneDrive
from wattproof.errors import RefusedError
from wattproof.plan import Step, StepKind
from wattproof.run.knowledge import LOWER_LIMIT, UPPER_LIMIT
from wattproof.run.playing import Keeping, Played, play
from wattproof.run.ramps import carry_ramp
from wattproof.run.seeking import known_gain, seek_gain, tone_of
from wattproof.run.stage import Stage

EDGE_S = 0.25
"""A steady capture leaves out so much at both ends, seconds: soft start and end, and what the amplifier settles in."""


def carry_step(stage: Stage, step: Step) -> Played:
    """Carry out a step on a bench that is ready for it.

    Parameters
    ----------
    stage : Stage
    step : Step

    Raises
    ------
    RefusedError
        The step lacks what its kind needs, or no ramp has found its level.
    CaptureFailedError
        Samples were lost.
    RigError
        The output does not follow the drive, or a part is gone.
    StoppedPlayError
        The guard stopped a search for the gain.
    """
    return CARRIED[step.kind](stage, step)


def _quiet(stage: Stage, step: Step) -> Played:
    drive = SilentDrive(seconds=step.seconds, outputs=step.outputs or stage.rig.outputs, rate_hz=stage.rig.rate_hz)
    outputs = step.outputs or stage.rig.outputs
    return play(stage, step, drive, outputs=outputs, tone_hz=None, keeping=Keeping(note="No drive."))


def _gain(stage: Stage, step: Step) -> Played:
    wanted_v_rms = step.to_v_rms
    if wanted_v_rms is None:
        raise _lacks(step, "to_v_rms, the level at which the gain is wanted")
    gain = seek_gain(stage, step, level_v_rms=wanted_v_rms)
    level_v_rms = min(wanted_v_rms / gain, stage.ceiling_v_rms)
    edge_s = min(EDGE_S, step.seconds / 4)
    played = _tone(stage, step, level_v_rms=level_v_rms, between_s=(edge_s, step.seconds - edge_s))
    even = [seen for seen in played.course if seen.frame.thd_n is not None and seen.frame.output_v_rms]
    gains = [(seen.frame.output_v_rms or 0.0) / seen.drive_v_rms for seen in even]
    if gains and played.trip is None:
        stage.knowledge = stage.knowledge.with_gain(step.outputs, median(gains))
    return played


def _tone(
    stage: Stage, step: Step, *, level_v_rms: float, why: str = "", between_s: tuple[float, float] | None = None
) -> Played:
    tone_hz = tone_of(step)
    drive = ToneDrive(
        level_v_rms=level_v_rms,
        seconds=step.seconds,
        tone_hz=tone_hz,
        outputs=step.outputs,
        rate_hz=stage.rig.rate_hz,
    )
    note = f"{tone_hz:g} Hz, drive {level_v_rms:.4g} V r.m.s.{why}"
    return play(
        stage, step, drive, outputs=step.outputs, tone_hz=tone_hz, keeping=Keeping(note=note, between_s=between_s)
    )


def _hold(stage: Stage, step: Step) -> Played:
    level_v_rms, why = _found_level(stage, step, LOWER_LIMIT)
    return _tone(stage, step, level_v_rms=level_v_rms, why=why)


def _burst(stage: Stage, step: Step) -> Played:
    pattern = step.burst
    if pattern is None:
        raise _lacks(step, "its burst pattern")
    level_v_rms, why = _found_level(stage, step, UPPER_LIMIT)
    drive = BurstDrive(
        level_v_rms=level_v_rms,
        low_db=pattern.low_db,
        cycles_on=pattern.cycles_on,
        cycles_period=pattern.cycles_period,
        bursts=pattern.bursts,
        tone_hz=pattern.tone_hz,
        outputs=step.outputs,
        rate_hz=stage.rig.rate_hz,
    )
    note = (
        f"{pattern.bursts} bursts of {pattern.cycles_on} cycles of {pattern.tone_hz:g} Hz every "
        f"{pattern.cycles_period}, drive {level_v_rms:.4g} V r.m.s.{why}, between them {pattern.low_db:g} dB."
    )
    return play(stage, step, drive, outputs=step.outputs, tone_hz=pattern.tone_hz, keeping=Keeping(note=note))


def _found_level(stage: Stage, step: Step, limit: float) -> tuple[float, str]:
    """Give the drive at which the ramp passed a limit, the lower one where it passed no more; with words for it.

    It is never above what the step may ask for, nor above what the generator gives.
    """
    ramp = stage.knowledge.ramp(step.level_from)
    found = None if ramp is None else (ramp.level(limit) or ramp.level(LOWER_LIMIT))
    if found is None:
        raise RefusedError(
            f"Step {step.number}, {step.name}, has no level to play at.",
            why=f'no ramp named "{step.level_from}" has reached {100 * LOWER_LIMIT:g} % THD+N in this session',
            hint=f'Repeat the step "{step.level_from}", or skip this one.',
        )
    level_v_rms, words = found.drive_v_rms, f", where {step.level_from} passed {100 * found.thd_n:g} % THD+N"
    most_v_rms = stage.ceiling_v_rms
    if step.to_v_rms is not None:
        most_v_rms = min(most_v_rms, step.to_v_rms / known_gain(stage, step))
    if level_v_rms > most_v_rms:
        return most_v_rms, f", the highest that this step may ask for (below{words[7:]})"
    return level_v_rms, words


def _lacks(step: Step, what: str) -> RefusedError:
    return RefusedError(
        f"Step {step.number}, {step.name}, cannot be carried out.",
        why=f"it does not say {what}",
        hint="Make the run sheet again with wattproof plan.",
    )


CARRIED: Mapping[StepKind, Callable[[Stage, Step], Played]] = {
    "floor": _quiet,
    "idle": _quiet,
    "gain": _gain,
    "ramp": carry_ramp,
    "burst": _burst,
    "hold": _hold,
}
