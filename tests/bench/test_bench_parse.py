"""The bench file: all its keys, and every mistake answered with line, what is wrong and what would be right."""

import re
from datetime import date

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from wattproof.bench import Bench, BenchChannel, Load, parse_bench
from wattproof.errors import SettingsError

WHOLE = """\
name = "Boathouse bench"

[[channels]]
input = 1                      # track
role = "load_voltage"
output = "A"
scale = 42.0
offset = 0.0
scale_u = 0.002
offset_u = 0.0
skew_s = 0.0
skew_u_s = 1e-7
full_scale = 1.0
calibrated = 2031-03-02
calibration_days = 365

[[channels]]
input = "CH2"
role = "supply_current"

[[loads]]
name = "4 ohm"
resistance_ohm = 4.03
resistance_u_ohm = 0.008
tempco_per_k = 60e-6
rise_k = 80
inductance_h = 2e-6
continuous_w = 1000

[[meters]]
name = "handheld"
quantity = "load_voltage"
percent_of_reading = 0.8
digits = 3
resolution = 0.01
frequency_hz = [45, 400]

[supply]
nominal_v = 14.4
max_current_a = 150

[limits]
load_voltage_v = 90
load_dc_v = 1.0
load_current_a = 60
supply_current_a = 120
supply_voltage_v = [10.5, 16.0]
temperature_c = 85
full_power_s = 6

[rule]
confidence = 0.9
"""


def refused(text):
    with pytest.raises(SettingsError) as caught:
        parse_bench(text, file="bench.toml")
    assert caught.value.code == "settings"
    return caught.value


def changed(old, new):
    assert WHOLE.count(old) == 1, f"{old!r} must stand once in the example"
    return WHOLE.replace(old, new), WHOLE[: WHOLE.index(old)].count("\n") + 1


def test_every_key_is_read():
    bench = parse_bench(WHOLE, file="bench.toml")
    assert bench.channels[0] == BenchChannel(
        input=1, role="load_voltage", output="A", scale=42.0, scale_u=0.002, skew_u_s=1e-7, full_scale=1.0,
        calibrated=date(2031, 3, 2), calibration_days=365,
    )  # fmt: skip
    assert bench.channels[1].input == "CH2"
    assert bench.loads[0].tempco_per_k == 60e-6
    assert bench.meters[0].frequency_hz == (45.0, 400.0)
    assert bench.limits.supply_voltage_v == (10.5, 16.0)
    assert bench.supply.max_current_a == 150
    assert bench.rule.confidence == 0.9
    assert set(bench.limits.model_fields_set) == set(type(bench.limits).model_fields)


def test_windows_line_ends_and_a_byte_order_mark_change_nothing():
    plain = parse_bench(WHOLE, file="bench.toml")
    assert parse_bench("\ufeff" + WHOLE.replace("\n", "\r\n"), file="bench.toml") == plain


def test_an_empty_file_is_a_bench_with_nothing_on_it():
    assert parse_bench("", file="bench.toml") == Bench()


