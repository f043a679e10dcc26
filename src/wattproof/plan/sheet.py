"""A run sheet made from the two files a person writes, and made anew for one that was edited."""

from collections.abc import Iterator, Sequence
from math import inf

from wattproof.amplifier import Amplifier
from wattproof.bench import Bench, Load
from wattproof.errors import RefusedError, SettingsError
from wattproof.plan.day import Pace, with_rests
from wattproof.plan.losses import losses_of
from wattproof.plan.model import RunSheet, Step, Stepping
from wattproof.plan.powers import LIKE_LOADS, power_ratings
from wattproof.plan.questions import CAUTIONS, questions_for
from wattproof.plan.stepping import stepping_of
from wattproof.plan.steps import Table, driven_steps, floor_step, gain_step, idle_step, outputs_at_once
from wattproof.plan.tones import choose_tone
from wattproof.plan.wishes import SheetWishes

USUAL_SUPPLY_V = 14.4
USUAL_MINIMUM_OHM = 4.0
"""Lowest load taken as allowed where neither a minimum nor a load is stated."""

SAME_LOADS = 0.02
"""Loads that differ by less are measured once."""


def make_run_sheet(amplifier: Amplifier, bench: Bench, *, wishes: SheetWishes | None = None) -> RunSheet:
    """Make the run sheet of a bench day.

    The recorder's floor, idle, small-signal gain, then for each load from the highest resistance down: ramp, bursts,
    hold. Everything it says is reckoned from the two files: docs/methods/run_sheet.md says how.

    Parameters
    ----------
    amplifier : Amplifier
    bench : Bench
    wishes : SheetWishes or None
        What is left out is chosen.

    Returns
    -------
    RunSheet
        With refused checks where the bench cannot bear it: `refusals` gives all that keeps a run from beginning.

    Raises
    ------
    SettingsError
        A load that the bench does not have was asked for, or it has none, or one output was to be bridged.
    RefusedError
        A load below the amplifier's minimum was asked for by name, without saying that this is meant.
    """
    wishes = wishes or SheetWishes()
    if wishes.bridged and len(amplifier.outputs) < 2:
        raise SettingsError(
            "One output alone cannot be bridged.",
            why=f"{amplifier.maker} {amplifier.model} has the output {amplifier.outputs[0]} only",
            hint="Leave out --bridged, or list the other outputs in the amplifier file.",
        )
    supply_v = wishes.supply_v or planned_supply(amplifier, bench)
    tone_hz = wishes.tone_hz or choose_tone(amplifier)
    tables = tuple(_tables(amplifier, bench, wishes, supply_v=supply_v, tone_hz=tone_hz))
    steps = [floor_step(), idle_step(bench, idle_w=_idle_w(tables, supply_v), supply_v=supply_v)]
    for table in tables:
        steps += [] if len(steps) > 2 else [gain_step(table)]
        steps += driven_steps(table)
    pace = Pace(bearable_w=_bearable(tables), load_tau_s=wishes.load_tau_s)
    return _sheet(with_rests(steps, bench, pace), amplifier, bench, wishes, supply_v=supply_v)


def planned_supply(amplifier: Amplifier, bench: Bench) -> float:
    """Give the supply voltage to plan with, V: that of most power ratings, else the bench's, else 14.4."""
    stated = [r.supply_v for r in amplifier.ratings if r.quantity == "power" and r.supply_v is not None]
    if stated:
        return max(stated, key=stated.count)
    return bench.supply.nominal_v or USUAL_SUPPLY_V


def minimum_load(amplifier: Amplifier, *, bridged: bool) -> float:
    """Give the lowest load that the amplifier is made for, ohm: as stated, or the lowest that a rating speaks of.

    Each half of a bridged output sees half of the load, so that its minimum is twice that of one output where no
    bridged rating says less.
    """
    rated = [r.load_ohm for r in power_ratings(amplifier, bridged=bridged) if r.load_ohm is not None]
    if bridged:
        doubled = 2 * minimum_load(amplifier, bridged=False)
        return min(rated, default=doubled)
    if amplifier.minimum_load_ohm is not None:
        return amplifier.minimum_load_ohm
    return min(rated, default=USUAL_MINIMUM_OHM)


