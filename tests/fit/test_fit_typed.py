"""Readings typed from meters make a first model; a data sheet's line makes one of a stage without a converter."""

import pytest

from wattproof.bench import Bench, Meter, parse_readings
from wattproof.errors import BeyondDataError, MeasureError
from wattproof.fit import Asked, BehaviourModel, fit_behaviour, predict
from wattproof.fit.points import points_of
from wattproof.measure import measure_readings

BENCH = Bench(
    meters=(
        Meter(name="handheld", quantity="load_voltage", percent_of_reading=0.5, digits=3, resolution=0.01),
        Meter(name="panel", quantity="supply_voltage", percent_of_reading=0.3, digits=2, resolution=0.01),
        Meter(name="clamp", quantity="supply_current", percent_of_reading=1.5, digits=3, resolution=0.1),
    )
)


def fitted(text, **more):
    rows = parse_readings(text, file="readings.csv")
    return fit_behaviour(measure_readings(rows, bench=BENCH, file="readings.csv"), amplifier="Fieldfare 2", **more)


THREE_ROWS = """load,load_voltage_v,supply_voltage_v,supply_current_a
8,34.6,14.22,12.3
4,33.8,14.12,23.1
2,32.2,13.95,42.7
"""


def test_three_rows_make_a_first_model():
    model = fitted(THREE_ROWS)
    assert model.points == 3
    # by hand: 1/V is a straight line in 1/R, its slope over its intercept is the resistance
    slope = (1 / 32.2 - 1 / 34.6) / (1 / 2 - 1 / 8)
    by_hand_ohm = slope / (1 / 34.6 - slope / 8)
    output = model.parameter("output_ohm")
    assert output.value == pytest.approx(by_hand_ohm, abs=2 * output.u)
    codes = {notice.code for notice in model.complaints}
    assert {"model-not-fixed", "model-limit-unknown"} <= codes
    found = predict(model, Asked(load_ohm=2.67, supply_v=14.0))
    # between the neighbours' volts; and wide, for nothing says how the rail goes with the supply or what the limit was
    assert 32.2 < found.load_voltage.value < 33.8
    assert 0.01 < (found.power.high - found.power.low) / found.power.value < 0.2
    assert 28 < found.supply_current.value < 40
    assert found.supply_current.low < found.supply_current.value < found.supply_current.high
    assert 0.7 < found.efficiency.value < 1.0
    far = predict(model, Asked(load_ohm=2.67, supply_v=12.5))
    assert far.power.high - far.power.low > 2 * (found.power.high - found.power.low)


def test_rows_on_the_way_up_are_not_taken_for_limits():
    plain = fitted(THREE_ROWS)
    more = fitted(THREE_ROWS + "4,12.0,14.6,4.0\n2,10.1,14.5,5.6\n")
    assert more.points == plain.points
    assert more.parameter("rail_v").value == pytest.approx(plain.parameter("rail_v").value, rel=1e-6)


def test_a_typed_distortion_counts_before_rows_that_state_none():
    model = fitted("load,load_voltage_v,supply_voltage_v,thd_percent\n8,34.6,14.2,1\n4,33.8,14.1,1\n2,12.0,14.5,\n")
    assert model.load_ohm == (4.0, 8.0)
    assert model.thd_n == (0.01, 0.01)


def test_the_recorders_own_floor_is_no_idle_power():
    rows = parse_readings("kind,supply_voltage_v,supply_current_a\nidle,14.6,1.1\nidle,0.01,0.02\n", file="idle.csv")
    results = measure_readings(rows, bench=BENCH, file="idle.csv")
    more = measure_readings(parse_readings(THREE_ROWS, file="readings.csv"), bench=BENCH, file="readings.csv")
    assert [round(p.power.value, 2) for p in points_of([*results, *more]).idle] == [16.06]


def test_nothing_at_a_limit_is_no_model():
    with pytest.raises(MeasureError, match="No model can be fitted"):
        fitted("load,load_voltage_v,supply_voltage_v,thd_percent\n8,20.0,14.2,0.05\n")


def test_a_data_sheets_point_gives_the_other_load_of_a_bridge_without_a_converter():
    """Public sheet of a bridged class-D chip: 27 W into 4 ohm, 45 W into 2 ohm, both at 14.4 V and 10 %.

    By hand: 27 W is 1.2878 times the power where a hard limit of 12.95 V begins to clip, 14.4 V less 12.95 V at 3.24 A
    is 0.448 ohm, and 2 ohm then get 1.2878 · 11.76² / 4 = 44.6 W.
    """
    sheet = "load,power_w,supply_voltage_v,thd_percent\n4,27,14.4,10\n"
    model = fitted(sheet, fed="direct")
    assert model.parameter("output_ohm").value == pytest.approx(0.448, abs=0.01)
    found = predict(model, Asked(load_ohm=2, supply_v=14.4, thd_n=0.1))
    assert found.power.value == pytest.approx(44.6, abs=0.3)
    assert found.power.value == pytest.approx(45, rel=0.02)
    assert found.power.low < 45 < found.power.high
    assert found.basis == "within"
    assert [note.code for note in found.notes] == ["load-below-data"]
    # the same point, without knowing how the stage is fed, says nothing of 2 ohm
    with pytest.raises(BeyondDataError, match="2 ohm"):
        predict(fitted(sheet), Asked(load_ohm=2, supply_v=14.4, thd_n=0.1))


def test_figures_that_contradict_a_direct_feed_are_told():
    sheet = "load,power_w,supply_voltage_v,thd_percent\n8,100,14.4,10\n4,190,14.4,10\n"
    codes = {notice.code for notice in fitted(sheet, fed="direct").complaints}
    assert "model-contradicted" in codes


def test_a_model_survives_being_written_and_read():
    model = fitted(THREE_ROWS)
    assert BehaviourModel.model_validate_json(model.model_dump_json(by_alias=True)) == model
