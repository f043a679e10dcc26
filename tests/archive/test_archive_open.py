"""Sessions found by name; damage told kindly; no name leads out of the archive; old archives open for ever."""

import json
import os
import re
import shutil
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from wattproof.amplifier import Amplifier
from wattproof.archive import Archive, Description, default_root
from wattproof.archive.captures import add_capture
from wattproof.archive.names import original_name, slug
from wattproof.archive.upgrades import STEPS, upgraded
from wattproof.bench import Bench
from wattproof.errors import ArchiveError
from wattproof.measure import CaptureResult, Figure

GOLDEN = Path(__file__).parent / "golden"
STARTED = datetime.fromisoformat("2031-05-14T09:30:00+01:00")
RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)


@pytest.fixture
def archive(tmp_path):
    return Archive(tmp_path / "archive")


def begin(archive, model="Bittern 1"):
    return archive.new_session(
        amplifier=Amplifier(maker="Saltmarsh & Daughter", model=model),
        bench=Bench(name="Boathouse bench"),
        amplifier_toml=b"maker = 'Saltmarsh & Daughter'\n",
        bench_toml=b"name = 'Boathouse bench'\n",
        started=STARTED,
    )


def measured(archive, tmp_path, model="Bittern 1"):
    session = begin(archive, model)
    (tmp_path / "a.wav").write_bytes(b"a recording")
    archive.add_capture(session, tmp_path / "a.wav", Description(kind="steady"))
    figure = Figure(name="load_power", value=100.0, u=0.2, unit="W", origin="a.wav 0-1 s")
    archive.write_figures(session, {1: [CaptureResult(file="a.wav", kind="steady", figures=(figure,))]})
    return session


def test_a_session_opens_by_any_unambiguous_name(archive, monkeypatch):
    bittern, heron = begin(archive), begin(archive, "Heron 2 & a half")
    monkeypatch.chdir(archive.root)
    for name in (
        bittern.id,
        bittern.id.upper(),
        bittern.id[:-2],
        "bittern",
        bittern.folder,
        bittern.folder / "session.json",
        f"./{bittern.id}/",
    ):
        assert archive.open_session(name) == bittern
    assert archive.open_session("heron") == heron


def test_a_session_elsewhere_opens_by_its_path(archive, tmp_path):
    shutil.copytree(begin(archive).folder, tmp_path / "a copy")
    copy = archive.open_session(tmp_path / "a copy")
    assert copy.id == "a copy"
    assert [change.what for change in archive.verify(copy)] == ["renamed"]


@pytest.mark.parametrize("name", ["", "  ", "../..", "wren", "\0", "x" * 5000, "~nobody-of-that-name/x", "."])
def test_an_unknown_session_is_refused_and_the_hint_names_one_that_opens(archive, name):
    session = begin(archive)
    with pytest.raises(ArchiveError, match="There is no session") as caught:
        archive.open_session(name)
    assert archive.open_session(re.search(r"example (\S+)\.$", caught.value.hint)[1]) == session


def test_an_ambiguous_name_is_refused_and_the_hint_names_one_that_opens(archive):
    sessions = [begin(archive) for _ in range(2)]
    with pytest.raises(ArchiveError, match="any of 2 sessions") as caught:
        archive.open_session("2031")
    assert archive.open_session(re.search(r"example (\S+)\.$", caught.value.hint)[1]) in sessions


def test_an_archive_that_is_not_there_is_empty(archive):
    assert archive.list_sessions().sessions == ()
    with pytest.raises(ArchiveError, match="There is no archive at") as caught:
        archive.open_session("bittern")
    assert caught.value.why == "there is no such folder"
    assert "--archive" in caught.value.hint
    assert not archive.root.exists()


def test_an_archive_without_a_session_says_that_it_is_empty(archive):
    archive.root.mkdir()
    with pytest.raises(ArchiveError, match="There is no session") as caught:
        archive.open_session("bittern")
    assert "wattproof session new" in caught.value.hint


def read_all(archive, name):
    session = archive.open_session(name)
    return archive.captures(session), archive.read_figures(session)


DAMAGE = {
    "no JSON": (b"{", "Line 1"),
    "half of it": (b'{"schema": 1, "id"', "Line 1"),
    "no UTF-8": (b"\xff\xfe{}", "Byte 1"),
    "no object": (b"[1]", "no JSON object"),
    "empty": (b"", "Line 1"),
    "other keys": (b'{"schema": 1, "thing": 3}', "Field required"),
    "no schema": (b"{}", "schema number is None"),
    "true as schema": (b'{"schema": true}', "schema number is True"),
    "schema 0": (b'{"schema": 0}', "schema number is 0"),
    "deep": (b"[" * 100_000, "nested too deeply"),
    "no number": (b'{"schema": 1, "started": NaN}', "a number that is none"),
    "long number": (b'{"schema": ' + b"9" * 5000 + b"}", "too long"),
}


