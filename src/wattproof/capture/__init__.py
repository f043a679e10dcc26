"""The only room that touches instruments: wire, drivers, rig, and the guard on every block."""

from wattproof.capture.contract import (
    CHECK_IN_S,
    FADE_S,
    Block,
    Drive,
    LoadPart,
    MeterPart,
    Operator,
    PartCheck,
    Parts,
    Recorder,
    Rig,
    SupplyPart,
    Take,
    Trip,
    Watch,
)

__all__ = [
    "CHECK_IN_S",
    "FADE_S",
    "Block",
    "Drive",
    "LoadPart",
    "MeterPart",
    "Operator",
    "PartCheck",
    "Parts",
    "Recorder",
    "Rig",
    "SupplyPart",
    "Take",
    "Trip",
    "Watch",
]
