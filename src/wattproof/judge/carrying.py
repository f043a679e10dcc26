"""A measured power carried to the rated load, supply voltage and limit, with every doubt that this brings."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, log, sqrt

from wattproof.errors import BeyondDataError, WattproofError
from wattproof.fit import Asked, BehaviourModel, Correction, correction
from wattproof.judge.model import Reading
from wattproof.judge.powers import MeasuredPower, same_limit
from wattproof.quantity import BudgetLine, Ledger, Quantity

MODEL_LINE = "behaviour model"
RAIL_LINE = "how the rail follows the supply"
NEAR_LINE = "conditions a little off the rated ones, without a model"
FACTOR_LINE = "square wave by the mathematics of a clipped sine"

NEAR_LOAD = 0.02
NEAR_SUPPLY = 0.01
"""So little off the rated load and supply voltage, a power is judged without a model: every exponent is allowed for."""
LOAD_EXPONENTS = (-1.0, 1.0)
"""Of power against load resistance: a source of voltage, a source of current."""
SUPPLY_EXPONENTS = (0.0, 4.0)
"""Of power against supply voltage: regulated; and more than was ever seen of one that follows."""
_STEP = 0.002
_TELLING_U = 5e-4
"""What is not known of the rail is worth a word from here up, relative; a limit of current does not ask for it."""


@dataclass(frozen=True, kw_only=True)
class Carried:
    """A power at the rated conditions.

    Attributes
    ----------
    power : Quantity, W
        The rated number's own terms: times two for a peak.
    correction : float
        Factor from the measured power, less one; the reading's own factor is no part of it.
    share : float
        Of the variance that comes of the correction.
    said : str
        How it was carried.
    """

    power: Quantity
    correction: float
    share: float
    said: str


@dataclass(frozen=True, kw_only=True)
class _Way:
    """How power changes on the way to the rated conditions, relative and to first order."""

    factor: float
    load_slope: float
    supply_slope: float
    lines: tuple[tuple[str, float], ...]
    said: str


def carried(power: MeasuredPower, reading: Reading, models: Sequence[BehaviourModel]) -> Carried:
    """Carry a measured power to the conditions of a reading.

    Load and supply voltage are themselves measured: their doubts enter by how power depends on them, correlated with
    the power's own through the channels they share. Power from v·i carried along a source of voltage goes with the
    square of the voltage channel, and the current channel drops out.

    Raises
    ------
    BeyondDataError
        The conditions differ, and no model carries them.
    """
    way = _way(power, reading, models)
    supply_u = 0.0 if power.supply is None else power.supply.u / power.supply.value
    ledger = Ledger()
    value = power.power.value * way.factor * reading.factor
    number = value + sum(
        value * share * ledger.source(line.source, 0.0, 1.0, label=line.label, kind=line.type, dof=_dof(line))
        for line, share in _shares(power, way)
    )
    for label, u in (*way.lines, (FACTOR_LINE, reading.factor_u)):
        number = number + ledger.source(f"verdict: {label}", 0.0, value * u, label=label, kind="B")
    found = ledger.quantity(number, unit="W")
    added = value**2 * sum(u**2 for _, u in way.lines)
    return Carried(
        power=found,
        correction=way.factor - 1,
        share=min(added / found.u**2, 1.0) if found.u else 0.0,
        said=way.said if supply_u else f"{way.said}; how well the supply voltage is known is not stated",
    )


def without_correction(power: Quantity) -> float:
    """Give the standard uncertainty that would be left if nothing had to be carried, W."""
    return sqrt(sum(line.u**2 for line in power.budget if line.label not in {MODEL_LINE, RAIL_LINE, NEAR_LINE}))


def _dof(line: BudgetLine) -> float:
    return float("inf") if line.dof is None else line.dof


def _shares(power: MeasuredPower, way: _Way) -> list[tuple[BudgetLine, float]]:
    """Give each source of doubt with its signed relative part of the carried power."""
    parts = []
    for line in power.power.budget:
        own = line.sign * line.u / power.power.value
        parts.append((line, own * (1 + way.load_slope * _into_load(line, power.basis))))
    if power.supply is not None:
        parts += [(line, way.supply_slope * line.sign * line.u / power.supply.value) for line in power.supply.budget]
    return parts


def _into_load(line: BudgetLine, basis: str) -> float:
    """Give by how much a source that moves the power moves the load's resistance, relative to that."""
    by_current = basis.startswith("v*i")
    if "load_voltage" in line.source:
        return 1.0 if by_current else 0.0
    if "load_current" in line.source:
        return -1.0 if by_current else 0.0
    is_load = line.label.startswith(("resistance of", "heating of"))
    return -1.0 if is_load and basis.startswith("v^2") else 0.0


