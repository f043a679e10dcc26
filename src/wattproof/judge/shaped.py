"""Figures taken as they are, or by a factor: what most ratings beside power are weighed against."""

from collections.abc import Iterator, Sequence
from math import hypot, inf, log, sqrt

from wattproof.judge.model import Reading
from wattproof.judge.powers import number_in
from wattproof.judge.settling import missing_step
from wattproof.judge.weighing import Found
from wattproof.measure import CaptureResult, Figure
from wattproof.quantity import Ledger, Quantity, Uncertain

OFF_LINE = "conditions a little off the rated ones"


def figures_named(results: Sequence[CaptureResult], name: str) -> Iterator[Figure]:
    """Give the figures of a name, in the order of the captures."""
    for result in results:
        yield from (figure for figure in result.figures if figure.name == name)


def distance(figure: Figure, reading: Reading) -> float:
    """Give how far a figure's conditions lie from the wanted ones, as logarithms; unknown ones count as a factor e."""
    away = 0.0
    for key in ("load_ohm", "supply_v", "thd_n", "frequency_hz"):
        wanted, here = getattr(reading, key), number_in(figure, key)
        if wanted is not None:
            weight = 0.1 if key in {"thd_n", "frequency_hz"} else 1.0
            away += weight * (1.0 if not here or here <= 0 else abs(log(here / wanted)))
    return away


def off_by(figure: Figure, reading: Reading) -> float:
    """Give by how much load and supply voltage lie off the wanted ones, relative; unknown ones do not count."""
    parts = []
    for key in ("load_ohm", "supply_v"):
        wanted, here = getattr(reading, key), number_in(figure, key)
        parts.append(log(here / wanted) if wanted and here and here > 0 else 0.0)
    return hypot(*parts)


def where_of(figure: Figure) -> str:
    """Say in which capture and under which conditions a figure was measured."""
    units = {"load_ohm": "{:.4g} ohm", "supply_v": "{:.2f} V", "frequency_hz": "{:g} Hz"}
    told = [text.format(here) for key, text in units.items() if (here := number_in(figure, key)) is not None]
    return ", ".join([figure.origin, *told])


def plain(figure: Figure) -> Quantity:
    """Give the quantity alone."""
    return Quantity(**figure.model_dump(include=set(Quantity.model_fields)))


def times(figure: Quantity, factor: float, *, unit: str, lines: Sequence[tuple[str, float]] = ()) -> Quantity:
    """Multiply a figure, with further relative standard uncertainties, each a line of its own."""
    ledger = Ledger()
    number: Uncertain = ledger.restore(figure) * factor
    for label, u in lines:
        size = abs(figure.value * factor) * u
        number = number + ledger.source(f"verdict: {label}", 0.0, size, label=label, kind="B", dof=inf)
    return ledger.quantity(number, unit=unit)


def found_as_it_is(
    figure: Figure, reading: Reading, *, factor: float = 1.0, unit: str | None = None, slope: float = 0.0
) -> Found:
    """Take a figure for the rated one; where its conditions are off, a rectangle of ± `slope` times that is added."""
    off = abs(slope) * off_by(figure, reading) / sqrt(3)
    corrected = times(figure, factor, unit=unit or figure.unit, lines=((OFF_LINE, off),) if off > 0 else ())
    share = (corrected.value * off / corrected.u) ** 2 if corrected.u else 0.0
    return Found(
        reading=reading,
        measured=plain(figure),
        name=figure.name,
        where=where_of(figure),
        corrected=corrected,
        correction=0.0,
        share=min(share, 1.0),
    )


def not_measured(reading: Reading, what: str, step: str) -> Found:
    """Say that nothing fits, and which step gives it."""
    return Found(reading=reading, why=what, settling=missing_step(step))