def planned_loads(amplifier: Amplifier, bench: Bench, wishes: SheetWishes) -> tuple[tuple[Load, bool], ...]:
    """Give the loads to measure from the highest resistance down, each with whether it lies below the minimum.

    Raises
    ------
    SettingsError
        The bench has no such load, or none at all.
    RefusedError
        One below the minimum was named without `below_minimum`.
    """
    if not bench.loads:
        raise SettingsError(
            f'The bench "{bench.name}" has no load.',
            why="a run sheet drives an amplifier into the loads of the bench file, and it lists none",
            hint="Add [[loads]] with name, resistance_ohm and continuous_w to the bench file.",
        )
    least_ohm = minimum_load(amplifier, bridged=wishes.bridged) * (1 - LIKE_LOADS)
    loads = [bench.load(name) for name in dict.fromkeys(wishes.loads)] or list(_unlike(bench.loads))
    low = [load for load in loads if load.resistance_ohm < least_ohm]
    if low and wishes.loads and not wishes.below_minimum:
        raise RefusedError(
            f'"{low[0].name}" is below the lowest load that {amplifier.maker} {amplifier.model} is made for.',
            why=f"it has {low[0].resistance_ohm:g} ohm; the minimum is {least_ohm / (1 - LIKE_LOADS):g} ohm",
            hint="Leave it out, or add --below-minimum if whose amplifier it is agrees that it may be destroyed.",
        )
    kept = [(load, load in low) for load in loads if wishes.below_minimum or load not in low]
    return tuple(sorted(kept, key=lambda pair: (pair[1], -pair[0].resistance_ohm, pair[0].name)))


def _unlike(loads: Sequence[Load]) -> Iterator[Load]:
    """Give one of each group of loads that are alike: the others are its copies at other outputs."""
    last_ohm = inf
    for load in sorted(loads, key=lambda load: (-load.resistance_ohm, load.name)):
        if load.resistance_ohm < last_ohm * (1 - SAME_LOADS):
            last_ohm = load.resistance_ohm
            yield load


def _tables(
    amplifier: Amplifier, bench: Bench, wishes: SheetWishes, *, supply_v: float, tone_hz: float
) -> Iterator[Table]:
    groups = outputs_at_once(amplifier, wishes)
    for load, below in planned_loads(amplifier, bench, wishes):
        for outputs in groups:
            yield Table(
                amplifier=amplifier, bench=bench, wishes=wishes, supply_v=supply_v, tone_hz=tone_hz, load=load,
                outputs=outputs, below_minimum=below, suffix=f" {outputs[0]}" if len(groups) > 1 else "",
            )  # fmt: skip


def _idle_w(tables: Sequence[Table], supply_v: float) -> float:
    if not tables:
        return 0.0
    return losses_of(tables[-1].amplifier, full_w=_largest(tables), supply_v=supply_v).idle_w


def _largest(tables: Sequence[Table]) -> float:
    return max((len(table.outputs) * table.power.expected_w for table in tables), default=0.0)


def _bearable(tables: Sequence[Table]) -> float:
    """Give the heat that the amplifier is taken to bear without end, W: its loss at an eighth of its largest power."""
    if not tables:
        return 0.0
    full_w = max(len(table.amplifier.outputs) * table.power.expected_w for table in tables)
    losses = losses_of(tables[0].amplifier, full_w=full_w, supply_v=tables[0].supply_v)
    return losses.supply_at(full_w / 8) - full_w / 8


def _sheet(
    steps: tuple[Step, ...], amplifier: Amplifier, bench: Bench, wishes: SheetWishes, *, supply_v: float
) -> RunSheet:
    costs = [stepping_of(step, amplifier, supply_v=supply_v) for step in steps if step.kind == "ramp"]
    return RunSheet(
        amplifier=f"{amplifier.maker} {amplifier.model}",
        bench=bench.name,
        supply_v=supply_v,
        steps=steps,
        questions=questions_for(amplifier, bench, steps, bridged=wishes.bridged),
        cautions=CAUTIONS,
        seconds=sum(step.seconds + step.rest_s for step in steps),
        full_power_s=sum(step.expected.full_power_s for step in steps),
        energy_j=sum(step.expected.energy_j for step in steps),
        stepping=Stepping(
            full_power_s=sum(cost.full_power_s for cost in costs), energy_j=sum(cost.energy_j for cost in costs)
        ),
    )
