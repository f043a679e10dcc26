"""A site over an archive: made once, kept while nothing changes, never over what is not ours."""

import json
import shutil
from datetime import date

import jsonschema
import pytest

from wattproof import tasks
from wattproof.archive import Archive
from wattproof.errors import ArchiveError, SettingsError
from wattproof.tasks import siting

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
"""
AMPLIFIER = """
maker = "Reed & Marten"
model = "{model}"
[[ratings]]
quantity = "power"
value = 250
unit = "W"
load_ohm = 4
thd_percent = 1
"""
READINGS = """output,load,frequency_hz,kind,load_voltage_v,supply_voltage_v,thd_percent
A,4 ohm,47,steady,{volts},14.40,1.0
"""
MODELS = {"Otter 4": 33.0, "Water Vole": 28.0}


@pytest.fixture(scope="module")
def made_once(tmp_path_factory):
    home = tmp_path_factory.mktemp("club")
    (home / "bench.toml").write_text(BENCH, encoding="utf-8")
    names = []
    for model, volts in MODELS.items():
        (home / "amplifier.toml").write_text(AMPLIFIER.format(model=model), encoding="utf-8")
        (home / "readings.csv").write_text(READINGS.format(volts=volts), encoding="utf-8")
        begun = tasks.session_new(
            home / "amplifier.toml", home / "bench.toml", archive=home / "archive", started=date(2031, 5, 14)
        )
        tasks.session_add(begun.session, [home / "readings.csv"], archive=home / "archive")
        names.append(begun.session)
    return home, tuple(names), tasks.site(home / "site", archive=home / "archive", title="The boathouse club")


@pytest.fixture
def club(made_once, tmp_path):
    """The archive and the site as they were made, to be changed."""
    shutil.copytree(made_once[0] / "archive", tmp_path / "archive")
    shutil.copytree(made_once[0] / "site", tmp_path / "site")
    return tmp_path


def again(club):
    return tasks.site(club / "site", archive=club / "archive", title="The boathouse club")


def files(folder):
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_every_session_has_its_report_and_every_amplifier_its_page(made_once):
    home, names, answer = made_once
    there = set(files(home / "site"))
    assert there == {
        "index.html", "compare.html", "site.json", "amplifiers/reed-marten-otter-4.html",
        "amplifiers/reed-marten-water-vole.html", *(f"sessions/{name}.html" for name in names),
    }  # fmt: skip
    assert (answer.amplifiers, set(answer.made), answer.unchanged, answer.problems) == (2, set(names), 0, ())
    assert "The boathouse club" in (home / "site" / "index.html").read_text(encoding="utf-8")
    assert str(answer.start) in answer.text()


def test_the_table_has_the_power_that_was_measured(made_once):
    home, _, _ = made_once
    told = json.loads((home / "site" / "site.json").read_text(encoding="utf-8"))
    jsonschema.validate(told, json.loads(tasks.schema("site-index")))
    powers = {
        one["told"]["model"]: next(f for f in one["told"]["figures"] if f["name"] == "power_at_thd_1")
        for one in told["sessions"]
    }
    for model, volts in MODELS.items():
        assert powers[model]["value"] == pytest.approx(volts**2 / 4.0, rel=1e-6)
        assert (powers[model]["load_ohm"], powers[model]["carried"]) == (4.0, False)
    page = (home / "site" / "compare.html").read_text(encoding="utf-8")
    assert powers["Otter 4"]["text"] in page.replace("\xa0", " ")


def test_what_has_not_changed_is_not_made_again(club, monkeypatch):
    before = files(club / "site")
    monkeypatch.setattr(siting, "site_session", lambda *_: pytest.fail("made again"))
    answer = again(club)
    assert (answer.made, answer.unchanged) == ((), 2)
    assert files(club / "site") == before


def test_a_session_that_changed_is_made_again_alone(club, made_once):
    store = Archive(club / "archive")
    changed = store.open_session("vole")
    store.void_capture(changed, 1, "the wrong load")
    answer = again(club)
    assert (answer.made, answer.unchanged) == ((changed.id,), 1)
    assert again(club).made == ()


def test_a_lost_report_is_made_again_with_the_same_bytes(club, made_once):
    lost = club / "site" / "sessions" / f"{made_once[1][0]}.html"
    before = lost.read_bytes()
    lost.unlink()
    assert again(club).made == (made_once[1][0],)
    assert lost.read_bytes() == before


def test_a_session_that_is_gone_takes_its_pages_with_it(club, made_once):
    shutil.rmtree(club / "archive" / made_once[1][1])
    answer = again(club)
    assert set(answer.removed) == {f"sessions/{made_once[1][1]}.html", "amplifiers/reed-marten-water-vole.html"}
    assert "Water Vole" not in (club / "site" / "index.html").read_text(encoding="utf-8")
    assert not (club / "site" / "amplifiers" / "reed-marten-water-vole.html").exists()


def test_an_archive_s_name_with_a_slip_in_it_takes_no_page_away(club):
    before = files(club / "site")
    with pytest.raises(ArchiveError) as refused:
        tasks.site(club / "site", archive=club / "archvie", title="The boathouse club")
    assert "--archive" in refused.value.hint
    assert files(club / "site") == before


def test_a_session_that_is_left_out_has_no_page_and_comes_back(club, made_once):
    before, name = files(club / "site"), made_once[1][1]
    answer = tasks.site(club / "site", archive=club / "archive", title="The boathouse club", leave_out=("water-vole",))
    assert f"sessions/{name}.html" in answer.removed
    assert not any(b"Water Vole" in data for data in files(club / "site").values())
    again(club)
    assert files(club / "site") == before
    with pytest.raises(ArchiveError, match="no session"):
        tasks.site(club / "site", archive=club / "archive", leave_out=("heron",))
    with pytest.raises(ArchiveError) as refused:
        tasks.site(club / "site", archive=club / "archive", leave_out=made_once[1])
    assert "2, are left out" in refused.value.why


def test_files_that_are_not_ours_are_let_be(club):
    (club / "site" / "robots.txt").write_text("mine")
    again(club)
    assert (club / "site" / "robots.txt").read_text() == "mine"


def test_a_page_that_someone_changed_is_not_written_over(club):
    page = club / "site" / "compare.html"
    page.write_text("mine")
    with pytest.raises(SettingsError, match="written over") as caught:
        again(club)
    assert "changed since" in caught.value.why
    assert page.read_text() == "mine"
    page.unlink()
    assert again(club).made == ()


@pytest.mark.parametrize("name", ["index.html", "site.json"])
def test_another_s_folder_is_refused_before_anything_is_written(club, name):
    other = club / "other"
    other.mkdir()
    (other / name).write_text("theirs")
    with pytest.raises(SettingsError, match="written over"):
        tasks.site(other, archive=club / "archive")
    assert files(other) == {name: b"theirs"}


def test_the_archive_is_never_written_into(club):
    for folder in (club / "archive" / "site", club / "archive", club):
        with pytest.raises(SettingsError, match="archive"):
            tasks.site(folder, archive=club / "archive")


def test_a_broken_session_is_told_and_the_others_are_published(club, made_once):
    (club / "archive" / made_once[1][1] / "figures.json").write_text("{")
    answer = again(club)
    assert any(made_once[1][1] in problem for problem in answer.problems)
    assert answer.unchanged == 1
