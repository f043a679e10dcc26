"""What no driven step can be without, for sheets that a person has edited."""

from collections.abc import Iterator

from wattproof.errors import SettingsError
from wattproof.plan.costs import Setting
from wattproof.plan.model import Step


def refuse_senseless(step: Step, setting: Setting) -> None:
    """Refuse a driven step that nobody could carry out.

    Raises
    ------
    SettingsError
        It drives no output or one that there is not, has no tone, or levels that no ramp can follow.
    """
    fault = next(_faults(step, setting), None)
    if fault is not None:
        why, hint = fault
        raise SettingsError(f"Step {step.number} of the run sheet, {step.name}, makes no sense.", why=why, hint=hint)


def _faults(step: Step, setting: Setting) -> Iterator[tuple[str, str]]:
    known = setting.amplifier.outputs
    wrong = [output for output in step.outputs if output not in known]
    if wrong or not step.outputs:
        listed = ", ".join(known)
        yield (
            f"it drives {wrong[0] if wrong else 'no output'}; the outputs are {listed}",
            "Name some of these in outputs.",
        )
    if step.tone_hz is None:
        yield "it has no tone_hz", "Write the frequency it is driven with, as in tone_hz: 47.0"
    if step.kind == "ramp" and not (step.from_v_rms and step.to_v_rms and step.from_v_rms < step.to_v_rms):
        yield "a ramp rises from from_v_rms to to_v_rms, the lower to the higher", "Write both, in volts r.m.s."
    if step.kind == "gain" and step.to_v_rms is None:
        yield "the gain step has no to_v_rms", "Write the level at the output, in volts r.m.s."
    if step.kind == "burst" and step.burst is None:
        yield "it has no burst", "Write tone_hz, cycles_on, cycles_period, low_db and bursts, or take the step out."
    if step.kind in {"burst", "hold"} and step.level_from is None:
        yield "it has no level_from", "Name the ramp whose level it plays at."
    if step.burst is not None and step.burst.cycles_on >= step.burst.cycles_period:
        yield "its bursts are as long as their period", "Write a cycles_period of more than cycles_on."
