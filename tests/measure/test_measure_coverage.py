"""The 95 % intervals hold the truth about as often as they say: 150 simulated benches, more by tools/coverage.py."""

import importlib.util
import math
from pathlib import Path

import pytest

BENCHES = 150
CLAIMED = (
    "load_power",
    "load_voltage_rms",
    "thd_f",
    "efficiency",
    "supply_power",
    "load_resistance",
    "source_resistance",
)


@pytest.fixture(scope="module")
def counted():
    path = Path(__file__).parents[2] / "tools" / "coverage.py"
    if not path.exists():
        pytest.skip("tools/coverage.py is not beside these tests")
    spec = importlib.util.spec_from_file_location("coverage_of_benches", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.table(BENCHES, seed=47, rate_hz=16_000.0)


@pytest.mark.slow
@pytest.mark.parametrize("name", CLAIMED)
def test_intervals_hold_the_truth(counted, name):
    """As often as 93 to 97 %, give or take 3.3 standard deviations of a binomial: one false alarm in a thousand."""
    held, count, rms = counted[name]
    assert count >= 0.8 * BENCHES, "too few benches gave the figure for the count to mean much"
    luck = 3.3 * math.sqrt(0.95 * 0.05 / count)
    assert 0.93 - luck <= held / count <= min(0.97 + luck, 1.0)
    # a share near 1 would not show intervals that are far too wide: the errors must also be as large as u says
    assert rms == pytest.approx(1.0, abs=0.1 + 3.3 / math.sqrt(2 * count))
