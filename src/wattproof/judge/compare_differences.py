"""Differences of values with the doubt they share left out: whether they can be told, and En numbers."""

from collections.abc import Sequence
from itertools import combinations

from wattproof.judge.compare_model import Difference, Relation
from wattproof.judge.compare_points import NAMELESS_BENCHES, Side
from wattproof.judge.compare_power import Placed
from wattproof.measure import Condition
from wattproof.quantity import Ledger, Quantity, Uncertain, correlation


def differences_of(
    sides: Sequence[Side],
    placed: Sequence[Placed | None],
    *,
    name: str,
    unit: str,
    conditions: dict[str, Condition],
    compares_benches: bool = True,
) -> list[Difference]:
    """Give the difference of every two sessions that both have a value."""
    return [
        difference_of(
            sides[0].ledger,
            one.number,
            other.number,
            name=name,
            unit=unit,
            conditions=conditions,
            first=sides[i].name,
            second=sides[j].name,
            relation=relation_of(sides[i], sides[j]),
            compares_benches=compares_benches,
        )
        for (i, one), (j, other) in combinations(enumerate(placed), 2)
        if one is not None and other is not None
    ]


def difference_of(
    ledger: Ledger,
    first_number: Uncertain,
    second_number: Uncertain,
    *,
    name: str,
    unit: str,
    conditions: dict[str, Condition],
    first: str,
    second: str,
    relation: Relation,
    compares_benches: bool = True,
) -> Difference:
    """Weigh the second number against the first.

    The numbers are subtracted source by source, so that what both share cancels as far as it acts alike [1]_. A
    difference is distinguishable where its 95 % interval does not hold 0. For one amplifier the En number is
    |difference| over its expanded uncertainty: at most 1 where the two agree [2]_.

    References
    ----------
    .. [1] JCGM 100:2008, 5.2 and F.1.2.3.
    .. [2] ISO/IEC 17043, En numbers; there both laboratories are independent; docs/methods/comparison.md.
    """
    ones, others = ledger.quantity(first_number, unit=unit), ledger.quantity(second_number, unit=unit)
    difference = _clean(ledger.quantity(second_number - first_number, unit=unit), ones, others)
    half = difference.k95 * difference.u
    apart = abs(difference.value)
    ratio = None
    if ones.value > 0 and others.value > 0:
        unity = Quantity(value=1.0, u=0.0, unit="1")
        ratio = _clean(ledger.quantity(second_number / first_number, unit="1"), unity, unity)
    return Difference(
        name=name,
        conditions=conditions,
        first=first,
        second=second,
        relation=relation,
        difference=difference,
        ratio=ratio,
        correlation=correlation(ones, others),
        distinguishable=apart > half,
        en=None if relation == "two amplifiers" or not compares_benches else _en(apart, half),
        compares_benches=compares_benches,
    )


def relation_of(one: Side, other: Side) -> Relation:
    """Say what two sessions have in common. One maker and model is taken for one amplifier."""
    if _words(one) != _words(other):
        return "two amplifiers"
    benches = {one.subject.bench, other.subject.bench}
    if benches & NAMELESS_BENCHES:
        return "one amplifier"
    return "one amplifier on one bench" if len(benches) == 1 else "one amplifier on two benches"


def _words(side: Side) -> tuple[str, str]:
    amplifier = side.subject.amplifier
    return amplifier.maker.casefold(), amplifier.model.casefold()


def _en(apart: float, half: float) -> float | None:
    """None where values that differ carry no uncertainty: nothing can be said then."""
    if half > 0:
        return apart / half
    return 0.0 if apart == 0 else None


_ROUNDING = 1e-12


def _clean(difference: Quantity, one: Quantity, other: Quantity) -> Quantity:
    """Take for 0 what is left of doubts that cancel: it is the rounding of the arithmetic."""
    size = max(abs(one.value), abs(other.value))
    return (
        difference
        if difference.u > _ROUNDING * size
        else difference.model_copy(update={"u": 0.0, "budget": (), "dof": None, "k95": 1.959964})
    )
