"""Cold against soaked within one session: a hold's first second and its last, or ramps at different temperatures."""

from collections.abc import Iterator
from itertools import groupby

from wattproof.judge.compare_differences import difference_of
from wattproof.judge.compare_model import Soak
from wattproof.judge.compare_points import PowerPoint, Side, condition
from wattproof.judge.compare_power import Placed, Spot, point_on_terms
from wattproof.measure import CaptureResult, Condition
from wattproof.quantity import Uncertain

_LEAST_S = 10.0
"""A hold shorter than this soaks nothing."""
_LEAST_K = 10.0
"""Ramps whose amplifier differed by less in temperature are equally warm."""
_ONE_LOAD = 0.02


def soaks_of(side: Side) -> list[Soak]:
    """Give every cold figure that has a soaked one beside it."""
    holds = [soak for result in side.subject.results if result.kind == "hold" for soak in _held(side, result)]
    return [*holds, *_ramps(side)]


def _held(side: Side, result: CaptureResult) -> Iterator[Soak]:
    found = [figure for figure in result.figures if figure.name == "sustained_power"]
    for output, figures in groupby(sorted(found, key=lambda f: f.output or ""), key=lambda f: f.output):
        timed = sorted((condition(figure, "at_s") or 0.0, figure.value, figure) for figure in figures)
        (first_s, _, cold), (last_s, _, soaked) = timed[0], timed[-1]
        if last_s - first_s < _LEAST_S:
            continue
        shared: dict[str, Condition] = {key: cold.conditions[key] for key in ("load_ohm",) if key in cold.conditions}
        yield _soak(
            side,
            ("sustained_power", {**shared, **({"output": output} if output else {})}),
            (f"{first_s:g} s", side.restored(cold)),
            (f"{last_s:g} s", side.restored(soaked)),
        )


def _ramps(side: Side) -> Iterator[Soak]:
    """Compare a power of the coldest ramp with that of the hottest, put on the cold one's conditions."""
    known = [(point, _begin_k(point.result)) for point in side.points if point.result.kind == "ramp"]
    timed = [(point, begin_k) for point, begin_k in known if begin_k is not None and _whole(point)]
    for group in _alike(timed):
        (cold, cold_k), (soaked, soaked_k) = min(group, key=lambda p: p[1]), max(group, key=lambda p: p[1])
        if soaked_k - cold_k < _LEAST_K:
            continue
        spot = Spot(
            load_ohm=cold.load_ohm or 1.0, supply_v=cold.supply_v or 1.0, thd_n=cold.thd_n or 1.0, driven=cold.driven
        )
        ones, others = point_on_terms(side, cold, spot), point_on_terms(side, soaked, spot)
        if isinstance(ones, Placed) and isinstance(others, Placed):
            yield _soak(
                side,
                (spot.name, {"load_ohm": spot.load_ohm, "supply_v": spot.supply_v, "output": cold.output}),
                (f"{cold.figure.origin}, colder", ones.number),
                (f"{soaked.figure.origin}, {soaked_k - cold_k:.0f} K warmer", others.number),
            )


def _whole(point: PowerPoint) -> bool:
    return None not in (point.load_ohm, point.supply_v, point.thd_n)


def _begin_k(result: CaptureResult) -> float | None:
    """Temperature when a ramp began, in the channel's own unit."""
    return next((point.temperature for point in result.curve if point.temperature is not None), None)


def _alike(timed: list[tuple[PowerPoint, float]]) -> Iterator[list[tuple[PowerPoint, float]]]:
    """Group points of one output, load and limit."""
    groups: list[list[tuple[PowerPoint, float]]] = []
    for point, begin_k in timed:
        for group in groups:
            other = group[0][0]
            same = (other.output, other.thd_n, other.driven) == (point.output, point.thd_n, point.driven)
            if same and abs((point.load_ohm or 1.0) / (other.load_ohm or 1.0) - 1) < _ONE_LOAD:
                group.append((point, begin_k))
                break
        else:
            groups.append([(point, begin_k)])
    yield from (group for group in groups if len(group) > 1)


def _soak(
    side: Side,
    what: tuple[str, dict[str, Condition]],
    cold: tuple[str, Uncertain],
    soaked: tuple[str, Uncertain],
) -> Soak:
    name, conditions = what
    return Soak(
        session=side.name,
        cold=cold[0],
        soaked=soaked[0],
        cold_value=side.ledger.quantity(cold[1], unit="W"),
        soaked_value=side.ledger.quantity(soaked[1], unit="W"),
        difference=difference_of(
            side.ledger,
            cold[1],
            soaked[1],
            name=name,
            unit="W",
            conditions=conditions,
            first=f"cold, {cold[0]}",
            second=f"soaked, {soaked[0]}",
            relation="one amplifier on one bench",
        ),
    )
