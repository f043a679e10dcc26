"""Readings typed by hand, and what the meters' data sheets leave open about them."""

from math import sqrt

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from wattproof.bench import (
    Bench,
    Meter,
    ReadingRow,
    UnknownMeter,
    find_load,
    find_meter,
    meter_uncertainty,
    parse_readings,
)
from wattproof.errors import SettingsError

WHOLE = """\
output,load,frequency_hz,kind,load_voltage_v,load_current_a,supply_voltage_v,supply_current_a,thd_percent,power_w,note
A,4 ohm,47,steady,45.20,11.2,13.91,48.1,0.9,507,"warm, fan on"
B,,,idle,,,14.52,-0.02,,,
"""
HANDHELD = Meter(
    name="handheld", quantity="load_voltage", percent_of_reading=0.8, digits=3, resolution=0.01, frequency_hz=(45, 400)
)


def refused(text):
    with pytest.raises(SettingsError) as caught:
        parse_readings(text, file="readings.csv")
    return caught.value


def test_every_column_is_read_and_blank_cells_are_unknown():
    first, second = parse_readings(WHOLE, file="readings.csv")
    assert (first.line, first.output, first.load, first.kind, first.note) == (2, "A", "4 ohm", "steady", "warm, fan on")
    assert (first.frequency_hz, first.load_voltage_v, first.load_current_a) == (47.0, 45.2, 11.2)
    assert (first.supply_voltage_v, first.supply_current_a, first.thd_percent, first.power_w) == (13.91, 48.1, 0.9, 507)
    assert first.steps["load_voltage"] == 0.01
    assert (second.load, second.load_voltage_v, second.supply_current_a) == (None, None, -0.02)
    assert second.quantities == ("supply_voltage", "supply_current")


def test_a_row_needs_no_more_than_one_reading():
    (row,) = parse_readings("load_voltage_v\n10\n", file="readings.csv")
    assert (row.output, row.kind, row.load) == ("A", "steady", None)


def test_a_column_names_the_meter_with_or_without_the_unit_in_its_name():
    for header in ("load_voltage_meter", "load_voltage_v_meter"):
        (row,) = parse_readings(f"load_voltage_v,{header}\n10,handheld\n", file="readings.csv")
        assert row.meters == {"load_voltage": "handheld"}


@pytest.mark.parametrize(
    ("text", "place", "what", "cure"),
    [
        ("load_voltage_v,kind\n10,stedy\n", "line 2, column 2", 'kind is "stedy"', "write steady"),
        ("load_voltage_v,kind\n10,ramp\n", "line 2, column 2", 'kind is "ramp"', "steady, idle, burst, hold"),
        ("load_voltage\n10\n", "line 1, column 1", '"load_voltage" is no column', "write load_voltage_v"),
        ("supply_voltage [V]\n10\n", "line 1, column 1", '"supply_voltage [V]"', "write supply_voltage_v"),
        ("power_kw\n0.5\n", "line 1, column 1", '"power_kw" is no column', "power_w, with the numbers in the unit"),
        ("frequency_hz\n0\n", "line 2, column 1", "frequency_hz is 0", "more than 0"),
        ("load_voltage_v\n-3\n", "line 2, column 1", "load_voltage_v is -3", "at least 0"),
        ("load_voltage_v\n1e300\n", "line 2, column 1", "load_voltage_v is 1e300", "look at its exponent"),
        ("load_voltage_v\n", "", "no reading stands", "type one line"),
    ],
)
def test_a_fault_is_told_with_its_place_and_its_cure(text, place, what, cure):
    error = refused(text)
    assert error.why.startswith(place)
    assert what in error.why
    assert cure in error.hint


@pytest.mark.parametrize(
    "header", ["load_voltage_peak_v", "load_voltage_pp", "Vpk", "load_current_max_a", "v_out_p-p_pp"]
)
def test_peak_readings_are_never_taken_for_rms(header):
    error = refused(f"{header}\n84\n")
    assert "type r.m.s. values" in error.hint
    assert f"{sqrt(2):.5f}" in error.hint
    assert f"{2 * sqrt(2):.5f}" in error.hint


def test_the_limit_of_a_meter_is_a_rectangle_and_the_last_digit_another():
    doubt = meter_uncertainty(HANDHELD, 20.0, 50.0)
    limit = 0.008 * 20.0 + 3 * 0.01
    assert doubt.u == pytest.approx(sqrt(limit**2 / 3 + 0.01**2 / 12))
    assert doubt.shared == pytest.approx(0.16 / sqrt(3))
    assert doubt.notice is None


