"""The demonstration's bench days: five made-up amplifiers, each planned, driven, recorded and measured by itself."""

import re
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date
from importlib import import_module
from multiprocessing import get_context
from os import cpu_count
from pathlib import Path

from wattproof.plan import SheetWishes
from wattproof.tasks.ran import Ran
from wattproof.tasks.running import run
from wattproof.tasks.sessions import session_figures, session_list

ANSWERS = (
    "bridged=no",
    "output-grounded=no",
    "fuse-near-source=yes",
    "hardware-stop=yes",
    "load-guarded=yes",
    "not-alone=yes",
    "sensed-at-terminals=yes",
    "boost-off=yes",
    "controls=gain at minimum, filters off",
)
"""What the person at the simulated bench answers; nothing there can burn."""


@dataclass(frozen=True, kw_only=True)
class Day:
    """One amplifier's day, short enough for a demonstration, and what it teaches."""

    name: str
    teaches: str
    wishes: SheetWishes
    answers: tuple[str, ...] = ANSWERS


@dataclass(frozen=True, kw_only=True)
class Shown:
    """A finished day."""

    day: Day
    session: str
    page: Path
    ran: Ran | None
    seconds: float


DAYS = (
    Day(
        name="bittern-1",
        teaches="its rails follow the supply: it makes its rating at 14.4 V and only there",
        wishes=SheetWishes(hold_s=15.0),
    ),
    Day(
        name="dabchick-600",
        teaches="regulated and honest: the same power at 12 V, for more current",
        wishes=SheetWishes(loads=("4 ohm", "2 ohm"), hold_s=3.0, burst="none"),
    ),
    Day(
        name="whimbrel-3000",
        teaches="3000 W on the sleeve, 60 A of fuse, and a current limit that meets low loads",
        wishes=SheetWishes(loads=("4 ohm", "2 ohm", "1 ohm"), hold_s=0.0, burst="none"),
    ),
    Day(
        name="redstart-4",
        teaches="four linear channels at once; the dial of its low-pass does not say what the filter does",
        wishes=SheetWishes(loads=("4 ohm",), hold_s=3.0, burst="none"),
        answers=(*ANSWERS, "load-each=yes"),
    ),
    Day(
        name="ptarmigan-350",
        teaches="makes its rating cold, and folds back within the hold",
        wishes=SheetWishes(loads=("2 ohm",), hold_s=35.0, burst="none"),
    ),
)


def bench_days(home: Path, *, samples_day: date, tell: Callable[[str], None]) -> tuple[Shown, ...]:
    """Carry out all days into the archive in `home`, or find them there; pages beside it.

    `samples_day` is the day of the session that holds the sample captures, which is none of these.

    Days run beside each other where the machine has several cores; each is its own process, as it would be in life.
    """
    folder = home / "benches"
    # by name, so that nothing at run time depends on the simulator
    import_module("wattproof.sim").write_benches(folder)
    known = _known(home / "archive", samples_day)
    shown = []
    workers = min(cpu_count() or 1, len(DAYS))
    with ProcessPoolExecutor(max_workers=workers, mp_context=get_context("spawn")) as pool:
        waiting = [(day, pool.submit(carry_out_day, day, folder, home, known.get(day.name))) for day in DAYS]
        for day, future in waiting:
            done = future.result()
            shown.append(done)
            for line in _told(day, done):
                tell(line)
    return tuple(shown)


def carry_out_day(day: Day, folder: Path, home: Path, session: str | None) -> Shown:
    """Carry out one day, or measure it again from what the archive holds."""
    from time import monotonic

    began_s = monotonic()
    page = home / f"bench-day-{day.name}.html"
    if session is not None:
        session_figures(session, archive=home / "archive", html=page)
        return Shown(day=day, session=session, page=page, ran=None, seconds=monotonic() - began_s)
    files = folder / day.name
    ran = run(
        files / "amplifier.toml",
        files / "bench.toml",
        archive=home / "archive",
        wishes=day.wishes,
        answer=day.answers,
        note="demonstration on the simulated bench",
        html=page,
    )
    return Shown(day=day, session=ran.session, page=page, ran=ran, seconds=monotonic() - began_s)


def _known(archive: Path, samples_day: date) -> dict[str, str]:
    """Find the sessions of an earlier demonstration, so that repeating it adds none."""
    if not archive.is_dir():
        return {}
    sessions = [line.session for line in session_list(archive=archive).sessions if line.figures]
    named = {day.name: re.compile(rf"\d{{4}}-\d\d-\d\d-{day.name}-[0-9a-f]{{4}}$") for day in DAYS}
    return {
        name: session
        for name, pattern in named.items()
        for session in sessions
        if pattern.match(session) and not session.startswith(samples_day.isoformat())
    }


def _told(day: Day, shown: Shown) -> Iterator[str]:
    yield f"  {day.name}: {day.teaches}"
    if shown.ran is None:
        yield f"    there already, as session {shown.session}"
        return
    for step in shown.ran.steps:
        for line in step.found():
            if line.startswith(("Power at", "Sustained power")) and "(A)" in line:
                yield f"    {step.name:<12} {line.replace(' (A)', '')}"
    yield f"    {shown.ran.done} steps in {shown.seconds:.0f} s; session {shown.session}"
