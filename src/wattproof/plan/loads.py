"""Which loads of the bench an amplifier is measured into, in which order, and which outputs are driven at once."""

from collections.abc import Iterator, Sequence
from math import inf

from wattproof.amplifier import Amplifier, power_ratings
from wattproof.bench import Bench, Load
from wattproof.errors import RefusedError, SettingsError
from wattproof.plan.powers import LIKE_LOADS
from wattproof.plan.wishes import SheetWishes

USUAL_MINIMUM_OHM = 4.0
"""Lowest load taken as allowed where neither a minimum nor a load is stated."""

SAME_LOADS = 0.02
"""Loads that differ by less are measured once."""


def minimum_load(amplifier: Amplifier, *, bridged: bool) -> float | None:
    """Give the lowest load that the amplifier is made for, ohm: as stated, or the lowest that a rating speaks of.

    Each half of a bridged output sees half of the load, so that its minimum is twice that of one output where no
    bridged rating says less.

    Returns
    -------
    float or None, ohm
        None where nothing is stated.
    """
    rated = [r.load_ohm for r in power_ratings(amplifier, bridged=bridged) if r.load_ohm is not None]
    if not bridged:
        return min(rated, default=None) if amplifier.minimum_load_ohm is None else amplifier.minimum_load_ohm
    if rated:
        return min(rated)
    single = minimum_load(amplifier, bridged=False)
    return None if single is None else 2 * single


def planned_loads(amplifier: Amplifier, bench: Bench, wishes: SheetWishes) -> tuple[tuple[Load, bool], ...]:
    """Give the loads to measure from the highest resistance down, each with whether it lies below the minimum.

    Raises
    ------
    SettingsError
        The bench has no such load, or none at all.
    RefusedError
        One below the minimum was named, or none is left, without `below_minimum`.
    """
    if not bench.loads:
        raise SettingsError(
            f'The bench "{bench.name}" has no load.',
            why="a run sheet drives an amplifier into the loads of the bench file, and it lists none",
            hint="Add [[loads]] with name, resistance_ohm and continuous_w to the bench file.",
        )
    least_ohm = minimum_load(amplifier, bridged=wishes.bridged) or USUAL_MINIMUM_OHM
    loads = [bench.load(name) for name in dict.fromkeys(wishes.loads)] or list(unlike(bench.loads))
    low = [load for load in loads if load.resistance_ohm < least_ohm * (1 - LIKE_LOADS)]
    if low and not wishes.below_minimum and (wishes.loads or len(low) == len(loads)):
        raise RefusedError(
            f'"{low[0].name}" is below the lowest load that {amplifier.maker} {amplifier.model} is made for.',
            why=f"it has {low[0].resistance_ohm:g} ohm; the lowest is {least_ohm:g} ohm",
            hint="Use a higher load, or add --below-minimum if whose amplifier it is agrees that it may be destroyed.",
        )
    kept = [(load, load in low) for load in loads if wishes.below_minimum or load not in low]
    return tuple(sorted(kept, key=lambda pair: (pair[1], -pair[0].resistance_ohm, pair[0].name)))


def unlike(loads: Sequence[Load]) -> Iterator[Load]:
    """Give one of each group of loads that are alike: the others are its copies at other outputs."""
    last_ohm = inf
    for load in sorted(loads, key=lambda load: (-load.resistance_ohm, load.name)):
        if load.resistance_ohm < last_ohm * (1 - SAME_LOADS):
            last_ohm = load.resistance_ohm
            yield load


def outputs_wired(amplifier: Amplifier, *, bridged: bool) -> tuple[str, ...]:
    """Give the outputs as they are wired: pairs stand under their first output's name, and one left over is none."""
    return amplifier.outputs[0 : len(amplifier.outputs) // 2 * 2 : 2] if bridged else amplifier.outputs


def outputs_at_once(amplifier: Amplifier, wishes: SheetWishes) -> Sequence[tuple[str, ...]]:
    """Give the outputs driven together, group by group.

    Raises
    ------
    SettingsError
        One output is to be bridged, or an output is asked for that there is not.
    """
    wired = outputs_wired(amplifier, bridged=wishes.bridged)
    if not wired:
        raise SettingsError(
            "One output alone cannot be bridged.",
            why=f"{amplifier.maker} {amplifier.model} has the output {amplifier.outputs[0]} only",
            hint="Leave out --bridged, or list the other outputs in the amplifier file.",
        )
    wrong = [output for output in wishes.outputs if output not in wired]
    if wrong:
        raise SettingsError(
            f'{amplifier.maker} {amplifier.model} has no output "{wrong[0]}" to drive.',
            why=f"its {'pairs go by the names' if wishes.bridged else 'outputs are'} {', '.join(wired)}",
            hint=f"Write for example --outputs {wired[0]}",
        )
    outputs = tuple(output for output in wired if not wishes.outputs or output in wishes.outputs)
    return (outputs,) if wishes.driven == "all" else tuple((output,) for output in outputs)
