"""Shipped helpers: synthetic captures with known truth."""

from wattproof.testing.capture import Capture, Recorder, merge, wire, workshop_wiring
from wattproof.testing.clipping import clipped_power, clipped_sine, clipped_thd, harmonic_peak, overdrive_at
from wattproof.testing.ramp import RampTruth, clipped_ramp
from wattproof.testing.steady import Harmonic, Source, SteadyTruth, SupplyTruth, inductance_for_angle, steady_tone

__all__ = [
    "Capture",
    "Harmonic",
    "RampTruth",
    "Recorder",
    "Source",
    "SteadyTruth",
    "SupplyTruth",
    "clipped_power",
    "clipped_ramp",
    "clipped_sine",
    "clipped_thd",
    "harmonic_peak",
    "inductance_for_angle",
    "merge",
    "overdrive_at",
    "steady_tone",
    "wire",
    "workshop_wiring",
]
