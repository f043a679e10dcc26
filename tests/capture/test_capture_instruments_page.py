"""The pages about instruments say what is so: the files are the shipped ones, the keys all keys, the tree real."""

import re
import shutil
from pathlib import Path

import pytest

import wattproof
from wattproof.capture import instrument, parse_instrument
from wattproof.errors import SettingsError
from wattproof.sim.instruments_parts import SupplyServer
from wattproof.tasks.checking import bench_check
from wattproof.testing import PlainTable

HOWTO = Path(__file__).parents[2] / "docs" / "howto"
FILES = Path(wattproof.__file__).parent / "sim" / "boathouse" / "instruments"
PAGE = (HOWTO / "instrument-file.md").read_text(encoding="utf-8")
SHOWN = [text for text in re.findall(r"^```text\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL) if "kind = " in text]


def without_remarks(text):
    return "".join(line for line in text.splitlines(keepends=True) if not line.startswith("#"))


@pytest.mark.parametrize("text", SHOWN, ids=lambda text: text.splitlines()[0])
def test_a_file_on_the_page_is_a_shipped_one(text):
    assert parse_instrument(text, file="page").name
    assert text in {without_remarks(path.read_text(encoding="utf-8")) for path in FILES.glob("*.toml")}


def test_every_shipped_file_is_on_the_page():
    assert len(SHOWN) == len(list(FILES.glob("*.toml"))) == 5


MODELS = [
    *(instrument.Instrument, instrument.SupplyWords, instrument.LoadWords, instrument.MeterWords),
    *(instrument.ScopeWords, instrument.ErrorQueue, instrument.SerialSettings, instrument.Relay),
    *(instrument.Ask, instrument.AskState),
]
KEYS = [(model.__name__, key) for model in MODELS for key in model.model_fields]


@pytest.mark.parametrize(("model", "key"), KEYS)
def test_every_key_is_told_on_the_page(model, key):
    assert re.search(rf"`[^`]*\b{key}\b[^`]*`", PAGE)


@pytest.mark.parametrize("name", sorted({name for names in instrument.KNOWN.values() for name in names}))
def test_every_placeholder_is_told_on_the_page(name):
    assert f"`{{{name}}}`" in PAGE


def test_the_fault_on_the_page_is_what_is_said():
    text = (FILES / "hazel-drift-supply.toml").read_text(encoding="utf-8")
    with pytest.raises(SettingsError) as caught:
        parse_instrument(without_remarks(text).replace("{volts:.3f}", "{volt:.3f}"), file="hazel-drift-supply.toml")
    assert str(caught.value) in PAGE


def test_the_tree_on_the_page_is_what_is_said(tmp_path):
    for path in FILES.glob("*.toml"):
        shutil.copy(path, tmp_path)
    part = 'kind = "scpi"\naddress = "{}"\ninstrument = "{}"\n'
    with SupplyServer(PlainTable()) as supply:
        (tmp_path / "bench.toml").write_text(
            'name = "Boathouse bench"\n[[channels]]\ninput = 1\nrole = "load_voltage"\nscale = 42.0\nfull_scale = 1.0\n'
            '[[loads]]\nname = "4 ohm"\nresistance_ohm = 4.03\n'
            '[rig]\nkind = "simulated"\n[rig.load]\nkind = "manual"\n'
            "[rig.supply]\n"
            + part.format(supply.address, "hazel-drift-supply.toml")
            + '[[rig.meters]]\nquantity = "temperature"\n'
            + part.format("TCPIP::127.0.0.1::9::SOCKET", "rowan-squall-thermometer.toml"),
            encoding="utf-8",
        )
        text = bench_check(tmp_path / "bench.toml").text()
    assert text in (HOWTO / "check-the-bench.md").read_text(encoding="utf-8")
