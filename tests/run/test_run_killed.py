"""A run killed at 20 random moments: what was finished is whole, the rest recovered, and the session completes."""

import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import pytest

from wattproof.archive import Archive

KILLS = 20
SEED = 2031
SCRIPT = Path(__file__).with_name("killed.py")

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system knows no fork")


def script():
    spec = importlib.util.spec_from_file_location("killed_runs", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def killed(tmp_path_factory):
    where = tmp_path_factory.mktemp("killed")
    subprocess.run([sys.executable, SCRIPT, where, str(KILLS), str(SEED)], check=True, timeout=120)
    return where


def told(root):
    """Give the steps that had ended, and how far the one in progress had been seen."""
    path = root / "told.txt"
    lines = [line.split() for line in path.read_text().splitlines()] if path.exists() else []
    ended = {int(number) for number, word in lines if word == "ended"}
    seen = {}
    for number, word in lines:
        if word != "ended":
            seen[int(number)] = float(word)
    return ended, {number: t_s for number, t_s in seen.items() if number not in ended}


@pytest.mark.parametrize("number", range(KILLS))
def test_a_killed_run_loses_at_most_a_second_and_is_taken_up(killed, number):
    root = killed / f"{number:02d}"
    archive = Archive(root / "archive")
    [session] = archive.list_sessions().sessions
    ended, current = told(root)
    archive.recover(session)
    there = {record.live.step: record for record in archive.captures(session)}
    assert ended <= set(there)
    assert not any(there[step].live.cut_off for step in ended)
    for step, t_s in current.items():
        if step in there and not there[step].live.cut_off:
            continue  # it had come to its end, which was about to be told
        kept_s = there[step].live.n_samples / there[step].live.rate_hz if step in there else 0.0
        assert kept_s > t_s - 1.0
    small = script().small_bench()
    events = []
    carried = script().conduct(small, archive, session, events.append)
    assert (carried.state, carried.done) == ("complete", 4)
    again = [event.number for event in events if event.event == "step-begun"]
    assert not set(again) & ended
    sound = [record for record in archive.captures(session) if record.description.void is None]
    assert sorted(record.live.step for record in sound) == [1, 2, 3, 4]
    assert not any(record.live.cut_off for record in sound)
    # what the killed process was building is swept away once it is an hour old
    assert {change.what for change in archive.verify(session)} <= {"half-written"}


def test_the_moments_hit_recordings_as_well_as_what_lies_between(killed):
    hit = sum(bool(told(killed / f"{number:02d}")[1]) for number in range(KILLS))
    assert hit >= KILLS // 3
