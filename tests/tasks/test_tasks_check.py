"""`bench_check`: every part is spoken to, whatever the others do, and all that fails is told together."""

import json
import shutil
from pathlib import Path

import pytest

import wattproof
from wattproof.errors import RigError, SettingsError
from wattproof.report import checks_text
from wattproof.sim.instruments_parts import LoadServer, MeterServer, SupplyServer
from wattproof.tasks.checking import PartSaid, bench_check
from wattproof.testing import Peer, PlainTable

FILES = Path(wattproof.__file__).parent / "sim" / "boathouse" / "instruments"

BENCH = """\
name = "Net loft bench"

[[channels]]
input = 1
role = "load_voltage"
scale = 42.0
full_scale = 1.0

[[loads]]
name = "4 ohm"
resistance_ohm = 4.03

[rig]
kind = "simulated"
"""


def part(table, address, instrument, more=""):
    return f'[{table}]\nkind = "scpi"\naddress = "{address}"\ninstrument = "{instrument}"\ntimeout_s = 0.4\n{more}\n'


@pytest.fixture
def folder(tmp_path):
    for path in FILES.glob("*.toml"):
        shutil.copy(path, tmp_path)
    return tmp_path


def checked(folder, text):
    (folder / "bench.toml").write_text(text, encoding="utf-8")
    return bench_check(folder / "bench.toml")


def test_a_good_bench_is_good(folder):
    table = PlainTable()
    with (
        SupplyServer(table) as supply,
        LoadServer(table, names=("4 ohm", "2 ohm")) as load,
        MeterServer(table) as meter,
    ):
        found = checked(
            folder,
            BENCH
            + part("rig.supply", supply.address, "hazel-drift-supply.toml", "watchdog_s = 2")
            + part("rig.load", load.address, "sedge-mist-relays.toml")
            + part("[rig.meters]", meter.address, "rowan-squall-thermometer.toml", 'quantity = "temperature"'),
        )
        assert "OUTPut ON" not in supply.heard
    assert not found.failed
    assert found.state == "good"
    assert [one.part for one in found.parts] == ["recorder", "supply", "load", "meter temperature"]
    assert found.text().splitlines()[0] == "Net loft bench: all 4 parts are good"
    assert "31.2 °C" in found.text()
    assert table.loads == []


def test_all_failures_are_told_together(folder):
    table = PlainTable()
    with Peer({}) as gone:
        closed = gone.address
    with Peer({}) as silent, MeterServer(table) as meter:
        found = checked(
            folder,
            BENCH
            + part("rig.supply", closed, "hazel-drift-supply.toml")
            + part("rig.load", silent.address, "sedge-mist-relays.toml")
            + part("[rig.meters]", meter.address, "rowan-squall-thermometer.toml", 'quantity = "temperature"')
            + part("[rig.meters]", meter.address, "nowhere.toml", 'quantity = "supply_voltage"')
            + part("[rig.meters]", meter.address, "alder-haze-scope.toml", 'quantity = "supply_current"'),
        )
    assert found.failed
    states = {one.part: one.state for one in found.parts}
    assert states == {
        "recorder": "good",
        "supply": "failed",
        "load": "failed",
        "meter temperature": "good",
        "meter supply_voltage": "failed",
        "meter supply_current": "failed",
    }
    text = found.text()
    for told in ("nothing listens at that port", "nothing came", "nowhere.toml", "is no meter"):
        assert told in text
    assert text.splitlines()[0] == "Net loft bench: of 6 parts 4 failed"
    assert text.count("try: ") == 4
    assert json.loads(found.to_json())["state"] == "failed"


def test_parts_worked_by_hand_are_good_and_ask_for_nothing(folder):
    found = checked(folder, BENCH + '[rig.supply]\nkind = "manual"\n[rig.load]\nkind = "manual"\n')
    assert not found.failed
    assert [one.said for one in found.parts[1:3]] == ["worked by hand"] * 2


def test_what_is_doubtful_is_no_failure(folder):
    with SupplyServer(PlainTable()) as supply:
        found = checked(folder, BENCH + part("rig.supply", supply.address, "hazel-drift-supply.toml"))
    assert (found.state, found.failed) == ("doubtful", False)
    assert "1 doubtful" in found.text().splitlines()[0]
    assert "why: it is not given its watchdog" in found.text()


def test_the_answer_comes_back_from_its_json(folder):
    found = checked(folder, BENCH)
    assert type(found).model_validate_json(found.to_json()) == found


def test_a_fault_in_an_instruments_file_is_told_with_its_line(folder):
    path = folder / "hazel-drift-supply.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("{volts:.3f}", "{volt:.3f}"), encoding="utf-8")
    with SupplyServer(PlainTable()) as supply:
        found = checked(folder, BENCH + part("rig.supply", supply.address, "hazel-drift-supply.toml"))
    supply_said = found.parts[1]
    line = 1 + path.read_text(encoding="utf-8").splitlines().index('set_volts = "VOLTage {volt:.3f}"')
    assert supply_said.state == "failed"
    assert f"line {line}" in supply_said.why
    assert "{volts}" in supply_said.hint


def test_a_bench_without_a_rig_cannot_be_checked(folder):
    with pytest.raises(RigError) as caught:
        checked(folder, BENCH.partition("[rig]")[0])
    assert "[rig]" in caught.value.hint
    with pytest.raises(SettingsError):
        checked(folder, BENCH.replace("scale", "scal"))


def test_the_tree_is_drawn_with_rails_that_meet():
    leaf = {"said": "s", "inside": ()}
    parts = [
        PartSaid(part="a", state="good", **leaf),
        PartSaid(
            part="b",
            state="failed",
            said="head",
            why="one\ntwo",
            hint="three",
            inside=(PartSaid(part="c", state="good", **leaf), PartSaid(part="d", state="failed", why="no", **leaf)),
        ),
        PartSaid(part="e", state="doubtful", said="", why="perhaps"),
    ]
    assert checks_text("Net loft", parts).splitlines() == [
        "Net loft: of 3 parts 1 failed and 1 doubtful",
        "├── good      a: s",
        "├── failed    b: head",
        "│   │         why: one",
        "│   │              two",
        "│   │         try: three",
        "│   ├── good      c: s",
        "│   └── failed    d: s",
        "│                 why: no",
        "└── doubtful  e",
        "              why: perhaps",
    ]
