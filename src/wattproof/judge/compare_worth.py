"""What a verified watt costs, and how many watts a litre, a kilogram and an ampere of supply current give."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from math import prod, sqrt

from wattproof.judge.compare_points import Side
from wattproof.judge.compare_power import Placed, Refusal, Spot
from wattproof.quantity import Uncertain

_CUBIC_MM_PER_LITRE = 1e6


@dataclass(frozen=True, kw_only=True)
class Worth:
    """A quotient of the verified power: its number, its unit."""

    placed: Placed
    unit: str


def worth_of(
    side: Side, spot: Spot, power: Placed | Refusal, efficiency: Placed | Refusal
) -> dict[str, Worth | Refusal]:
    """Give cost a watt and watts per litre, kilogram and supply ampere, or why one of them cannot be had."""
    per_ampere = _per_ampere(spot, efficiency)
    known = _whole(side, spot, power)
    if isinstance(known, Refusal):
        return {**dict.fromkeys(_FOUND, known), **per_ampere}
    found: dict[str, Worth | Refusal] = {}
    for name, make in _FOUND.items():
        made = make(side, spot.driven * known.number)
        found[name] = made if isinstance(made, Refusal) else Worth(placed=_like(known, made[0]), unit=made[1])
    return {**found, **per_ampere}


def _whole(side: Side, spot: Spot, power: Placed | Refusal) -> Placed | Refusal:
    """Give the power if it is that of all outputs, or say why the whole amplifier's is not known."""
    n_outputs = len(side.subject.amplifier.outputs)
    if isinstance(power, Refusal):
        return Refusal(why="its power is not on the terms: " + power.why, hint=power.hint)
    if n_outputs != spot.driven:
        return Refusal(
            why=f"it has {n_outputs} outputs and {spot.driven} driven at once: its whole power was not measured",
            hint=f"Measure a ramp with all {n_outputs} driven.",
        )
    return power


def _like(power: Placed, number: Uncertain) -> Placed:
    return Placed(number=number, where=power.where, basis=power.basis, bounded=power.bounded)


def _per_ampere(spot: Spot, efficiency: Placed | Refusal) -> dict[str, Worth | Refusal]:
    """Watts per supply ampere: efficiency times the supply voltage of the terms."""
    if isinstance(efficiency, Refusal):
        why = "the supply current at this power is not known: " + efficiency.why
        return {"watts_per_supply_ampere": Refusal(why=why, hint=efficiency.hint)}
    placed = _like(efficiency, efficiency.number * spot.supply_v)
    return {"watts_per_supply_ampere": Worth(placed=placed, unit="W/A")}


def _price(side: Side, watts: Uncertain) -> tuple[Uncertain, str] | Refusal:
    price = side.subject.amplifier.price
    if price is None:
        return _not_stated("price", 'price = { amount = 329, currency = "GBP" }')
    return price.amount / watts, f"{price.currency}/W"


def _litre(side: Side, watts: Uncertain) -> tuple[Uncertain, str] | Refusal:
    size_mm = side.subject.amplifier.size_mm
    if size_mm is None or not all(edge_mm > 0 for edge_mm in size_mm):
        return _not_stated("size", "size_mm = [310, 180, 52]")
    u = sqrt(sum((_last_digit(edge_mm) / sqrt(12) / edge_mm) ** 2 for edge_mm in size_mm))
    litres = prod(size_mm) / _CUBIC_MM_PER_LITRE
    return watts / litres * (1 + _typed(side, f"size {size_mm}", u, label="size, to the last digit typed")), "W/L"


def _kilogram(side: Side, watts: Uncertain) -> tuple[Uncertain, str] | Refusal:
    mass_kg = side.subject.amplifier.mass_kg
    if mass_kg is None:
        return _not_stated("mass", "mass_kg = 3.4")
    u = _last_digit(mass_kg) / sqrt(12) / mass_kg
    return watts / mass_kg * (1 + _typed(side, f"mass {mass_kg}", u, label="mass, to the last digit typed")), "W/kg"


def _typed(side: Side, what: str, u: float, *, label: str) -> Uncertain:
    """Uncertain 0: all sessions with one amplifier share what was typed of it."""
    amplifier = side.subject.amplifier
    name = f"amplifier {amplifier.maker} {amplifier.model}: {what}"
    return side.ledger.source(name, 0.0, u, label=label, kind="B")


_FOUND: Mapping[str, Callable[[Side, Uncertain], tuple[Uncertain, str] | Refusal]] = {
    "price_per_watt": _price,
    "watts_per_litre": _litre,
    "watts_per_kilogram": _kilogram,
}


def _not_stated(what: str, line: str) -> Refusal:
    return Refusal(why=f"amplifier.toml does not state its {what}", hint=f"Write it there: {line}")


def _last_digit(value: float) -> float:
    """One count of the last digit, as far as a number shows it: 310 is to 1, 3.4 to 0.1."""
    exponent = Decimal(f"{value:.12g}").as_tuple().exponent
    return float(10.0 ** min(int(exponent), 0))
