"""A full disk ends a take cleanly: what was written is kept once there is space, and nothing half-written shows."""

import importlib.util
import os
import shutil
import subprocess
import time
from itertools import count
from pathlib import Path

import numpy as np
import pytest

from wattproof.archive import take_keep, takes
from wattproof.archive.disk import STALE_AFTER_S, sweep
from wattproof.errors import ArchiveError
from wattproof.readers import open_recording

_spec = importlib.util.spec_from_file_location("archive_takers", Path(__file__).with_name("takers.py"))
takers = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(takers)

DISK_BYTES = 4 << 20


@pytest.fixture
def small_disk(tmp_path):
    """A disk of four megabytes."""
    place = tmp_path / "disk"
    place.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", f"size={DISK_BYTES}", "wattproof-test", str(place)]
    if shutil.which("mount") is None or subprocess.run(command, capture_output=True, check=False).returncode:
        pytest.skip("needs the right to mount a small disk")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def kept_samples(archive, session, record):
    return open_recording(archive.original_path(session, record)).read().samples.T


def test_a_disk_that_runs_full_keeps_what_was_written(small_disk, monkeypatch):
    monkeypatch.setattr(takes, "RESERVE_BYTES", -(1 << 40))  # nobody looks how full it is getting
    archive, session, _ = takers.faults.prepared(small_disk)
    before = {p.name for p in (session.folder / "captures").iterdir()}
    with takers.begin(archive, session) as take:
        with pytest.raises(ArchiveError, match="Could not record") as caught:
            takers.write_on(take)
        assert "Free some space" in caught.value.hint
        with pytest.raises(ArchiveError, match="Could not record"):
            take.write(takers.codes(0, 1))
        with pytest.raises(ArchiveError, match="Could not record"):
            take.finish()
    with pytest.raises(ArchiveError, match="Could not keep a take") as caught:
        archive.recover(session)  # there is no room for the capture either
    assert "MB are needed" in caught.value.why
    there = [p for p in (session.folder / "captures").iterdir() if p.name not in before]
    assert all(p.name.startswith(".take-") for p in there)
    (frames,) = (session.folder / "captures").glob(".take-*/frames.part")
    assert frames.stat().st_size > DISK_BYTES // 2
    subprocess.run(["mount", "-o", f"remount,size={4 * DISK_BYTES}", str(small_disk)], check=True)  # the hint, followed
    (record,) = archive.recover(session)
    kept = kept_samples(archive, session, record)
    assert len(kept) * 16 > DISK_BYTES // 2
    assert np.array_equal(kept, takers.codes(0, len(kept)))
    assert archive.verify(session) == ()


def test_the_reserve_ends_a_take_while_there_is_room_to_keep_it(small_disk, monkeypatch):
    monkeypatch.setattr(takes, "RESERVE_BYTES", 1 << 20)
    archive, session, _ = takers.faults.prepared(small_disk)
    with takers.begin(archive, session) as take:
        with pytest.raises(ArchiveError, match="Could not record") as caught:
            takers.write_on(take, pause_s=1024 / takers.RATE_HZ)
        assert "are needed" in caught.value.why
        taken = take.n_samples
    (record,) = archive.recover(session)
    kept = kept_samples(archive, session, record)
    assert len(kept) >= taken - takers.RATE_HZ
    assert np.array_equal(kept, takers.codes(0, len(kept)))
    assert archive.verify(session) == ()


def test_a_disk_without_the_reserve_takes_no_take(small_disk):
    archive, session, _ = takers.faults.prepared(small_disk)
    with pytest.raises(ArchiveError, match="Could not record") as caught:
        takers.begin(archive, session)
    assert "4." in caught.value.why
    assert archive.verify(session) == ()


def half_of(data):
    return data[: len(data) // 2]


def test_a_refused_chunk_leaves_no_half_of_itself(tmp_path, monkeypatch):
    archive, session, _ = takers.faults.prepared(tmp_path)
    genuine, full = os.write, []

    def write(descriptor, data):
        if not full or len(data) < 1000:
            return genuine(descriptor, data)
        if full == ["half"]:
            full.append("refused")
            return genuine(descriptor, half_of(data))
        return takers.faults.disk_full()

    with takers.begin(archive, session) as take:
        take.write(takers.codes(0, 5000))
        (frames,) = (session.folder / "captures").glob(".take-*/frames.part")
        for _ in range(500):
            if frames.stat().st_size >= 5000 * 16:
                break
            time.sleep(0.01)
        size = frames.stat().st_size
        monkeypatch.setattr(os, "write", write)
        full.append("half")
        with pytest.raises(ArchiveError, match="Could not record"):
            takers.write_on(take, first=5000)
        monkeypatch.undo()
        assert full == ["half", "refused"]
        assert frames.stat().st_size == size
    (record,) = archive.recover(session)
    assert np.array_equal(kept_samples(archive, session, record), takers.codes(0, 5000))


@pytest.mark.parametrize("action", ["finish", "recover"])
def test_a_disk_that_refuses_at_any_step_of_keeping_a_take_loses_none(tmp_path, action):
    refusals = 0
    for number in count(1):
        root = tmp_path / f"{number:02d}"
        root.mkdir()
        archive, session, _ = takers.faults.prepared(root)
        take = takers.begin(archive, session)
        take.write(takers.codes(0, 5000))
        if action == "recover":
            take.close()
        steps = takers.faults.Steps(number, takers.faults.disk_full)
        with steps.armed():
            error = takers.refusal(take.finish) if action == "finish" else takers.refusal(archive.recover, session)
        assert error is None or "Free some space" in error.hint
        refusals += error is not None
        archive.recover(session)
        records = archive.captures(session)
        assert len(records) == 2
        assert np.array_equal(kept_samples(archive, session, records[1]), takers.codes(0, 5000))
        sweep(session.folder / "captures", now_s=time.time() + 2 * STALE_AFTER_S)  # the refused step may be a removal
        assert archive.verify(session) == ()
        assert {p.name for p in (session.folder / "captures").iterdir()} == {"01-a", "02-ramp-1"}
        if steps.count < number:
            break
    assert refusals > 8


def test_a_take_that_was_ended_but_not_kept_is_not_called_cut_off(tmp_path, monkeypatch):
    archive, session, _ = takers.faults.prepared(tmp_path)

    def refuse(*_args, **_kwargs):
        takers.faults.disk_full()

    with takers.begin(archive, session) as take:
        take.write(takers.codes(0, 5000))
        monkeypatch.setattr(take_keep, "write_audio", refuse)
        with pytest.raises(ArchiveError, match="Could not keep a take"):
            take.finish(note="knee found", void="open load", until=4000)
    monkeypatch.undo()
    (record,) = archive.recover(session)
    assert (record.description.note, record.description.void) == ("knee found", "open load")
    assert (record.live.n_samples, record.live.cut_off) == (4000, False)
