"""The amplifier file: all its keys, ratings in the units their quantity allows, and every mistake answered."""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from wattproof.amplifier import RATING_UNITS, Amplifier, Inside, Rating, parse_amplifier
from wattproof.errors import SettingsError

WHOLE = """\
maker = "Saltmarsh & Daughter"
model = "Bittern 1"
outputs = ["A"]
class = "D"
supply = "unregulated"
price = { amount = 329, currency = "GBP" }
fuse_a = 60
minimum_load_ohm = 2
size_mm = [310, 180, 52]
mass_kg = 3.4
controls = { gain = "minimum" }
notes = "bought used"

[inside]
rail_capacitance_f = 0.0066
rail_capacitor_v = 63
rail_v = 51.0
rail_at_supply_v = 14.4
converter = true
full_bridge = false
fuses_a = [30, 30]
output_devices = "2 pairs"
cable_mm2 = 21
terminal_mm2 = 21
seen = "no paste under two devices"
photos = ["board-top.jpg"]

[[ratings]]
quantity = "power"
value = 520
unit = "W"
load_ohm = 2
supply_v = 14.4
thd_percent = 1
frequency_hz = 1000
channels_driven = 1
bridged = false
seconds = 60
source = "owner's manual"
note = "page 4"
"""


def refused(text):
    with pytest.raises(SettingsError) as caught:
        parse_amplifier(text, file="amplifier.toml")
    return caught.value


def test_every_key_is_read():
    amplifier = parse_amplifier(WHOLE, file="amplifier.toml")
    assert set(amplifier.model_fields_set) == set(Amplifier.model_fields)
    assert set(amplifier.ratings[0].model_fields_set) == set(Rating.model_fields)
    assert set(amplifier.inside.model_fields_set) == set(Inside.model_fields)
    assert (amplifier.inside.fuses_a, amplifier.inside.photos) == ((30.0, 30.0), ("board-top.jpg",))
    assert (amplifier.class_, amplifier.size_mm, amplifier.price.currency) == ("D", (310.0, 180.0, 52.0), "GBP")


@pytest.mark.parametrize(
    ("old", "new", "what", "cure"),
    [
        ('model = "Bittern 1"', 'modle = "Bittern 1"', "modle is no key of the top of the file", "write model"),
        ('outputs = ["A"]', 'outputs = ["A", "A"]', 'output "A" is named twice', "its own name"),
        ('outputs = ["A"]', "outputs = []", "outputs is a list of 0", 'write outputs = ["A"]'),
        ('outputs = ["A"]', 'outputs = "A"', "where a list belongs", 'write outputs = ["A"]'),
        ('supply = "unregulated"', 'supply = "unreg"', 'supply is "unreg"', 'write "unregulated"'),
        ('currency = "GBP"', 'currency = "pounds"', "currency is", 'currency = "GBP"'),
        ("price = { amount = 329, currency", "price = { amount = -1, currency", "amount is -1", "at least 0"),
        ("size_mm = [310, 180, 52]", "size_cm = [31, 18, 5.2]", "size_cm is no key", "write size_mm, and the value"),
        ("size_mm = [310, 180, 52]", "size_mm = [31,0, 18,0, 5,2]", "a list of 6", "decimal comma"),
        ('controls = { gain = "minimum" }', "controls = { gain = 3 }", "gain is 3 where text", 'write gain = "3"'),
        ('unit = "W"', 'unit = "V"', 'unit: "V" does not fit power', 'write "W" or "kW"'),
        ('quantity = "power"', 'quantity = "pwoer"', '"pwoer" is no quantity', 'write quantity = "power"'),
        ("value = 520", "value = 520 W", "a unit (W) stands behind", "write the number alone, 520"),
        ("value = 520", "value = inf", "value is inf", "finite"),
        ("thd_percent = 1", "thd_percent = 0", "thd_percent is 0", "greater than 0"),
        ("channels_driven = 1", "channels_driven = 1.5", "1.5 where a whole number belongs", "channels_driven = 1"),
        ("channels_driven = 1", "channels_driven = true", "where a whole number belongs", "channels_driven = 1"),
        ("bridged = false", "bridged = 1", "bridged: 1 is neither true nor false", "write true or false"),
        ("bridged = false", "bridged = no", "no is no value", "write false"),
        ("bridged = false", "class = 3", "class is no key of [[ratings]]", "top of the file"),
        (
            "rail_capacitance_f = 0.0066",
            "rail_capacitance_uf = 6600",
            "rail_capacitance_uf is no key of [inside]",
            "rail_capacitance_f",
        ),
        ("rail_v = 51.0", "rail_v = -51", "rail_v is -51", "greater than 0"),
        ("converter = true", "converter = 1", "converter: 1 is neither true nor false", "write true or false"),
        ("fuses_a = [30, 30]", "fuses_a = [30, 0]", "is 0", "greater than 0"),
        ("fuses_a = [30, 30]", "fuses_a = 60", "where a list belongs", "fuses_a = ["),
        ("[[ratings]]", "[ratings]", "ratings is a table where several tables may stand", "[[ratings]]"),
        ("[[ratings]]", "[[ratings]", "the brackets of ratings do not match", "write [[ratings]]"),
    ],
)
def test_one_mistake_is_told_with_its_line_and_its_cure(old, new, what, cure):
    assert WHOLE.count(old) == 1
    error = refused(WHOLE.replace(old, new))
    line = WHOLE[: WHOLE.index(old)].count("\n") + 1
    assert error.message.startswith(f"amplifier.toml, line {line}")
    assert what in error.why
    assert cure in error.hint


