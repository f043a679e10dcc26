"""Papers: no state is lost, undo goes back step by step, and a name is never a path."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.archive import Archive
from wattproof.errors import ArchiveError


@pytest.fixture
def archive(tmp_path):
    return Archive(tmp_path)


def test_undo_goes_back_state_by_state_and_a_new_one_goes_on_from_there(archive):
    for text in ("one", "two", "three"):
        archive.keep_paper("amplifier", "Bittern 1", text)
    assert archive.paper_back("amplifier", "bittern-1").text == "two"
    assert archive.paper_back("amplifier", "bittern-1").text == "one"
    with pytest.raises(ArchiveError, match="nothing before"):
        archive.paper_back("amplifier", "bittern-1")
    assert archive.keep_paper("amplifier", "Bittern 1", "another").number == 4
    assert archive.paper_back("amplifier", "bittern-1").text == "one"
    assert archive.take_paper_state("amplifier", "bittern-1", 3).text == "three"
    assert archive.paper("amplifier", "bittern-1").states == (1, 2, 3, 4)


def test_what_did_not_change_makes_no_state(archive):
    assert archive.keep_paper("bench", "Boathouse", "same").number == 1
    assert archive.keep_paper("bench", "Boathouse", "same").number == 1
    assert len(archive.papers("bench")) == 1


@pytest.mark.parametrize("name", ["../../etc/passwd", "/tmp/x", "a\\b", "..", "", "CON", "выпь", "x" * 300])
def test_a_name_is_never_a_path(archive, name):
    kept = archive.keep_paper("words", name, "text")
    assert kept.path.resolve().is_relative_to(archive.root.resolve() / "papers" / "words")
    assert archive.paper("words", name).text == "text"


def test_a_lost_pointer_loses_no_word(archive):
    archive.keep_paper("sheet", "day", "1")
    kept = archive.keep_paper("sheet", "day", "2")
    (kept.path.parent / "current.json").write_text("{torn", encoding="utf-8")
    assert archive.paper("sheet", "day").text == "2"
    (kept.path.parent / "current.json").write_text(json.dumps({"number": 99}), encoding="utf-8")
    assert archive.paper("sheet", "day").text == "2"


def test_what_is_not_there_is_told_with_what_is(archive):
    archive.keep_paper("bench", "Boathouse bench", "x")
    with pytest.raises(ArchiveError) as caught:
        archive.paper("bench", "barn")
    assert "boathouse-bench" in caught.value.why
    with pytest.raises(ArchiveError, match="no kind of paper"):
        archive.papers("novel")
    with pytest.raises(ArchiveError, match="no state 7"):
        archive.take_paper_state("bench", "Boathouse bench", 7)


def test_papers_are_no_sessions(archive):
    archive.keep_paper("bench", "Boathouse bench", "x")
    assert archive.list_sessions().sessions == ()
    assert archive.list_sessions().notices == ()


@given(st.lists(st.one_of(st.sampled_from(["back"]), st.text("abc", min_size=1, max_size=2)), max_size=12))
@settings(max_examples=40, deadline=None)
def test_it_does_what_a_tree_of_states_does(tmp_path_factory, deeds):
    archive, tree, now = Archive(tmp_path_factory.mktemp("papers")), [], None  # tree: (text, state before)
    for deed in deeds:
        if deed != "back":
            archive.keep_paper("words", "w", deed)
            if now is None or tree[now][0] != deed:
                tree.append((deed, now))
                now = len(tree) - 1
        elif now is not None and tree[now][1] is not None:
            archive.paper_back("words", "w")
            now = tree[now][1]
    if now is not None:
        assert archive.paper("words", "w").text == tree[now][0]
        assert len(archive.paper("words", "w").states) == len(tree)
