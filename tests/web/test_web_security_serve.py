"""The workbench as a process of its own: where it listens, how it ends, and what a run does without it."""

import os
import pty
import re
import signal
import socket
import stat
import subprocess
import sys
import time
from contextlib import suppress

import httpx
import pytest
from websockets.sync.client import connect

from wattproof import tasks, web
from wattproof.archive import Archive
from wattproof.errors import RefusedError
from wattproof.sim.collection import FOLDER

SAID = {
    "bridged": "no", "output-grounded": "no", "fuse-near-source": "yes", "hardware-stop": "yes", "load-guarded": "yes",
    "not-alone": "yes", "sensed-at-terminals": "yes", "controls": "as marked", "boost-off": "yes",
}  # fmt: skip


class Served:
    """`wattproof serve` as a person starts it."""

    def __init__(self, archive, *words):
        self.archive = archive
        self._error = (archive.parent / f"stderr-{time.monotonic_ns()}").open("w+b")
        self.process = subprocess.Popen(
            [sys.executable, "-W", "error", "-m", "wattproof", "serve", "--archive", str(archive), *words],
            stdout=subprocess.PIPE,
            stderr=self._error,
            env={**os.environ, "BROWSER": "false"},
        )
        self.lines = []
        while not (self.lines and self.lines[-1].startswith("Ctrl-C")):
            line = self.process.stdout.readline().decode()
            assert line, self.error
            self.lines.append(line.strip())
        self.port = int(re.search(r":(\d+)/", "".join(self.lines))[1])
        self.address = f"http://127.0.0.1:{self.port}"
        self.token = (archive / ".running" / "token").read_text()

    @property
    def error(self):
        self._error.seek(0)
        return self._error.read().decode()

    def script(self):
        return httpx.Client(base_url=self.address, headers={"x-wattproof-token": self.token}, timeout=60)

    def end(self, number=signal.SIGINT):
        begun = time.monotonic()
        self.process.send_signal(number)
        self.process.wait(20)
        return time.monotonic() - begun

    def close(self):
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(10)
        self.process.stdout.close()
        self._error.close()


@pytest.fixture
def serve(tmp_path):
    started = []

    def start(*words):
        started.append(Served(tmp_path / "archive", "--no-browser", *words))
        return started[-1]

    yield start
    for one in started:
        one.close()
    for address in Archive(tmp_path / "archive").windows():  # a test that failed must not leave a run behind
        with suppress(ProcessLookupError):
            os.kill(address.pid, signal.SIGKILL)


def free_port():
    with socket.create_server(("127.0.0.1", 0)) as one:
        return one.getsockname()[1]


