"""Pictures of a session in the archive: listed, drawn to files, refused with a cure."""

import json
import struct
import subprocess
import sys

import pytest

from wattproof import tasks
from wattproof.archive import Archive
from wattproof.errors import ArchiveError, FileMissingError, SettingsError, UsageError

BENCH = """
name = "Boathouse bench"
[[loads]]
name = "4 ohm"
resistance_ohm = 4.0
resistance_u_ohm = 0.01
[[meters]]
name = "handheld"
quantity = "load_voltage"
percent_of_reading = 0.3
[[meters]]
name = "panel"
quantity = "supply_voltage"
percent_of_reading = 0.2
"""
AMPLIFIER = """
maker = "Reed & Marten"
model = "Otter 4"
[[ratings]]
quantity = "power"
value = 250
unit = "W"
load_ohm = 4
supply_v = 14.4
thd_percent = 1
channels_driven = 1
"""
READINGS = """output,load,frequency_hz,kind,load_voltage_v,supply_voltage_v,thd_percent
A,4 ohm,47,steady,33.0,14.40,1
"""


@pytest.fixture
def archive(tmp_path):
    for name, text in (("bench.toml", BENCH), ("amplifier.toml", AMPLIFIER), ("readings.csv", READINGS)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    root = tmp_path / "archive"
    tasks.session_new(tmp_path / "amplifier.toml", tmp_path / "bench.toml", archive=root)
    tasks.session_add("otter", [tmp_path / "readings.csv"], archive=root)
    return root


def test_without_names_it_lists_what_there_is_and_writes_nothing(archive, tmp_path):
    out = tmp_path / "pictures"
    found = tasks.picture("otter", out=out, archive=archive)
    assert [one.name for one in found.pictures] == ["verdicts", "model"]
    assert "Does it make its ratings?" in found.text()
    assert found.files == ()
    assert not out.exists()
    told = json.loads(found.to_json())["pictures"]
    assert told[0] == {"name": "verdicts", "shows": "Does it make its ratings?"}


@pytest.mark.parametrize(("shape", "size"), [("wide", (1920, 1080)), ("tall", (1080, 1920)), ("square", (1080, 1080))])
def test_a_picture_is_written_under_a_name_that_says_all_of_it(archive, tmp_path, shape, size):
    told = []
    found = tasks.picture(
        "otter", ["verdicts"], shape=shape, paper="none", out=tmp_path / "a" / "b", archive=archive, tell=told.append
    )
    (file,) = found.files
    assert file.name == f"{found.session}-verdicts-{shape}-none.png"
    assert struct.unpack(">II", file.read_bytes()[16:24]) == size
    assert sorted(path.name for path in file.parent.iterdir()) == [file.name]
    assert "drawing verdicts" in told
    assert found.text() == str(file)


def test_drawing_again_gives_the_same_file_and_all_is_every_picture(archive, tmp_path):
    def drawn():
        found = tasks.picture("otter", ["all"], format="pdf", out=tmp_path, archive=archive)
        assert len(found.files) == len(found.pictures)
        return {file: file.read_bytes() for file in found.files}

    assert drawn() == drawn()


def test_the_picture_says_what_the_verdict_is(archive, tmp_path):
    (file,) = tasks.picture("otter", ["verdicts"], format="svg", out=tmp_path, archive=archive).files
    verdict = tasks.judge("otter", archive=archive).judged.judgements[0].verdict
    svg = file.read_text(encoding="utf-8")
    assert f">{verdict}</text>" in svg
    assert "Reed &amp; Marten Otter 4" in svg


@pytest.mark.parametrize(
    ("given", "refused"),
    [
        ({"shape": "round"}, SettingsError),
        ({"paper": "blue"}, SettingsError),
        ({"format": "gif"}, SettingsError),
        ({"names": ["verdict"]}, UsageError),
    ],
)
def test_what_there_is_not_is_refused_and_the_hint_cures_it(archive, tmp_path, given, refused):
    wanted = {"names": ["verdicts"], "out": tmp_path / "pictures", **given}
    names = wanted.pop("names")
    with pytest.raises(refused) as error:
        tasks.picture("otter", names, archive=archive, **wanted)
    assert not (tmp_path / "pictures").exists()
    cure = error.value.hint.rstrip(".").split()
    if refused is UsageError:
        names = [cure[-1]]
    else:
        assert cure[-2] == f"--{next(iter(given))}"
        wanted[next(iter(given))] = cure[-1]
    assert tasks.picture("otter", names, archive=archive, **wanted).files


def test_a_folder_that_cannot_be_made_is_told(archive, tmp_path):
    (tmp_path / "taken").write_text("a file", encoding="utf-8")
    with pytest.raises(FileMissingError, match="taken"):
        tasks.picture("otter", ["verdicts"], out=tmp_path / "taken" / "pictures", archive=archive)


def test_a_session_without_results_has_no_picture_yet(tmp_path):
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")
    (tmp_path / "amplifier.toml").write_text(AMPLIFIER.partition("[[")[0], encoding="utf-8")
    root = tmp_path / "archive"
    made = tasks.session_new(tmp_path / "amplifier.toml", tmp_path / "bench.toml", archive=root)
    found = tasks.picture("otter", archive=root)
    assert found.pictures == ()
    assert made.session in found.text()
    with pytest.raises(ArchiveError):
        tasks.picture("heron", archive=root)
    assert Archive(root).open_session("otter").id == made.session


def test_the_command_prints_names_and_files(archive, tmp_path):
    said = subprocess.run(
        [sys.executable, "-m", "wattproof", "picture", "otter", "verdicts", "--shape", "square", "--out",
         str(tmp_path / "out"), "--archive", str(archive), "--json"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    files = json.loads(said.stdout)["files"]
    assert len(files) == 1
    assert files[0].endswith("-verdicts-square-light.png")
