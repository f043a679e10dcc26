"""Measures the live page on a paced simulated hold: updates a second, memory, and how late a sample is on the screen.

    python tools/live_page.py --minutes 10

It needs chromium and playwright and is no test: another machine gives other numbers. --urgent lets the run's process go
before others (root only), where other work keeps the machine busy: else the guard stops a drive that is kept waiting.
"""

import argparse
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import suppress
from pathlib import Path

import numpy as np

from wattproof import tasks
from wattproof.archive import Archive, WindowAddress

ANSWERS = {
    "bridged": "no", "output-grounded": "no", "fuse-near-source": "yes", "hardware-stop": "yes", "load-guarded": "yes",
    "not-alone": "yes", "sensed-at-terminals": "yes", "boost-off": "yes",
}  # fmt: skip
WATCH = """
window.seen = new Float64Array(3 * 60000); window.nSeen = 0;
const later = new MessageChannel(); const waiting = [];
later.port1.onmessage = () => { const one = waiting.shift();
  window.seen.set([one.number, one.t_s, Date.now()], 3 * window.nSeen++); };
addEventListener("painted", (event) => { waiting.push(event.detail); later.port2.postMessage(0); });
"""
"""What is painted is timed after the frame has been handed over; the room is taken at once, so that it is no leak."""

LOOK_EVERY_S = 30.0
FRAME_S = 2 / 47
"""Two cycles of the tone: a frame is told with the time of its middle."""

LATEST_S = 20.0
CLOCK_S = 0.002
"""The browser's clock has whole milliseconds."""


class Ear(threading.Thread):
    """Hears the run's window directly, beside the page."""

    def __init__(self, address: WindowAddress) -> None:
        super().__init__(daemon=True)
        self.address, self.ended, self.tripped = address, False, False
        self.holds: list[dict[float, float]] = []
        """Of each attempt at the hold: when the update of a moment of it came."""

    def run(self) -> None:
        """Note when each update came."""
        with socket.create_connection(("127.0.0.1", self.address.port)) as line:
            line.sendall(json.dumps({"secret": self.address.secret}).encode() + b"\n")
            for text in line.makefile("rb"):
                message = json.loads(text)
                match message["event"]:
                    case "step-begun" if message["kind"] == "hold":
                        self.holds.append({})
                    case "live" if self.holds:
                        self.holds[-1][message["t_s"]] = time.time()
                    case "tripped":
                        print("the run says:", message["message"], flush=True)
                        self.tripped = True
                    case "run-ended":
                        self.ended = True


def made_sheet(archive: Path, hold_s: float) -> str:
    """Keep papers for one load and a hold of that length, on a bench that bears it."""
    desk = tasks.Workbench(archive)
    amplifier, bench = desk.sheets.keep_example("bittern-1")
    paper = tasks.paper_show("bench", bench, archive=archive)
    edited = archive / "bench.toml"
    text = paper.text.replace("full_power_s = 90", "full_power_s = 4000").replace(
        "temperature_c = 85", "temperature_c = 150"
    )
    edited.write_text(text, encoding="utf-8")
    tasks.paper_keep("bench", edited, name=bench, archive=archive)
    wishes = tasks.SheetWishes(loads=("4 ohm",), burst="none", hold_s=hold_s)
    return desk.sheets.make(amplifier, bench, wishes=wishes, name="hold")


def megabytes(pid: int) -> float:
    """Give a process's resident memory."""
    line = next(line for line in Path(f"/proc/{pid}/status").read_text().splitlines() if line.startswith("VmRSS"))
    return int(line.split()[1]) / 1000


def heap(session) -> float:
    """Give the page's JavaScript heap once all garbage is collected."""
    session.send("HeapProfiler.collectGarbage")
    return session.send("Runtime.getHeapUsage")["usedSize"] / 1e6


def started(page, address: str, sheet: str) -> str:
    """Answer the sheet's questions and start."""
    page.goto(f"{address}/sheet/{sheet}")
    for code, words in ANSWERS.items():
        page.check(f'input[name=answer-{code}][value="{words}"]')
    page.fill("input[name=answer-controls]", "as marked")
    page.check("input[name=cautions]")
    page.click("button.start")
    page.wait_for_url("**/run/2*", timeout=90_000)
    return page.url.rpartition("/")[2]


def watched(page, chromium, server: int, ear: Ear, minutes: float) -> list[tuple[float, float, float]]:
    """Look at memory every half minute of the hold; ends with it or after the stated time."""
    while not ear.ended and not ear.holds:
        on_again(page, ear)
        page.wait_for_timeout(500)
    until, looks = time.time() + 60 * minutes, []
    while time.time() < until and not ear.ended:
        looks.append((time.time(), heap(chromium), megabytes(server)))
        shown = page.inner_text("#strip figcaption")
        print(f"  heap {looks[-1][1]:6.2f} MB, server {looks[-1][2]:6.1f} MB, shown: {shown}", flush=True)
        look_s = min(until, time.time() + LOOK_EVERY_S)
        while time.time() < look_s and not ear.ended:
            on_again(page, ear)
            page.wait_for_timeout(500)
    return looks


