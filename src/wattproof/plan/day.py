"""Steps in their order, numbered, with the rests between them."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, inf

from wattproof.bench import Bench, Load
from wattproof.plan.heat import load_node
from wattproof.plan.model import Step

LEAST_REST_S = 5.0
"""Rails settle and a person looks around."""

LONGEST_REST_S = 3600.0


@dataclass(frozen=True, kw_only=True)
class Pace:
    """How fast amplifier and loads give their heat away.

    Attributes
    ----------
    bearable_w : float, W
        Mean heat that the amplifier bears without end: its loss at an eighth of the expected power, all outputs driven.
    load_tau_s : float, s
    """

    bearable_w: float
    load_tau_s: float


def with_rests(steps: Sequence[Step], bench: Bench, pace: Pace) -> tuple[Step, ...]:
    """Give the steps their numbers, and a rest after each but the last.

    A rest lets the amplifier's mean heat over step and rest fall to what it bears without end, and lets the next step's
    load resistor cool until that step cannot bring it past the rise it bears.

    Parameters
    ----------
    steps : sequence of Step
    bench : Bench
    pace : Pace

    Returns
    -------
    tuple of Step
    """
    loads = {load.name: load for load in bench.loads}
    rises: dict[str, float] = {}
    placed = []
    for number, step in enumerate(steps, start=1):
        following = steps[number] if number < len(steps) else None
        _pass(rises, step.seconds, tau_s=pace.load_tau_s)
        if step.load is not None:
            rises[step.load] = rises.get(step.load, 0.0) + (step.expected.load_rise_k or 0.0)
        rest_s = 0.0 if following is None else _rest(step, following, loads, rises, pace)
        _pass(rises, rest_s, tau_s=pace.load_tau_s)
        placed.append(step.model_copy(update={"number": number, "rest_s": rest_s}))
    return tuple(placed)


def _pass(rises: dict[str, float], seconds: float, *, tau_s: float) -> None:
    for name in rises:
        rises[name] *= exp(-seconds / tau_s)


def _rest(step: Step, following: Step, loads: dict[str, Load], rises: dict[str, float], pace: Pace) -> float:
    needed = [LEAST_REST_S]
    if pace.bearable_w > 0:
        needed.append(step.expected.amplifier_heat_j / pace.bearable_w - step.seconds)
    load = loads.get(following.load or "")
    node = None if load is None else load_node(load, tau_s=pace.load_tau_s)
    if node is not None:
        left_k = node.allowed_k - (following.expected.load_rise_k or 0.0)
        cooled_s = node.rest_for(rises.get(following.load or "", 0.0), to_k=left_k)
        needed.append(0.0 if cooled_s == inf else cooled_s)
    return min(max(needed), LONGEST_REST_S)
