"""Chooses the terms of a comparison from what the sessions share, and says what was chosen."""

from collections.abc import Iterable, Sequence
from math import exp, log

from wattproof.judge.compare_model import Terms
from wattproof.judge.compare_points import Side

USUAL_V = 14.4
"""What sheets of amplifiers for vehicles speak of most."""
ONE_LOAD = 0.1
"""Loads that differ by less are the same nominal load."""
SUPPLY_MARGIN = 0.015
"""By this much beyond what was measured a model still answers."""


def chosen_terms(sides: Sequence[Side], asked: Terms) -> Terms:
    """Fill in what was not asked for.

    Loads: those that all sessions have, else all that any has. Supply voltage: 14.4 V where all sessions' captures
    reach it, else the voltage nearest to it that all share, else the one nearest to all. Outputs driven: as many as all
    sessions drove at once.
    """
    told = []
    driven = asked.driven
    if driven is None:
        driven = _driven(sides)
        told.append(f"{driven} output{'s' if driven > 1 else ''} driven: the most that all sessions drove at once")
    loads = asked.load_ohm
    if not loads:
        loads, shared = _loads(sides)
        told.append("loads that all sessions have" if shared else "no load is in all sessions: every one of them")
    supply_v = asked.supply_v
    if supply_v is None:
        supply_v, why = _supply_v(sides)
        told.append(why)
    return asked.model_copy(
        update={"load_ohm": loads, "supply_v": supply_v, "driven": driven, "chosen": (*asked.chosen, *told)}
    )


def _driven(sides: Sequence[Side]) -> int:
    counts = [{point.driven for point in side.points} for side in sides if side.points]
    if not counts:
        return 1
    return max(set.intersection(*counts) or set.union(*counts))


def _loads(sides: Sequence[Side]) -> tuple[tuple[float, ...], bool]:
    """Give the loads, ohm, highest first, and whether all sessions have them."""
    groups = _clustered(point.load_ohm for side in sides for point in side.points if point.load_ohm is not None)
    holding = [side for side in sides if any(point.load_ohm is not None for point in side.points)]
    in_all = [group for group in groups if all(_has(side, group) for side in holding)]
    return tuple(float(f"{_middle(group):.3g}") for group in reversed(in_all or groups)), bool(in_all)


def _clustered(loads: Iterable[float]) -> list[list[float]]:
    groups: list[list[float]] = []
    for load in sorted(loads):
        if groups and load / groups[-1][0] - 1 < ONE_LOAD:
            groups[-1].append(load)
        else:
            groups.append([load])
    return groups


def _has(side: Side, group: Sequence[float]) -> bool:
    return any(point.load_ohm is not None and group[0] <= point.load_ohm <= group[-1] for point in side.points)


def _middle(values: Sequence[float]) -> float:
    """Geometric mean of lowest and highest: how often a load was measured does not matter."""
    return exp((log(values[0]) + log(values[-1])) / 2)


def _supply_v(sides: Sequence[Side]) -> tuple[float, str]:
    spans = []
    for side in sides:
        volts = [point.supply_v for point in side.points if point.supply_v is not None]
        if volts:
            spans.append((min(volts), max(volts)))
    if not spans:
        return USUAL_V, f"{USUAL_V:g} V: no session recorded its supply voltage at a limit"
    low, high = max(span[0] for span in spans), min(span[1] for span in spans)
    if low * (1 - SUPPLY_MARGIN) <= USUAL_V <= high * (1 + SUPPLY_MARGIN):
        return USUAL_V, f"{USUAL_V:g} V: within what all sessions were measured at"
    if low <= high:
        nearest = round(min(max(USUAL_V, low), high), 2)
        return nearest, f"{nearest:g} V: the supply voltage nearest to {USUAL_V:g} V that all sessions share"
    between = round((low + high) / 2, 2)
    return between, f"{between:g} V: the sessions share no supply voltage; this lies between them"
