"""The steps of a bench day, each with what it is expected to give and to cost, before rests are put between them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf, sqrt

import numpy as np
from numpy.typing import NDArray

from wattproof.amplifier import Amplifier
from wattproof.bench import Bench, Load
from wattproof.dsp import clipped_power
from wattproof.plan.bounds import quiet_limits, step_limits
from wattproof.plan.heat import LoadNode, load_node
from wattproof.plan.level import FAST_DB_PER_S, SLOW_DB_PER_S, RampLaw, decibels, ramp_power
from wattproof.plan.losses import Losses, losses_of
from wattproof.plan.model import BurstPattern, Expected, Step, StepKind
from wattproof.plan.powers import STOP_THD_N, OutputPower, output_power, stop_overdrive
from wattproof.plan.tones import STANDARD_BURST, mean_share, whole_cycle_burst
from wattproof.plan.wishes import SheetWishes

Real = NDArray[np.float64]

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


@dataclass(frozen=True, kw_only=True)
class Table:
    """All that stands on the table for a group of steps: one load at each of the outputs driven at once."""

    amplifier: Amplifier
    bench: Bench
    wishes: SheetWishes
    supply_v: float
    tone_hz: float
    load: Load
    outputs: tuple[str, ...]
    below_minimum: bool = False
    suffix: str = ""

    @cached_property
    def power(self) -> OutputPower:
        """What one output is expected to do."""
        return output_power(
            self.amplifier,
            self.bench,
            self.load,
            supply_v=self.supply_v,
            outputs=len(self.outputs),
            bridged=self.wishes.bridged,
        )

    @cached_property
    def losses(self) -> Losses:
        """What the amplifier draws."""
        full_w = self.power.expected_w * len(self.outputs)
        return losses_of(self.amplifier, full_w=full_w, supply_v=self.supply_v)

    @cached_property
    def node(self) -> LoadNode | None:
        """The load resistor at one output."""
        return load_node(self.load, tau_s=self.wishes.load_tau_s)

    def name(self, what: str) -> str:
        """Name a step: what, load, and the output where they are driven one by one."""
        return f"{what} {self.load.name}{self.suffix}"


def floor_step() -> Step:
    """Make the step that records the recorder alone, with the supply off."""
    return _quiet("floor", "recorder floor", FLOOR_S, 0.0, 1.0, "noise and hum of recorder and wiring, supply off")


def idle_step(bench: Bench, *, idle_w: float, supply_v: float) -> Step:
    """Make the step in which the amplifier is on and silent."""
    step = _quiet("idle", "idle", IDLE_S, idle_w, supply_v, "idle current, direct voltage and noise at the outputs")
    return step.model_copy(update={"limits": quiet_limits(bench)})


def _quiet(kind: StepKind, name: str, seconds: float, idle_w: float, supply_v: float, why: str) -> Step:
    expected = Expected(
        power_w=0, load_voltage_v_rms=0, load_current_a_rms=0, efficiency=0,
        supply_current_a=idle_w / supply_v, supply_power_w=idle_w, full_power_s=0, energy_j=idle_w * seconds,
        load_heat_j=0, amplifier_heat_j=idle_w * seconds,
    )  # fmt: skip
    return Step(number=1, name=name, kind=kind, seconds=seconds, expected=expected, why=why)


def gain_step(table: Table) -> Step:
    """Make the small-signal step."""
    power = table.power
    level_v = (power.knee_v_rms or power.ceiling_v_rms) * 10 ** (-GAIN_BELOW_DB / 20)
    t_s = np.array([0.0, GAIN_S])
    course = np.full(2, level_v**2 / table.load.resistance_ohm)
    return _step(
        table, "gain", "gain", t_s, course, to_v=level_v, from_v=level_v,
        why="gain, noise and channels at a hundredth of the power, before anything is stressed",
    )  # fmt: skip


def driven_steps(table: Table) -> Iterator[Step]:
    """Make the steps of one load: ramp, bursts, hold."""
    yield ramp_step(table)
    if table.wishes.burst in {"whole-cycles", "both"}:
        yield burst_step(table, whole_cycle_burst(table.tone_hz), what="burst")
    if table.wishes.burst in {"1-khz", "both"}:
        yield burst_step(table, STANDARD_BURST, what="burst 1 kHz")
    seconds = hold_seconds(table)
    if seconds >= SHORTEST_HOLD_S:
        yield hold_step(table, seconds)


def ramp_law(table: Table) -> RampLaw:
    """Give the course of level of a load's ramp."""
    power = table.power
    knee_v = power.knee_v_rms
    if knee_v is None:
        return RampLaw(from_v=power.ceiling_v_rms * 10 ** (-RAMP_FROM_DB / 20), to_v=power.ceiling_v_rms, knee_v=None)
    return RampLaw(from_v=knee_v * 10 ** (-RAMP_FROM_DB / 20), to_v=highest_level(power), knee_v=knee_v)