def on_again(page, ear: Ear) -> None:
    """Repeat a step that the guard stopped: on a machine that others keep busy it may have kept the drive waiting."""
    if ear.tripped:
        ear.tripped = False
        page.get_by_role("button", name="Repeat the step").click()
        page.get_by_label("In a few words").fill("the machine was busy")
        page.get_by_role("button", name="Say it").click()


def told(ear: Ear, seen: np.ndarray, looks: list[tuple[float, float, float]]) -> None:
    """Print what was measured."""
    painted: dict[float, list[float]] = {}
    for _, t_s, at in seen:
        painted.setdefault(t_s, []).append(1e-3 * at)
    heard = [one for one in map(dict, ear.holds) if len(one) > 1]  # as it is now: the ear goes on hearing
    starts = [min(at - moment for moment, at in one.items()) for one in heard]
    pairs = [(start, *pair) for start, one in zip(starts, heard, strict=True) for pair in paired(one, painted)]
    start, t_s, came, shown = np.array(pairs).T
    held_s = sum(max(one.values()) - min(one.values()) for one in heard)
    sent = sum(map(len, heard))
    per_second, _ = np.histogram(shown, bins=np.arange(shown.min(), shown.max(), 1.0))
    full = per_second[per_second > 0]
    print(f"{len(heard)} hold(s) watched for {held_s:.0f} s: {sent} updates from the run, {len(pairs)} of them painted")
    print(f"updates a second: {sent / held_s:.2f} from the run, {len(pairs) / held_s:.2f} on the screen")
    print(f"  seconds with 9 or more: {100 * np.mean(full >= 9):.1f} %")
    print(f"window to screen, ms: {shares(shown - came)}")
    print(f"newest sample of the frame to screen, ms: {shares(shown - t_s - start)}")
    print(f"middle of the frame to screen, ms: {shares(shown - t_s - start + FRAME_S / 2)}")
    for name, place in (("heap", 1), ("server", 2)):
        values = [look[place] for look in looks]
        span = max(values) - min(values)
        print(f"{name}: {values[0]:.2f} MB at first, {values[-1]:.2f} at last, {span:.2f} from least to most")


def paired(heard: dict[float, float], painted: dict[float, list[float]]) -> list[tuple[float, float, float]]:
    """Give of each update that was painted: its moment, when it came, when it was on the screen."""
    found = []
    for t_s, came in heard.items():
        shown = [at for at in painted.get(t_s, ()) if -CLOCK_S <= at - came < LATEST_S]
        found += [(t_s, came, min(shown))] if shown else []
    return found


def shares(values: np.ndarray) -> str:
    """Write a distribution of seconds in milliseconds."""
    wanted = (("median", 50), ("p95", 95), ("p99", 99), ("most", 100))
    return ", ".join(f"{name} {1000 * np.percentile(values, share):.0f}" for name, share in wanted)


def main() -> None:
    """Start a server, a browser and a run; measure; stop the run."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--urgent", action="store_true")
    said = parser.parse_args()
    minutes = said.minutes
    with tempfile.TemporaryDirectory() as folder:
        sheet = made_sheet(Path(folder), 60 * minutes + 5)
        with socket.create_server(("127.0.0.1", 0)) as free:
            port = free.getsockname()[1]
        words = [sys.executable, "-m", "wattproof", "serve", "--archive", folder, "--port", str(port), "--no-browser"]
        server = subprocess.Popen(words, stdout=subprocess.DEVNULL)
        try:
            wait_for(port)
            measured(Path(folder), f"http://127.0.0.1:{port}", sheet, server.pid, minutes, urgent=said.urgent)
        finally:
            for window in Archive(Path(folder)).windows():
                os.kill(window.pid, signal.SIGTERM)
            server.terminate()
            server.wait(20)


def measured(archive: Path, address: str, sheet: str, server: int, minutes: float, *, urgent: bool) -> None:
    """Begin the run in a browser, measure its hold, stop it."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        args = ["--no-sandbox", "--disable-gpu"]
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=args)
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.add_init_script(WATCH)
        started(page, address, sheet)
        [window] = Archive(archive).windows()
        if urgent:
            for thread in Path(f"/proc/{window.pid}/task").iterdir():
                os.setpriority(os.PRIO_PROCESS, int(thread.name), -15)
        ear = Ear(window)
        ear.start()
        looks = watched(page, page.context.new_cdp_session(page), server, ear, minutes)
        seen = np.array(page.evaluate("Array.from(window.seen.subarray(0, 3 * window.nSeen))")).reshape(-1, 3)
        told(ear, seen, looks)
        page.keyboard.press("Escape")
        until = time.time() + 30
        while Archive(archive).windows() and time.time() < until:
            time.sleep(0.2)
        browser.close()


def wait_for(port: int) -> None:
    """Wait until the server answers."""
    for _ in range(600):
        with suppress(OSError), socket.create_connection(("127.0.0.1", port)):
            return
        time.sleep(0.1)


if __name__ == "__main__":
    main()
