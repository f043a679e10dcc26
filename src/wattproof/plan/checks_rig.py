"""Whether the generator reaches every output and drives it far enough."""

from collections.abc import Iterator, Sequence
from math import sqrt

from wattproof.amplifier import Amplifier
from wattproof.plan.costs import Setting, StepCosts
from wattproof.plan.model import Check
from wattproof.plan.powers import stop_overdrive


def rig_checks(driven: Sequence[StepCosts], setting: Setting) -> Iterator[Check]:
    """Look at what plays: its channels, and its volts against the gain or the sensitivity that is stated."""
    rig = setting.bench.rig
    if rig is None:
        yield Check(
            code="no-rig", state="doubtful",
            message="The bench file has no [rig]: the steps must be played and recorded by hand.",
            hint='Write [rig] with kind = "audio" in the bench file to have the sheet carried out.',
        )  # fmt: skip
        return
    missing = sorted({o for costs in driven for o in costs.step.outputs if o not in rig.drive_outputs})
    if missing:
        yield Check(
            code="drive-outputs", state="refused", numbers={"missing": float(len(missing))},
            message=f"The generator drives {', '.join(rig.drive_outputs)}; the sheet also wants {', '.join(missing)}.",
            hint="Add them to drive_outputs under [rig]; one generator channel may feed several inputs.",
        )  # fmt: skip
    levels = [costs for costs in driven if costs.step.kind == "ramp"]
    if levels:
        yield _generator(levels, setting.amplifier, rig.drive_v_full_scale / sqrt(2))


def _generator(ramps: Sequence[StepCosts], amplifier: Amplifier, reach_v: float) -> Check:
    worst = max(ramps, key=lambda costs: costs.end_v)
    gains = gain_range(amplifier, max(costs.power.knee_v_rms or 0.0 for costs in ramps))
    number = worst.step.number
    if not gains:
        return Check(
            code="generator", state="doubtful", step=number, numbers={"reach_v_rms": reach_v},
            message=f"The generator gives {reach_v:.3g} V r.m.s.; neither gain nor sensitivity is stated.",
            hint="The gain step shows it before anything is stressed; turn the gain up if the ramp ends early.",
        )  # fmt: skip
    need_v = worst.end_v / max(gains)
    clean_v = need_v / stop_overdrive()
    state, hint = "good", ""
    if clean_v > reach_v:
        state, hint = "refused", "Turn the amplifier's gain up and state it, or use a generator with more volts."
    elif need_v > reach_v:
        state, hint = "doubtful", "The knee is reached but not 12 % distortion: turn the gain up."
    return Check(
        code="generator", state=state, hint=hint, step=number, numbers={"need_v_rms": need_v, "reach_v_rms": reach_v},
        message=f"{worst.step.name} needs {need_v:.3g} V r.m.s. at the amplifier's input; "
        f"the generator gives {reach_v:.3g} V.",
    )  # fmt: skip


def gain_range(amplifier: Amplifier, knee_v: float) -> tuple[float, ...]:
    """Give the gains that the maker's gain and sensitivity ratings amount to, V/V.

    Parameters
    ----------
    amplifier : Amplifier
    knee_v : float, V rms
        Output at rated power, which a sensitivity is stated for.
    """
    gains = [
        10 ** (rating.value / 20) if rating.unit == "dB" else rating.value
        for rating in amplifier.ratings
        if rating.quantity == "gain" and rating.value > 0
    ]
    gains += [
        knee_v / rating.value_si
        for rating in amplifier.ratings
        if rating.quantity == "sensitivity" and rating.value_si > 0 and knee_v > 0
    ]
    return tuple(gains)
