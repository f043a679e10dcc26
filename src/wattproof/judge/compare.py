"""Lays sessions side by side on common terms, and tells which differences can be told."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from wattproof.errors import MeasureError
from wattproof.judge.compare_differences import differences_of
from wattproof.judge.compare_drawn import efficiency_on_terms
from wattproof.judge.compare_model import Comparison, Difference, NotCompared, Row, SessionNamed, Subject, Terms, Value
from wattproof.judge.compare_plain import PLAIN, SUSTAINED, Plain, candidates, plain_on_terms
from wattproof.judge.compare_points import Side, condition
from wattproof.judge.compare_power import Placed, Refusal, Spot, power_on_terms
from wattproof.judge.compare_remarks import remarks_of
from wattproof.judge.compare_soak import soaks_of
from wattproof.judge.compare_terms import chosen_terms
from wattproof.judge.compare_worth import Worth, worth_of
from wattproof.measure import Condition
from wattproof.quantity import Ledger

EFFICIENCY_LIMIT = 0.01
"""Ramps tell their efficiency where the first output reaches this distortion."""

Found = Placed | Refusal | None
"""A session's figure on the terms, why it is not there, or nothing where that is told elsewhere."""


@dataclass
class _Sheet:
    """What the comparison is written on, row by row."""

    sides: Sequence[Side]
    rows: list[Row] = field(default_factory=list)
    differences: list[Difference] = field(default_factory=list)
    refused: list[NotCompared] = field(default_factory=list)

    def add(
        self,
        name: str,
        unit: str,
        conditions: dict[str, Condition],
        found: Sequence[Found],
        *,
        compares_benches: bool = True,
    ) -> None:
        """Add a row: what could be put on the terms, the differences, and what could not."""
        placed = [one if isinstance(one, Placed) else None for one in found]
        for side, one in zip(self.sides, found, strict=True):
            if isinstance(one, Refusal):
                self.refused.append(
                    NotCompared(name=name, conditions=conditions, session=side.name, why=one.why, hint=one.hint)
                )
        if not any(placed):
            return
        values = tuple(
            None if one is None else _value(side, one, unit) for side, one in zip(self.sides, placed, strict=True)
        )
        self.rows.append(Row(name=name, unit=unit, conditions=conditions, values=values))
        self.differences += differences_of(
            self.sides, placed, name=name, unit=unit, conditions=conditions, compares_benches=compares_benches
        )


def compare(subjects: Sequence[Subject], *, terms: Terms | None = None) -> Comparison:
    """Lay two or more sessions side by side on common terms.

    Parameters
    ----------
    subjects : sequence of Subject, at least two
    terms : Terms or None
        Loads, supply voltage, limits of distortion, outputs driven; what is left out is chosen from what the sessions
        share, and told.

    Returns
    -------
    Comparison
        Values as measured where the conditions agree within what matters, else carried by the model; differences with
        an uncertainty of their own; and all that is not on common terms, with why and what would put it there.

    Raises
    ------
    MeasureError
        Fewer than two sessions are given.

    References
    ----------
    docs/methods/comparison.md
    """
    if len(subjects) < 2:
        raise MeasureError(
            "There is nothing to compare.", why=f"{len(subjects)} session was named", hint="Name two or more sessions."
        )
    return _laid_out(subjects, terms)


def on_terms(subject: Subject, *, terms: Terms | None = None) -> Comparison:
    """Put one session on terms: powers as measured where that is near enough, else carried by its model, or why not.

    Parameters
    ----------
    subject : Subject
    terms : Terms or None
        As for `compare`.

    Returns
    -------
    Comparison
        Of one session: a value in each row, no differences.
    """
    return _laid_out([subject], terms)


def _laid_out(subjects: Sequence[Subject], terms: Terms | None) -> Comparison:
    ledger = Ledger()
    subjects = _told_apart(subjects)
    sides = [Side(subject=subject, ledger=ledger) for subject in subjects]
    chosen = chosen_terms(sides, terms or Terms())
    sheet = _Sheet(sides=sides)
    powers = _powers(sheet, chosen)
    efficiencies = _efficiencies(sheet, chosen)
    _sustained(sheet, chosen)
    for plain in PLAIN:
        _plain(sheet, plain, chosen)
    if powers:
        spot = max(powers, key=lambda one: (_count(powers[one]), -one.load_ohm, -one.thd_n))
        _worth(sheet, spot, powers[spot], efficiencies.get(spot))
    return Comparison(
        sessions=tuple(_named(subject) for subject in subjects),
        terms=chosen,
        rows=tuple(sheet.rows),
        differences=tuple(sheet.differences),
        soaks=tuple(soak for side in sides for soak in soaks_of(side)),
        not_compared=tuple(sheet.refused),
        remarks=remarks_of(sides),
    )


def _told_apart(subjects: Sequence[Subject]) -> list[Subject]:
    """Give sessions that share a name a number each."""
    names = [subject.name for subject in subjects]
    counts = [names[: n + 1].count(name) for n, name in enumerate(names)]
    return [
        subject if count == 1 else replace(subject, name=f"{subject.name} ({count})")
        for subject, count in zip(subjects, counts, strict=True)
    ]