@pytest.mark.parametrize("document", ["session.json", "captures/01-steady/capture.json", "figures.json"])
@pytest.mark.parametrize("damage", list(DAMAGE))
def test_a_damaged_document_is_told_with_its_place(archive, tmp_path, document, damage):
    session = measured(archive, tmp_path)
    data, reason = DAMAGE[damage]
    (session.folder / document).write_bytes(data)
    with pytest.raises(ArchiveError, match="is damaged") as caught:
        read_all(archive, session.id)
    assert reason in caught.value.why
    assert document in caught.value.message.replace(os.sep, "/")
    if document == "session.json":
        listing = archive.list_sessions()
        assert (len(listing.sessions), [notice.code for notice in listing.notices]) == (0, ["session-damaged"])
    else:
        assert [(c.path, c.what) for c in archive.verify(session)] == [(document, "damaged")]


def test_verify_lists_all_that_changed(archive, tmp_path):
    session = measured(archive, tmp_path)
    (tmp_path / "b.wav").write_bytes(b"another")
    second = archive.add_capture(session, tmp_path / "b.wav", Description())
    assert archive.verify(session) == ()
    (session.folder / "captures/01-steady/original.wav").write_bytes(b"A recording")  # equally long
    (session.folder / "captures/02-b/original.wav").unlink()
    (session.folder / "bench.toml").write_bytes(b"name = 'Other'\n")
    (session.folder / "amplifier.toml").unlink()
    figures = session.folder / "figures.json"
    figures.write_bytes(figures.read_bytes().replace(b"100.0", b"110.0"))
    found = {(change.path, change.what) for change in archive.verify(session)}
    assert found == {
        ("captures/01-steady/original.wav", "changed"),
        ("captures/02-b/original.wav", "missing"),
        ("bench.toml", "changed"),
        ("amplifier.toml", "missing"),
        ("figures.json", "changed"),
    }
    with pytest.raises(ArchiveError, match="is changed"):
        archive.original_path(session, archive.captures(session)[0])
    with pytest.raises(ArchiveError, match="is missing") as caught:
        archive.original_path(session, second)
    assert "it came as b.wav" in caught.value.hint
    shutil.copy(tmp_path / "b.wav", session.folder / "captures/02-b/original.wav")  # the hint, followed
    assert archive.original_path(session, second).read_bytes() == b"another"


def test_verify_misses_a_capture_that_was_taken_away(archive, tmp_path):
    session = measured(archive, tmp_path)
    shutil.rmtree(session.folder / "captures/01-steady")
    assert [(change.path, change.what) for change in archive.verify(session)] == [("captures/01-*", "missing")]
    (session.folder / "captures").rmdir()
    assert [change.what for change in archive.verify(session)] == ["missing"]
    assert archive.captures(session) == ()


def test_verify_names_a_damaged_line_of_history(archive, tmp_path):
    session = measured(archive, tmp_path)
    line = next((session.folder / "history").iterdir())
    line.write_bytes(b"{")
    changes = archive.verify(session)
    assert [change.what for change in changes] == ["damaged", "changed"]
    assert changes[0].path == f"history/{line.name}"


def test_a_damaged_capture_does_not_stop_new_evidence(archive, tmp_path):
    session = measured(archive, tmp_path)
    (session.folder / "captures/01-steady/capture.json").write_bytes(b"{")
    (tmp_path / "b.wav").write_bytes(b"another")
    assert archive.add_capture(session, tmp_path / "b.wav", Description()).number == 2


def test_lost_or_foreign_views_lose_no_figure(archive, tmp_path):
    session = measured(archive, tmp_path)
    views = next(session.folder.glob("views-*.json"))
    document = json.loads(views.read_text())
    views.write_text(json.dumps({**document, "figures_sha256": "0" * 64}))
    figures = archive.read_figures(session)
    assert archive.read_figures(session, with_views=True) == figures
    views.unlink()
    assert archive.read_figures(session, with_views=True) == figures


def test_a_number_published_since_we_looked_is_not_used_twice(archive, tmp_path, monkeypatch):
    from wattproof.archive import captures

    session = measured(archive, tmp_path)
    genuine, early_looks = captures._used_numbers, iter([{0}])  # before the other process published number 1
    monkeypatch.setattr(captures, "_used_numbers", lambda session: next(early_looks, None) or genuine(session))
    (tmp_path / "b.wav").write_bytes(b"another")
    assert add_capture(session, tmp_path / "b.wav", Description(), added=STARTED).number == 2
    assert not list((session.folder / "captures").glob(".part-*"))


