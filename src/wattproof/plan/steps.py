"""The steps of a bench day, before rests are put between them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf

from wattproof.amplifier import Amplifier
from wattproof.bench import Bench, Load
from wattproof.plan.bounds import held_to, quiet_limits, step_limits
from wattproof.plan.costs import Setting, ramp_law
from wattproof.plan.edited import refuse_senseless
from wattproof.plan.heat import load_node
from wattproof.plan.level import FAST_DB_PER_S, SLOW_DB_PER_S
from wattproof.plan.loads import USUAL_MINIMUM_OHM, minimum_load
from wattproof.plan.model import BurstPattern, Check, Expected, Step, StepKind
from wattproof.plan.powers import LIKE_LOADS, STOP_THD_N, OutputPower, stop_overdrive
from wattproof.plan.tones import STANDARD_BURST, amplifier_band, whole_cycle_burst
from wattproof.plan.wishes import SheetWishes

FLOOR_S, IDLE_S, GAIN_S = 5.0, 10.0, 3.0
RAMP_FROM_DB = 40.0
"""A ramp begins so far below the knee."""

GAIN_BELOW_DB = 20.0
"""Small signal is so far below the knee: a hundredth of the power."""

HEADROOM_DB = 2.0
"""An amplifier that does so much more than rated still reaches the ramp's last distortion."""

HOLD_SHARE = 0.8
"""Of the rise and of the time that are allowed, so much is planned for a hold; the rest is for surprise."""

SHORTEST_HOLD_S = 1.0

