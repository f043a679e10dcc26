"""Whether the load resistors bear what is expected, also when it is clipped, and how far they are resistors."""

from collections.abc import Iterator, Sequence
from math import exp, pi

from wattproof.bench import Load
from wattproof.dsp import clipped_power
from wattproof.plan.costs import Setting, StepCosts
from wattproof.plan.heat import SHORT_OVERLOAD, load_node
from wattproof.plan.model import Check, Step
from wattproof.plan.powers import stop_overdrive

SQUARE = 2.0
"""A square wave of the same peak has twice the power of the sine."""

INDUCTIVE = 0.01
TEMPCO_SHARE = 0.002


def load_checks(steps: Sequence[Step], driven: Sequence[StepCosts], setting: Setting) -> Iterator[Check]:
    """Look at every load in use: its rating against a clipped wave, its rise over the day, its inductance and drift."""
    rises = rises_over_day(steps, setting)
    for name in dict.fromkeys(costs.load.name for costs in driven):
        own = [costs for costs in driven if costs.load.name == name]
        worst = max(own, key=lambda costs: (costs.power.expected_w, costs.step.kind == "ramp"))
        yield from _bears(worst, rises.get(name))
        yield from _resistor(worst, setting)


def rises_over_day(steps: Sequence[Step], setting: Setting) -> dict[str, float]:
    """Give the largest rise of each load that is rated, K, with the rests as they stand."""
    now: dict[str, float] = {}
    most: dict[str, float] = {}
    for step in steps:
        for name in now:
            now[name] *= exp(-step.seconds / setting.load_tau_s)
        if step.load is not None:
            added_k = setting.reckoned(step).expected.load_rise_k
            if added_k is not None:
                now[step.load] = now.get(step.load, 0.0) + added_k
                most[step.load] = max(most.get(step.load, 0.0), now[step.load])
        for name in now:
            now[name] *= exp(-step.rest_s / setting.load_tau_s)
    return most


def _bears(costs: StepCosts, rise_k: float | None) -> Iterator[Check]:
    load, number = costs.load, costs.step.number
    clean_w = costs.power.clean_w or costs.power.ceiling_w
    end_w, square_w = clean_w * clipped_power(stop_overdrive()), SQUARE * clean_w
    if load.continuous_w is None:
        yield Check(
            code="load-power", state="doubtful", step=number, numbers={"end_w": end_w, "square_w": square_w},
            message=f"{load.name} takes {end_w:.0f} W at the ramp's end, a square wave {square_w:.0f} W; "
            "what it bears is not stated.",
            hint="Write continuous_w (and rise_k) of the load in the bench file. Rests for it cannot be reckoned.",
        )  # fmt: skip
        return
    yield _power(load, number, end_w=end_w, square_w=square_w, continuous_w=load.continuous_w)
    node = load_node(load, tau_s=costs.setting.load_tau_s)
    if node is not None and rise_k is not None:
        over = rise_k > node.allowed_k * (1 + 1e-9)
        yield Check(
            code="load-heat", state="refused" if over else "good", step=number,
            numbers={"rise_k": rise_k, "allowed_k": node.allowed_k},
            message=f"{load.name} gets {rise_k:.3g} K warmer at the most; it bears {node.allowed_k:g} K.",
            hint="Lengthen the rests, shorten the holds (--hold-s), or use a larger load bank." if over else "",
        )  # fmt: skip


def _power(load: Load, number: int, *, end_w: float, square_w: float, continuous_w: float) -> Check:
    numbers = {"end_w": end_w, "square_w": square_w, "continuous_w": continuous_w}
    said = (
        f"{load.name} takes {end_w:.0f} W at the ramp's end and would take {square_w:.0f} W of a square wave; "
        f"it bears {continuous_w:g} W without end"
    )
    if end_w > SHORT_OVERLOAD * continuous_w:
        return Check(
            code="load-power", state="refused", step=number, numbers=numbers,
            message=f"{said} and {SHORT_OVERLOAD:g} times that for seconds at most.",
            hint="Use a larger load bank.",
        )  # fmt: skip
    if end_w > continuous_w or square_w > SHORT_OVERLOAD * continuous_w:
        return Check(
            code="load-power", state="doubtful", step=number, numbers=numbers,
            message=f"{said}: borne for seconds, not for a hold.",
            hint="Use a larger load bank, or watch it and keep the rests.",
        )  # fmt: skip
    return Check(code="load-power", state="good", step=number, numbers=numbers, message=f"{said}.")


def _resistor(costs: StepCosts, setting: Setting) -> Iterator[Check]:
    load, step = costs.load, costs.step
    ratio = 2 * pi * (step.tone_hz or 0.0) * load.inductance_h / load.resistance_ohm
    without = [o for o in step.outputs if setting.bench.channel_for("load_current", o) is None]
    if ratio > INDUCTIVE:
        yield Check(
            code="load-inductance", state="doubtful", step=step.number, numbers={"reactance_over_resistance": ratio},
            message=f"At {step.tone_hz:g} Hz the inductance of {load.name} is {100 * ratio:.2g} % of its resistance: "
            f"V²/R is {100 * ratio**2:.1g} % above the power.",
            hint="Record the load current, or measure at a lower tone.",
        )  # fmt: skip
    drift = abs(load.tempco_per_k) * (costs.expected.load_rise_k or 0.0)
    if without and drift > TEMPCO_SHARE:
        yield Check(
            code="load-drift", state="doubtful", step=step.number, numbers={"drift": drift},
            message=f"{load.name} changes by {100 * drift:.2g} % as it warms, and no current is recorded at output "
            f"{', '.join(without)}: V²/R follows the change.",
            hint="Record the load current, keep holds short, or use a load with a lower tempco_per_k.",
        )  # fmt: skip
