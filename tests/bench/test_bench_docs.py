"""docs/files.md is a test: its examples are read, and every key, column and notice stands in it."""

import re
from pathlib import Path

import pytest

from wattproof.amplifier import Amplifier, Price, Rating, parse_amplifier
from wattproof.bench import (
    Bench,
    BenchChannel,
    DecisionRule,
    Limits,
    Load,
    Meter,
    PartSettings,
    ReadingRow,
    RigSettings,
    ScriptedFault,
    SimulatedSettings,
    Supply,
    calibrate,
    parse_bench,
    parse_calibration,
    parse_readings,
)
from wattproof.errors import SettingsError
from wattproof.measure import measure_readings

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "files.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(toml|csv)\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
BENCH, AMPLIFIER = (text for kind, text in BLOCKS if kind == "toml")
READINGS, COMMAS, POINTS = (text for kind, text in BLOCKS if kind == "csv")


def test_the_examples_are_read_and_measured():
    bench, amplifier = parse_bench(BENCH, file="bench.toml"), parse_amplifier(AMPLIFIER, file="amplifier.toml")
    assert [part.name for part in bench.loads] == ["4 ohm"]
    assert [rating.quantity for rating in amplifier.ratings] == ["power", "snr"]
    results = measure_readings(
        parse_readings(READINGS, file="readings.csv"), bench=bench, amplifier=amplifier, file="readings.csv"
    )
    names = {figure.name for result in results for figure in result.figures}
    assert {"source_resistance", "output_resistance", "damping_factor", "load_power", "idle_current"} <= names
    assert parse_readings(COMMAS, file="readings.csv")[0].load_voltage_v == 45.2
    line = calibrate(parse_calibration(POINTS, file="points.csv"))
    assert line.scale == pytest.approx(42.0, abs=0.05)
    assert line.notices == ()


def test_the_error_shown_is_the_error_given():
    text = 'name = "x"\n\n[[channels]]\nscal = 42.0\ninput = 1\nrole = "temperature"\n\n[supply]\nnominal_v = 14.4 V\n'
    with pytest.raises(SettingsError) as caught:
        parse_bench(text, file="bench.toml")
    shown = re.search(r"^```text\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)[1]
    for line in [caught.value.message, *caught.value.why.split("\n"), *caught.value.hint.split("\n")]:
        assert line in shown


MODELS = [Bench, BenchChannel, Load, Meter, Supply, Limits, DecisionRule, Amplifier, Price, Rating, ReadingRow]
MODELS += [RigSettings, PartSettings, SimulatedSettings, ScriptedFault]


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
def test_every_key_stands_on_the_page(model):
    ours = {
        "channels",
        "loads",
        "meters",
        "supply",
        "limits",
        "rule",
        "ratings",
        "line",
        "steps",
        "rig",
        "load",
        "simulated",
        "inside",
    }
    keys = {field.alias or name for name, field in model.model_fields.items()} - ours
    assert [key for key in sorted(keys) if f"`{key}`" not in PAGE] == []


def test_every_notice_stands_on_the_page():
    rooms = ROOT / "src" / "wattproof"
    files = [*(rooms / "bench").glob("*.py"), *(rooms / "measure").glob("typed*.py")]
    codes = {code for file in files for code in re.findall(r'code="([\w-]+)"', file.read_text(encoding="utf-8"))}
    assert len(codes) >= 15
    assert [code for code in sorted(codes) if f"`{code}`" not in PAGE] == []


def test_the_widening_stated_is_the_widening_done():
    for points, factor in re.findall(r"([\d.]+) times for (\w+)", PAGE):
        n = {"three": 3, "five": 5, "eleven": 11}[factor]
        xs = [2 * k / (n - 1) - 1 for k in range(n)]
        line = calibrate([(x + 0.01 * (-1) ** k * (k + 1), x) for k, x in enumerate(xs)])
        widened = line.stored_scale_u(swings=False) / (line.scale_scatter_u / abs(line.scale))
        assert widened == pytest.approx(float(points), abs=0.05)
