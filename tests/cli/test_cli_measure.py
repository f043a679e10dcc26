"""`read`, `measure`, `bench calibrate` and `schema`: what a person types, what comes back, and that it is right."""

import csv
import json
import re
from math import log10

import jsonschema
import pytest

from wattproof.tasks import schema

CAPTURE_KEYS = {"file", "kind", "sample_rate_hz", "samples", "duration_s", "channels", "figures", "curve", "warnings"}
FIGURE_KEYS = {"name", "output", "value", "u", "unit", "k95", "conditions", "budget", "origin"}


def answer(ran):
    assert (ran.status, ran.err) == (0, "")
    return json.loads(ran.out)


def named(captures, name, output="A"):
    return next(f for f in captures[0]["figures"] if f["name"] == name and f["output"] == output)


def within(figure, truth):
    """The truth lies within the stated 95 % interval, widened by what a fit of a finite record may leave."""
    assert abs(figure["value"] - truth) <= figure["k95"] * figure["u"] + 2e-5 * abs(truth), figure["name"]


def test_read_shows_what_a_file_was_taken_to_be(run, day):
    ran = run("read", day / "steady.wav", day / "one channel.wav")
    assert (ran.status, ran.err) == (0, "")
    assert "taken for  wav" in ran.out
    assert "48000 samples a second, 24000 samples, 0.5 s" in ran.out


def test_read_gives_one_object_that_keeps_its_schema(run, day):
    found = answer(run("read", day / "steady.wav", "--json"))
    jsonschema.validate(found, json.loads(schema("read")))
    (file,) = found["files"]
    assert {
        "file",
        "reader",
        "sample_rate_hz",
        "samples",
        "duration_s",
        "start_s",
        "channels",
        "metadata",
        "warnings",
    } <= set(file)
    assert file["channels"][0]["rms"] == pytest.approx(day.steady.load_v_rms / 42, rel=1e-4)
    assert {"name", "unit", "mean", "rms", "min", "max", "clipped"} <= set(file["channels"][0])


def test_measure_gives_one_object_that_keeps_its_schema_and_the_truth(run, day):
    found = answer(run("measure", day / "steady.wav", "--bench", day / "bench.toml", "--load", "4 ohm", "--json"))
    jsonschema.validate(found, json.loads(run("schema", "measure").out))
    assert set(found) == {"wattproof", "schema", "captures"}
    assert set(found["captures"][0]) >= CAPTURE_KEYS
    assert all(set(figure) >= FIGURE_KEYS for figure in found["captures"][0]["figures"])
    truth, captures = day.steady, found["captures"]
    assert captures[0]["kind"] == "steady"
    within(named(captures, "fundamental_frequency"), truth.tone_hz)
    within(named(captures, "load_voltage_rms"), truth.load_v_rms)
    within(named(captures, "load_power"), truth.load_power_w)
    within(named(captures, "thd_f"), truth.thd_f)
    within(named(captures, "efficiency", None), truth.efficiency)
    power = named(captures, "load_power")
    assert power["u"] == pytest.approx(power["value"] * (0.002**2 + 0.003**2) ** 0.5, rel=0.02)
    assert {line["type"] for line in power["budget"]} <= {"A", "B"}
    assert "scale" in power["budget"][0]["label"]


def test_measure_prints_a_table_with_the_same_numbers(run, day):
    ran = run("measure", day / "steady.wav", "--bench", day / "bench.toml", "--load", "4 ohm")
    assert ran.status == 0
    (line,) = [line for line in ran.out.splitlines() if line.strip().startswith("Power in the load")]
    value, half = (float(n) for n in re.search(r"([\d.]+) ± ([\d.]+) W", line).groups())
    assert abs(value - day.steady.load_power_w) <= half
    assert "4 ohm" in ran.out


def test_measure_writes_a_page_and_a_spreadsheet_table(run, day, tmp_path):
    page, table = tmp_path / "page.html", tmp_path / "figures.csv"
    ran = run(
        "measure", day / "ramp.wav", "--bench", day / "bench.toml", "--load", "4 ohm", "--html", page, "--csv", table
    )
    assert ran.status == 0
    assert f"Written: {page}" in ran.out
    text = page.read_text(encoding="utf-8")
    assert "<svg" in text
    assert not re.search(r"""(?:src|href)=["']?(?:https?:)?//""", text), "a page needs no network"
    rows = list(csv.DictReader(table.read_text(encoding="utf-8").splitlines()))
    assert any("power_at_thd_1" in row.values() for row in rows)
    assert [path.name for path in tmp_path.iterdir() if path.name.endswith(".part")] == []


def test_a_ramp_gives_its_powers_at_the_limits_that_were_asked_for(run, day):
    words = ("--bench", day / "bench.toml", "--load", "4 ohm", "--thd-percent", "1", "--thd-percent", "5", "--json")
    captures = answer(run("measure", day / "ramp.wav", *words))["captures"]
    names = {figure["name"] for figure in captures[0]["figures"]}
    assert {"power_at_thd_1", "power_at_thd_5"} <= names
    assert "power_at_thd_10" not in names
    assert captures[0]["kind"] == "ramp"
    clipping_w = 30.0**2 / 2 / 4
    assert named(captures, "power_at_thd_1")["value"] == pytest.approx(1.048 * clipping_w, rel=0.01)
    assert len(captures[0]["curve"]) > 5


