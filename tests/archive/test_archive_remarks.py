"""What a person says beside figures: kept whole, never written over, found changed when it is."""

from datetime import UTC, datetime

import pytest

from wattproof.amplifier import Amplifier
from wattproof.archive import Archive
from wattproof.bench import Bench
from wattproof.errors import ArchiveError


@pytest.fixture
def kept(tmp_path):
    store = Archive(tmp_path / "archive")
    session = store.new_session(
        amplifier=Amplifier(maker="Reed & Rush", model="Coot"), bench=Bench(), amplifier_toml=b"", bench_toml=b"",
        started=datetime(2031, 5, 14, 12, tzinfo=UTC),
    )  # fmt: skip
    return store, session


def test_nothing_was_said_at_first(kept):
    store, session = kept
    assert store.remarks(session) is None


def test_what_was_said_last_counts_and_what_was_said_before_is_still_there(kept):
    store, session = kept
    store.keep_remarks(session, 'pros = ["blue"]\n', {"one.png": b"first"})
    store.keep_remarks(session, 'pros = ["red"]\n', {"two.jpg": b"second", "three.jpg": b"third"})
    found = store.remarks(session)
    assert found.words == 'pros = ["red"]\n'
    assert dict(found.photos) == {"two.jpg": b"second", "three.jpg": b"third"}
    typed = [path.read_text() for path in sorted((session.folder / "remarks").glob("*/words.toml"))]
    assert typed == ['pros = ["blue"]\n', 'pros = ["red"]\n']
    assert store.verify(session) == ()


def test_the_same_again_makes_no_new_state(kept):
    store, session = kept
    for _ in range(2):
        store.keep_remarks(session, "", {"one.png": b"first"})
    assert len(list((session.folder / "remarks").iterdir())) == 1


@pytest.mark.parametrize(("name", "what"), [("words.toml", "changed"), ("photo-01.jpg", "changed")])
def test_a_changed_file_is_found_and_given_again_it_heals(kept, name, what):
    store, session = kept
    store.keep_remarks(session, "a", {"one.png": b"first"})
    (session.folder / "remarks/0001" / name).write_bytes(b"other")
    assert [(change.path, change.what) for change in store.verify(session)] == [(f"remarks/0001/{name}", what)]
    with pytest.raises(ArchiveError, match="not what was kept"):
        store.remarks(session)
    store.keep_remarks(session, "a", {"one.png": b"first"})
    assert store.remarks(session).words == "a"


def test_a_missing_photograph_is_named(kept):
    store, session = kept
    store.keep_remarks(session, "a", {"one.png": b"first"})
    (session.folder / "remarks/0001/photo-01.jpg").unlink()
    assert [(change.path, change.what) for change in store.verify(session)] == [
        ("remarks/0001/photo-01.jpg", "missing")
    ]


def test_what_a_killed_process_left_is_no_state(kept):
    store, session = kept
    aside = session.folder / "remarks/.part-1234-state"
    aside.mkdir(parents=True)
    (aside / "words.toml").write_text("half")
    assert store.remarks(session) is None
    assert [change.what for change in store.verify(session)] == ["half-written"]
