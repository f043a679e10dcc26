"""Sessions by the command line: kept byte for byte, measured again to the same figures, refused when they changed."""

import csv
import hashlib
import json
import shutil

import jsonschema
import pytest

from wattproof.tasks import schema


@pytest.fixture(scope="module")
def archived(day, tmp_path_factory):
    """An archive with one session, its captures measured once."""
    from wattproof import tasks

    root = tmp_path_factory.mktemp("boathouse") / "archive"
    made = tasks.session_new(day / "amplifier.toml", day / "bench.toml", archive=root)
    for file, step in (("ramp.wav", "ramp 4 ohm"), ("steady.wav", "steady 4 ohm")):
        tasks.session_add(made.session, [day / file], archive=root, step=step, wishes=tasks.Wishes(load="4 ohm"))
    tasks.session_add(made.session, [day / "readings.csv"], archive=root, step="typed")
    tasks.session_figures(made.session, archive=root)
    return root, made.session


@pytest.fixture
def kept(archived, tmp_path):
    """A copy of that archive, to do as one likes with."""
    root, name = archived
    shutil.copytree(root, tmp_path / "archive")
    return tmp_path / "archive", name


def original(root, name, file):
    return next(path for path in (root / name / "captures").rglob("original.*") if file in path.parent.name)


def test_a_session_is_begun_filled_measured_and_listed(run, day, tmp_path):
    root = tmp_path / "archive"
    words = ("--archive", root, "--json")
    made = json.loads(
        run("session", "new", day / "amplifier.toml", day / "bench.toml", "--started", "2031-05-14", *words).out
    )
    name = made["session"]
    assert name.startswith("2031-05-14-bittern-1-")
    kept = json.loads(
        run("session", "add", name, day / "steady.wav", "--load", "4 ohm", "--step", "steady 4 ohm", *words).out
    )
    (capture,) = kept["captures"]
    assert capture["sha256"] == hashlib.sha256((day / "steady.wav").read_bytes()).hexdigest()
    assert (original(root, name, "steady-4-ohm")).read_bytes() == (day / "steady.wav").read_bytes()
    figures = json.loads(run("session", "figures", name, *words).out)
    jsonschema.validate(figures, json.loads(schema("measure")))
    power = next(f for f in figures["captures"][0]["figures"] if f["name"] == "load_power")
    assert power["value"] == pytest.approx(day.steady.load_power_w, rel=1e-4)
    listed = json.loads(run("session", "list", *words).out)
    jsonschema.validate(listed, json.loads(schema("sessions")))
    (line,) = listed["sessions"]
    assert (line["session"], line["captures"], line["figures"]) == (name, 1, len(figures["captures"][0]["figures"]))
    assert line["amplifier"] == "Saltmarsh & Daughter Bittern 1"
    assert name in run("session", "list", "--archive", root).out


def test_a_part_of_the_name_will_do(run, kept):
    root, name = kept
    assert run("session", "figures", name[-4:], "--archive", root).status == 0


def test_measuring_again_gives_the_same_bytes(run, kept):
    root, name = kept
    stored = root / name / "figures.json"
    before = stored.read_bytes()
    assert len(before) > 1000
    assert run("session", "figures", name, "--archive", root, "--again").status == 0
    assert stored.read_bytes() == before
    stored.unlink()
    assert run("session", "figures", name, "--archive", root).status == 0
    assert stored.read_bytes() == before


def test_stored_figures_and_fresh_ones_are_said_alike(run, kept):
    root, name = kept
    stored = run("session", "figures", name, "--archive", root, "--json")
    fresh = run("session", "figures", name, "--archive", root, "--json", "--again")
    assert stored.status == fresh.status == 0
    assert json.loads(stored.out) == json.loads(fresh.out)


def test_a_changed_byte_in_an_original_is_refused_with_the_reason(run, kept):
    root, name = kept
    path = original(root, name, "steady")
    path.chmod(0o644)
    content = bytearray(path.read_bytes())
    content[-1] ^= 1
    path.write_bytes(content)
    ran = run("session", "figures", name, "--archive", root, "--again")
    assert (ran.status, ran.out) == (2, "")
    assert ran.err.startswith("error: archive\n")
    assert hashlib.sha256(content).hexdigest()[:8] in ran.err or "SHA-256" in ran.err
    assert path.parent.name in ran.err


