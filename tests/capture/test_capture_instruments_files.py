"""The file a person writes for an instrument: examples that work, and every slip told with its line and cure."""

import tomllib
from pathlib import Path

import pytest

import wattproof
from wattproof.bench import PartSettings
from wattproof.capture import Driver, parse_instrument, read_instrument
from wattproof.capture.instrument import Ask, AskState, ErrorQueue
from wattproof.capture.supply import WiredSupply
from wattproof.errors import FileMissingError, SettingsError, WireError
from wattproof.testing import exchange

EXAMPLES = sorted((Path(wattproof.__file__).parent / "sim" / "boathouse" / "instruments").glob("*.toml"))

SUPPLY = """\
name = "Test supply"
kind = "supply"

[supply]
set_volts = "VOLT {volts:.2f}"
on = "OUTP 1"
off = "OUTP 0"
"""


def parsed(text):
    return parse_instrument(text, file="x.toml")


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_a_shipped_example_is_a_file_that_works(path):
    words = read_instrument(path)
    assert getattr(words, words.kind) is not None


def test_there_is_an_example_of_each_kind():
    assert {read_instrument(path).kind for path in EXAMPLES} == {"supply", "load", "meter", "scope"}
    assert len(EXAMPLES) == 5


def test_the_smallest_file_and_one_command_for_a_list():
    words = parsed(SUPPLY)
    assert words.supply.set_volts == ("VOLT {volts:.2f}",)
    assert parsed(SUPPLY.replace('"OUTP 1"', '["OUTP 1", "BEEP"]')).supply.on == ("OUTP 1", "BEEP")