def highest_level(power: OutputPower) -> float:
    """Give the highest level that a step may ask for, V rms: enough for a knee above the expected one."""
    if power.knee_v_rms is None:
        return power.ceiling_v_rms
    knee_v = max(power.knee_v_rms * 10 ** (HEADROOM_DB / 20), power.ceiling_v_rms)
    return knee_v * stop_overdrive()


def ramp_end(table: Table) -> float:
    """Give the level at which the ramp is expected to end, V rms."""
    knee_v = table.power.knee_v_rms
    return ramp_law(table).to_v if knee_v is None else knee_v * stop_overdrive()


def ramp_step(table: Table) -> Step:
    """Make the ramp of a load."""
    law = ramp_law(table)
    t_s, course = ramp_power(law, end_v=ramp_end(table), load_ohm=table.load.resistance_ohm)
    return _step(
        table, "ramp", "ramp", t_s, course, from_v=law.from_v, to_v=law.to_v, spare_s=law.seconds - float(t_s[-1]),
        fast_db_per_s=None if law.knee_v is None else FAST_DB_PER_S, slow_db_per_s=SLOW_DB_PER_S,
        stop_thd_n=STOP_THD_N, why="the whole curve of distortion against power in one rise",
    )  # fmt: skip


def burst_step(table: Table, pattern: BurstPattern, *, what: str) -> Step:
    """Make a burst train at the level that the ramp finds."""
    power_w = table.power.expected_w
    seconds = pattern.bursts * pattern.cycles_period / pattern.tone_hz
    t_s = np.array([0.0, seconds])
    on_s = pattern.bursts * pattern.cycles_on / pattern.tone_hz
    return _step(
        table, what, "burst", t_s, np.full(2, power_w * mean_share(pattern)), peak_w=power_w, full_s=on_s,
        tone_hz=pattern.tone_hz, burst=pattern, why="what it gives in short bursts, and whether it sags within them",
    )  # fmt: skip


def hold_step(table: Table, seconds: float) -> Step:
    """Make a hold at the level that the ramp finds."""
    course = np.full(2, table.power.expected_w)
    return _step(
        table, "hold", "hold", np.array([0.0, seconds]), course,
        why=f"whether the power is still there after {seconds:.3g} s",
    )  # fmt: skip


def hold_seconds(table: Table) -> float:
    """Give how long full power can be held, seconds: as wished, within what load and bench allow."""
    node, most_s = table.node, table.bench.limits.full_power_s
    longest_s = inf if node is None else node.seconds_to(HOLD_SHARE * node.allowed_k, power_w=table.power.expected_w)
    if most_s is not None:
        longest_s = min(longest_s, HOLD_SHARE * most_s)
    return min(table.wishes.hold_s, longest_s)


