"""The steps of a bench day that show a rated power itself, with what the supply must be set to for it."""

from collections.abc import Sequence
from math import ceil

from wattproof.errors import WattproofError
from wattproof.fit import Asked, BehaviourModel, predict
from wattproof.judge.model import Reading

STATED_S = (1.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0)
"""Times of a hold at which measuring states what is still there, each from the second that begins then."""


def ramp_step(reading: Reading, models: Sequence[BehaviourModel] = (), *, also_one: bool = False) -> str:
    """Name the ramp that shows a reading's power directly, without a full stop.

    Parameters
    ----------
    reading : Reading
    models : sequence of BehaviourModel
        For what the bench's supply loses on the way to the terminals.
    also_one : bool
        Say too that one output alone is to be driven.
    """
    said = f"Capture a ramp into {reading.load_ohm:g} ohm at {reading.supply_v:g} V at the terminals"
    said += supply_set(reading, models)
    if reading.thd_n is not None:
        said += f", up past {100 * reading.thd_n:g} % distortion"
    if (reading.driven or 1) > 1:
        return f"{said}, {reading.driven} outputs driven"
    return f"{said}, one output driven" if also_one else said


def hold_step(reading: Reading, models: Sequence[BehaviourModel] = ()) -> str:
    """Name the hold that shows what is still there after the rated time, long enough for its figure."""
    rated_s = reading.seconds or 0.0
    last_s = next((stated for stated in STATED_S if stated >= rated_s), ceil(rated_s)) + 1
    return (
        f"Hold {reading.load_ohm:g} ohm for {last_s:g} s at {reading.supply_v:g} V at the terminals"
        f"{supply_set(reading, models)}, at the level that just gives {100 * (reading.thd_n or 0.01):g} % distortion."
    )


def supply_set(reading: Reading, models: Sequence[BehaviourModel]) -> str:
    """Say what the bench's own supply must be set to, so that the rated voltage stands at the terminals under load."""
    model = next((one for one in models if one.driven == (reading.driven or one.driven)), None)
    if model is None or model.source is None or reading.load_ohm is None or reading.supply_v is None:
        return ""
    low, high = model.thd_n
    thd_n = min(max(reading.thd_n or low, low), high)
    asked = Asked(load_ohm=reading.load_ohm, supply_v=reading.supply_v, thd_n=thd_n, driven=model.driven)
    try:
        drawn = predict(model, asked).supply_current
    except WattproofError:
        return ""  # the advice stands without it
    if drawn is None:
        return ""
    ohm = model.source.resistance_ohm
    volts = reading.supply_v + ohm * drawn.value
    return f" (the supply set to {volts:.2f} V: {drawn.value:.2g} A flow through {1e3 * ohm:.2g} mohm)"
