"""A made-up amplifier on a made-up bench; reached by name only."""

from wattproof.sim.bench_day import write_benches, write_samples
from wattproof.sim.truth import day_truth

__all__ = ["day_truth", "write_benches", "write_samples"]
