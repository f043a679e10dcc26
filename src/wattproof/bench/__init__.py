"""What is on the table: channels, loads, supply, meters, calibration, limits, and the readings typed there."""

from wattproof.bench.calibrate import Calibration, calibrate
from wattproof.bench.calibrate_text import calibration_toml, parse_calibration
from wattproof.bench.loads import OPEN_WORDS, NamedLoad, UnknownLoad, find_load, power_factor_of, resistance_of
from wattproof.bench.meters import MeterDoubt, UnknownMeter, find_meter, meter_uncertainty
from wattproof.bench.model import Bench, BenchChannel, DecisionRule, Limits, Load, Meter, Read, Role, Supply
from wattproof.bench.parse import parse_bench
from wattproof.bench.readings import ReadingKind, ReadingRow, parse_readings
from wattproof.bench.rig import PartSettings, RigSettings, ScriptedFault, SimulatedSettings

__all__ = [
    "OPEN_WORDS",
    "Bench",
    "BenchChannel",
    "Calibration",
    "DecisionRule",
    "Limits",
    "Load",
    "Meter",
    "MeterDoubt",
    "NamedLoad",
    "PartSettings",
    "Read",
    "ReadingKind",
    "ReadingRow",
    "RigSettings",
    "Role",
    "ScriptedFault",
    "SimulatedSettings",
    "Supply",
    "UnknownLoad",
    "UnknownMeter",
    "calibrate",
    "calibration_toml",
    "find_load",
    "find_meter",
    "meter_uncertainty",
    "parse_bench",
    "parse_calibration",
    "parse_readings",
    "power_factor_of",
    "resistance_of",
]
