"""A run sheet made from the two files a person writes, and looked at anew when it was edited."""

from collections.abc import Iterator, Sequence
from datetime import date

from wattproof.amplifier import Amplifier
from wattproof.bench import Bench
from wattproof.plan.checks import checks_of
from wattproof.plan.costs import Setting
from wattproof.plan.day import Pace, with_rests
from wattproof.plan.decide import decidable_ratings
from wattproof.plan.loads import outputs_at_once, outputs_wired, planned_loads
from wattproof.plan.losses import losses_of
from wattproof.plan.model import Check, RunSheet, Step, Stepping
from wattproof.plan.questions import CAUTIONS, questions_for
from wattproof.plan.stepping import stepping_of
from wattproof.plan.steps import Group, driven_steps, floor_step, gain_step, idle_step, relooked, wish_checks
from wattproof.plan.tones import choose_tone
from wattproof.plan.wishes import SheetWishes

USUAL_SUPPLY_V = 14.4


def make_run_sheet(
    amplifier: Amplifier, bench: Bench, *, wishes: SheetWishes | None = None, day: date | None = None
) -> RunSheet:
    """Make the run sheet of a bench day.

    The recorder's floor, idle, small-signal gain, then for each load from the highest resistance down: ramp, bursts,
    hold. Everything it says is reckoned from the two files: docs/methods/run_sheet.md says how.

    Parameters
    ----------
    amplifier : Amplifier
    bench : Bench
    wishes : SheetWishes or None
        What is left out is chosen.
    day : date or None
        For calibrations that run out, where the wishes name no day; None: not looked at.

    Returns
    -------
    RunSheet
        With refused checks where the bench cannot bear it: `refusals` gives all that keeps a run from beginning.

    Raises
    ------
    SettingsError
        A load or an output was asked for that there is not, the bench has no load, or one output was to be bridged.
    RefusedError
        A load below the amplifier's minimum was asked for without saying that it is meant, or nothing bounds the power.
    """
    wishes = wishes or SheetWishes()
    setting = Setting(
        amplifier=amplifier,
        bench=bench,
        supply_v=wishes.supply_v or planned_supply(amplifier, bench),
        bridged=wishes.bridged,
        load_tau_s=wishes.load_tau_s,
    )
    groups = tuple(_groups(setting, wishes))
    steps = [floor_step(), idle_step(bench, idle_w=_idle_w(groups), supply_v=setting.supply_v)]
    first_load = groups[0].load
    steps += [gain_step(group) for group in groups if group.load == first_load]
    for group in groups:
        steps += driven_steps(group)
    pace = Pace(bearable_w=_bearable(groups), load_tau_s=wishes.load_tau_s)
    return _sheet(with_rests(steps, bench, pace), setting, day=wishes.day or day, told=tuple(wish_checks(groups)))


def recheck(sheet: RunSheet, amplifier: Amplifier, bench: Bench, *, day: date | None = None) -> RunSheet:
    """Look anew at a run sheet that a person has edited: costs, checks, what can be judged, questions and totals.

    Steps are taken as they stand, limits too, except that none may pass the bench's own; supply voltage, bridging and
    the loads' time constant are the sheet's.

    Parameters
    ----------
    sheet : RunSheet
    amplifier : Amplifier
    bench : Bench
    day : date or None
        Day of the bench day, for calibrations that run out.

    Returns
    -------
    RunSheet

    Raises
    ------
    SettingsError
        A step wants a load or an output that there is not, or levels that no ramp can follow.
    """
    setting = Setting(
        amplifier=amplifier,
        bench=bench,
        supply_v=sheet.supply_v,
        bridged=sheet.bridged,
        load_tau_s=sheet.load_tau_s,
    )
    steps = tuple(relooked(step, setting) for step in sheet.steps)
    return _sheet(steps, setting, day=day, told=())


def planned_supply(amplifier: Amplifier, bench: Bench) -> float:
    """Give the supply voltage to plan with, V: that of most power ratings, else the bench's, else 14.4."""
    stated = [r.supply_v for r in amplifier.ratings if r.quantity == "power" and r.supply_v is not None]
    if stated:
        return max(stated, key=stated.count)
    return bench.supply.nominal_v or USUAL_SUPPLY_V


def _groups(setting: Setting, wishes: SheetWishes) -> Iterator[Group]:
    tone_hz = wishes.tone_hz or choose_tone(setting.amplifier)
    at_once = outputs_at_once(setting.amplifier, wishes)
    for load, below in planned_loads(setting.amplifier, setting.bench, wishes):
        for outputs in at_once:
            suffix = f" {outputs[0]}" if len(at_once) > 1 else ""
            yield Group(
                setting=setting, wishes=wishes, tone_hz=tone_hz, load=load, outputs=outputs,
                below_minimum=below, suffix=suffix,
            )  # fmt: skip


def _full_w(groups: Sequence[Group]) -> float:
    """Give the largest power expected of all outputs together, W."""
    count = len(outputs_wired(groups[0].setting.amplifier, bridged=groups[0].wishes.bridged))
    return max(count * group.power.expected_w for group in groups)


def _idle_w(groups: Sequence[Group]) -> float:
    setting = groups[0].setting
    return losses_of(setting.amplifier, full_w=_full_w(groups), supply_v=setting.supply_v).idle_w


def _bearable(groups: Sequence[Group]) -> float:
    """Give the heat that the amplifier is taken to bear without end, W: its loss at an eighth of its largest power."""
    setting, full_w = groups[0].setting, _full_w(groups)
    losses = losses_of(setting.amplifier, full_w=full_w, supply_v=setting.supply_v)
    return losses.supply_at(full_w / 8) - full_w / 8


def _sheet(steps: tuple[Step, ...], setting: Setting, *, day: date | None, told: Sequence[Check]) -> RunSheet:
    amplifier, bench, supply_v = setting.amplifier, setting.bench, setting.supply_v
    costs = [stepping_of(step, amplifier, supply_v=supply_v) for step in steps if step.kind == "ramp"]
    return RunSheet(
        amplifier=f"{amplifier.maker} {amplifier.model}",
        bench=bench.name,
        supply_v=supply_v,
        bridged=setting.bridged,
        load_tau_s=setting.load_tau_s,
        steps=steps,
        checks=(*checks_of(steps, setting, day=day), *told),
        decidable=decidable_ratings(steps, setting),
        questions=questions_for(amplifier, bench, steps, bridged=setting.bridged),
        cautions=CAUTIONS,
        seconds=sum(step.seconds + step.rest_s for step in steps),
        full_power_s=sum(step.expected.full_power_s for step in steps),
        energy_j=sum(step.expected.energy_j for step in steps),
        stepping=Stepping(
            full_power_s=sum(cost.full_power_s for cost in costs), energy_j=sum(cost.energy_j for cost in costs)
        ),
    )
