"""What a person says on the command line, put into the forms that the rooms take; and how files are written."""

import json
import re
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.bench import Bench, BenchChannel, Load
from wattproof.errors import FileMissingError, InputError, NeedsAnswerError, SettingsError
from wattproof.tasks import FileAnswers
from wattproof.tasks.files import LARGEST_TEXT_BYTES, text_of, write_text
from wattproof.tasks.measuring import is_readings
from wattproof.tasks.quick import channels_said, chosen_load, quick_bench
from wattproof.testing import steady_tone, wire

ROLES = ["load_voltage", "load_current", "supply_voltage", "supply_current", "drive_voltage", "temperature"]


@pytest.mark.parametrize("role", ROLES)
def test_a_channel_is_said_by_role_and_input(role):
    (channel,) = channels_said([f"{role}=3"])
    assert (channel.role, channel.input, channel.output) == (role, 3, "A")


def test_a_channel_may_name_its_output_and_a_header():
    channels = channels_said(["load_voltage:B=CH 2"])
    assert [(c.role, c.output, c.input) for c in channels] == [("load_voltage", "B", "CH 2")]


@pytest.mark.parametrize(
    "word", ["", "=", "load_voltage", "load_voltage=", "volts=1", "Load_Voltage=1", "load_voltage:=1", ":A=1"]
)
def test_other_words_say_no_channel(word):
    with pytest.raises(SettingsError) as caught:
        channels_said([word])
    assert channels_said([re.search(r"--channel (\S+)", caught.value.hint)[1]])


@given(st.text(max_size=30))
@settings(max_examples=50, deadline=None)
def test_any_word_is_a_channel_or_is_refused(word):
    try:
        (channel,) = channels_said([word])
    except SettingsError as error:
        assert error.hint  # noqa: PT017
    else:
        assert channel.role in ROLES


@given(st.lists(st.text(max_size=12), max_size=3), st.floats(), st.text(max_size=5))
@settings(max_examples=50, deadline=None)
def test_any_answers_are_taken_or_refused(units, rate_hz, column):
    said = FileAnswers(rate_hz=rate_hz, unit=tuple(units), time_column=column)
    try:
        answers = said.answers()
    except SettingsError as error:
        assert error.why  # noqa: PT017
        assert not rate_hz > 0 or any(not unit.partition("=")[0] or not unit.partition("=")[2] for unit in units)
    else:
        assert answers.rate_hz > 0
        assert dict(answers.units) == dict(unit.split("=", 1) for unit in units)


def test_a_column_is_a_number_or_a_name():
    assert FileAnswers(time_column="2").answers().time_column == 2
    assert FileAnswers(time_column="t").answers().time_column == "t"
    assert FileAnswers(delimiter="tab").answers().delimiter == "\t"


def test_the_load_is_the_said_one_then_the_named_one_then_the_only_one():
    bench = Bench(name="B", loads=(Load(name="4 ohm", resistance_ohm=4.03),))
    assert chosen_load(bench, load=None, load_ohm=8.0).resistance_ohm == 8.0
    assert chosen_load(bench, load="4 ohm", load_ohm=None).resistance_ohm == 4.03
    assert chosen_load(bench, load=None, load_ohm=None).resistance_ohm == 4.03
    assert chosen_load(None, load=None, load_ohm=None) is None
    two = bench.model_copy(update={"loads": (*bench.loads, Load(name="2 ohm", resistance_ohm=2.0))})
    assert chosen_load(two, load=None, load_ohm=None) is None


@pytest.mark.parametrize("ohm", [0.0, -4.0, float("nan")])
def test_a_load_has_more_than_no_ohms(ohm):
    with pytest.raises(SettingsError):
        chosen_load(None, load=None, load_ohm=ohm)


def test_a_scale_on_the_command_line_wins_over_the_bench_file_s():
    recording = steady_tone(wiring=wire("load_voltage")).recording
    bench = Bench(name="B", channels=(BenchChannel(input=1, role="load_voltage", scale=10.0, scale_u=0.1, offset=3.0),))
    quick = quick_bench(recording, bench, channels=(), volts_per_unit=42.0)
    (channel,) = quick.channels
    assert (channel.scale, channel.scale_u, channel.offset) == (42.0, 0.0, 0.0)
    assert quick_bench(recording, bench, channels=(), volts_per_unit=None) is bench


def test_a_scale_for_several_channels_wants_to_know_which():
    recording = steady_tone(wiring=wire("load_voltage", "load_current")).recording
    with pytest.raises(NeedsAnswerError, match="load voltage"):
        quick_bench(recording, None, channels=(), volts_per_unit=42.0)


@pytest.mark.parametrize(
    ("name", "first_line", "is_so"),
    [
        ("r.csv", "output,load,load_voltage_v", True),
        ("r.csv", "\ufeffOutput;Load;Load_Voltage_V", True),
        ("r.txt", '"load"\t"power_w"', True),
        ("r.csv", "time,load", False),
        ("r.csv", "time (s),CH1 (V)", False),
        ("r.wav", "output,load,load_voltage_v", False),
    ],
)
def test_typed_readings_are_told_by_their_columns(tmp_path, name, first_line, is_so):
    (tmp_path / name).write_text(first_line + "\n", encoding="utf-8")
    assert is_readings(tmp_path / name) is is_so
    assert not is_readings(tmp_path / "none.csv")
    assert not is_readings(tmp_path)


def test_text_is_read_with_or_without_a_mark_and_refused_when_it_is_none(tmp_path):
    file = tmp_path / "bench.toml"
    file.write_bytes(b"\xef\xbb\xbfname = 'B'\r\n")
    assert text_of(file).startswith("name")
    file.write_bytes(b"name = '\xe4'")
    with pytest.raises(SettingsError, match="UTF-8"):
        text_of(file)
    with file.open("wb") as sparse:
        sparse.truncate(LARGEST_TEXT_BYTES + 1)
    with pytest.raises(SettingsError, match="text file"):
        text_of(file)
    with pytest.raises(FileMissingError):
        text_of(tmp_path / "none.toml")
    with pytest.raises(InputError):
        text_of(tmp_path)


def test_a_file_is_written_whole_or_not_at_all(tmp_path, monkeypatch):
    page = tmp_path / "page.html"
    write_text(page, "one\n")
    assert page.read_bytes() == b"one\n"

    def full(self, target):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(FileMissingError, match="No space left"):
        write_text(page, "two\n")
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]
    assert page.read_bytes() == b"one\n"


def test_a_day_is_kept_as_it_was_said():
    from wattproof.tasks import Wishes
    from wattproof.tasks.sessions import _plain

    said = _plain(Wishes(captured_on=date(2031, 5, 14), load="4 ohm", thd_percent=(2.0,), channel=("load_voltage=1",)))
    assert said == {"captured_on": "2031-05-14", "load": "4 ohm", "thd_percent": [2.0], "channel": ["load_voltage=1"]}
    assert json.loads(json.dumps(said)) == said
    assert _plain(Wishes()) == {}