def test_a_quick_look_needs_no_bench_file(run, day):
    words = ("--volts-per-unit", "42", "--load-ohm", "4", "--json")
    captures = answer(run("measure", day / "one channel.wav", *words))["captures"]
    assert named(captures, "load_power_v2r")["value"] == pytest.approx(day.steady.load_power_v2r_w, rel=1e-4)


def test_without_any_scale_there_is_no_watt_and_a_word_about_it(run, day):
    captures = answer(run("measure", day / "one channel.wav", "--json"))["captures"]
    assert named(captures, "thd_f", "1")["value"] == pytest.approx(day.steady.thd_f, rel=0.01)
    assert {figure["unit"] for figure in captures[0]["figures"]} & {"W", "V", "A"} == set()
    assert "no-bench" in [warning["code"] for warning in captures[0]["warnings"]]
    said = run("measure", day / "one channel.wav")
    assert said.status == 0
    assert "no-bench" in said.err
    assert "no-bench" not in said.out


def test_a_channel_is_named_on_the_command_line(run, day):
    words = ("--channel", "load_voltage:B=1", "--volts-per-unit", "42", "--load-ohm", "4", "--json")
    captures = answer(run("measure", day / "steady.wav", *words))["captures"]
    assert named(captures, "load_voltage_rms", "B")["value"] == pytest.approx(day.steady.load_v_rms, rel=1e-4)
    assert len(captures[0]["channels"]) == 1


def test_options_may_stand_before_the_files(run, day):
    first = answer(run("measure", "--channel", "load_voltage=1", "--load-ohm", "4", "--json", day / "steady.wav"))
    last = answer(run("measure", day / "steady.wav", "--load-ohm", "4", "--channel", "load_voltage=1", "--json"))
    assert first == last


def test_typed_readings_give_what_their_columns_allow(run, day):
    words = ("--bench", day / "bench.toml", "--amplifier", day / "amplifier.toml", "--json")
    captures = answer(run("measure", day / "readings.csv", *words))["captures"]
    power = named(captures, "load_power_v2r")
    assert captures[0]["kind"] == "readings"
    assert power["value"] == pytest.approx(20.01**2 / 4.0)
    # 0.8 % of 20.01 V and 3 digits of 0.01 V, as a uniform distribution; 0.008 of 4 ohm
    half_v = 0.008 * 20.01 + 0.03
    expected_u = power["value"] * ((2 * half_v / 3**0.5 / 20.01) ** 2 + 0.002**2) ** 0.5
    assert power["u"] == pytest.approx(expected_u, rel=0.02)


def test_several_files_are_measured_together_in_their_order(run, day):
    words = ("--bench", day / "bench.toml", "--load", "4 ohm", "--json")
    captures = answer(run("measure", day / "readings.csv", day / "steady.wav", *words))["captures"]
    assert [capture["file"] for capture in captures] == ["readings.csv", "steady.wav"]


def test_calibrate_finds_the_line_and_gives_a_table_that_measure_takes(run, day, tmp_path):
    found = answer(
        run(
            "bench",
            "calibrate",
            day / "references.csv",
            "--channel",
            "load_voltage=1",
            "--calibrated",
            "2031-05-01",
            "--json",
        )
    )
    jsonschema.validate(found, json.loads(schema("calibrate")))
    assert found["line"]["scale"] == pytest.approx(42.0, rel=1e-3)
    said = run(
        "bench", "calibrate", day / "references.csv", "--channel", "load_voltage=1", "--calibrated", "2031-05-01"
    )
    assert (said.status, said.err) == (0, "")
    assert "off the line" in said.out
    bench = tmp_path / "bench.toml"
    bench.write_text('name = "New bench"\n\n' + found["toml"], encoding="utf-8")
    captures = answer(run("measure", day / "one channel.wav", "--bench", bench, "--load-ohm", "4", "--json"))[
        "captures"
    ]
    within(named(captures, "load_voltage_rms"), day.steady.load_v_rms)


def test_every_schema_is_one_and_is_listed(run):
    names = run("schema").out.split()
    assert {"read", "measure", "calibrate", "sessions", "amplifier", "bench", "reading"} <= set(names)
    for name in names:
        jsonschema.Draft202012Validator.check_schema(answer(run("schema", name)))


def test_help_and_version_answer_at_once(run):
    for words in (("--help",), (), ("-h",)):
        said = run(*words)
        assert (said.status, said.err) == (0, "")
        for word in ("read", "measure", "bench calibrate", "session figures", "archive index", "schema", "demo"):
            assert f"  {word} " in said.out
        assert "Never leave it running alone" in said.out
    assert re.fullmatch(r"wattproof \d+\.\d+\.\d+\n", run("--version").out)


@pytest.mark.parametrize("words", [("read",), ("measure",), ("session", "add"), ("bench", "calibrate"), ("demo",)])
def test_help_of_a_command_tells_its_options(run, words):
    said = run(*words, "--help")
    assert (said.status, said.err) == (0, "")
    assert "--json" in said.out


def test_decibels_stand_only_beside_their_reference(run, day):
    said = run("measure", day / "steady.wav", "--bench", day / "bench.toml", "--load", "4 ohm").out
    level = re.search(r"Harmonic distortion \(THD\)  .*?(-?[\d.]+) dB re fundamental", said)
    assert float(level[1]) == pytest.approx(20 * log10(day.steady.thd_f), abs=0.2)