def _load_u(power: MeasuredPower) -> float:
    """Give the relative standard uncertainty of the load's resistance, as far as the power's budget holds it."""
    shares = (_into_load(line, power.basis) * line.u / power.power.value for line in power.power.budget)
    return sqrt(sum(share**2 for share in shares))


def _way(power: MeasuredPower, reading: Reading, models: Sequence[BehaviourModel]) -> _Way:
    at, to = _conditions(power, reading)
    model = next((one for one in models if one.driven == power.driven), None)
    if model is None:
        return _near(at, to, power)
    try:
        return _by_model(model, at, to)
    except BeyondDataError as error:
        try:
            return _near(at, to, power)
        except BeyondDataError:
            raise error from None


def _conditions(power: MeasuredPower, reading: Reading) -> tuple[Asked, Asked]:
    """Give the conditions as measured and as wanted; a bound is carried at the limit that is wanted."""
    wanted = reading.thd_n or power.thd_n
    limit = wanted if power.bound or same_limit(power.thd_n, wanted) else power.thd_n
    at = Asked(load_ohm=power.load_ohm, supply_v=power.supply_v, thd_n=limit, driven=power.driven)
    to = Asked(
        load_ohm=reading.load_ohm or power.load_ohm,
        supply_v=reading.supply_v or power.supply_v,
        thd_n=wanted,
        driven=power.driven,
    )
    return at, to


def _by_model(model: BehaviourModel, at: Asked, to: Asked) -> _Way:
    at, to = _within_limits(model, at), _within_limits(model, to)
    found = correction(model, at=at, to=to)
    lines = ((MODEL_LINE, found.model_u), (RAIL_LINE, found.rail_u))
    said = f"carried by the model fitted with {model.driven} driven" if model.driven > 1 else "carried by the model"
    if found.bounded and found.rail_u > _TELLING_U:
        said += ", which knows one supply voltage only: anything from a regulated rail to one that follows"
    return _Way(
        factor=found.factor,
        load_slope=_slope(model, at, to, "load_ohm", found),
        supply_slope=_slope(model, at, to, "supply_v", found),
        lines=tuple((label, u) for label, u in lines if u > 0),
        said=said,
    )


def _within_limits(model: BehaviourModel, asked: Asked) -> Asked:
    """Take the model's nearest limit of distortion: powers at one limit go alike from load to load and volt to volt."""
    low, high = model.thd_n
    return asked.model_copy(update={"thd_n": min(max(asked.thd_n, low), high)})


def _slope(model: BehaviourModel, at: Asked, to: Asked, key: str, found: Correction) -> float:
    """Give the relative change of the factor for one of a measured condition."""
    for step in (_STEP, -_STEP):
        moved = at.model_copy(update={key: getattr(at, key) * (1 + step)})
        try:
            return log(correction(model, at=moved, to=to).factor / found.factor) / log(1 + step)
        except WattproofError:
            continue  # at the edge of the data the other side is within
    return 0.0


def _near(at: Asked, to: Asked, power: MeasuredPower) -> _Way:
    """Allow for every exponent where the conditions are so near that this costs little.

    Raises
    ------
    BeyondDataError
        They are not.
    """
    load, supply = log(to.load_ohm / at.load_ohm), log(to.supply_v / at.supply_v)
    if abs(load) > NEAR_LOAD or abs(supply) > NEAR_SUPPLY or not same_limit(at.thd_n, to.thd_n):
        raise BeyondDataError(
            "Cannot carry this power to the rated conditions.",
            why=f"it was measured into {at.load_ohm:.4g} ohm at {at.supply_v:.2f} V and {100 * at.thd_n:g} %, and is "
            f"rated into {to.load_ohm:g} ohm at {to.supply_v:g} V and {100 * to.thd_n:g} %; no model of the amplifier "
            f"with {power.driven} driven says what lies between",
            hint=f"Capture a ramp into {to.load_ohm:g} ohm at {to.supply_v:g} V at the terminals; or ramps into two "
            "loads at two supply voltages, from which a model can be fitted.",
        )
    load_middle, supply_middle = sum(LOAD_EXPONENTS) / 2, sum(SUPPLY_EXPONENTS) / 2
    supply_u = 0.0 if power.supply is None else power.supply.u / power.supply.value
    load_away = hypot(load, _load_u(power)) * (LOAD_EXPONENTS[1] - load_middle)
    spread = hypot(load_away, hypot(supply, supply_u) * (SUPPLY_EXPONENTS[1] - supply_middle))
    return _Way(
        factor=(to.load_ohm / at.load_ohm) ** load_middle * (to.supply_v / at.supply_v) ** supply_middle,
        load_slope=-load_middle,
        supply_slope=-supply_middle,
        lines=((NEAR_LINE, spread / sqrt(3)),) if spread > 0 else (),
        said="conditions so near the rated ones that every exponent of load and supply is allowed for",
    )