def test_a_stranger_cannot_point_out_of_the_session(archive, tmp_path):
    session = measured(archive, tmp_path)
    path = session.folder / "captures/01-steady/capture.json"
    document = json.loads(path.read_text())
    path.write_text(json.dumps({**document, "folder": "../../..", "number": 9}))
    assert archive.captures(session)[0].folder == "01-steady"
    path.write_text(json.dumps({**document, "original": "../../../a.wav"}))
    with pytest.raises(ArchiveError, match="is damaged"):
        archive.captures(session)


@settings(max_examples=100, deadline=None)
@given(text=st.text(max_size=60))
@example("CON")
@example("com1")
@example("nul.txt")
@example("..")
@example("a" * 39 + "-b")
@example("\ud800")
@example("İstanbul ß ǅ ﷺ")
def test_a_slug_is_a_safe_name_everywhere(text):
    name = slug(text, fallback="amplifier")
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", name)
    assert len(name) <= 44
    assert not RESERVED.fullmatch(name)
    assert re.fullmatch(r"original(\.[a-z0-9]{1,12})?", original_name(text))


def test_the_archive_is_where_the_environment_says_or_at_home(monkeypatch, tmp_path):
    monkeypatch.setenv("WATTPROOF_ARCHIVE", str(tmp_path))
    assert default_root() == tmp_path
    monkeypatch.setenv("WATTPROOF_ARCHIVE", "~/kept")
    assert default_root() == Path.home() / "kept"
    for unset in ("", "  "):
        monkeypatch.setenv("WATTPROOF_ARCHIVE", unset)
        assert default_root() == Path.home() / "wattproof-archive"
    monkeypatch.setenv("WATTPROOF_ARCHIVE", "~nobody-of-that-name/x")
    with pytest.raises(ArchiveError, match="Cannot tell where") as caught:
        default_root()
    assert "without a leading ~" in caught.value.hint


def test_a_newer_schema_is_refused_kindly(archive, tmp_path):
    session = measured(archive, tmp_path)
    path = session.folder / "session.json"
    path.write_text(json.dumps({"schema": 7, "wholly": "new"}))
    with pytest.raises(ArchiveError, match="newer Wattproof") as caught:
        archive.open_session(session.id)
    assert "number is 7; this version knows numbers up to 2" in caught.value.why


def test_upgrades_go_step_by_step_and_leave_the_old_document_alone():
    def upgrade_1_to_2(kind, document):
        return {**document, "note": f"{kind} {document.pop('remark')}"}

    def upgrade_2_to_3(kind, document):
        return {**document, "note": document["note"].upper()}

    old = {"schema": 1, "remark": "dry"}
    steps = {1: upgrade_1_to_2, 2: upgrade_2_to_3}
    new = upgraded("session", old, path=Path("s"), steps=steps, newest=3)
    assert (new["schema"], new["note"]) == (3, "SESSION DRY")
    assert old == {"schema": 1, "remark": "dry"}
    assert upgraded("session", new, path=Path("s"), steps=steps, newest=3) == new


def test_there_is_a_step_from_every_schema_to_the_next():
    from wattproof.archive.model import SCHEMA

    assert sorted(STEPS) == list(range(1, SCHEMA))


@pytest.mark.parametrize("old", sorted(p for p in GOLDEN.iterdir() if p.is_dir()), ids=lambda p: p.name)
def test_an_archive_of_every_release_still_opens(old, tmp_path):
    expected = json.loads((GOLDEN / f"{old.name}.json").read_text(encoding="utf-8"))
    shutil.copytree(old, tmp_path / "archive")
    archive = Archive(tmp_path / "archive")
    listing = archive.list_sessions()
    assert listing.notices == ()
    assert [session.id for session in listing.sessions] == list(expected)
    for session in listing.sessions:
        told = expected[session.id]
        assert archive.verify(session) == ()
        assert session.amplifier.model == told["model"]
        assert session.bench.loads[0].resistance_ohm == told["load_ohm"]
        assert [capture.sha256 for capture in archive.captures(session)] == told["sha256"]
        figures = archive.read_figures(session, with_views=True)
        assert [[f.name, f.value, f.u] for r in figures.results for f in r.figures] == told["figures"]
        assert figures.results[0].figures[0].budget[0].label == told["budget"]
        assert len(figures.results[0].views.waveform[0].x) == told["points"]
        assert [event.did for event in archive.history(session)] == told["history"]
    assert len(archive.find_figures(name="load_power").figures) == 1