def _step(
    table: Table,
    what: str,
    kind: StepKind,
    t_s: Real,
    course_w: Real,
    *,
    why: str,
    from_v: float | None = None,
    to_v: float | None = None,
    spare_s: float = 0.0,
    peak_w: float | None = None,
    full_s: float | None = None,
    tone_hz: float | None = None,
    fast_db_per_s: float | None = None,
    slow_db_per_s: float | None = None,
    stop_thd_n: float | None = None,
    burst: BurstPattern | None = None,
) -> Step:
    """Make a step of a course of power in one load; all that it costs follows from it."""
    power = table.power
    highest_w = float(course_w[-1]) if peak_w is None else peak_w
    full_s = _seconds_above(t_s, course_w, power.expected_w / 2) if full_s is None else full_s
    expected = _expected(table, t_s, course_w, highest_w=highest_w, full_s=full_s, burst=burst)
    follows = kind in {"burst", "hold"}
    return Step(
        number=1,
        name=table.name(what),
        kind=kind,
        load=table.load.name,
        load_ohm=table.load.resistance_ohm,
        outputs=table.outputs,
        tone_hz=tone_hz or table.tone_hz,
        from_v_rms=from_v,
        to_v_rms=highest_level(power) if to_v is None else to_v,
        knee_v_rms=power.knee_v_rms,
        seconds=float(t_s[-1]) + spare_s,
        fast_db_per_s=fast_db_per_s,
        slow_db_per_s=slow_db_per_s,
        stop_thd_n=stop_thd_n,
        burst=burst,
        level_from=table.name("ramp") if follows else None,
        expected=expected,
        limits=step_limits(table.bench, power, expected, outputs=len(table.outputs), spare_s=spare_s),
        below_minimum=table.below_minimum,
        why=why,
    )


def _expected(
    table: Table, t_s: Real, course_w: Real, *, highest_w: float, full_s: float, burst: BurstPattern | None
) -> Expected:
    count, load_ohm, node, losses = len(table.outputs), table.load.resistance_ohm, table.node, table.losses
    drawn_w = losses.supply_w(count * course_w)
    if burst is not None:
        drawn_w = np.full(2, _burst_draw(losses, count * highest_w, burst))
    heat_j, energy_j = float(np.trapezoid(course_w, t_s)), float(np.trapezoid(drawn_w, t_s))
    supply_w = losses.supply_at(count * highest_w)
    return Expected(
        power_w=count * highest_w,
        load_voltage_v_rms=sqrt(highest_w * load_ohm),
        load_current_a_rms=sqrt(highest_w / load_ohm),
        efficiency=count * highest_w / supply_w if supply_w > 0 else 0.0,
        supply_current_a=supply_w / table.supply_v,
        supply_power_w=supply_w,
        full_power_s=full_s,
        energy_j=energy_j,
        load_heat_j=heat_j,
        load_rise_k=None if node is None else node.rise_after(t_s, course_w),
        amplifier_heat_j=max(energy_j - count * heat_j, 0.0),
    )


def _burst_draw(losses: Losses, high_w: float, pattern: BurstPattern) -> float:
    """Give the mean power drawn during a burst train, W: the law is bent, so the two levels are drawn apart."""
    on = pattern.cycles_on / pattern.cycles_period
    return on * losses.supply_at(high_w) + (1 - on) * losses.supply_at(high_w * 10 ** (pattern.low_db / 10))


def _seconds_above(t_s: Real, power_w: Real, threshold_w: float) -> float:
    """Seconds for which a course of power that never falls lies above a threshold."""
    if power_w[-1] <= threshold_w or threshold_w <= 0:
        return 0.0
    if power_w[0] >= threshold_w:
        return float(t_s[-1] - t_s[0])
    return float(t_s[-1] - np.interp(threshold_w, power_w, t_s))


def headroom_range_db(table: Table) -> float:
    """Give the range from half of the expected power to the ramp's end, dB."""
    half_v = sqrt(table.power.expected_w / 2 * table.load.resistance_ohm)
    return decibels(ramp_end(table) / half_v)


def clipped_share() -> float:
    """Give the power at the ramp's end over that of the largest clean sine, W/W."""
    return clipped_power(stop_overdrive())


def outputs_at_once(amplifier: Amplifier, wishes: SheetWishes) -> Sequence[tuple[str, ...]]:
    """Give the outputs driven together, group by group: pairs stand under their first output's name when bridged."""
    outputs = amplifier.outputs[0::2] if wishes.bridged else amplifier.outputs
    return (outputs,) if wishes.driven == "all" else tuple((output,) for output in outputs)