SLIPS = {
    "unknown placeholder": ("{volts:.2f}", "{volt:.2f}", "line 5", "{volt}", "{volts}"),
    "placeholder where none is known": ('"OUTP 1"', '"OUTP {on}"', "line 6", "{on}", "without a placeholder"),
    "unnamed placeholder": ("{volts:.2f}", "{:.2f}", "line 5", "without a plain name", "{volts:.3f}"),
    "reaching inside": ("{volts:.2f}", "{volts.real}", "line 5", "without a plain name", "{volts:.3f}"),
    "open brace": ("{volts:.2f}", "{volts", "line 5", "expected '}'", "a brace itself twice"),
    "text format": ("{volts:.2f}", "{volts:s}", "line 5", "no number format", "{volts:.3f}"),
    "no format at all": ("{volts:.2f}", "{volts:.2fV}", "line 5", "no number format", "{volts:.3f}"),
    "key of another name": ("set_volts", "set_volt", "line 5", "set_volt is no key", "write set_volts"),
    "kind unknown": ('"supply"', '"suply"', "line 2", "suply", "supply"),
    "kind without its table": ('"supply"', '"meter"', "line 2", "no table [meter]", "add [meter]"),
    "empty off": ('off = "OUTP 0"', "off = []", "line 7", "off", "OUTPut OFF"),
    "no off": ('off = "OUTP 0"', "", "line 4", "off is missing", "add off"),
    "number where words belong": ('"OUTP 1"', "1", "line 6", "on is 1", "on ="),
    "line end of nothing": ("\n[supply]", 'line_end = ""\n[supply]', "line 3", "line_end is empty", "line_end"),
    "a pattern that is none": (
        'on = "OUTP 1"',
        'on = "OUTP 1"\nvolts = { ask = "V?", pattern = "V (" }',
        "line 7",
        "no regular expression",
        "write one",
    ),
    "two groups": (
        'on = "OUTP 1"',
        'on = "OUTP 1"\nvolts = { ask = "V?", pattern = "(V) (.*)" }',
        "line 7",
        "2 groups",
        "around the number only",
    ),
    "placeholder in a question": (
        'on = "OUTP 1"',
        'on = "OUTP 1"\nvolts = { ask = "V {volts}?" }',
        "line 7",
        "{volts}",
        "without a placeholder",
    ),
    "a watchdog that starves": (
        'on = "OUTP 1"',
        'watchdog = "WD {watchdog_s}"\non = "OUTP 1"',
        "line 6",
        "biting",
        "feed",
    ),
    "food without a watchdog": (
        'on = "OUTP 1"',
        'feed = "WD"\non = "OUTP 1"',
        "line 6",
        "without watchdog",
        "delete feed",
    ),
    "another kind's table": ("\n[supply]", '\n[meter]\nread = { ask = "R?" }\n[supply]', "line 4", "[meter]", "each"),
    "over-voltage below the voltage": ('on = "', 'over_voltage_ratio = 0.9\non = "', "line 6", "0.9", "greater than 1"),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_told_with_its_line_and_its_cure(slip):
    right, wrong, line, what, cure = SLIPS[slip]
    assert right in SUPPLY
    with pytest.raises(SettingsError) as caught:
        parsed(SUPPLY.replace(right, wrong, 1))
    told = f"{caught.value.message}\n{caught.value.why}"
    n_faults = 2 if slip in {"kind without its table"} else 1  # that one has a table too many as well
    assert len(caught.value.why.splitlines()) == n_faults
    assert line in told
    assert what in caught.value.why
    assert cure in caught.value.hint


OTHERS = {
    "a load that cannot connect": ('kind = "load"\n[load]\nnone = "A"', "no load can be connected", "relays"),
    "relays and an electronic load": (
        'kind = "load"\n[load]\nnone = "A"\nset_ohm = "R {resistance_ohm}"\n[[load.relays]]\nload = "4"\nclose = "C"',
        "exclude each other",
        "delete",
    ),
    "an answer to no question": (
        'kind = "load"\n[load]\nnone = "A"\nnone_said = "0"\n[[load.relays]]\nload = "4 ohm"\nclose = "C"',
        "not written",
        "add state",
    ),
    "bare bytes without a count": (
        'kind = "scope"\n[scope]\nchannels = ["1"]\ndata = "D?"\nheader = "none"\nincrement_s = { ask = "X?" }',
        "end nowhere",
        "points",
    ),
    "channels that cannot be chosen": (
        'kind = "scope"\n[scope]\nchannels = ["1", "2"]\ndata = "D?"\nincrement_s = { ask = "X?" }',
        "nothing that chooses",
        "select",
    ),
}


@pytest.mark.parametrize("slip", OTHERS)
def test_a_contradiction_is_told(slip):
    text, what, cure = OTHERS[slip]
    with pytest.raises(SettingsError) as caught:
        parsed(f'name = "x"\n{text}\n')
    assert what in caught.value.why
    assert cure in caught.value.hint


def test_all_slips_are_told_at_once():
    text = SUPPLY.replace("{volts:.2f}", "{volt}").replace('on = "', 'onn = "').replace('"supply"', '"suply"')
    with pytest.raises(SettingsError, match="3 faults"):
        parsed(text)


def test_any_table_is_an_instrument_or_told():
    for value in ("1", '"x"', "[]", "[[1]]", "{}", "{ ask = 3 }", "true", '["{"]'):
        for key in ("supply", "load", "meter", "scope", "errors", "begin", "kind"):
            text = f'name = "x"\nkind = "supply"\n{key} = {value}\n'
            if key == "kind":
                text = f'name = "x"\nkind = {value}\n'
            assert tomllib.loads(text)
            with pytest.raises(SettingsError):
                parsed(text)


def test_a_file_that_is_not_there_is_told(tmp_path):
    with pytest.raises(FileMissingError, match="nowhere"):
        read_instrument(tmp_path / "nowhere.toml")
    (tmp_path / "sheet.toml").write_bytes(b"\xff\xfe\x00name")
    with pytest.raises(SettingsError, match="no text file"):
        read_instrument(tmp_path / "sheet.toml")


# the driver, word for word

PLAIN = parsed(SUPPLY.replace('kind = "supply"', 'kind = "supply"\nidentity = ""'))

NUMBERS = [
    ("14.402", {}, 14.402),
    ("+1.4402E+01", {}, 14.402),
    ("-.5", {}, -0.5),
    ("7.", {}, 7.0),
    ("14.4V", {}, 14.4),
    ("14.4 V", {}, 14.4),
    ("CH1 14.4", {}, 14.4),
    ("VOLT:14.4", {}, 14.4),
    ("14402", {"scale": 0.001}, 14.402),
    ("88.16", {"scale": 5 / 9, "offset": -160 / 9}, 31.2),
    ("V 14.4 A 2.5", {"pattern": r"A (\S+)"}, 2.5),
    ("V 14.4 A 2.5", {"pattern": r"A [\d.]+"}, 2.5),
    ("BYTE,5000,1e-5,2", {"field": 3}, 1e-5),
]


@pytest.mark.parametrize(("answer", "how", "value"), NUMBERS)
def test_a_number_is_found_in_an_answer(answer, how, value):
    with exchange([("V?", answer)]) as wire:
        assert Driver(wire, PLAIN).number(Ask(ask="V?", **how)) == pytest.approx(value, rel=1e-12)


NO_NUMBERS = [
    ("off", {}, "0 numbers"),
    ("14.4,2.5", {}, "2 numbers"),
    ("1.2.3", {}, "0 numbers"),
    ("14,4 V", {}, "2 numbers"),
    ("V 14.4", {"pattern": r"A (\S+)"}, "does not fit"),
    ("1,2", {"field": 3}, "2 fields"),
    ("V 9.9E37", {"pattern": "V ([-+.0-9]+)"}, "cuts a number"),
    ("V 14.42", {"pattern": r"V ([0-9]+\.[0-9])"}, "cuts a number"),
    ("V -14.4", {"pattern": r"([0-9.]+)"}, "cuts a number"),
    ("9.9E37", {}, "9.9E37"),
    ("-9.91E+37", {}, "9.91E+37"),
    ("NAN", {}, "NAN"),
    ("-inf", {}, "-inf"),
    ("1e999", {}, "1e999"),
]


@pytest.mark.parametrize(("answer", "how", "why"), NO_NUMBERS)
def test_what_is_no_number_is_never_made_one(answer, how, why):
    with exchange([("V?", answer)]) as wire, pytest.raises(WireError) as caught:
        Driver(wire, PLAIN).number(Ask(ask="V?", **how))
    assert why in caught.value.why
    assert caught.value.hint


@pytest.mark.parametrize(("answer", "found"), [("1", True), ("on", True), ("ON", True), ("0", False), ("Off", False)])
def test_yes_and_no_are_whole_answers(answer, found):
    with exchange([("O?", answer)]) as wire:
        assert Driver(wire, PLAIN).state(AskState(ask="O?", yes="1|ON", no="0|OFF")) is found


@pytest.mark.parametrize("answer", ["10", "ONE", "FAULT", "1 0"])
def test_neither_yes_nor_no_is_an_error(answer):
    with exchange([("O?", answer)]) as wire, pytest.raises(WireError, match="neither yes nor no"):
        Driver(wire, PLAIN).state(AskState(ask="O?", yes="1|ON", no="0|OFF"))


def test_a_brace_that_is_meant_stands_twice():
    words = parsed(
        SUPPLY.replace('"OUTP 1"', '"OUTP {{1}}"').replace('kind = "supply"', 'kind = "supply"\nidentity = ""')
    )
    with exchange([("OUTP {1}", None), ("V {2}?", "3")]) as wire:
        driver = Driver(wire, words)
        driver.say(*words.supply.on)
        assert driver.number(Ask(ask="V {{2}}?")) == 3.0


def test_all_that_is_in_the_error_queue_is_told():
    words = PLAIN.model_copy(update={"errors": ErrorQueue(ask="ERR?", none="[+-]?0(?![0-9])")})
    with exchange(
        [("ERR?", '+0,"No error"'), ("A", None), ("ERR?", '-113,"what"'), ("ERR?", '05,"hot"'), ("ERR?", "0")]
    ) as wire:
        driver = Driver(wire, words.model_copy(update={"begin": ()}))
        driver.raise_errors([])
        with pytest.raises(WireError) as caught:
            driver.say("A")
    assert "2 errors" in caught.value.message
    assert '-113,"what"; 05,"hot"; it was told A' in caught.value.why


def test_an_error_queue_that_never_empties_is_read_no_more_than_so_often():
    words = PLAIN.model_copy(update={"errors": ErrorQueue(ask="ERR?", none="0", most=3)})
    with exchange([("A", None), *[("ERR?", "-1")] * 3]) as wire, pytest.raises(WireError, match="3 errors"):
        Driver(wire, words).say("A")


def test_another_instrument_at_the_address_is_told_and_let_go_of():
    words = parsed(SUPPLY.replace("[supply]", 'identity_says = "BOG MYRTLE"\n[supply]'))
    with exchange([("*IDN?", "SALT MARSH,9")]) as wire:
        with pytest.raises(WireError) as caught:
            Driver(wire, words)
        assert wire.is_closed
    assert 'it says "SALT MARSH,9"' in caught.value.why
    with exchange([("*IDN?", "Bog Myrtle,9")]) as wire:
        assert Driver(wire, words).identity == "Bog Myrtle,9"


def test_a_supply_of_few_words_is_fed_and_opened():
    text = SUPPLY.replace("[supply]", '[supply]\nwatchdog = "WD {watchdog_s:.0f}"\nfeed = "KICK"')
    words = parsed(text.replace('kind = "supply"', 'kind = "supply"\nidentity = ""'))
    said = ["OUTP 0", "WD 2", "VOLT 14.40", "OUTP 1", "KICK", "KICK", "OUTP 0", "OUTP 0"]
    with exchange([(line, None) for line in said]) as wire:
        supply = WiredSupply(Driver(wire, words), words.supply, PartSettings(watchdog_s=2))
        supply.on(14.4, limit_a=None)
        supply.alive()
        supply.alive()
        supply.off()
        supply.alive()
        supply.close()


def test_what_is_said_first_and_last():
    words = parsed(SUPPLY.replace("[supply]", 'begin = ["REM", "*CLS"]\nend = "LOC"\n[supply]'))
    with exchange([("*IDN?", "x"), ("REM", None), ("*CLS", None), ("LOC", None)]) as wire:
        Driver(wire, words).close()
        assert wire.is_closed
