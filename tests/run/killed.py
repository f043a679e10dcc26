"""Runs that are killed at random moments; called with a folder, how many, and a seed.

Each run is a forked child that conducts a short sheet on the small bench, ten times faster than the clock. It notes
what it is told as it goes, so that the test knows what had been recorded when it died.
"""

import importlib.util
import os
import random
import signal
import sys
import time
from pathlib import Path


def small_bench():
    """Load the neighbours' small bench, which pytest has no name for either."""
    spec = importlib.util.spec_from_file_location("small", Path(__file__).with_name("conftest.py"))
    module = importlib.util.module_from_spec(spec)
    sys.modules["small"] = module
    spec.loader.exec_module(module)
    return module


SLOWER_S = 0.0007
"""A block of 10 ms then takes about 1 ms."""

LONGEST_S = 0.9


def sheet(small):
    """Make a sheet of four short steps."""
    return small.sheet_of(
        small.step(1, "idle", seconds=0.4, rest_s=0.0),
        small.step(2, "gain", seconds=0.6, rest_s=0.0),
        small.step(3, "ramp", from_v_rms=8.0, slow_db_per_s=8.0, rest_s=0.0),
        small.step(4, "hold", seconds=1.0, rest_s=0.0),
    )


def slow_rig(small, bench):
    """Make a rig that takes its time."""

    def slowly(rows, _start):
        time.sleep(SLOWER_S)
        return rows

    return small.SmallRig(bench=bench, faults=dict.fromkeys(range(1, 50), slowly))


def conduct(small, archive, session, tell, rig=None):
    """Carry out what is left of the sheet."""
    from wattproof.measure import CaptureResult
    from wattproof.run import carry_out

    rig = rig or small.SmallRig(bench=session.bench)

    def figures(_session, record):
        return CaptureResult(file=record.file, kind="steady")

    with archive.conducting(session):
        return carry_out(sheet(small), rig, archive, session, figures=figures, tell=tell)


def child(small, root, ready):
    """Begin a session and run it, noting each live event."""
    from wattproof.archive import Archive

    archive = Archive(root / "archive")
    session = small.new_session(archive, small.a_small_bench())
    notes = os.open(root / "told.txt", os.O_WRONLY | os.O_CREAT | os.O_APPEND)

    def tell(event):
        if event.event == "run-begun":
            os.write(ready, b"!")
        elif event.event == "live" and not event.searching:
            os.write(notes, f"{event.number} {event.t_s}\n".encode())
        elif event.event == "step-ended":
            os.write(notes, f"{event.number} ended\n".encode())

    conduct(small, archive, session, tell, rig=slow_rig(small, session.bench))


def main(where, count, seed):
    """Run and kill."""
    small, moments = small_bench(), random.Random(seed)
    for number in range(count):
        root = where / f"{number:02d}"
        root.mkdir(parents=True)
        heard, ready = os.pipe()
        pid = os.fork()
        if pid == 0:
            child(small, root, ready)
            os._exit(0)
        os.close(ready)
        os.read(heard, 1)
        os.close(heard)
        time.sleep(moments.uniform(0.0, LONGEST_S))
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
