"""The only room that touches instruments: wire, drivers, rig, and the guard on every block."""

from wattproof.capture.block import write_block
from wattproof.capture.checks import failed_check, part_check, settled
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
from wattproof.capture.driver import Driver
from wattproof.capture.drives import BurstDrive, RampDrive, SilentDrive, ToneDrive
from wattproof.capture.guard import Guard
from wattproof.capture.guard_tracks import GuardTrack, closest_limits, guard_tracks
from wattproof.capture.instrument import Instrument, parse_instrument
from wattproof.capture.link import Link, VisaLink
from wattproof.capture.open_rig import open_rig
from wattproof.capture.parts import make_load, make_meter, make_supply, open_scope, read_instrument
from wattproof.capture.pump import TAIL_S, Pump
from wattproof.capture.rig import BenchRig
from wattproof.capture.scope import Scope
from wattproof.capture.stream import run_stream, start_stream
from wattproof.capture.take import QueueTake
from wattproof.capture.wire import LinkWire, Wire, open_wire

__all__ = [
    "CHECK_IN_S",
    "FADE_S",
    "TAIL_S",
    "BenchRig",
    "Block",
    "BurstDrive",
    "Drive",
    "Driver",
    "Guard",
    "GuardTrack",
    "Instrument",
    "Link",
    "LinkWire",
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
    "Scope",
    "SilentDrive",
    "SupplyPart",
    "Take",
    "ToneDrive",
    "Trip",
    "VisaLink",
    "Watch",
    "Wire",
    "closest_limits",
    "failed_check",
    "guard_tracks",
    "make_load",
    "make_meter",
    "make_supply",
    "open_rig",
    "open_scope",
    "open_wire",
    "parse_instrument",
    "part_check",
    "read_instrument",
    "run_stream",
    "settled",
    "start_stream",
    "write_block",
]