@pytest.mark.parametrize(
    ("old", "new", "what", "cure"),
    [
        ("confidence = 0.9", "confidence = 95", "confidence", "less than 1"),
        ("confidence = 0.9", "confidence = 0.5", "confidence", "greater than 0.5"),
        ("scale = 42.0", "scal = 42.0", "scal is no key of [[channels]]", "write scale"),
        ("scale = 42.0", "scale = 42,0", "42,0 has a decimal comma", "write a point: 42.0"),
        ("scale = 42.0", "scale = 0", "0 would make every sample 0", "units per unit"),
        ("scale = 42.0", "scale = nan", "scale is nan", "finite number"),
        ("scale = 42.0", "scale = inf", "scale is inf", "finite number"),
        ("scale = 42.0", 'scale = "42"', 'scale is "42"', "write scale = 42, without quotation marks"),
        ("scale = 42.0", "scale = true", "scale is true where a number belongs", "write scale = 42.0"),
        ("scale = 42.0", "scale = [42]", "scale is a list of 1 where a number belongs", "write scale = 42.0"),
        ("scale = 42.0", "scale = 42 V", "a unit (V) stands behind the number", "write the number alone, 42"),
        ("scale = 42.0", "scale = .5", ".5 lacks a digit before the point", "write 0.5"),
        ("scale = 42.0", "scale = 42.", "42. lacks a digit behind the point", "write 42.0"),
        ("scale = 42.0", "scale = 042", "further zeros", "write 42"),
        ("scale = 42.0", "scale =", "nothing stands behind the =", "write a value"),
        ("scale = 42.0", "scale: 42.0", "a colon stands where = belongs", "write scale = 42.0"),
        ("scale_u = 0.002", "scale_u = 0.2 %", "per cent sign", "write 0.2/100"),
        ("scale_u = 0.002", "scale_u = -0.002", "scale_u is -0.002", "at least 0"),
        ("scale_u = 0.002", "scale_u = 0.5", "scale_u: 0.5 would be 50 %", "0.5 % is written 0.005"),
        ("scale_u = 0.002", "scale_u = 2", "scale_u: 2 would be 200 %", "2 % is written 0.02"),
        ("scale_u = 0.002", "scale = 0.002", "scale is given twice", "keep one"),
        ("resistance_u_ohm = 0.008", "resistance_u_ohm = 3", "3 ohm would be 74.4 % of 4.03 ohm", "is written 0.121"),
        ('role = "load_voltage"', 'role = "load_volts"', 'role is "load_volts"', 'write "load_voltage"'),
        ('role = "load_voltage"', "role = load_voltage", "without quotation marks", 'write "load_voltage"'),
        ("input = 1 ", "input = 0 ", "input: 0 is no input", "from 1"),
        ("input = 1 ", "input = 1.5 ", "input: 1.5 is no input", "from 1"),
        ("input = 1 ", "input = true ", "input: True is no input", "from 1"),
        ('input = "CH2"', 'input = " "', 'input: " " is no input', '"CH1"'),
        ('input = "CH2"', "input = “CH2”", "curly", 'write straight ones: "CH2"'),
        ("calibrated = 2031-03-02", "calibrated = 02.03.2031", "02.03.2031 is not a date", "2031-03-02"),
        ("calibrated = 2031-03-02", "calibrated = 2031-3-2", "2031-3-2 is not a date", "two digits"),
        ("calibrated = 2031-03-02", "calibrated = 20310302", "20310302 is no date", "2031-03-02"),
        ("calibrated = 2031-03-02", "calibrated = 2031-03-02T10:00:00", "is no date", "2031-03-02"),
        ("calibration_days = 365", "calibration_days = 0", "calibration_days is 0", "greater than 0"),
        ("resistance_ohm = 4.03", "resistance_mohm = 4030", "resistance_mohm is no key", "write resistance_ohm, and"),
        ("resistance_ohm = 4.03", "resistance_ohm = -4", "resistance_ohm is -4", "greater than 0"),
        ("tempco_per_k = 60e-6", "tempco_per_k = 60", "tempco_per_k is 60", "60 ppm is 60e-6"),
        ('quantity = "load_voltage"', 'quantity = "load_voltage_v"', '"load_voltage_v"', 'write "load_voltage"'),
        ("frequency_hz = [45, 400]", "frequency_hz = [400, 45]", "the lower end 400 is not below", "write [45, 400]"),
        ("frequency_hz = [45, 400]", "frequency_hz = [45]", "too few values", "frequency_hz = [45, 400]"),
        ("frequency_hz = [45, 400]", "frequency_hz = 45", "frequency_hz is 45 where a list belongs", "[45, 400]"),
        ("supply_voltage_v = [10.5, 16.0]", "supply_voltage_v = [16.0, 10.5]", "the lower end 16", "[10.5, 16]"),
        ("supply_voltage_v = [10.5, 16.0]", "supply_voltage_v = [10,5, 16,0]", "a list of 4", "decimal comma"),
        ("[supply]", "[[supply]]", "supply is a list of 1 where a table belongs", "[supply]"),
        ("[supply]", "[suply]", "suply is no key of the top of the file", "write supply"),
        ("temperature_c = 85", "temperature_c = 850", "temperature_c is 850", "at most 300"),
        ("full_power_s = 6", "resistance_ohm = 6", "resistance_ohm is no key of [limits]", "write it in [[loads]]"),
        ("full_power_s = 6", 'name = "x"', "name is no key of [limits]", "write it at the top of the file"),
        ('name = "Boathouse bench"', "name = ''", "name is empty", 'name = "Boathouse bench"'),
        ('name = "Boathouse bench"', 'name = "Boathouse bench', "the text is not closed", 'write "Boathouse bench"'),
        ('name = "Boathouse bench"', 'name = "C:\\park"', "a backslash", "write 'C:\\park'"),
        ('name = "Boathouse bench"', 'name = "C:\\bench"', "cannot be seen", "'single' quotation marks"),
    ],
)  # fmt: skip
def test_one_mistake_is_told_with_its_line_and_its_cure(old, new, what, cure):
    text, line = changed(old, new)
    error = refused(text)
    assert error.message.startswith(f"bench.toml, line {line}")
    assert error.why.startswith(f"line {line}")
    assert what in error.why
    assert cure in error.hint


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("scale = 42.0", "scal = 42.0"),
        ("scale = 42.0", "scale = 42,0"),
        ("scale = 42.0", 'scale = "42"'),
        ("scale = 42.0", "scale = true"),
        ("scale = 42.0", "scale: 42.0"),
        ('role = "load_voltage"', 'role = "load_volts"'),
        ('role = "load_voltage"', "role = load_voltage"),
        ("frequency_hz = [45, 400]", "frequency_hz = [400, 45]"),
        ("frequency_hz = [45, 400]", "frequency_hz = [45]"),
        ('input = "CH2"', "input = “CH2”"),
    ],
)
def test_following_the_hint_cures_the_error(old, new):
    text, line = changed(old, new)
    advice = re.sub(r"^line \d+(, column \d+)?: (write )?(straight ones: |a point: )?", "", refused(text).hint)
    advice = re.split(r"; the choices|, without", advice)[0]
    lines = text.split("\n")
    key, _, rest = lines[line - 1].partition("=")
    if re.fullmatch(r"\w+", advice):  # a key's name
        lines[line - 1] = f"{advice} ={rest}"
    else:
        lines[line - 1] = advice if "=" in advice else f"{key}= {advice}"
    assert parse_bench("\n".join(lines), file="bench.toml") == parse_bench(WHOLE, file="bench.toml")


