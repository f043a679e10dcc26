"""`model` and `predict`: fitted once to a session's figures, kept beside them, and refused in words."""

import json
import re

import pytest

from wattproof import tasks
from wattproof.archive import Archive
from wattproof.errors import BeyondDataError, MeasureError, SettingsError

AMPLIFIER = 'maker = "Heron & Sons"\nmodel = "Fieldfare 2"\nsupply = "{supply}"\n'
BENCH = """name = "boathouse"
[[channels]]
input = 1
role = "load_voltage"
scale = 42.0
"""
ROWS = """load,load_voltage_v,supply_voltage_v,supply_current_a,thd_percent
8,34.6,14.22,12.3,1
4,33.8,14.12,23.1,1
2,32.2,13.95,42.7,1
4,29.6,12.42,20.5,1
2,28.1,12.20,37.6,1
"""


@pytest.fixture
def session(tmp_path):
    """Give a function that makes a session of typed rows, and where its archive is."""

    def made(rows=ROWS, supply="unknown"):
        for name, text in (
            ("amplifier.toml", AMPLIFIER.format(supply=supply)),
            ("bench.toml", BENCH),
            ("readings.csv", rows),
        ):
            (tmp_path / name).write_text(text)
        archive = tmp_path / "archive"
        session = tasks.session_new(tmp_path / "amplifier.toml", tmp_path / "bench.toml", archive=archive).session
        tasks.session_add(session, [tmp_path / "readings.csv"], archive=archive)
        return session, archive

    return made


def test_a_model_is_kept_beside_the_figures_it_was_fitted_to(session, tmp_path):
    name, archive = session()
    first = tasks.model(name, archive=archive)
    assert first.model.points == 5
    store = Archive(archive)
    found = store.open_session(name)
    kept = json.loads((found.folder / "model.json").read_text())
    assert [deed.did for deed in store.history(found)] == ["measured", "modelled"]
    assert store.history(found)[-1].details["figures_sha256"] == kept["figures_sha256"]
    assert store.verify(found) == ()
    before = (found.folder / "model.json").read_bytes()
    assert tasks.model(name, archive=archive) == first
    assert (found.folder / "model.json").read_bytes() == before
    assert len(store.history(found)) == 2
    # another row makes other figures, and those another model
    (tmp_path / "more.csv").write_text(ROWS.splitlines()[0] + "\n8,30.3,12.51,10.9,1\n")
    tasks.session_add(name, [tmp_path / "more.csv"], archive=archive)
    assert store.read_model(found) is not None
    assert tasks.model(name, archive=archive).model.points == 6


def test_a_damaged_model_is_found(session):
    name, archive = session()
    tasks.model(name, archive=archive)
    store = Archive(archive)
    found = store.open_session(name)
    (found.folder / "model.json").write_text('{"schema": 2, "models": []}')
    assert [change.path for change in store.verify(found)] == ["model.json"]


def test_a_prediction_answers_what_was_asked(session):
    name, archive = session()
    found = tasks.predict(name, load=2.67, supply=13.0, cable_mohm=4, source_mohm=2, thd=1.2, archive=archive)
    asked = found.prediction.asked
    assert (asked.load_ohm, asked.supply_v, asked.source_ohm, asked.thd_n) == (2.67, 13.0, 0.006, 0.012)
    assert found.amplifier == "Heron & Sons Fieldfare 2"
    assert found.prediction.supply_voltage.value == pytest.approx(
        13.0 - 0.006 * found.prediction.supply_current.value, rel=1e-6
    )
    plain = json.loads(found.to_json())
    assert plain["prediction"]["power"]["value"] == found.prediction.power.value
    # left out: the lowest load and the highest supply voltage of the figures
    asked = tasks.predict(name, archive=archive).prediction.asked
    assert (asked.load_ohm, asked.supply_v) == (2.0, 14.22)


def test_a_feed_straight_from_the_supply_is_taken_from_the_amplifier_file(session):
    sheet = "load,power_w,supply_voltage_v,thd_percent\n4,27,14.4,10\n"
    name, archive = session(sheet, supply="direct")
    found = tasks.predict(name, load=2, supply=14.4, thd=10, archive=archive)
    assert found.prediction.power.value == pytest.approx(45, rel=0.02)


def test_that_a_maker_says_regulated_is_a_claim_and_no_datum(session):
    rows = "\n".join(ROWS.splitlines()[:4]) + "\n"
    name, archive = session(rows, supply="regulated")
    assert tasks.model(name, archive=archive).model.parameter("rail_exponent").fixed_by == "prior"


@pytest.mark.parametrize(
    ("wrong", "option"),
    [({"load": 0.0}, "--load"), ({"supply": float("nan")}, "--supply"), ({"thd": 50.0}, "--thd"),
     ({"cable_mohm": -1.0}, "--cable-mohm")],
)  # fmt: skip
def test_numbers_that_nothing_can_have_are_refused_with_one_that_cures(session, wrong, option):
    name, archive = session()
    with pytest.raises(SettingsError, match=option) as refused:
        tasks.predict(name, archive=archive, **wrong)
    (parameter,) = wrong
    cure = float(re.findall(r"[\d.]+\d|\d", refused.value.hint)[0])
    assert tasks.predict(name, archive=archive, **{parameter: cure}).prediction.power.value > 0


def test_what_the_data_say_nothing_of_is_refused(session):
    name, archive = session()
    with pytest.raises(BeyondDataError, match=r"0\.5 ohm"):
        tasks.predict(name, load=0.5, archive=archive)


def test_the_commands_print_what_the_tasks_say(session, capsys):
    from wattproof.cli.commands import model, predict

    name, archive = session()
    model(name, archive=archive)
    assert capsys.readouterr().out == tasks.model(name, archive=archive).text() + "\n"
    predict(name, load=2.67, supply=13.0, archive=archive, json=True)
    assert json.loads(capsys.readouterr().out)["prediction"]["asked"]["load_ohm"] == 2.67


def test_an_output_or_a_number_of_driven_ones_that_no_capture_has_is_told_with_those_it_has(session):
    name, archive = session()
    for asked, said in (({"output": "B"}, "powers of A"), ({"driven": 2}, "have one output driven")):
        with pytest.raises(MeasureError, match=r"No model (of output B|with 2 driven)") as refused:
            tasks.predict(name, archive=archive, **asked)
        assert said in refused.value.why
        option = re.search(r"--(output|driven) (\w+)", refused.value.hint)
        cure = {option[1]: option[2] if option[1] == "output" else int(option[2])}
        assert tasks.predict(name, archive=archive, **cure).prediction.power.value > 0
