"""The model prints itself: how good, each number with doubt and unit, what is suspect; predictions likewise."""

import pytest

from wattproof.bench import Bench, parse_readings
from wattproof.fit import Asked, fit_behaviour, predict
from wattproof.measure import measure_readings
from wattproof.report import model_text, prediction_text

TYPED = """load,load_voltage_v,supply_voltage_v,supply_current_a,thd_percent
8,34.6,14.22,12.3,1
4,33.8,14.12,23.1,1
2,32.2,13.95,42.7,1
4,29.6,12.42,20.5,1
2,28.1,12.20,37.6,1
"""


def fitted(text=TYPED):
    rows = parse_readings(text, file="readings.csv")
    return fit_behaviour(measure_readings(rows, bench=Bench(), file="readings.csv"), amplifier="Fieldfare 2")


def test_a_fit_prints_itself():
    model = fitted()
    text = model_text(model)
    lines = text.splitlines()
    assert lines[0].startswith("Model of Fieldfare 2, all outputs alike: 5 points, 9 parameters, reduced chi-square ")
    assert "from 2 to 8 ohm, 12.2 to 14.2 V at the terminals, 1 % of distortion" in lines[1]
    rail = next(line for line in lines if line.startswith("  rail  "))
    assert f"{model.parameter('rail_v').value:.1f}" in rail
    assert "±" in rail
    assert f"at {model.reference_v:.4g} V of supply" in rail
    assert next(line for line in lines if line.startswith("  knee")).split()[1:4] == ["0", "to", "0.1"]
    assert "! one limit of distortion only" in text
    assert "each load left out and predicted from the others:" in text
    assert max(map(len, lines)) <= 120


def test_only_strong_correlations_are_printed():
    text = model_text(fitted())
    found = [float(line.rsplit(": ")[1]) for line in text.splitlines() if line.startswith("  correlation")]
    assert found
    assert all(0.8 <= abs(number) <= 1 for number in found)


def test_a_prediction_prints_intervals_basis_and_notes():
    model = fitted()
    found = predict(model, Asked(load_ohm=2.67, supply_v=13.0, source_ohm=0.006))
    text = prediction_text(found, amplifier="Fieldfare 2")
    assert text.startswith("Fieldfare 2 into 2.67 ohm from a source of 13 V behind 6 mohm, at 1 % of distortion")
    power = next(line for line in text.splitlines() if line.startswith("  power"))
    value, low, high = (float(word) for word in (power.split()[1], power.split()[5], power.split()[7]))
    assert low < value < high
    assert (value, low, high) == pytest.approx((found.power.value, found.power.low, found.power.high), rel=0.01)
    assert "supply voltage at the terminals" in text
    assert "by a model of measured loads and supply voltages" in text


def test_one_supply_voltage_is_said_in_words():
    model = fitted("\n".join(TYPED.splitlines()[:4]) + "\n")
    text = prediction_text(predict(model, Asked(load_ohm=4, supply_v=12.5)), amplifier="Fieldfare 2")
    assert "bounded between a regulated and a following rail" in text
    assert "0 to 1.1" in model_text(model)
