"""Between the steps: rests that are counted down, loads that change hands, a supply that comes on."""

from wattproof.plan import Step
from wattproof.run.events import Resting
from wattproof.run.stage import Stage

TICK_S = 1.0
SETTLE_S = 2.0
"""An amplifier that was just switched on needs a moment before it plays, seconds."""


def rest(stage: Stage, seconds: float, *, next_name: str | None) -> None:
    """Let time pass without drive, told about every second.

    Parameters
    ----------
    stage : Stage
    seconds : float, s
    next_name : str or None
        What comes after it.

    Raises
    ------
    KeyboardInterrupt
        Somebody pressed the stop button.
    """
    left_s = seconds
    while left_s > 0:
        stop_if_pressed(stage)
        stage.tell(Resting(left_s=left_s, next_name=next_name))
        stage.rig.pass_time(min(TICK_S, left_s))
        left_s -= TICK_S
    stop_if_pressed(stage)


def stop_if_pressed(stage: Stage) -> None:
    """End the run where somebody has pressed the stop button.

    Raises
    ------
    KeyboardInterrupt
        Somebody has.
    """
    if stage.button.pressed:
        raise KeyboardInterrupt


def make_ready(stage: Stage, step: Step) -> None:
    """Connect the step's load, with the drive muted, and switch the supply on where the step needs it.

    A load that a person moves is moved with the supply off.
    """
    if step.load is not None and step.load != stage.load:
        stage.rig.mute()
        if stage.powered and _by_hand(stage):
            stage.rig.supply_off()
            stage.powered = False
        stage.rig.use_load(stage.bench.load(step.load))
        stage.load = step.load
    if step.kind != "floor" and not stage.powered:
        limits, supply = stage.bench.limits, stage.bench.supply
        given = [limit for limit in (limits.supply_current_a, supply.max_current_a) if limit is not None]
        stage.rig.supply_on(stage.sheet.supply_v, limit_a=min(given, default=None))
        stage.powered = True
        stage.rig.pass_time(SETTLE_S)


def _by_hand(stage: Stage) -> bool:
    rig = stage.bench.rig
    return rig is None or rig.load.kind == "manual"


def read_meters(stage: Stage) -> dict[str, float]:
    """Read each meter of the bench once, by its quantity."""
    rig = stage.bench.rig
    quantities = [meter.quantity for meter in rig.meters if meter.quantity] if rig is not None else []
    readings = {quantity: stage.rig.read_meter(quantity) for quantity in quantities}
    return {quantity: value for quantity, value in readings.items() if value is not None}