def test_maker_and_model_must_be_said():
    error = refused("")
    assert error.why.split("\n") == [
        "maker is missing from the top of the file", "model is missing from the top of the file"
    ]  # fmt: skip
    cured = "\n".join(line.removeprefix("add ") for line in error.hint.split("\n"))
    assert parse_amplifier(cured, file="amplifier.toml").maker


@pytest.mark.parametrize(
    ("value", "unit", "quantity", "si"),
    [(0.52, "kW", "power", 520.0), (1, "%", "thd", 0.01), (80, "Hz", "filter", 80.0),
     (165, "mA", "idle_current", 0.165), (65, "µV", "noise", 65e-6),
     (100, "dB", "snr", 100.0), (0.2, "V", "sensitivity", 0.2)],
)  # fmt: skip
def test_a_rating_is_turned_to_si(value, unit, quantity, si):
    assert Rating(quantity=quantity, value=value, unit=unit).value_si == pytest.approx(si)


def test_every_unit_allowed_is_accepted_and_another_is_not():
    for quantity, units in RATING_UNITS.items():
        for unit in units:
            assert Rating(quantity=quantity, value=1, unit=unit).unit == unit
        with pytest.raises(ValueError, match="does not fit"):
            Rating(quantity=quantity, value=1, unit="furlong")


def test_a_quantity_of_ones_own_takes_any_unit():
    assert Rating(quantity="hum_at_full_moon", value=3, unit="furlong").value_si == 3


def test_a_power_without_its_load_has_no_target_voltage():
    assert Rating(quantity="power", value=100, unit="W").target_voltage_v is None
    assert Rating(quantity="thd", value=1, unit="%", load_ohm=4).target_voltage_v is None


def test_an_amplifier_survives_json_and_has_a_schema():
    amplifier = parse_amplifier(WHOLE, file="amplifier.toml")
    assert Amplifier.model_validate_json(amplifier.model_dump_json(by_alias=True)) == amplifier
    assert Amplifier.model_validate_json(amplifier.model_dump_json()) == amplifier
    assert "class" in Amplifier.model_json_schema()["properties"]


def answered(text):
    """An amplifier, or an error that says why and what to do; anything else raised fails the test."""
    try:
        return isinstance(parse_amplifier(text, file="amplifier.toml"), Amplifier)
    except SettingsError as error:
        return bool(error.why and error.hint)


@given(st.data())
@settings(deadline=None, max_examples=100)
@example(None)
def test_an_amplifier_file_with_random_slips_is_answered_or_refused(data):
    text = WHOLE
    for _ in range(data.draw(st.integers(1, 4)) if data else 0):
        at = data.draw(st.integers(0, len(text) - 1))
        cut = data.draw(st.integers(0, 12))
        slip = data.draw(st.sampled_from(["", "=", '"', "[", "]]", "\n", ",", ".", "-", "#", "{", "}", "true", "nan"]))
        text = text[:at] + slip + text[at + cut :]
    assert answered(text)