def _named(subject: Subject) -> SessionNamed:
    amplifier = f"{subject.amplifier.maker} {subject.amplifier.model}"
    return SessionNamed(name=subject.name, amplifier=amplifier, bench=subject.bench, note=subject.note)


def _value(side: Side, placed: Placed, unit: str) -> Value:
    return Value(
        quantity=side.ledger.quantity(placed.number, unit=unit),
        basis=placed.basis,
        correction=placed.correction,
        correction_u=placed.correction_u,
        bounded=placed.bounded,
        where=placed.where,
    )


def _spots(terms: Terms) -> list[Spot]:
    if terms.supply_v is None or terms.driven is None:
        raise ValueError("terms that are not chosen yet")
    return [
        Spot(load_ohm=load_ohm, supply_v=terms.supply_v, thd_n=thd_n, driven=terms.driven)
        for load_ohm in terms.load_ohm
        for thd_n in terms.thd_n
    ]


def _count(found: Sequence[Placed | Refusal]) -> int:
    """Count the sessions that are on the terms."""
    return sum(isinstance(one, Placed) for one in found)


def _powers(sheet: _Sheet, terms: Terms) -> dict[Spot, list[Placed | Refusal]]:
    found = {}
    for spot in _spots(terms):
        found[spot] = [power_on_terms(side, spot) for side in sheet.sides]
        sheet.add(spot.name, "W", {"load_ohm": spot.load_ohm, "thd_n": spot.thd_n}, found[spot])
    return found


def _efficiencies(sheet: _Sheet, terms: Terms) -> dict[Spot, list[Placed | Refusal]]:
    """Efficiencies at the limit at which ramps tell them; where no session recorded any, nothing is said of them."""
    found = {}
    if not any(True for side in sheet.sides for _ in side.figures("efficiency")):
        return {}
    for spot in _spots(terms):
        if abs(spot.thd_n / EFFICIENCY_LIMIT - 1) < 1e-9:
            found[spot] = [efficiency_on_terms(side, spot) for side in sheet.sides]
            sheet.add("efficiency", "W/W", {"load_ohm": spot.load_ohm, "thd_n": spot.thd_n}, found[spot])
    return found


def _sustained(sheet: _Sheet, terms: Terms) -> None:
    """Compare what was held at the latest time that all sessions with a hold have."""
    times = [{condition(figure, "at_s") for _, figure in side.figures(SUSTAINED.name)} for side in sheet.sides]
    known = [found for found in times if found]
    shared = set.intersection(*known) - {None} if known else set()
    if shared:
        _plain(sheet, SUSTAINED, terms, at_s=max(time for time in shared if time is not None))


def _plain(sheet: _Sheet, plain: Plain, terms: Terms, *, at_s: float | None = None) -> None:
    have = candidates(sheet.sides, plain, terms, at_s=at_s)
    if not have:
        return
    by_side = {id(one.side): plain_on_terms(one, have, plain) for one in have}
    missing = Refusal(why="it was not measured", hint=plain.remedy)
    unit = have[0].figures[0].unit
    conditions: dict[str, Condition] = {}
    if at_s is not None:
        conditions = {"at_s": at_s, **have[0].stated("load_ohm")}
    sheet.add(plain.name, unit, conditions, [by_side.get(id(side), missing) for side in sheet.sides])


def _worth(
    sheet: _Sheet, spot: Spot, powers: Sequence[Placed | Refusal], efficiencies: Sequence[Placed | Refusal] | None
) -> None:
    """Add what the verified power costs and needs; what no session states is left out."""
    drawn = efficiencies or [Refusal(why="no efficiency was recorded", hint="Record the supply in the ramps.")] * len(
        powers
    )
    found = [
        worth_of(side, spot, power, efficiency)
        for side, power, efficiency in zip(sheet.sides, powers, drawn, strict=True)
    ]
    conditions: dict[str, Condition] = {"load_ohm": spot.load_ohm, "thd_n": spot.thd_n}
    for name in dict.fromkeys(name for one in found for name in one):
        column = [one[name] for one in found]
        units = list(dict.fromkeys(one.unit for one in column if isinstance(one, Worth)))
        for unit in units:
            placed = [_in_unit(one, unit, units) for one in column]
            sheet.add(name, unit, conditions, placed, compares_benches=False)


def _in_unit(one: Worth | Refusal, unit: str, units: Sequence[str]) -> Found:
    """Give what stands in this unit; two currencies are no common terms, which is told of all but the first."""
    if isinstance(one, Refusal):
        return one if unit == units[0] else None
    if one.unit == unit:
        return one.placed
    if unit != units[0]:
        return None
    here, there = (text.removesuffix("/W") for text in (one.unit, unit))
    return Refusal(
        why=f"it is priced in {here}, not in {there}, and a rate between them changes with the day",
        hint="State both prices in one currency, of one day.",
    )
