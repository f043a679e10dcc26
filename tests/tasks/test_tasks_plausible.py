"""`plausible`: the file in, text or one object out, and a wrong file answered."""

import json

import jsonschema
import pytest

from wattproof.errors import FileMissingError, SettingsError
from wattproof.sim.collection import FOLDER
from wattproof.tasks import plausible, schema

WHIMBREL = FOLDER / "whimbrel-3000" / "amplifier.toml"


def test_one_object_keeps_its_schema_and_says_what_the_text_says():
    found = plausible(WHIMBREL)
    data = json.loads(found.to_json())
    jsonschema.validate(data, json.loads(schema("plausible")))
    assert data["plausibility"]["amplifier"] == "Squall & Teasel Whimbrel 3000"
    text = " ".join(found.text().split())
    for finding in data["plausibility"]["findings"]:
        assert " ".join(finding["message"].split()) in text


def test_a_wrong_file_is_answered(tmp_path):
    with pytest.raises(FileMissingError):
        plausible(tmp_path / "amplifier.toml")
    wrong = tmp_path / "amplifier.toml"
    wrong.write_text(WHIMBREL.read_text(encoding="utf-8").replace("rail_v =", "rail_volts ="), encoding="utf-8")
    with pytest.raises(SettingsError, match="line") as caught:
        plausible(wrong)
    assert "rail_v" in caught.value.hint


def test_the_command_prints_either(capsys):
    from wattproof.cli import main

    main(["plausible", str(WHIMBREL)])
    assert capsys.readouterr().out == plausible(WHIMBREL).text()
    main(["plausible", str(WHIMBREL), "--json"])
    assert json.loads(capsys.readouterr().out) == json.loads(plausible(WHIMBREL).to_json())
