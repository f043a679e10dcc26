"""The papers of a run: sheet, answers, journal, trips; one conductor at a time; captures that are void."""

import importlib.util
import re
import signal
import subprocess
import sys
from datetime import datetime
from itertools import count
from pathlib import Path

import numpy as np
import pytest

from wattproof.archive import Archive, Description
from wattproof.errors import ArchiveError
from wattproof.plan import Expected, RunSheet, Step
from wattproof.readers import open_recording

SCRIPT = Path(__file__).with_name("takers.py")
PAGE = (Path(__file__).parents[2] / "docs" / "archive.md").read_text(encoding="utf-8")
_spec = importlib.util.spec_from_file_location("archive_takers", SCRIPT)
takers = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(takers)


@pytest.fixture
def bench(tmp_path):
    archive, session, _ = takers.faults.prepared(tmp_path)
    return archive, session


NOTHING = dict.fromkeys(Expected.model_fields, 0.0)


def sheet(*, supply_v=14.4):
    step = Step(number=1, name="ramp 4 ohm", kind="ramp", seconds=8.0, expected=Expected(**NOTHING), why="the curve")
    return RunSheet(
        amplifier="Saltmarsh & Daughter Bittern 1",
        bench="Boathouse bench",
        supply_v=supply_v,
        steps=(step,),
        seconds=8.0,
        full_power_s=2.5,
        energy_j=1250.0,
    )


def told(archive, session):
    return [event.did for event in archive.history(session)]


def test_a_run_sheet_comes_back_and_the_one_before_stands_in_the_history(bench):
    archive, session = bench
    assert archive.run_sheet(session) is None
    archive.keep_run_sheet(session, sheet())
    archive.keep_run_sheet(session, sheet())  # the same again is nothing new
    assert archive.run_sheet(session) == sheet()
    archive.keep_run_sheet(session, sheet(supply_v=12.6))
    assert archive.run_sheet(session) == sheet(supply_v=12.6)
    planned = [event.details["before"] for event in archive.history(session) if event.did == "planned"]
    assert planned[0] is None
    assert [RunSheet.model_validate(before) for before in planned[1:]] == [sheet()]
    assert archive.verify(session) == ()


def test_answers_are_kept_with_their_time_and_may_be_changed(bench):
    archive, session = bench
    assert archive.answers(session) == {}
    archive.keep_answers(session, {"bridged": "no", "grounded": "no"})
    archive.keep_answers(session, {"bridged": "yes"})
    assert archive.answers(session) == {"bridged": "yes", "grounded": "no"}
    said = [event.details["answers"] for event in archive.history(session) if event.did == "answered"]
    assert said == [{"bridged": "no", "grounded": "no"}, {"bridged": "yes"}]
    stored = (session.folder / "answers.json").read_text()
    assert len(set(re.findall(r'"at": "(2031-05-14T[^"]+)"', stored))) == 2


@pytest.mark.parametrize("name", ["run-sheet.json", "answers.json"])
def test_a_damaged_paper_is_told(bench, name):
    archive, session = bench
    archive.keep_run_sheet(session, sheet())
    archive.keep_answers(session, {"bridged": "no"})
    (session.folder / name).write_bytes(b"{")
    with pytest.raises(ArchiveError, match="is damaged"):
        archive.run_sheet(session), archive.answers(session)
    assert [(change.path, change.what) for change in archive.verify(session)] == [(name, "damaged")]


def test_the_journal_gives_back_its_events_with_their_times(bench):
    archive, session = bench
    assert archive.journal(session) == ()
    events = [{"event": "step-begun", "name": "Ω → €", "number": n, "deep": {"w": [0.5, None]}} for n in range(3)]
    for event in events:
        archive.log(session, event)
    archive.log(session, {"event": "run-ended", "at": "as it was said"})
    lines = archive.journal(session)
    assert [{k: v for k, v in line.items() if k != "at"} for line in lines[:3]] == events
    times = [datetime.fromisoformat(line["at"]) for line in lines[:3]]
    assert times == sorted(set(times))
    assert lines[3]["at"] == "as it was said"
    archive.log(session, {"deep": [{"value": float("nan")}], "n": np.int64(3), "x": np.float32(0.5), "t": "\ud800"})
    odd = archive.journal(session)[4]
    assert {key: odd[key] for key in odd if key != "at"} == {"deep": [{"value": "nan"}], "n": 3, "x": 0.5, "t": "?"}


