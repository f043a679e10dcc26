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
from wattproof.capture.drives import BurstDrive, RampDrive, SilentDrive, ToneDrive
from wattproof.capture.guard import Guard
from wattproof.capture.guard_tracks import GuardTrack, closest_limits, guard_tracks
from wattproof.capture.pump import TAIL_S, Pump
from wattproof.capture.stream import run_stream, start_stream
from wattproof.capture.take import QueueTake

__all__ = [
    "CHECK_IN_S",
    "FADE_S",
    "TAIL_S",
    "Block",
    "BurstDrive",
    "Drive",
    "Guard",
    "GuardTrack",
    "LoadPart",
    "MeterPart",
    "Operator",
    "PartCheck",
    "Parts",
    "Pump",
    "QueueTake",
    "RampDrive",
    "Recorder",
    "Rig",
    "SilentDrive",
    "SupplyPart",
    "Take",
    "ToneDrive",
    "Trip",
    "Watch",
    "closest_limits",
    "guard_tracks",
    "run_stream",
    "start_stream",
]
