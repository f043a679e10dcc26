"""Records into archives and dies at it: samples that anyone can make again, and processes to be killed."""

import importlib.util
import json
import os
import random
import shutil
import signal
import sys
import time
from collections.abc import Callable
from itertools import count
from pathlib import Path

import numpy as np

from wattproof.archive import Archive, CaptureRecord, Description, Session, TakeWriter
from wattproof.errors import ArchiveError
from wattproof.waveform import Channel

RATE_HZ = 96000.0
N_TRACKS = 4
AT_ONCE = 10
LIVES_S = (1.3, 2.0)
CHANNELS = tuple(Channel(name=str(n + 1), unit="FS", full_scale=1.0, step=2.0**-23) for n in range(N_TRACKS))

_spec = importlib.util.spec_from_file_location("archive_faults", Path(__file__).with_name("faults.py"))
faults = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(faults)


def codes(first: int, n_samples: int, *, seed: int = 0, n_tracks: int = N_TRACKS) -> np.ndarray:
    """Scattered 24-bit codes as fractions of full scale, each known from its place alone."""
    places = np.arange(first, first + n_samples, dtype=np.uint64)[:, None] * np.uint64(n_tracks)
    places = places + np.arange(n_tracks, dtype=np.uint64) + np.uint64(seed * 1_000_003)
    scattered = (places * np.uint64(2_654_435_761) % np.uint64(1 << 32)) >> np.uint64(8)
    return (scattered.astype(np.float64) - (1 << 23)) / (1 << 23)


def begin(archive: Archive, session: Session, *, step: int = 1, **changed) -> TakeWriter:
    given = {"description": Description(step=f"ramp {step}", kind="ramp"), "channels": CHANNELS, "rate_hz": RATE_HZ}
    return archive.begin_take(session, step=step, **{**given, **changed})


def write_on(take: TakeWriter, *, first: int = 0, pause_s: float = 0.001) -> None:
    """Write until the archive refuses, or for some minutes of record."""
    for start in range(first, 6_000_000, 1024):
        take.write(codes(start, 1024))
        time.sleep(pause_s)


def refusal(do, *words, **named) -> ArchiveError | None:
    """Do something and give the archive's refusal, None where it did not refuse."""
    try:
        do(*words, **named)
    except ArchiveError as error:
        return error
    return None


def whole_take(archive: Archive, session: Session, *, n_samples: int = 6_000) -> CaptureRecord:
    """Begin, write and finish a take, as the steps of a disk are counted."""
    with begin(archive, session) as take:
        for first in range(0, n_samples, 600):
            take.write(codes(first, 600, seed=1))
        return take.finish()


def left_open(archive: Archive, session: Session) -> None:
    """Leave a take as one whose recorder has died."""
    with begin(archive, session) as take:
        take.write(codes(0, 6_000, seed=1))


def record_for_ever(root: Path, session_id: str, told: int, *, lengths: list[int]) -> None:
    """Record takes of these lengths one after the other, saying after each write what has been taken and when."""
    archive = Archive(root / "archive")
    session = archive.open_session(session_id)
    for step in count(1):
        began, n_samples = time.monotonic(), 0
        with begin(archive, session, step=step) as take:
            while n_samples < lengths[step % len(lengths)]:
                take.write(codes(n_samples, 1024, seed=step))
                n_samples += 1024
                os.write(told, f"{step} {n_samples} {time.monotonic()}\n".encode())
                time.sleep(max(0.0, began + n_samples / RATE_HZ - time.monotonic()))
            take.finish()
            os.write(told, f"{step} finished\n".encode())


def copies(where: Path, *, with_take: bool = False) -> Callable[[Path], tuple[Archive, Session]]:
    """Prepare one archive, and give what copies it: a copy is not brought to the disk, which takes the time."""
    where.mkdir(parents=True)
    archive, session, _ = faults.prepared(where)
    if with_take:
        left_open(archive, session)

    def copied(root: Path) -> tuple[Archive, Session]:
        shutil.copytree(where / "archive", root / "archive")
        copy = Archive(root / "archive")
        return copy, copy.open_session(session.id)

    return copied


def kill_recorders(where: Path, *, how_many: int, seed: int) -> None:
    """Kill recorders at random moments, some at once, and leave what each had said beside its archive."""
    random_, copied = random.Random(seed), copies(where.with_name(f"{where.name}-first"))
    for batch in range(0, how_many, AT_ONCE):
        children = []
        for number in range(batch, min(batch + AT_ONCE, how_many)):
            root = where / f"{number:02d}"
            lengths = [1 << 40] if number % 2 else [random_.randrange(10_000, 60_000) for _ in range(5)]
            children.append((root, random_.uniform(*LIVES_S), _forked(root, copied(root)[1].id, lengths)))
        began = time.monotonic()
        for root, life_s, (child, told) in sorted(children, key=lambda one: one[1]):
            time.sleep(max(0.0, began + life_s - time.monotonic()))
            died_s = time.monotonic()
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            with os.fdopen(told) as pipe:
                lines = [line.split() for line in pipe.read().splitlines()]
            (root / "told.json").write_text(json.dumps({"died_s": died_s, "lines": lines}))


def _forked(root: Path, session_id: str, lengths: list[int]) -> tuple[int, int]:
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            record_for_ever(root, session_id, writer, lengths=lengths)
        finally:
            os._exit(1)
    os.close(writer)
    return child, reader


def die_at_each_step(where: Path, action: str) -> None:
    """Let a child die at each step of recording, or of recovering, until one comes to its end."""
    copied = copies(where.with_name(f"{where.name}-first"), with_take=action == "recover")
    for number in count(1):
        archive, session = copied(where / f"{number:02d}")
        child = os.fork()
        if child == 0:
            with faults.Steps(number, lambda: os._exit(9)).armed():
                whole_take(archive, session) if action == "take" else archive.recover(session)
            os._exit(0)
        if os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) != 9:
            return


def hold(root: Path, session_id: str) -> None:
    """Conduct a session until killed."""
    archive = Archive(root / "archive")
    with archive.conducting(archive.open_session(session_id)):
        sys.stdout.write("holding\n")
        sys.stdout.flush()
        time.sleep(600)


if __name__ == "__main__":
    import soundfile  # noqa: F401  (once, not in each child)

    if sys.argv[1] == "kill":
        kill_recorders(Path(sys.argv[2]), how_many=int(sys.argv[3]), seed=int(sys.argv[4]))
    elif sys.argv[1] == "hold":
        hold(Path(sys.argv[2]), sys.argv[3])
    else:
        die_at_each_step(Path(sys.argv[2]) / sys.argv[1], sys.argv[1])
