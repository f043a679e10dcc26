"""Whether every quantity is recorded, without overload and with enough of the range."""

from collections.abc import Iterator, Sequence
from math import sqrt

from wattproof.bench import BenchChannel, Role
from wattproof.plan.checks_supply import PULSE_BELOW_HZ, PULSE_PEAK
from wattproof.plan.costs import Setting, StepCosts
from wattproof.plan.model import Check
from wattproof.plan.powers import reach_of

ROOM = 1.15
"""A channel wants so much more range than is expected."""

LITTLE_USE = 0.1
AUDIO_FULL_SCALE = 1.0

LOST: dict[Role, str] = {
    "load_voltage": "no power, and the guard is blind",
    "load_current": "power comes from V²/R only, and an open or shorted load is not seen",
    "supply_voltage": "the volts at which a power was made are not known, and there is no efficiency",
    "supply_current": "no efficiency, no heat, and the guard does not see the supply's current",
    "drive_voltage": "gain and the level that was asked for are not recorded",
}
"""What is lost without a channel."""


def channel_checks(driven: Sequence[StepCosts], setting: Setting) -> Iterator[Check]:
    """Look at every channel that the day wants: whether there is one, and whether its range fits."""
    if not driven:
        return
    for output in dict.fromkeys(output for costs in driven for output in costs.step.outputs):
        own = [costs for costs in driven if output in costs.step.outputs]
        yield from _role(setting, "load_voltage", output, *_peaks(own, amps=False))
        yield from _role(setting, "load_current", output, *_peaks(own, amps=True))
    worst = max(driven, key=lambda costs: (costs.limit_current_a, costs.step.kind == "ramp"))
    pulses = PULSE_PEAK if (worst.step.tone_hz or 0.0) < PULSE_BELOW_HZ else 1.0
    mean_a = worst.limit_current_a
    yield from _role(setting, "supply_voltage", None, setting.supply_v, setting.supply_v, worst.step.number)
    yield from _role(setting, "supply_current", None, mean_a, pulses * mean_a, worst.step.number)
    yield from _role(setting, "drive_voltage", None, None, None, None)


def _peaks(own: Sequence[StepCosts], *, amps: bool) -> tuple[float, float, int]:
    """Give the largest peak expected, the largest that claims let one reckon with, and the step of the first."""

    def size(costs: StepCosts, v_rms: float) -> float:
        return sqrt(2) * v_rms / (costs.load.resistance_ohm if amps else 1.0)

    def order(costs: StepCosts) -> tuple[float, bool]:
        return size(costs, costs.power.knee_v_rms or costs.power.ceiling_v_rms), costs.step.kind == "ramp"

    worst = max(own, key=order)
    expected = size(worst, worst.power.knee_v_rms or worst.power.ceiling_v_rms)
    return expected, max(size(costs, costs.power.ceiling_v_rms) for costs in own), worst.step.number


def _role(
    setting: Setting, role: Role, output: str | None, expected: float | None, possible: float | None, step: int | None
) -> Iterator[Check]:
    channel = setting.bench.channel_for(role, output or "A")
    what = role.replace("_", " ") + (f" of output {output}" if output else "")
    code = role.replace("_", "-")
    if channel is None:
        yield Check(
            code=f"no-{code}", state="refused" if role == "load_voltage" else "doubtful",
            message=f"The bench records no {what}: {LOST[role]}.",
            hint=f'Add a [[channels]] with role = "{role}"' + (f' and output = "{output}".' if output else "."),
        )  # fmt: skip
    elif expected is not None and possible is not None:
        yield _range(setting, channel, what, f"range-{code}", expected, possible, step)


def _range(
    setting: Setting, channel: BenchChannel, what: str, code: str, expected: float, possible: float, step: int | None
) -> Check:
    unit = "A" if channel.role.endswith("current") else "V"
    reach = reach_of(channel)
    assumed = reach is None and isinstance(channel.input, int) and setting.bench.rig is not None
    if assumed:
        reach = reach_of(channel.model_copy(update={"full_scale": AUDIO_FULL_SCALE}))
    numbers = {"expected": expected, "possible": possible}
    if reach is None:
        return Check(
            code=code, state="doubtful", step=step, numbers=numbers,
            message=f"The {what} peaks at about {expected:.3g} {unit}; where its channel overloads is not stated.",
            hint="Write full_scale of the channel in the bench file.",
        )  # fmt: skip
    numbers["reach"] = reach
    verb = "is" if channel.role.startswith("supply") else "peaks at"
    said = f"The {what} {verb} about {expected:.3g} {unit}; its channel reaches {reach:.3g} {unit}"
    if expected > reach:
        return Check(
            code=code, state="refused", step=step, numbers=numbers,
            message=f"{said}: it would overload.", hint="Use a divider or shunt with a larger range.",
        )  # fmt: skip
    if max(ROOM * expected, possible) > reach:
        return Check(
            code=code, state="doubtful", step=step, numbers=numbers,
            message=f"{said}; {max(ROOM * expected, possible):.3g} {unit} are possible.",
            hint="Use a larger range if the amplifier may do more than it is rated for.",
        )  # fmt: skip
    if expected < LITTLE_USE * reach:
        return Check(
            code=code, state="doubtful", step=step, numbers=numbers,
            message=f"{said}: only {100 * expected / reach:.2g} % of it is used, so that noise and offset weigh more.",
            hint="Use a smaller range.",
        )  # fmt: skip
    return Check(code=code, state="good", step=step, numbers=numbers, message=f"{said}.")
