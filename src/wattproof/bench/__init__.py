"""What is on the table: channels, loads, supply, meters, calibration, limits."""

from wattproof.bench.model import Bench, BenchChannel, Limits, Load, Meter, Role, Supply
from wattproof.bench.parse import parse_bench

__all__ = ["Bench", "BenchChannel", "Limits", "Load", "Meter", "Role", "Supply", "parse_bench"]
