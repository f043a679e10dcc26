"""A recorder killed at any moment: what was finished is whole, and of the rest no more than a second is lost."""

import importlib.util
import json
import os
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from wattproof.archive import Archive
from wattproof.archive.captures import written_folders
from wattproof.archive.disk import STALE_AFTER_S, sweep
from wattproof.readers import open_recording

SCRIPT = Path(__file__).with_name("takers.py")
_spec = importlib.util.spec_from_file_location("archive_takers", SCRIPT)
takers = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(takers)

KILLS = 20
needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a system that can fork")


def samples(archive, session, record):
    path = archive.original_path(session, record)
    return open_recording(path).read().samples.T


def live(archive, session):
    return {record.live.step: record for record in archive.captures(session) if record.live is not None}


def run_script(*words):
    subprocess.run([sys.executable, str(SCRIPT), *map(str, words)], check=True, timeout=120)


def all_in_order(archive, session):
    """Nothing is amiss but what a killed process left aside, and sweeping that leaves nothing at all."""
    assert all("/.part-" in f"/{change.path}" for change in archive.verify(session))
    for folder in written_folders(session):
        sweep(folder, now_s=time.time() + 2 * STALE_AFTER_S)
    assert archive.verify(session) == ()
    assert not [p for p in (session.folder / "captures").iterdir() if p.name.startswith(".")]


@pytest.fixture(scope="module")
def quick_place(tmp_path_factory):
    """A folder in memory where the system has one: what a dead process leaves does not depend on how slow a disk is."""
    memory = Path("/dev/shm")
    if not os.access(memory, os.W_OK):
        yield tmp_path_factory.mktemp("killed")
        return
    with tempfile.TemporaryDirectory(dir=memory) as folder:
        yield Path(folder)


@pytest.fixture(scope="module")
def killed(quick_place):
    run_script("kill", quick_place / "recorders", KILLS, 2031)
    return quick_place / "recorders"


class Told:
    """What a recorder said before it was killed."""

    def __init__(self, root):
        told = json.loads((root / "told.json").read_text())
        self.finished = {int(line[0]) for line in told["lines"] if line[1] == "finished"}
        self.writes = [(int(s), int(n), float(at)) for s, n, at in (li for li in told["lines"] if len(li) == 3)]
        self.died_s = told["died_s"]

    def taken(self, step, *, before_s=0.0):
        """Samples of a step that had been written so long before the kill, or longer."""
        return max((n for s, n, at in self.writes if s == step and at <= self.died_s - before_s), default=0)


@needs_fork
@pytest.mark.parametrize("number", range(KILLS))
def test_at_most_a_second_is_lost_and_all_that_was_finished_is_whole(killed, number):
    root = killed / f"{number:02d}"
    archive = Archive(root / "archive")
    (session,) = archive.list_sessions().sessions
    told = Told(root)
    archive.recover(session)
    there = live(archive, session)
    assert told.writes
    assert told.finished <= set(there)
    for step, record in there.items():
        kept = samples(archive, session, record)
        assert len(kept) == record.live.n_samples
        assert np.array_equal(kept, takers.codes(0, len(kept), seed=step))
        assert len(kept) >= told.taken(step, before_s=1.0)
        if step in told.finished:
            assert len(kept) == told.taken(step)
            assert not record.live.cut_off
    for step in {step for step, _n, _at in told.writes} - set(there):
        assert told.taken(step, before_s=1.0) == 0
    assert archive.recover(session) == ()
    all_in_order(archive, session)


@needs_fork
def test_the_kills_could_have_lost_more_than_a_second(killed):
    long, cut, finished = 0, 0, 0
    for root in killed.iterdir():
        told = Told(root)
        last = told.writes[-1][0]
        long += last not in told.finished and told.taken(last, before_s=1.0) > 0
        finished += bool(told.finished)
        archive = Archive(root / "archive")
        (session,) = archive.list_sessions().sessions
        archive.recover(session)
        cut += sum(record.live.cut_off for record in live(archive, session).values())
    assert long >= 5
    assert finished >= 5
    assert cut >= 10


