"""From typed readings of two bench days, kept in an archive, to their comparison by the command line."""

import json
from math import sqrt

import jsonschema
import pytest

from wattproof import tasks
from wattproof.cli import main
from wattproof.errors import ArchiveError, MeasureError, SettingsError

BENCH = """
name = "{bench}"

[[loads]]
name = "4 ohm"
resistance_ohm = {four}
resistance_u_ohm = 0.004

[[loads]]
name = "2 ohm"
resistance_ohm = 2.01
resistance_u_ohm = 0.002

[[meters]]
name = "handheld"
quantity = "load_voltage"
percent_of_reading = 0.8
digits = 1
resolution = 0.01

[[meters]]
name = "panel"
quantity = "supply_voltage"
percent_of_reading = 0.5
digits = 1
resolution = 0.01
"""
AMPLIFIER = """
maker = "{maker}"
model = "{model}"
price = {{ amount = {price}, currency = "GBP" }}
"""


def volts(peak_v, load_ohm, supply_v):
    """Give r.m.s. volts of an amplifier whose rail follows the supply, behind 0.1 ohm."""
    return peak_v * supply_v / 14.4 * load_ohm / (load_ohm + 0.1) / sqrt(2)


def typed_day(folder, archive, *, name, maker, model, peak_v, supply_v, bench="Boathouse bench", four=4.02, thd="1.0"):
    """Type what meters show of an amplifier, and keep it as a session."""
    files = {"bench.toml": BENCH.format(bench=bench, four=four)}
    files["amplifier.toml"] = AMPLIFIER.format(maker=maker, model=model, price=300)
    rows = ["load,frequency_hz,kind,load_voltage_v,supply_voltage_v,thd_percent"]
    rows += [
        f"{load},47,steady,{volts(peak_v, ohms, supply):.2f},{supply:.2f},{thd}"
        for load, ohms in (("4 ohm", four), ("2 ohm", 2.01))
        for supply in supply_v
    ]
    files["readings.csv"] = "\n".join(rows) + "\n"
    here = folder / name
    here.mkdir()
    for file, text in files.items():
        (here / file).write_text(text, encoding="utf-8")
    made = tasks.session_new(here / "amplifier.toml", here / "bench.toml", archive=archive, note=name)
    tasks.session_add(made.session, [here / "readings.csv"], archive=archive)
    return made.session


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """An archive with two amplifiers on one bench, one of them on another bench too, and one typed carelessly."""
    folder = tmp_path_factory.mktemp("compare")
    archive = folder / "archive"
    bittern = {"maker": "Saltmarsh & Daughter", "model": "Bittern 1", "peak_v": 40.0}
    names = {
        "bittern": typed_day(folder, archive, name="bittern", supply_v=(14.4, 12.6), **bittern),
        "heron": typed_day(
            folder, archive, name="heron", maker="Reedmace Works", model="Heron 2", peak_v=44.0, supply_v=(14.1, 12.9)
        ),
        "slipway": typed_day(
            folder, archive, name="slipway", supply_v=(14.4, 12.6), bench="Slipway bench", four=3.98, **bittern
        ),
        "careless": typed_day(folder, archive, name="careless", supply_v=(14.4, 12.6), thd="", **bittern),
    }
    return archive, names


def first(found, name):
    return next(one for one in found if one.name == name)


def test_two_typed_days_come_to_the_true_ratio_with_their_meters_error_left_out(kept):
    archive, names = kept
    found = tasks.compare([names["bittern"], names["heron"]], archive=archive, load=(4.0,), supply=14.0, thd=(1.0,))
    told = first(found.comparison.differences, "power_at_thd_1")
    assert told.relation == "two amplifiers"
    half = told.ratio.k95 * told.ratio.u
    assert abs(told.ratio.value - 1.1**2) < half < 0.06
    assert told.distinguishable
    # 0.8 % of reading in volts is 1.8 % of power at 95 %: shared, so it widens each value and not the ratio
    widest = max(value.quantity.u / value.quantity.value for value in found.comparison.rows[0].values)
    assert widest > 2 * 0.008 / sqrt(3)
    assert told.correlation > 0.5
    assert {value.basis for value in found.comparison.rows[0].values} == {"carried by the model"}


def test_one_amplifier_on_two_benches_has_an_en(kept):
    archive, names = kept
    found = tasks.compare([names["bittern"], names["slipway"]], archive=archive, thd=(1.0,)).comparison
    told = first(found.differences, "power_at_thd_1")
    assert told.relation == "one amplifier on two benches"
    assert told.en < 1
    assert [session.note for session in found.sessions] == ["bittern", "slipway"]


def test_readings_without_their_distortion_are_refused_with_what_to_type(kept):
    archive, names = kept
    found = tasks.compare([names["bittern"], names["careless"]], archive=archive).comparison
    told = first(found.not_compared, "power_at_thd_1")
    assert told.session == names["careless"]
    assert "thd_percent" in told.hint
    assert not [one for one in found.differences if one.name == "power_at_thd_1"]


def test_the_command_prints_a_table_or_one_object(kept, capsys):
    archive, names = kept
    words = ["compare", "bittern-1", "heron", "--archive", str(archive), "--load", "4", "--supply", "14"]
    with pytest.raises(ArchiveError):  # three sessions are of that model
        tasks.compare(["bittern-1", "heron"], archive=archive)
    words[1] = names["bittern"]
    main([*words, "--thd", "1"])
    text = capsys.readouterr().out
    assert text.startswith("2 sessions on common terms\n")
    assert "Power at 1 % distortion, 4 ohm" in text
    assert "Price of a verified watt" in text
    main([*words, "--json"])
    answer = json.loads(capsys.readouterr().out)
    jsonschema.validate(answer, json.loads(tasks.schema("compare")))
    assert answer["comparison"]["terms"]["supply_v"] == 14.0
    assert answer["comparison"]["terms"]["thd_n"] == [0.01, 0.1]


@pytest.mark.parametrize("wrong", [{"load": (-4.0,)}, {"supply": 0.0}, {"thd": (60.0,)}, {"thd": (float("nan"),)}])
def test_senseless_terms_are_refused_and_the_hint_cures_them(kept, wrong):
    archive, names = kept
    pair = [names["bittern"], names["heron"]]
    with pytest.raises(SettingsError) as caught:
        tasks.compare(pair, archive=archive, **wrong)
    (name,) = wrong
    assert f"--{name}" in caught.value.hint
    advised = float(caught.value.hint.rstrip(".").split()[-1])
    cured = tasks.compare(pair, archive=archive, **{name: advised if name == "supply" else (advised,)})
    assert cured.comparison.rows


def test_one_session_alone_is_not_compared(kept):
    archive, names = kept
    with pytest.raises(MeasureError, match="nothing to compare"):
        tasks.compare([names["bittern"]], archive=archive)