NOTHING = Expected(
    power_w=0, load_voltage_v_rms=0, load_current_a_rms=0, efficiency=0, supply_current_a=0, supply_power_w=0,
    full_power_s=0, energy_j=0, load_heat_j=0, amplifier_heat_j=0,
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Group:
    """What the steps of one load have in common: one such load at each of the outputs driven at once."""

    setting: Setting
    wishes: SheetWishes
    tone_hz: float
    load: Load
    outputs: tuple[str, ...]
    below_minimum: bool = False
    suffix: str = ""

    @property
    def power(self) -> OutputPower:
        """What one output is expected to do."""
        return self.setting.power(self.load, outputs=len(self.outputs))

    def name(self, what: str) -> str:
        """Name a step: what, load, and the output where they are driven one by one."""
        return f"{what} {self.load.name}{self.suffix}"


def floor_step() -> Step:
    """Make the step that records the recorder alone, with the supply off."""
    return Step(
        number=1, name="recorder floor", kind="floor", seconds=FLOOR_S, expected=NOTHING,
        why="noise and hum of recorder and wiring, supply off",
    )  # fmt: skip


def idle_step(bench: Bench, *, idle_w: float, supply_v: float) -> Step:
    """Make the step in which the amplifier is on and silent."""
    expected = NOTHING.model_copy(
        update={
            "supply_current_a": idle_w / supply_v,
            "supply_power_w": idle_w,
            "energy_j": idle_w * IDLE_S,
            "amplifier_heat_j": idle_w * IDLE_S,
        }
    )
    return Step(
        number=1, name="idle", kind="idle", seconds=IDLE_S, expected=expected, limits=quiet_limits(bench),
        why="idle current, direct voltage and noise at the outputs",
    )  # fmt: skip


def gain_step(group: Group) -> Step:
    """Make the small-signal step."""
    power = group.power
    level_v = (power.knee_v_rms or power.ceiling_v_rms) * 10 ** (-GAIN_BELOW_DB / 20)
    step = _step(
        group, "gain", "gain", GAIN_S, to_v=level_v,
        why="gain, noise and channels at a hundredth of the power, before anything is stressed",
    )  # fmt: skip
    return finished(step.model_copy(update={"from_v_rms": level_v}), group.setting)


def driven_steps(group: Group) -> Iterator[Step]:
    """Make the steps of one load: ramp, bursts, hold."""
    yield ramp_step(group)
    if group.wishes.burst in {"whole-cycles", "both"}:
        yield burst_step(group, whole_cycle_burst(group.tone_hz), what="burst")
    if offers_standard_burst(group.setting.amplifier, group.wishes):
        yield burst_step(group, STANDARD_BURST, what="burst 1 kHz")
    seconds = hold_seconds(group)
    if seconds >= SHORTEST_HOLD_S:
        step = _step(
            group, "hold", "hold", seconds, follows=True, why=f"whether the power is still there after {seconds:.3g} s"
        )
        yield finished(step, group.setting)


def offers_standard_burst(amplifier: Amplifier, wishes: SheetWishes) -> bool:
    """Say whether bursts of 1 kHz were asked for and lie in the amplifier's band, as far as it is stated."""
    low_hz, high_hz = amplifier_band(amplifier) or (0.0, inf)
    return wishes.burst in {"1-khz", "both"} and low_hz <= STANDARD_BURST.tone_hz <= high_hz


def ramp_step(group: Group) -> Step:
    """Make the ramp of a load: slow all the way where no knee is expected."""
    power = group.power
    knee_v = power.knee_v_rms
    step = _step(
        group, "ramp", "ramp", 1.0, why="the whole curve of distortion against power in one rise"
    ).model_copy(
        update={
            "from_v_rms": (knee_v or power.ceiling_v_rms) * 10 ** (-RAMP_FROM_DB / 20),
            "fast_db_per_s": None if knee_v is None else FAST_DB_PER_S,
            "slow_db_per_s": SLOW_DB_PER_S,
            "stop_thd_n": STOP_THD_N,
        }
    )  # fmt: skip
    law = ramp_law(step)
    return finished(step.model_copy(update={"seconds": law.seconds}), group.setting)


def highest_level(power: OutputPower) -> float:
    """Give the highest level that a step may ask for, V rms: enough for a knee above the expected one."""
    if power.knee_v_rms is None:
        return power.ceiling_v_rms
    return max(power.knee_v_rms * 10 ** (HEADROOM_DB / 20), power.ceiling_v_rms) * stop_overdrive()


def burst_step(group: Group, pattern: BurstPattern, *, what: str) -> Step:
    """Make a burst train at the level that the ramp finds."""
    step = _step(
        group, what, "burst", pattern.bursts * pattern.cycles_period / pattern.tone_hz, follows=True,
        why="what it gives in short bursts, and whether it sags within them",
    )  # fmt: skip
    return finished(step.model_copy(update={"burst": pattern, "tone_hz": pattern.tone_hz}), group.setting)


def hold_seconds(group: Group) -> float:
    """Give how long full power can be held, seconds: as wished, within what load and bench allow."""
    node, most_s = load_node(group.load, tau_s=group.setting.load_tau_s), group.setting.bench.limits.full_power_s
    longest_s = inf if node is None else node.seconds_to(HOLD_SHARE * node.allowed_k, power_w=group.power.expected_w)
    if most_s is not None:
        longest_s = min(longest_s, HOLD_SHARE * most_s)
    return min(group.wishes.hold_s, longest_s)


def finished(step: Step, setting: Setting) -> Step:
    """Fill in what a driven step is expected to cost, and its limits."""
    costs = setting.reckoned(step)
    expected = costs.expected
    spare_s = max(step.seconds - float(costs.course.t_s[-1]), 0.0)
    limits = step_limits(
        setting.bench,
        costs.power,
        expected,
        outputs=costs.count,
        supply_v=setting.supply_v,
        seconds=step.seconds,
        spare_s=spare_s,
    )
    return step.model_copy(update={"expected": expected, "limits": limits})


def relooked(step: Step, setting: Setting) -> Step:
    """Reckon the costs of a step that a person may have edited, and hold its limits to the bench's."""
    if step.load is None:
        return step
    refuse_senseless(step, setting)
    below = minimum_load(setting.amplifier, bridged=setting.bridged) or USUAL_MINIMUM_OHM
    costs = setting.reckoned(step)
    return step.model_copy(
        update={
            "expected": costs.expected,
            "load_ohm": costs.load.resistance_ohm,
            "limits": held_to(step.limits, setting.bench, full_power_w=costs.count * costs.power.expected_w / 2),
            "below_minimum": costs.load.resistance_ohm < below * (1 - LIKE_LOADS),
        }
    )


def wish_checks(groups: Sequence[Group]) -> Iterator[Check]:
    """Tell what was wished and is not on the sheet: holds cut short, bursts outside the band, loads left out."""
    for group in groups:
        seconds = hold_seconds(group)
        if seconds < group.wishes.hold_s:
            yield Check(
                code="hold-shortened", state="doubtful",
                numbers={"wished_s": group.wishes.hold_s, "planned_s": seconds},
                message=f"{group.name('hold')} lasts {seconds:.3g} s, not {group.wishes.hold_s:g} s: "
                "the load's heat or full_power_s of the bench allows no more.",
                hint="Use a larger load bank, or raise full_power_s under [limits] if the bench bears it.",
            )  # fmt: skip
    wishes, setting = groups[0].wishes, groups[0].setting
    if wishes.burst in {"1-khz", "both"} and not offers_standard_burst(setting.amplifier, wishes):
        yield Check(
            code="burst-band", state="doubtful", numbers={"tone_hz": STANDARD_BURST.tone_hz},
            message="Bursts of 1 kHz lie outside the band that the maker states, and are left out.",
            hint="Bursts of whole cycles of the test tone say more about this amplifier: --burst whole-cycles",
        )  # fmt: skip
    planned = {group.load.name for group in groups}
    left = [load for load in setting.bench.loads if load.name not in planned]
    if left and not wishes.loads:
        listed = ", ".join(load.name for load in left)
        yield Check(
            code="loads-left-out", state="good", numbers={"loads": float(len(left))},
            message=f"Left out, being below the amplifier's lowest load or like another: {listed}.",
        )  # fmt: skip


def _step(
    group: Group,
    what: str,
    kind: StepKind,
    seconds: float,
    *,
    why: str,
    to_v: float | None = None,
    follows: bool = False,
) -> Step:
    """Make a driven step without its costs."""
    power = group.power
    return Step(
        number=1,
        name=group.name(what),
        kind=kind,
        load=group.load.name,
        load_ohm=group.load.resistance_ohm,
        outputs=group.outputs,
        tone_hz=group.tone_hz,
        to_v_rms=highest_level(power) if to_v is None else to_v,
        knee_v_rms=power.knee_v_rms,
        seconds=seconds,
        level_from=group.name("ramp") if follows else None,
        expected=NOTHING,
        below_minimum=group.below_minimum,
        why=why,
    )