@pytest.mark.parametrize(
    ("old", "new", "ratio"),
    [
        ("scale_u = 0.002", "scale_u = 0.8", 0.008),
        ("resistance_u_ohm = 0.008", "resistance_u_ohm = 3", 0.121),
        ('name = "Boathouse bench"', "clock_u = 30", 30e-6),
    ],
)
def test_a_percentage_or_ppm_where_a_ratio_belongs_is_told_as_one_and_the_hint_cures_it(old, new, ratio):
    text, _ = changed(old, new)
    written = refused(text).hint.rpartition("is written ")[2]
    assert float(written) == pytest.approx(ratio)
    key = new.partition("=")[0]
    cured = parse_bench(text.replace(new, f"{key}= {written}"), file="bench.toml")
    assert ratio in (cured.channels[0].scale_u, cured.loads[0].resistance_u_ohm, cured.clock_u)


@pytest.mark.parametrize("key", ["input = 1 ", 'role = "load_voltage"', "resistance_ohm = 4.03"])
def test_a_missing_key_is_told_on_the_line_of_its_table_with_an_example(key):
    text, line = changed(key, "# ")
    error = refused(text)
    name = key.split(" ")[0]
    table = text.split("\n")[: line - 1]
    header = max(number for number, written in enumerate(table, 1) if written.startswith("[["))
    assert error.why == f"line {header}: {name} is missing from {table[header - 1]}"
    assert error.hint.startswith(f"line {header}: add {name} = ")


def test_all_faults_are_told_at_once_each_with_its_line():
    text = WHOLE
    for old, new in [
        ("input = 1 ", "input = 0 "),
        ("scale = 42.0", "scale = 42,0"),
        ('role = "supply_current"', 'rol = "supply_current"'),
        ("continuous_w = 1000", 'continuous_w = 1000\n\n[[loads]]\nname = "4 ohm"\nresistance_ohm = 8'),
        ("temperature_c = 85", "temperature_c = true"),
    ]:
        text = text.replace(old, new)
    error = refused(text)
    assert error.message == "bench.toml cannot be used as it stands: 5 faults."
    assert [int(number) for number in re.findall(r"^line (\d+)", error.why, re.MULTILINE)] == [4, 7, 19, 31, 52]
    assert len(error.hint.split("\n")) == 5


CHANNEL = '[[channels]]\ninput = {}\nrole = "{}"\noutput = "{}"\n'


@pytest.mark.parametrize(
    ("text", "line", "what"),
    [
        (CHANNEL.format(1, "load_voltage", "A") + CHANNEL.format(2, "load_voltage", "A"), 5, "as channel 1 does"),
        (CHANNEL.format(1, "load_voltage", "A") + CHANNEL.format(1, "load_current", "A"), 6, "takes input 1"),
        ('[[loads]]\nname = "a"\nresistance_ohm = 4\n' * 2, 5, 'load 2 is named "a", as load 1 is'),
        ('[[meters]]\nname = "a"\nquantity = "power"\n' * 2, 4, "their bands overlap"),
        (
            '[[meters]]\nname = "a"\nquantity = "load_voltage"\nfrequency_hz = [45, 400]\n'
            '[[meters]]\nname = "a"\nquantity = "load_voltage"\nfrequency_hz = [300, 900]\n',
            5,
            "their bands overlap",
        ),
    ],
)
def test_parts_that_contradict_each_other_are_told_on_the_later_line(text, line, what):
    error = refused(text)
    assert error.why.startswith(f"line {line}: ")
    assert what in error.why


