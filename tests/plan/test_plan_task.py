"""The task: two files in; text, one JSON object and a page out."""

import json

import pytest

from wattproof.errors import FileMissingError, RefusedError, SettingsError
from wattproof.plan import RunSheet, SheetWishes
from wattproof.tasks.planning import plan

AMPLIFIER = """
maker = "Sorrel Thaw"
model = "Dunlin 1"
class = "D"
fuse_a = 60
minimum_load_ohm = 4
[[ratings]]
quantity = "power"
value = 300
unit = "W"
load_ohm = 4
supply_v = 14.4
thd_percent = 1
"""

BENCH = """
name = "Boathouse bench"
[[channels]]
input = 1
role = "load_voltage"
scale = 90.0
scale_u = 0.002
full_scale = 1.0
[[loads]]
name = "4 ohm"
resistance_ohm = 4.03
continuous_w = 1000
[[loads]]
name = "2 ohm"
resistance_ohm = 2.01
[supply]
nominal_v = 14.4
max_current_a = 150
"""


@pytest.fixture
def files(tmp_path):
    (tmp_path / "amplifier.toml").write_text(AMPLIFIER)
    (tmp_path / "bench.toml").write_text(BENCH)
    return tmp_path / "amplifier.toml", tmp_path / "bench.toml"


def test_the_answer_is_a_run_sheet_in_every_form(files, tmp_path):
    planned = plan(*files, html=tmp_path / "sheet.html")
    assert RunSheet.model_validate_json(planned.to_json()) == planned.sheet
    assert json.loads(planned.to_json())["amplifier"] == "Sorrel Thaw Dunlin 1"
    assert "ramp 4 ohm" in planned.table()
    assert "<!DOCTYPE html>" in (tmp_path / "sheet.html").read_text()


def test_wishes_are_followed(files):
    planned = plan(*files, wishes=SheetWishes(loads=("2 ohm",), below_minimum=True, hold_s=0))
    assert [step.kind for step in planned.sheet.steps] == ["floor", "idle", "gain", "ramp", "burst"]
    with pytest.raises(RefusedError):
        plan(*files, wishes=SheetWishes(loads=("2 ohm",)))


def test_faults_of_the_files_are_told(files, tmp_path):
    with pytest.raises(FileMissingError):
        plan(tmp_path / "none.toml", files[1])
    with pytest.raises(SettingsError, match="written over"):
        plan(*files, html=files[0])
