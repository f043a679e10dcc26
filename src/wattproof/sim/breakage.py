"""What goes wrong on the simulated bench by script: physically where it can be."""

from wattproof.bench import ScriptedFault
from wattproof.sim.engine import Engine, heated
from wattproof.sim.inputs import Inputs
from wattproof.sim.loads import SHORT

DC_V = 6.0
"""An output with a broken device, volts."""
SURGE_V = 4.0
"""Added by a supply whose regulation is gone, volts."""
COLLAPSE_OHM = 0.4
"""Of a terminal that has come loose, ohm."""
HOT_C = 110.0
"""A heat sink whose air is shut off, degrees Celsius."""
DIVIDER_RATIO = 60.0
"""What a divider lets through whose lower arm is open, over what it should."""


def break_it(fault: ScriptedFault, engine: Engine, inputs: Inputs, *, row: int) -> None:
    """Let a fault happen; a stall and a pulled plug are the recorder's own and change nothing here."""
    match fault.what:
        case "open_load":
            engine.hang(row, None)
        case "short_load":
            engine.hang(row, SHORT)
        case "dc":
            engine.dc_v[row] = DC_V
        case "supply_collapse":
            engine.fed.upset_ohm = COLLAPSE_OHM
        case "supply_surge":
            engine.fed.upset_v = SURGE_V
        case "overheated":
            heated(engine, sink_c=HOT_C)
        case "clipped_input":
            inputs.break_divider(row, DIVIDER_RATIO)


def mend(engine: Engine, inputs: Inputs) -> None:
    """Put supply, outputs and inputs right again; the loads are the bench's."""
    engine.dc_v[:] = 0.0
    engine.fed.upset_ohm = engine.fed.upset_v = 0.0
    inputs.wrong[:] = 1.0