def test_a_journal_torn_at_any_byte_loses_its_last_line_only(bench):
    archive, session = bench
    for number in range(3):
        archive.log(session, {"event": "seen", "number": number})
    path = session.folder / "journal.jsonl"
    data = path.read_bytes()
    last = data[:-1].rindex(b"\n") + 1
    for end in range(last, len(data)):
        path.write_bytes(data[:end])
        whole = end == len(data) - 1  # all but the line's end: the event is there
        assert [line["number"] for line in archive.journal(session)] == ([0, 1, 2] if whole else [0, 1])
        archive.log(session, {"event": "seen", "number": 9})
        assert [line["number"] for line in archive.journal(session)] == ([0, 1, 2, 9] if whole else [0, 1, 9])
        torn = [change for change in archive.verify(session) if change.path == "journal.jsonl"]
        assert len(torn) == (0 if whole or end == last else 1)
        assert all(change.what == "half-written" and change.detail.startswith("Line 3 ") for change in torn)


def test_a_disk_that_is_full_leaves_no_half_line(bench, monkeypatch):
    archive, session = bench
    archive.log(session, {"event": "seen"})
    before = (session.folder / "journal.jsonl").read_bytes()
    import os

    genuine, calls = os.write, count()

    def write(descriptor, data):
        return genuine(descriptor, data[:5]) if next(calls) == 0 else takers.faults.disk_full()

    monkeypatch.setattr(os, "write", write)
    with pytest.raises(ArchiveError, match="Could not note in the journal"):
        archive.log(session, {"event": "lost"})
    monkeypatch.undo()
    assert (session.folder / "journal.jsonl").read_bytes() == before


TRACKS = {"channels": takers.CHANNELS, "rate_hz": 96_000.0}
TRIP = {"code": "open-load", "message": "No current flows.", "sample": 100, "at_s": 0.001, "value": None}


def test_a_trip_latches_until_a_person_clears_it(bench):
    archive, session = bench
    assert archive.latched(session) is None
    frames = takers.codes(0, 24_000)
    kept = archive.keep_trip(session, TRIP, samples=frames, channels=takers.CHANNELS, rate_hz=96_000.0)
    assert (kept.number, kept.trip, kept.cleared_by) == (1, TRIP, None)
    assert np.array_equal(open_recording(kept.samples).read().samples.T, frames)
    assert archive.latched(session) == {**TRIP, "number": 1}
    person = {"code": "person", "message": "Stopped by hand."}
    archive.keep_trip(session, person, samples=frames[:0], channels=takers.CHANNELS, rate_hz=96_000.0)
    assert archive.latched(session) == {**person, "number": 2}
    assert Archive(archive.root).latched(session) == archive.latched(session)
    with pytest.raises(ArchiveError, match="cleared by a person"):
        archive.clear_trip(session, "  ")
    assert archive.latched(session) is not None
    archive.clear_trip(session, "Rosa Fenn")
    assert archive.latched(session) is None
    archive.clear_trip(session, "Rosa Fenn")  # nothing left to clear
    assert [trip.cleared_by for trip in archive.trips(session)] == ["Rosa Fenn"] * 2
    assert [trip.samples is None for trip in archive.trips(session)] == [False, True]
    assert told(archive, session).count("cleared") == 2
    assert sorted(p.name for p in (session.folder / "trips").iterdir()) == ["01-open-load", "02-person"]
    assert archive.verify(session) == ()


def test_verify_finds_what_changed_in_a_trip(bench):
    archive, session = bench
    for frames in (takers.codes(0, 100), takers.codes(0, 100) * 1.5):
        archive.keep_trip(session, TRIP, samples=frames, channels=takers.CHANNELS, rate_hz=96_000.0)
    first, second = (session.folder / "trips" / name for name in ("01-open-load", "02-open-load"))
    (first / "samples.flac").write_bytes(b"other")
    (second / "samples.wav").unlink()
    found = {(change.path, change.what) for change in archive.verify(session)}
    assert found == {("trips/01-open-load/samples.flac", "changed"), ("trips/02-open-load/samples.wav", "missing")}
    (second / "trip.json").write_bytes(b"{")
    with pytest.raises(ArchiveError, match="is damaged"):
        archive.latched(session)  # not known, so nothing may be driven
    assert ("trips/02-open-load", "damaged") in {(change.path, change.what) for change in archive.verify(session)}


