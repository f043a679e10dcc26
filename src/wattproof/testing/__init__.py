"""Shipped helpers: synthetic captures with known truth, strategies (in `strategies`, they need hypothesis), asserts."""

from wattproof.testing.asserts import assert_within
from wattproof.testing.burst import BurstTruth, burst_train
from wattproof.testing.capture import Capture, Recorder, merge, wire, workshop_wiring
from wattproof.testing.clipping import clipped_power, clipped_sine, clipped_thd, harmonic_peak, overdrive_at
from wattproof.testing.example import example, example_recording
from wattproof.testing.exchange import Peer, ScriptedWire, exchange
from wattproof.testing.hold import HoldTruth, hold, hold_blocks, write_hold
from wattproof.testing.idle import IdleTruth, a_weight, idle
from wattproof.testing.loop import LoopBench, LoopFault, LoopRecorder
from wattproof.testing.plain_table import PlainTable
from wattproof.testing.ramp import RampTruth, clipped_ramp
from wattproof.testing.steady import Harmonic, Source, SteadyTruth, SupplyTruth, inductance_for_angle, steady_tone

__all__ = [
    "BurstTruth",
    "Capture",
    "Harmonic",
    "HoldTruth",
    "IdleTruth",
    "LoopBench",
    "LoopFault",
    "LoopRecorder",
    "Peer",
    "PlainTable",
    "RampTruth",
    "Recorder",
    "ScriptedWire",
    "Source",
    "SteadyTruth",
    "SupplyTruth",
    "a_weight",
    "assert_within",
    "burst_train",
    "clipped_power",
    "clipped_ramp",
    "clipped_sine",
    "clipped_thd",
    "example",
    "example_recording",
    "exchange",
    "harmonic_peak",
    "hold",
    "hold_blocks",
    "idle",
    "inductance_for_angle",
    "merge",
    "overdrive_at",
    "steady_tone",
    "wire",
    "workshop_wiring",
    "write_hold",
]
