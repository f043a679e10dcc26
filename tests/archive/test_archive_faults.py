"""A full disk, a killed process or a second one: the session is as before or complete, never between."""

import errno
import importlib.util
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from wattproof.archive import Archive, Description
from wattproof.archive.captures import written_folders
from wattproof.archive.disk import STALE_AFTER_S, sweep
from wattproof.errors import ArchiveError

SCRIPT = Path(__file__).with_name("faults.py")
_spec = importlib.util.spec_from_file_location("archive_faults", SCRIPT)
faults = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(faults)

BEFORE_COMMIT = {"new": 8, "add": 8, "figures": 9, "describe": 4}
"""At least so many steps lie before the rename that makes the thing stand; with fewer, a step went unseen."""


def count_steps(root, action):
    root.mkdir()
    archive, session, waiting = faults.prepared(root)
    before = faults.facts(root)
    steps = faults.Steps(0, lambda: None)
    with steps.armed():
        faults.ACTIONS[action](archive, session, waiting)
    after = faults.facts(root)
    assert before != after
    return steps.count, before, after


@pytest.mark.parametrize("action", list(faults.ACTIONS))
def test_a_disk_that_refuses_at_any_step_leaves_all_as_before_or_complete(tmp_path, action):
    total, before, after = count_steps(tmp_path / "clean", action)
    unharmed = 0
    for number in range(1, total + 1):
        root = tmp_path / f"{number:02d}"
        root.mkdir()
        archive, session, waiting = faults.prepared(root)
        content = faults.content(archive.root)
        with faults.Steps(number, faults.disk_full).armed(), pytest.raises(ArchiveError) as caught:
            faults.ACTIONS[action](archive, session, waiting)
        assert "Free some space" in caught.value.hint
        assert "No space left" in caught.value.why
        seen = faults.content(archive.root)
        assert not [name for name in seen if ".part-" in name]
        if faults.facts(root) == before:
            assert {k: v for k, v in seen.items() if k != f"{session.id}/history"} == {
                k: v for k, v in content.items() if k != f"{session.id}/history"
            }
            unharmed += 1
        else:
            assert faults.facts(root) == after
        if action != "new":  # the hint, followed: with space again, the same command does it
            faults.ACTIONS[action](archive, session, waiting)
            assert faults.facts(root) == after
            assert archive.verify(session) == ()
    assert BEFORE_COMMIT[action] <= unharmed < total


@pytest.fixture(scope="module")
def killed(tmp_path_factory):
    """Folders of archives in which a process died, by action and step; the last of each came to its end."""
    if not hasattr(os, "fork"):
        pytest.skip("needs a system that can fork")
    where = tmp_path_factory.mktemp("killed")
    subprocess.run([sys.executable, str(SCRIPT), "die", str(where)], check=True, timeout=120)
    return where


@pytest.mark.parametrize("action", list(faults.ACTIONS))
def test_a_process_killed_at_any_step_leaves_all_as_before_or_complete(tmp_path, killed, action):
    total, before, after = count_steps(tmp_path / "clean", action)
    states = []
    for root in sorted((killed / action).iterdir()):
        states.append(faults.facts(root))
        archive = Archive(root / "archive")
        for session in archive.list_sessions().sessions:
            kinds = {change.what for change in archive.verify(session)}
            assert kinds <= {"half-written", "changed"}  # figures stored, but killed before their line of history
            for folder in written_folders(session):
                sweep(folder, now_s=time.time() + 2 * STALE_AFTER_S)
        sweep(archive.root, now_s=time.time() + 2 * STALE_AFTER_S)
        assert not [name for name in faults.content(archive.root) if ".part-" in name]
    assert len(states) == total + 1
    assert states[-1] == after
    assert all(state in (before, after) for state in states)
    assert states.count(before) >= BEFORE_COMMIT[action]


def test_what_a_live_process_is_writing_is_not_swept(tmp_path):
    archive, session, waiting = faults.prepared(tmp_path)
    claimed = session.folder / "captures" / ".part-02"
    claimed.mkdir()
    (claimed / "original.wav").write_bytes(b"half")
    record = archive.add_capture(session, waiting, Description())
    assert record.number == 3
    assert claimed.exists()
    assert [(change.path, change.what) for change in archive.verify(session)] == [("captures/.part-02", "half-written")]
    old = time.time() - STALE_AFTER_S - 60
    for path in (claimed / "original.wav", claimed):
        os.utime(path, (old, old))
    (tmp_path / "c.wav").write_bytes(b"third")
    archive.add_capture(session, tmp_path / "c.wav", Description())
    assert not claimed.exists()
    assert archive.verify(session) == ()


def test_two_processes_lose_no_capture(tmp_path):
    archive, session, _ = faults.prepared(tmp_path)
    run = [sys.executable, str(SCRIPT), "add", str(tmp_path), session.id]
    both = [subprocess.Popen([*run, who, "6"]) for who in ("heron", "teal")]
    assert [process.wait(timeout=60) for process in both] == [0, 0]
    captures = archive.captures(session)
    assert [capture.number for capture in captures] == list(range(1, 14))
    steps = {capture.description.step for capture in captures[1:]}
    assert steps == {f"{who} {n}" for who in ("heron", "teal") for n in range(6)}
    assert archive.verify(session) == ()
    assert len(archive.history(session)) == 13


@pytest.mark.parametrize(
    ("number", "advice"),
    [(errno.EACCES, "Allow yourself to write"), (errno.EROFS, "WATTPROOF_ARCHIVE"), (errno.EIO, "disk")],
)
def test_each_refusal_has_its_advice(tmp_path, number, advice):
    archive, session, waiting = faults.prepared(tmp_path)

    def refuse():
        raise OSError(number, os.strerror(number))

    with faults.Steps(2, refuse).armed(), pytest.raises(ArchiveError, match="Could not add a capture") as caught:
        archive.add_capture(session, waiting, Description())
    assert advice in caught.value.hint


def test_an_archive_where_a_file_stands_is_refused(tmp_path):
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(ArchiveError, match="begin a session"):
        faults.begin(Archive(tmp_path / "taken"))
    with pytest.raises(ArchiveError, match="list the sessions"):
        Archive(tmp_path / "taken").list_sessions()