def test_a_trip_latches_whatever_it_holds_and_however_full_the_disk_is(bench, monkeypatch):
    from wattproof.archive import take_format

    archive, session = bench
    odd = {
        "code": "load-voltage",
        "value": float("inf"),
        "sample": np.int64(7),
        "limit": np.float64("nan"),
        "x": np.True_,
    }
    archive.keep_trip(session, odd, samples=takers.codes(0, 9), **TRACKS)
    told = {"code": "load-voltage", "value": "inf", "sample": 7, "limit": "nan", "x": True, "number": 1}
    assert archive.latched(session) == told

    def full(_folder, _wanted):
        takers.faults.disk_full()

    monkeypatch.setattr(take_format, "need_free", full)
    kept = archive.keep_trip(session, TRIP, samples=takers.codes(0, 9), **TRACKS)
    assert kept.samples is None
    assert archive.latched(session) == {**TRIP, "number": 2}
    assert archive.verify(session) == ()


def test_a_trip_that_finds_the_disk_full_leaves_nothing_half_kept(bench):
    archive, session = bench
    for number in count(1):
        steps = takers.faults.Steps(number, takers.faults.disk_full)
        with steps.armed():
            error = takers.refusal(archive.keep_trip, session, TRIP, samples=takers.codes(0, 9), **TRACKS)
        if steps.count < number:
            break
        assert error is None or "Free some space" in error.hint
        assert all("/.part-" in change.path for change in archive.verify(session))
    assert number > 6
    assert archive.latched(session)["code"] == "open-load"


def test_a_second_conductor_is_told_who_holds_the_session(bench, tmp_path):
    archive, session = bench
    command = [sys.executable, str(SCRIPT), "hold", str(tmp_path), session.id]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as other:
        try:
            assert other.stdout.readline() == "holding\n"
            with (
                pytest.raises(ArchiveError, match="being run by another program") as caught,
                archive.conducting(session),
            ):
                pass
            assert f"Process {other.pid} holds it" in caught.value.why
        finally:
            other.send_signal(signal.SIGKILL)
            other.wait(10)
    with archive.conducting(session) as recovered:  # the hint: a program that died holds nothing
        assert recovered == ()
        with pytest.raises(ArchiveError), archive.conducting(session):
            pass
    with archive.conducting(session):
        pass


def test_conducting_begins_with_what_the_run_before_left(bench):
    archive, session = bench
    takers.left_open(archive, session)
    with archive.conducting(session) as (record,):
        assert record.live.cut_off
    assert archive.verify(session) == ()


def test_a_void_capture_is_kept_and_the_history_tells_why(bench):
    archive, session = bench
    assert len(archive.find_figures(name="load_power").figures) == 1
    record = archive.void_capture(session, 1, " the fan stood still ")
    assert record.description.void == "the fan stood still"
    assert archive.captures(session) == (record,)
    assert archive.original_path(session, record).read_bytes() == b"first" * 40
    assert archive.history(session)[-1].did == "voided"
    assert [notice.code for notice in archive.outdated(session, archive.read_figures(session))] == ["figures-outdated"]
    assert archive.find_figures(name="load_power").figures == ()  # though not measured again yet
    with pytest.raises(ArchiveError, match="cannot be made void"):
        archive.void_capture(session, 1, "")
    assert archive.verify(session) == ()


def test_every_file_of_a_bench_day_stands_in_the_page(bench):
    archive, session = bench
    archive.keep_run_sheet(session, sheet())
    archive.keep_answers(session, {"bridged": "no"})
    archive.log(session, {"event": "seen"})
    archive.keep_trip(session, TRIP, samples=takers.codes(0, 9), channels=takers.CHANNELS, rate_hz=9e3)
    archive.clear_trip(session, "Rosa Fenn")
    with archive.conducting(session), takers.begin(archive, session, description=Description(step="x")) as take:
        take.write(takers.codes(0, 9))
        names = {p.name for p in session.folder.rglob("*") if p.is_file() and p.parent.name != "history"}
    assert {"take.json", "frames.part", "trip.json", "cleared.json", "samples.flac", "journal.jsonl"} <= names
    usual = re.compile(r"views-[0-9a-f]{12}\.json|original\.wav|\.take-01-x-[0-9a-f]{8}\.lock")
    assert [name for name in names if name not in PAGE and not usual.fullmatch(name)] == []
    assert ".lock" in PAGE
    assert ".take-" in PAGE


def test_every_deed_of_the_history_stands_in_the_page():
    from typing import get_args

    from wattproof.archive.model import Deed

    assert [deed for deed in get_args(Deed) if f"`{deed}`" not in PAGE] == []
