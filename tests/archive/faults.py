"""Makes the disk refuse, or the process die, at one chosen step of a write; loaded by the tests beside it."""

import errno
import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

from wattproof.amplifier import Amplifier
from wattproof.archive import Archive, Description, Session
from wattproof.bench import Bench
from wattproof.measure import CaptureResult, Figure, Trace, Views

CALLS = ("open", "fsync", "rename", "replace", "mkdir")
STARTED = datetime(2031, 5, 14, 9, 30, tzinfo=UTC)


class Steps:
    """Counts the calls that change the disk, and does something else instead of the one of a given number."""

    def __init__(self, number: int, instead: Callable[[], None]) -> None:
        self.number, self.instead, self.count = number, instead, 0

    def step(self) -> None:
        self.count += 1
        if self.count == self.number:
            self.instead()

    @contextmanager
    def armed(self) -> Iterator[None]:
        genuine = {name: getattr(os, name) for name in (*CALLS, "fdopen")}
        for name in CALLS:
            setattr(os, name, self._stepping(genuine[name]))
        os.fdopen = lambda *args, **kwargs: _Slow(genuine["fdopen"](*args, **kwargs), self)
        try:
            yield
        finally:
            for name, function in genuine.items():
                setattr(os, name, function)

    def _stepping(self, function: Callable) -> Callable:
        def stepping(*args, **kwargs):
            if function.__name__ != "mkdir" or not Path(args[0]).exists():
                self.step()
            return function(*args, **kwargs)

        return stepping


class _Slow:
    """A file that writes half of each block before the step counts, so that a refusal leaves half of it behind."""

    def __init__(self, file, steps: Steps) -> None:
        self.file, self.steps = file, steps

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.file.close()

    def write(self, data: bytes) -> None:
        self.file.write(data[: len(data) // 2])
        self.file.flush()
        self.steps.step()
        self.file.write(data[len(data) // 2 :])

    def __getattr__(self, name: str):
        return getattr(self.file, name)


def disk_full() -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def result(value: float) -> CaptureResult:
    figure = Figure(name="load_power", value=value, u=0.2, unit="W", origin="a.wav 0-1 s")
    line = Trace(name="v", x_label="t", x_unit="s", y_label="v", y_unit="V", x=(0.0, 1.0), y=(value, value))
    return CaptureResult(file="a.wav", kind="steady", figures=(figure,), views=Views(waveform=(line,)))


def prepared(root: Path) -> tuple[Archive, Session, Path]:
    """An archive with one session, one measured capture, and another file that waits to be added."""
    minutes = count(1)
    archive = Archive(root / "archive", clock=lambda: STARTED + timedelta(minutes=next(minutes)))
    session = begin(archive)
    root.joinpath("a.wav").write_bytes(b"first" * 40)
    root.joinpath("b.wav").write_bytes(b"second" * 40)
    archive.add_capture(session, root / "a.wav", Description())
    archive.write_figures(session, {1: [result(100.0)]})
    return archive, session, root / "b.wav"


def begin(archive: Archive) -> Session:
    return archive.new_session(
        amplifier=Amplifier(maker="Saltmarsh & Daughter", model="Bittern 1"),
        bench=Bench(name="Boathouse bench"),
        amplifier_toml=b"maker = 'Saltmarsh & Daughter'\r\nmodel = 'Bittern 1'\r\n",
        bench_toml=b"name = 'Boathouse bench'\n",
        started=STARTED,
    )


ACTIONS: dict[str, Callable[[Archive, Session, Path], object]] = {
    "new": lambda archive, session, waiting: begin(archive),
    "add": lambda archive, session, waiting: archive.add_capture(session, waiting, Description(kind="ramp")),
    "figures": lambda archive, session, waiting: archive.write_figures(session, {1: [result(200.0)]}),
    "describe": lambda archive, session, waiting: archive.describe_capture(session, 1, Description(load="4 ohm")),
}


def content(folder: Path) -> dict[str, bytes | None]:
    """Every file below a folder with its bytes, and every folder."""
    return {p.relative_to(folder).as_posix(): p.read_bytes() if p.is_file() else None for p in folder.rglob("*")}


def facts(root: Path) -> list[object]:
    """What a reader of the archive sees: sessions, captures, figures with views; damage would raise here."""
    archive = Archive(root / "archive")
    listing = archive.list_sessions()
    assert listing.notices == ()
    seen: list[object] = []
    for session in listing.sessions:
        captures = archive.captures(session)
        bodies = [archive.original_path(session, capture).read_bytes() for capture in captures]
        figures = archive.read_figures(session, with_views=True)
        seen.append((len(captures), [c.description for c in captures], bodies, figures and figures.results))
    return sorted(seen, key=repr)


def die_at_each_step(action: str, where: Path) -> None:
    """Prepare an archive for each step there is, and let a child die at it without any clean-up."""
    for number in count(1):
        root = where / f"{number:02d}"
        root.mkdir(parents=True)
        archive, session, waiting = prepared(root)
        child = os.fork()
        if child == 0:
            with Steps(number, lambda: os._exit(9)).armed():
                ACTIONS[action](archive, session, waiting)
            os._exit(0)
        if os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) != 9:
            return  # it came to its end: there are no more steps


def add_many(root: Path, session_id: str, who: str, how_many: int) -> None:
    """Add captures as fast as possible once both processes are there, asking the index in between."""
    archive = Archive(root / "archive")
    session = archive.open_session(session_id)
    root.joinpath(f"ready-{who}").touch()
    while len(list(root.glob("ready-*"))) < 2:
        time.sleep(0.002)
    for n in range(how_many):
        source = root / f"{who}-{n}.wav"
        source.write_bytes(f"{who} {n}".encode())
        archive.add_capture(session, source, Description(step=f"{who} {n}"))
        archive.write_figures(session, {1: [result(100.0)]})
    archive.find_figures(name="load_power")


if __name__ == "__main__":
    if sys.argv[1] == "die":
        for name in ACTIONS:
            die_at_each_step(name, Path(sys.argv[2]) / name)
    else:
        add_many(Path(sys.argv[2]), sys.argv[3], sys.argv[4], int(sys.argv[5]))