def own_address():
    """Give this machine's address in its network, without sending anything."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return None
        return probe.getsockname()[0]


def test_only_this_machine_is_answered_and_scripts_find_a_token_that_only_they_read(serve):
    served = serve("--port", str(free_port()))
    outside = own_address()
    if outside is not None and not outside.startswith("127."):
        with pytest.raises(ConnectionRefusedError), socket.create_connection((outside, served.port), timeout=5):
            pass
    with pytest.raises(ConnectionRefusedError), socket.create_connection(("127.0.0.2", served.port), timeout=5):
        pass  # not even this machine's other names
    folder = served.archive / ".running"
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert any(str(folder / "token") in line for line in served.lines)
    assert served.token not in "".join(served.lines)
    with served.script() as script:
        assert script.post("/api/archive/index").status_code == 200
        assert "server" not in script.get("/run").headers
    with httpx.Client(base_url=served.address) as stranger:
        assert stranger.post("/api/archive/index").status_code == 403
    assert served.end() < 2.5  # 2 s, and what a busy machine needs to tell us
    assert served.process.returncode == 0
    assert served.error == ""
    again = serve("--port", str(served.port))
    assert again.token == served.token


def test_on_the_network_it_shows_a_code_and_asks_for_it(serve):
    outside = own_address()
    served = serve("--lan", "--port", str(free_port()))
    code = re.search(r"code: (\d{4}-\d{4})", "\n".join(served.lines))[1]
    if outside is None or outside.startswith("127."):
        pytest.skip("this machine is in no network")
    here = f"http://{outside}:{served.port}"
    with httpx.Client(base_url=here, headers={"origin": here}) as telephone:
        assert telephone.get("/run").headers["location"] == "/pair"
        token = re.search(r'name="form_token" value="([0-9a-f]+)"', telephone.get("/pair").text)[1]
        paired = telephone.post("/pair", data={"code": code, "form_token": token})
        assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(paired.headers["set-cookie"].split("; "))
        assert telephone.get("/run").status_code == 200
    assert served.end(signal.SIGTERM) < 2.5


def test_a_port_that_is_taken_or_is_none_is_told_kindly(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        for port in (taken.getsockname()[1], 70_000, -1):
            with pytest.raises(RefusedError, match=f"port {port}") as caught:
                web.serve(archive=tmp_path / "archive", port=port, tell=lambda _served: pytest.fail("it listens"))
            assert caught.value.why
            assert "--port" in caught.value.hint
    assert not (tmp_path / "archive").exists()


def test_it_ends_at_once_also_with_open_sockets_and_work_that_does_not_listen(serve):
    served = serve("--port", str(free_port()))
    folder = FOLDER / "bittern-1"
    bench = (folder / "bench.toml").read_text().replace("[rig.simulated]", "[rig.simulated]\npaced = true")
    with served.script() as script:
        words = {"seconds": 20, "wired": True}
        begun = script.post("/api/bench/floor", params=words, files={"bench": ("b.toml", bench)})
        assert begun.status_code == 202, begun.text
        until = time.monotonic() + 20
        while script.get(begun.headers["location"]).json()["state"] == "waiting" and time.monotonic() < until:
            time.sleep(0.05)
        time.sleep(0.5)
        assert script.get(begun.headers["location"]).json()["state"] == "working"
    silent = socket.create_connection(("127.0.0.1", served.port))
    silent.sendall(b"POST /run/begin HTTP/1.1\r\n")
    with silent:
        assert served.end() < 2.5
    assert served.process.returncode == 0
    assert "Traceback" not in served.error


def test_a_browser_is_opened_only_for_a_person_at_a_terminal(tmp_path):
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\necho "$1" > {tmp_path}/opened\n')
    browser.chmod(0o755)
    words = [sys.executable, "-m", "wattproof", "serve", "--archive", str(tmp_path / "archive"), "--port", "0"]
    environment = {**os.environ, "BROWSER": f"{browser} %s"}
    for terminal in (False, True):
        ours, theirs = pty.openpty() if terminal else os.pipe()
        process = subprocess.Popen(words, stdout=theirs, stderr=subprocess.DEVNULL, env=environment)
        os.close(theirs)
        said = b""
        while b"Ctrl-C" not in said:
            said += os.read(ours, 1000)
        until = time.monotonic() + (10 if terminal else 1)
        while not (tmp_path / "opened").exists() and time.monotonic() < until:
            time.sleep(0.05)
        assert (tmp_path / "opened").exists() is terminal
        process.send_signal(signal.SIGINT)
        process.wait(10)
        os.close(ours)
    assert (tmp_path / "opened").read_text().strip() in said.decode()


def test_a_run_goes_on_when_the_workbench_is_killed(serve, tmp_path):
    folder = FOLDER / "bittern-1"
    bench = (folder / "bench.toml").read_text().replace("[rig.simulated]", "[rig.simulated]\npaced = true")
    (tmp_path / "bench.toml").write_text(bench)
    wishes = tasks.SheetWishes(loads=("4 ohm",), burst="none", hold_s=2.2)
    sheet = tasks.plan(folder / "amplifier.toml", tmp_path / "bench.toml", wishes=wishes).to_json()
    served = serve("--port", str(free_port()))
    files = {
        "amplifier": ("amplifier.toml", (folder / "amplifier.toml").read_bytes()),
        "bench": ("bench.toml", bench),
        "sheet": ("sheet.json", sheet),
    }
    with served.script() as script:
        refused = script.post("/api/run", files=files)
        assert (refused.status_code, refused.json()["error"]["code"]) == (409, "refused")
        answers = [f"{code}={words}" for code, words in SAID.items()]
        begun = script.post("/api/run", params={"answer": answers, "note": "a dry day"}, files=files)
        assert begun.status_code == 200, begun.text
        session = begun.json()["session"]
        assert script.get("/api/run/list").json() == {"running": [session]}
    with connect(
        f"ws://127.0.0.1:{served.port}/run/{session}/live", additional_headers={"x-wattproof-token": served.token}
    ) as page:
        assert "so-far" in page.recv(timeout=20)
        served.end(signal.SIGKILL)
    time.sleep(1.5)
    (address,) = Archive(served.archive).windows()
    os.kill(address.pid, 0)  # it is there, and nobody has stopped it
    again = serve("--port", str(free_port()))
    with again.script() as script:
        assert script.get("/api/run/list").json() == {"running": [session]}
        assert script.get("/api/run/state", params={"session": session}).json()["left"] > 0
        assert script.post("/api/run/stop", params={"session": session}).status_code == 200
        until = time.monotonic() + 30
        while script.get("/api/run/list").json()["running"] and time.monotonic() < until:
            time.sleep(0.1)
        assert script.get("/api/run/state", params={"session": session}).json()["state"] == "interrupted"
        assert script.post("/api/run/stop", params={"session": session}).status_code == 409
