"""Intervals hold the truth of simulated amplifiers that know no model; more by tools/model_coverage.py."""

import importlib.util
import json
import math
import sys
from pathlib import Path

import numpy as np
import pytest

CASES = 40
TRUTHS = Path(__file__).parent / "truths.json"
TOOL = Path(__file__).parents[2] / "tools" / "model_coverage.py"


@pytest.fixture(scope="module")
def tool():
    if not TOOL.exists():
        pytest.skip("tools/model_coverage.py is not beside these tests")
    spec = importlib.util.spec_from_file_location("model_coverage", TOOL)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def truths():
    return json.loads(TRUTHS.read_text(encoding="utf-8"))


def least_held(n):
    """What 95 % give with bad luck of one in a thousand."""
    return 0.95 - 3.1 * math.sqrt(0.95 * 0.05 / n)


@pytest.mark.parametrize("one_supply", [False, True], ids=["two supply voltages", "one supply voltage"])
def test_intervals_hold_what_the_amplifiers_truly_do(tool, truths, one_supply):
    found = list(tool.cases(truths, CASES, 12, one_supply=one_supply))
    made = [case for case in found if case.prediction is not None]
    assert len(made) >= 0.9 * len(found), "refusing is no way of being right"
    for name in ("power", "supply_current"):
        assert np.mean([case.held(name) for case in made]) >= least_held(len(made)), name
    assert {case.prediction.basis for case in made} == {"bounded" if one_supply else "within"}
    if not one_supply:
        inside = [case.half_width for case in made if case.is_inside and case.name in {"bittern-1", "dabchick-600"}]
        assert len(inside) >= 5
        assert np.median(inside) < 0.03
        assert np.mean(np.array(inside) < 0.05) >= 0.8


def test_one_supply_voltage_says_what_it_cannot_know(tool, truths):
    case = next(tool.cases(truths, 1, 3, one_supply=True))
    exponent = case.model.parameter("rail_exponent")
    assert exponent.fixed_by == "prior"
    assert "whether the rail is regulated or follows it is not known" in exponent.complaint
    assert "model-not-fixed" in {notice.code for notice in case.model.complaints}


def test_the_table_is_what_the_amplifiers_do(truths):
    """One row of each amplifier, computed anew by the bench's own root finder."""
    from wattproof.sim.collection import COLLECTION
    from wattproof.sim.known import at_thd
    from wattproof.sim.loads import Resistor

    assert set(truths) == set(COLLECTION)
    name = "ptarmigan-350"
    ohm, volt, thd, power_w, supply_v, supply_a, _ = next(row for row in truths[name] if row[:3] == [4.0, 13.2, 0.03])
    _, state = at_thd(COLLECTION[name], [Resistor(resistance_ohm=ohm)], thd, supply_v=volt)
    assert state.load_power[0] == pytest.approx(power_w, rel=2e-5)
    assert state.supply_voltage == pytest.approx(supply_v, rel=1e-5)
    assert state.supply_current == pytest.approx(supply_a, rel=2e-5)
