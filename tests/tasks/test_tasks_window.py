"""A run that is watched through its window: found by the archive, seen live, stopped from there."""

import json
import socket
import stat
import threading
import time

import pytest

from wattproof import tasks
from wattproof.archive import Archive
from wattproof.sim.collection import FOLDER

SAID = {
    "bridged": "no", "output-grounded": "no", "fuse-near-source": "yes", "hardware-stop": "yes", "load-guarded": "yes",
    "not-alone": "yes", "sensed-at-terminals": "yes", "controls": "as marked", "boost-off": "yes",
}  # fmt: skip
ANSWERS = tuple(f"{code}={words}" for code, words in SAID.items())


@pytest.fixture
def running(tmp_path):
    """A run on a bench that keeps step with the clock on the wall, in a thread."""
    folder = FOLDER / "bittern-1"
    amplifier, bench = tmp_path / "amplifier.toml", tmp_path / "bench.toml"
    amplifier.write_bytes((folder / "amplifier.toml").read_bytes())
    text = (folder / "bench.toml").read_text(encoding="utf-8")
    bench.write_text(text.replace("[rig.simulated]", "[rig.simulated]\npaced = true"), encoding="utf-8")
    assert "paced = true" in bench.read_text(encoding="utf-8")
    wishes = tasks.SheetWishes(loads=("4 ohm",), burst="none", hold_s=2.2)
    ended = []

    def go():
        try:
            ended.append(
                tasks.run(amplifier, bench, archive=tmp_path / "a", wishes=wishes, answer=ANSWERS, window=True)
            )
        except KeyboardInterrupt as error:
            ended.append(error)

    thread = threading.Thread(target=go)
    thread.start()
    yield Archive(tmp_path / "a"), ended, thread
    thread.join(60)


def test_a_run_is_found_watched_and_stopped_through_its_window(running):
    archive, ended, thread = running
    until = time.monotonic() + 30
    while not archive.windows() and time.monotonic() < until:
        time.sleep(0.05)
    [address] = archive.windows()
    [left] = (archive.root / ".running").iterdir()
    assert stat.S_IMODE(left.parent.stat().st_mode) == 0o700
    with socket.create_connection(("127.0.0.1", address.port), timeout=30) as connection:
        lines = connection.makefile("rb")
        connection.sendall(json.dumps({"secret": address.secret}).encode() + b"\n")
        seen, live = {}, 0
        while live < 12:  # a second of it
            message = json.loads(lines.readline())
            seen[message["event"]] = message
            live += message["event"] == "live"
        connection.sendall(b'{"do": "stop"}\n')
        for line in lines:
            message = json.loads(line)
            seen[message["event"]] = message
        lines.close()
    thread.join(60)
    begun = seen["so-far"]["last"].get("run-begun") or seen["run-begun"]  # it may have begun before or after
    assert begun["session"] == address.session
    assert len(seen["traces"]["waveform_v"]) > 100
    assert seen["run-ended"]["state"] == "interrupted"
    assert isinstance(ended[0], KeyboardInterrupt)
    assert archive.windows() == ()
    assert [session.id for session in archive.list_sessions().sessions] == [address.session]
