"""What a report lets a model say: the usual loads and supply voltages, each predicted or refused."""

from collections import Counter
from collections.abc import Iterable, Sequence
from math import exp, log
from typing import TYPE_CHECKING

from wattproof.amplifier import Amplifier
from wattproof.errors import WattproofError
from wattproof.fit import Asked, BehaviourModel, Prediction, predict

if TYPE_CHECKING:
    from wattproof.publish import Foreseen

LOADS_OHM = (0.5, 1.0, 1.33, 2.0, 2.67, 4.0, 8.0, 16.0)
"""What loudspeakers of 4 ohm, alone and wired together, give."""
SUPPLIES_V = (11.0, 12.8, 13.8, 14.4, 15.0)
"""A tired battery, a full one, an engine that idles, one that runs, a regulator that charges hard."""
_SYSTEM_24_V = 20.0
_LOW, _HIGH = 0.45, 2.2
"""So far below and above the captures' loads the table looks: refusals are told as predictions are."""
_SAME_V = 0.005
_SAME_LOAD = 0.08
_POINTS = 33


def rated_supply_v(amplifier: Amplifier) -> float | None:
    """Give the supply voltage at which most powers are rated; None where none states any."""
    stated = [r.supply_v for r in amplifier.ratings if r.quantity == "power" and r.supply_v is not None]
    return Counter(stated).most_common(1)[0][0] if stated else None


def nominal_loads(measured_ohm: Iterable[float], amplifier: Amplifier) -> tuple[float, ...]:
    """Give the nominal loads of those that were measured: as rated, else as usual, else to three figures.

    Examples
    --------
    >>> nominal_loads([4.03, 2.006, 3.1], Amplifier(maker="Reed & Rush", model="Coot"))
    (4.0, 3.1, 2.0)
    """
    rated = [rating.load_ohm for rating in amplifier.ratings if rating.load_ohm is not None]
    known = (*rated, *LOADS_OHM)
    named = {
        next((one for one in known if abs(ohm / one - 1) < _SAME_LOAD), float(f"{ohm:.3g}")) for ohm in measured_ohm
    }
    return tuple(sorted(named, reverse=True))


def foreseen_by(model: BehaviourModel, *, supply_v: float, thd_n: float) -> tuple["Foreseen", ...]:
    """Ask a model for each usual load at each usual supply voltage, and at the one that matters.

    Parameters
    ----------
    model : BehaviourModel
    supply_v : float, V
        The one that matters, at the terminals.
    thd_n : float, V/V
    """
    low, high = model.load_ohm
    loads = [load for load in reversed(LOADS_OHM) if _LOW * low <= load <= _HIGH * high]
    double = 2 if high_supply(model) else 1
    volts = {double * volt for volt in SUPPLIES_V}
    if not any(abs(volt / supply_v - 1) < _SAME_V for volt in volts):
        volts.add(supply_v)
    return tuple(_one(model, load, volt, thd_n) for load in loads for volt in sorted(volts))


def high_supply(model: BehaviourModel) -> bool:
    """Tell a supply of 24 V by what was measured."""
    return model.reference_v > _SYSTEM_24_V


def _one(model: BehaviourModel, load_ohm: float, supply_v: float, thd_n: float) -> "Foreseen":
    from wattproof.publish import Foreseen

    asked = Asked(load_ohm=load_ohm, supply_v=supply_v, thd_n=thd_n, driven=model.driven)
    try:
        return Foreseen(load_ohm=load_ohm, supply_v=supply_v, prediction=predict(model, asked))
    except WattproofError as error:
        return Foreseen(load_ohm=load_ohm, supply_v=supply_v, prediction=None, why=error.why)


def curve_of(model: BehaviourModel, *, supply_v: float, thd_n: float) -> tuple[Prediction, ...]:
    """Predict power over the load, from below the lowest to above the highest of the captures, as far as it goes."""
    low, high = (log(factor * ohm) for factor, ohm in zip((_LOW, _HIGH), model.load_ohm, strict=True))
    loads: Sequence[float] = [exp(low + (high - low) * n / (_POINTS - 1)) for n in range(_POINTS)]
    found = (_one(model, load, supply_v, thd_n).prediction for load in loads)
    return tuple(one for one in found if one is not None)