@given(st.floats(-1e3, 1e3), st.floats(0, 5), st.floats(0, 9), st.sampled_from([0.1, 0.01, 0.001]))
@settings(deadline=None)
def test_parts_of_a_meters_doubt_add_up_to_the_stated_limit(reading, percent, digits, resolution):
    meter = Meter(name="m", quantity="power", percent_of_reading=percent, digits=digits, resolution=resolution)
    doubt = meter_uncertainty(meter, reading)
    limit = percent / 100 * abs(reading) + digits * resolution
    assert doubt.shared**2 + doubt.own**2 == pytest.approx(limit**2 / 3, rel=1e-9, abs=1e-15)


def test_without_a_resolution_the_digits_typed_count():
    bare = Meter(name="bare", quantity="supply_voltage")
    assert meter_uncertainty(bare, 14.4, step=0.1).u == pytest.approx(0.1 / sqrt(12))


@pytest.mark.parametrize(
    ("frequency_hz", "told"), [(44.9, True), (45, False), (400, False), (1280, True), (None, False)]
)
def test_a_reading_outside_the_band_is_told(frequency_hz, told):
    notice = meter_uncertainty(HANDHELD, 2.8, frequency_hz).notice
    assert (notice is not None) is told
    if notice is not None:
        assert notice.code == "meter-out-of-band"
        assert notice.numbers["frequency_hz"] == frequency_hz


def test_a_direct_reading_has_no_band():
    meter = HANDHELD.model_copy(update={"quantity": "supply_voltage"})
    assert meter_uncertainty(meter, 14.4, 1000.0).notice is None


def test_the_meter_of_a_reading_is_found_or_asked_for():
    other = HANDHELD.model_copy(update={"name": "bench meter", "frequency_hz": None})
    high = HANDHELD.model_copy(update={"frequency_hz": (400, 2000), "percent_of_reading": 2.0})
    one, two = Bench(meters=(HANDHELD, high)), Bench(meters=(HANDHELD, other))
    assert find_meter(one, "load_voltage", name=None, frequency_hz=47.0) == HANDHELD
    assert find_meter(one, "load_voltage", name=None, frequency_hz=997.0) == high
    assert find_meter(one, "load_current", name=None, frequency_hz=47.0) is None
    assert find_meter(two, "load_voltage", name="bench meter", frequency_hz=47.0) == other
    asked = find_meter(two, "load_voltage", name=None, frequency_hz=47.0)
    assert isinstance(asked, UnknownMeter)
    assert "load_voltage_meter" in asked.cure
    missing = find_meter(two, "load_voltage", name="handhold", frequency_hz=47.0)
    assert isinstance(missing, UnknownMeter)
    assert '"handheld"' in missing.cure


@pytest.mark.parametrize(
    ("words", "ohms"), [("4 ohm", 4.0), ("4", 4.0), ("2.5 Ohms", 2.5), ("2,5 ohm", 2.5), ("8Ω", 8.0), ("4R", 4.0)]
)
def test_plain_ohms_are_a_nominal_load(words, ohms):
    found = find_load(Bench(), words)
    assert (found.load.resistance_ohm, found.calibrated) == (ohms, False)


@pytest.mark.parametrize("words", ["0", "0 ohm", "-4", "four", "4 kohm", "4 W"])
def test_what_is_no_load_is_answered_with_what_is(words):
    assert "ohm" in find_load(Bench(), words).cure


@given(st.text(max_size=200))
@settings(deadline=None, max_examples=100)
@example("load_voltage_v\n" + "9" * 400)
@example("load_voltage_v\n1e-400\n")
@example("note\n\x00\n")
@example('"' + "a" * 200_000)
def test_any_text_is_answered_or_refused(text):
    assert answered(text)


@given(st.data())
@settings(deadline=None, max_examples=100)
def test_readings_with_random_slips_are_answered_or_refused(data):
    text = WHOLE.replace(",", data.draw(st.sampled_from([",", ";", "\t"])))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text) - 1))
        cut = data.draw(st.integers(0, 6))
        slip = data.draw(st.sampled_from(["", ",", ";", '"', "\n", "\r", "#", "e", "-", "1", " ", "Ω", "\ufeff"]))
        text = text[:at] + slip + text[at + cut :]
    assert answered(text)


def answered(text):
    """Rows, or an error that says why and what to do; anything else raised fails the test."""
    try:
        rows = parse_readings(text, file="readings.csv")
    except SettingsError as error:
        return bool(error.why and error.hint)
    return bool(rows) and all(isinstance(row, ReadingRow) for row in rows)