def test_figures_go_to_a_page_and_a_table(run, kept, tmp_path):
    root, name = kept
    page, table = tmp_path / "page.html", tmp_path / "figures.csv"
    ran = run("session", "figures", name, "--archive", root, "--html", page, "--csv", table)
    assert ran.status == 0
    text = page.read_text(encoding="utf-8")
    assert "Saltmarsh &amp; Daughter Bittern 1" in text
    assert text.count("<svg") >= 3
    rows = list(csv.DictReader(table.read_text(encoding="utf-8").splitlines()))
    assert {"ramp.wav", "steady.wav"} <= {value for row in rows for value in row.values()}


def test_a_budget_tells_what_an_uncertainty_is_made_of(run, kept):
    root, name = kept
    said = run("session", "figures", name, "--archive", root, "--budget").out
    assert "scale of load_voltage" in said
    assert "%" in said


def test_the_index_is_made_again_from_the_folders(run, kept):
    root, name = kept
    (root / "index.sqlite").unlink(missing_ok=True)
    made = json.loads(run("archive", "index", "--archive", root, "--json").out)
    listed = json.loads(run("session", "list", "--archive", root, "--json").out)
    assert made["sessions"] == 1
    assert made["figures"] == listed["sessions"][0]["figures"]
    assert (root / "index.sqlite").exists()
    assert name == listed["sessions"][0]["session"]


def test_a_file_that_cannot_be_read_keeps_the_others_out_too(run, day, kept, tmp_path):
    root, name = kept
    before = sorted(path.name for path in (root / name / "captures").iterdir())
    ran = run("session", "add", name, day / "steady.wav", tmp_path / "none.wav", "--archive", root)
    assert (ran.status, ran.out) == (2, "")
    assert sorted(path.name for path in (root / name / "captures").iterdir()) == before


def test_an_unknown_load_is_refused_before_anything_is_kept(run, day, kept):
    root, name = kept
    before = sorted(path.name for path in (root / name / "captures").iterdir())
    ran = run("session", "add", name, day / "steady.wav", "--load", "dummy", "--archive", root)
    assert ran.status == 2
    assert "4 ohm" in ran.err
    assert sorted(path.name for path in (root / name / "captures").iterdir()) == before


def test_every_option_of_a_capture_is_kept_with_it(run, day, tmp_path):
    root = tmp_path / "archive"
    run("session", "new", day / "amplifier.toml", day / "bench.toml", "--archive", root)
    options = ("--channel", "load_voltage=1", "--thd-percent", "2", "--thd-percent", "5", "--captured-on", "2031-05-14")
    words = ("session", "add", "bittern-1", day / "ramp.wav", "--archive", root, "--load", "4 ohm", *options)
    ran = run(*words)
    assert (ran.status, ran.err) == (0, "")
    (capture,) = json.loads(run("session", "figures", "bittern-1", "--archive", root, "--json").out)["captures"]
    names = {figure["name"] for figure in capture["figures"]}
    assert {"power_at_thd_2", "power_at_thd_5"} <= names
    assert len(capture["channels"]) == 1


def test_a_damaged_session_is_named_and_hides_no_other(run, day, kept):
    root, name = kept
    run("session", "new", day / "amplifier.toml", day / "bench.toml", "--archive", root)
    (root / name / "session.json").write_text("{ not json", encoding="utf-8")
    listed = json.loads(run("session", "list", "--archive", root, "--json").out)
    assert len(listed["sessions"]) == 1
    assert name in " ".join(listed["problems"])
    ran = run("session", "figures", name, "--archive", root)
    assert (ran.status, ran.out) == (2, "")
    assert ran.err.startswith("error: archive\n")


def test_ctrl_c_while_measuring_leaves_the_session_as_it_was(run, kept, monkeypatch):
    root, name = kept
    before = {path: path.read_bytes() for path in (root / name).rglob("*") if path.is_file()}

    def pressed(*_words, **_options):
        raise KeyboardInterrupt

    monkeypatch.setattr("wattproof.tasks.measuring.measure_capture", pressed)
    assert run("session", "figures", name, "--archive", root, "--again").status == 130
    assert {path: path.read_bytes() for path in (root / name).rglob("*") if path.is_file()} == before


def test_the_archive_of_the_environment_is_used(run, kept, monkeypatch):
    root, name = kept
    monkeypatch.setenv("WATTPROOF_ARCHIVE", str(root))
    assert name in run("session", "list").out


def test_an_empty_archive_says_how_to_begin(run, tmp_path):
    ran = run("session", "list", "--archive", tmp_path / "nothing yet")
    assert ran.status == 0
    assert "wattproof session new" in ran.out
    assert not (tmp_path / "nothing yet").exists()