@needs_fork
@pytest.mark.parametrize("action", ["take", "recover"])
def test_a_process_that_dies_at_any_step_leaves_one_capture_or_none(quick_place, action):
    run_script(action, quick_place)
    lengths = []
    for root in sorted((quick_place / action).iterdir()):
        archive = Archive(root / "archive")
        (session,) = archive.list_sessions().sessions
        archive.recover(session)
        there = live(archive, session)
        assert len(there) == len(archive.captures(session)) - 1
        lengths.append(0)
        for record in there.values():
            kept = samples(archive, session, record)
            assert np.array_equal(kept, takers.codes(0, len(kept), seed=1))
            lengths[-1] = len(kept)
        all_in_order(archive, session)
    if action == "recover":
        assert set(lengths) == {6_000}
        assert len(lengths) > 10
    else:
        assert lengths[0] == 0
        assert lengths.count(6_000) > 10
        assert lengths[-1] == 6_000


def test_recovery_by_many_at_once_keeps_each_take_once(tmp_path):
    archive, session, _ = takers.faults.prepared(tmp_path)
    for step in range(1, 5):
        with takers.begin(archive, session, step=step) as take:
            take.write(takers.codes(0, 5000, seed=step))
    with ThreadPoolExecutor(4) as pool:
        found = [record for records in pool.map(lambda _: archive.recover(session), range(8)) for record in records]
    assert sorted(record.live.step for record in found) == [1, 2, 3, 4]
    assert [capture.number for capture in archive.captures(session)] == [1, 2, 3, 4, 5]
    assert archive.recover(session) == ()
    all_in_order(archive, session)


def test_recovery_leaves_a_take_in_progress_alone(tmp_path):
    archive, session, _ = takers.faults.prepared(tmp_path)
    with takers.begin(archive, session) as take:
        take.write(takers.codes(0, 5000))
        assert archive.recover(session) == ()
        assert [change.what for change in archive.verify(session)] == ["half-written"]
        take.write(takers.codes(5000, 5000))
        record = take.finish()
    assert np.array_equal(samples(archive, session, record), takers.codes(0, 10_000))
    assert archive.verify(session) == ()


def test_a_cut_off_take_is_marked_and_not_void(tmp_path):
    archive, session, _ = takers.faults.prepared(tmp_path)
    takers.left_open(archive, session)
    (record,) = archive.recover(session)
    assert record.live.cut_off
    assert record.description.void is None
    assert record.description.note == "Cut off after 0.06 s: the recording was not brought to its end."
    assert record.description.step == "ramp 1"


def test_a_take_killed_before_its_first_sample_leaves_nothing(tmp_path):
    archive, session, _ = takers.faults.prepared(tmp_path)
    takers.begin(archive, session).close()
    assert archive.recover(session) == ()
    assert archive.verify(session) == ()
    assert len(archive.captures(session)) == 1


def damaged(folder):
    (folder / "take.json").write_bytes(b"{")


def without_samples(folder):
    (folder / "frames.part").unlink()


@pytest.mark.parametrize("harm", [damaged, without_samples])
def test_a_damaged_take_is_told_and_holds_up_nothing_else(tmp_path, harm):
    archive, session, _ = takers.faults.prepared(tmp_path)
    takers.left_open(archive, session)
    (folder,) = (session.folder / "captures").glob(".take-*/")
    takers.left_open(archive, session)
    harm(folder)
    assert len(archive.recover(session)) == 1
    assert [change.what for change in archive.verify(session)] == ["damaged"]
    assert folder.is_dir()


def test_a_damaged_end_makes_a_take_one_cut_off(tmp_path):
    archive, session, _ = takers.faults.prepared(tmp_path)
    takers.left_open(archive, session)
    (folder,) = (session.folder / "captures").glob(".take-*/")
    (folder / "end.json").write_bytes(b"{")
    (record,) = archive.recover(session)
    assert (record.live.cut_off, record.live.n_samples) == (True, 6_000)