def test_one_meter_may_have_several_functions_and_bands():
    text = "".join(
        f'[[meters]]\nname = "a"\nquantity = "{quantity}"\nfrequency_hz = {band}\n'
        for quantity, band in [("load_voltage", [45, 400]), ("load_voltage", [400, 900]), ("load_current", [45, 400])]
    )
    assert len(parse_bench(text, file="bench.toml").meters) == 3


def test_what_is_no_toml_at_all_is_refused_with_line_and_column():
    error = refused('name = "x"\nthis is a letter, no settings file\n')
    assert error.message.startswith("bench.toml, line 2")
    assert "key = value" in error.hint


def test_lists_nested_without_end_are_refused():
    assert refused("a = " + "[" * 20_000).code == "settings"


def test_a_load_is_found_by_name_or_its_names_are_listed():
    bench = parse_bench(WHOLE, file="bench.toml")
    assert bench.load("4 ohm").resistance_ohm == 4.03
    with pytest.raises(SettingsError) as caught:
        bench.load("4 ohms")
    assert '"4 ohm"' in caught.value.why
    assert bench.load(re.search(r'"(.*)"', caught.value.hint)[1]) == bench.loads[0]


def test_a_channel_is_found_by_its_role_and_for_loads_by_its_output():
    bench = parse_bench(WHOLE, file="bench.toml")
    assert bench.channel_for("load_voltage", "A") == bench.channels[0]
    assert bench.channel_for("load_voltage", "B") is None
    assert bench.channel_for("supply_current", "B") == bench.channels[1]


def test_a_shunt_reads_its_current_m08():
    shunt = BenchChannel(input=1, role="supply_current", scale=1000.0)  # 1 mohm
    assert shunt.engineering(0.028) == pytest.approx(28.0)


@pytest.mark.parametrize(("today", "overdue"), [(date(2032, 3, 1), False), (date(2032, 3, 2), True)])
def test_a_calibration_is_overdue_after_its_days(today, overdue):
    notices = parse_bench(WHOLE, file="bench.toml").overdue(today)
    assert [notice.code for notice in notices] == (["calibration-overdue"] if overdue else [])
    if overdue:
        assert notices[0].numbers == {"age_days": 366.0, "calibration_days": 365.0}


def test_a_bench_survives_json_and_has_a_schema():
    bench = parse_bench(WHOLE, file="bench.toml")
    assert Bench.model_validate_json(bench.model_dump_json()) == bench
    assert Bench.model_validate(bench.model_dump(mode="json")) == bench
    schema = Bench.model_json_schema()
    assert "4.03" in str(schema["$defs"]["Load"]["properties"]["resistance_ohm"])
    assert schema["additionalProperties"] is False


def test_a_model_made_in_code_is_checked_too():
    with pytest.raises(ValueError, match="0 would make every sample 0"):
        BenchChannel(input=1, role="temperature", scale=0)
    with pytest.raises(ValueError, match="greater than 0"):
        Load(name="short", resistance_ohm=0)


def answered(text):
    """A bench, or an error that says why and what to do; anything else raised fails the test."""
    try:
        return isinstance(parse_bench(text, file="bench.toml"), Bench)
    except SettingsError as error:
        return bool(error.why and error.hint)


@given(st.text(max_size=200))
@settings(deadline=None, max_examples=100)
@example("a = 1" + "0" * 5000)
@example("[[channels]]\ninput = 1" + "0" * 400 + '\nrole = "load_voltage"\nscale = 1' + "0" * 400)
@example("channels = [1, {}]\nloads = [[]]\nmeters = {}\nsupply = []\n")
@example('meters = [{name = "a", quantity = "power", frequency_hz = [nan, "x"]}, {name = "a", quantity = "power"}]')
@example("\ud800")
@example("name = 'a\x00b'")
def test_any_text_is_answered_or_refused(text):
    assert answered(text)


@given(st.data())
@settings(deadline=None, max_examples=150)
def test_a_bench_file_with_random_slips_is_answered_or_refused(data):
    text = WHOLE
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text) - 1))
        cut = data.draw(st.integers(0, 12))
        slip = data.draw(
            st.sampled_from(["", "=", '"', "[", "]]", "\n", ",", ".", "-", "e9", "#", "{", "}", "\\", "1"])
        )
        text = text[:at] + slip + text[at + cut :]
    assert answered(text)
