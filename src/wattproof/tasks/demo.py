"""`demo`: the whole job on sample captures of a made-up amplifier."""

from collections.abc import Callable
from datetime import date
from importlib import import_module
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from wattproof.errors import FileMissingError
from wattproof.tasks.measuring import Wishes, measure
from wattproof.tasks.reading import read
from wattproof.tasks.sessions import session_add, session_figures, session_new

DAY = date(2031, 5, 14)
STEPS = (
    ("01-idle.wav", "idle", None),
    ("02-steady-4-ohm.wav", "steady 4 ohm", "4 ohm"),
    ("03-ramp-4-ohm.flac", "ramp 4 ohm", "4 ohm"),
    ("04-ramp-2-ohm.wav", "ramp 2 ohm", "2 ohm"),
    ("05-burst-2-ohm.wav", "burst 2 ohm", "2 ohm"),
    ("06-hold-2-ohm.flac", "hold 2 ohm", "2 ohm"),
    ("readings.csv", "typed readings", None),
)
"""File, step, and load; the kinds are told apart by themselves."""


class Demonstrated(BaseModel):
    """What `wattproof demo` answers: where everything is."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    folder: Path
    session: str
    figures: int
    pages: tuple[Path, ...]
    csv: Path


def demo(*, folder: Path | None = None, tell: Callable[[str], None] | None = None) -> Demonstrated:
    """Run the whole job: samples of a bench day, read, kept in a session, measured, put on a page.

    Everything is invented: the boathouse, the makers, the amplifiers and their results.

    Parameters
    ----------
    folder : Path or None
        Where samples, archive and pages go; ./demo-output when left out.
    tell : callable or None
        Gets a line of text for each step.

    Raises
    ------
    FileMissingError
        The folder cannot be made or written.
    """
    home = (folder or Path("demo-output")).absolute()
    say = tell or (lambda _line: None)
    samples = home / "samples"
    say("Simulating a bench day in the boathouse: a made-up amplifier, a made-up bench ...")
    _write_samples(samples)
    say(f"  {samples}\n")
    say("wattproof read: what a file was taken to be\n")
    for summary in read([samples / "03-ramp-4-ohm.flac"]).files:
        names = ", ".join(channel.name for channel in summary.channels)
        say(f"  {summary.file}: {summary.reader}, {summary.sample_rate_hz:g} Hz, {summary.duration_s:g} s, {names}\n")
    made = session_new(samples / "amplifier.toml", samples / "bench.toml", archive=home / "archive", started=DAY)
    say(f"wattproof session: {made.session}\n")
    for file, step, load in STEPS:
        kept = session_add(
            made.session, [samples / file], archive=home / "archive", step=step, wishes=Wishes(load=load)
        )
        say(f"  kept {kept.captures[0].folder}")
    say("\nwattproof measure ...\n")
    page, csv = home / "bittern-1.html", home / "bittern-1.csv"
    found = session_figures(made.session, archive=home / "archive", html=page, csv=csv)
    say(found.table())
    warned = [(result.file, notice) for result in found.captures for notice in result.warnings]
    if warned:
        say("\nTo note:")
        for file, notice in warned:
            say(f"  {file}: {notice.code}: {notice.message}")
    others = _other_pages(samples, home)
    say("\nPages to open in a browser:")
    for path in (page, *others):
        say(f"  {path}")
    say(f"Figures for a spreadsheet: {csv}")
    say(f"Archive: {home / 'archive'}")
    figures = sum(len(result.figures) for result in found.captures)
    return Demonstrated(folder=home, session=made.session, figures=figures, pages=(page, *others), csv=csv)


def _write_samples(samples: Path) -> None:
    try:
        # by name, so that nothing at run time depends on the simulator
        import_module("wattproof.sim").write_samples(samples)
    except OSError as error:
        raise FileMissingError(
            f"Cannot write samples into {samples}.",
            why=error.strerror or str(error),
            hint="Name a folder that is yours, with some room: --folder demo-output",
        ) from error


def _other_pages(samples: Path, home: Path) -> tuple[Path, ...]:
    """Measure what needs no session: an oscilloscope's text, and an amplifier with two outputs."""
    scope, both = home / "scope.html", home / "fieldfare-2.html"
    measure([samples / "07-scope-1khz.csv"], bench=samples / "bench-scope.toml", html=scope)
    second = samples / "fieldfare-2"
    measure(
        [second / "01-steady-both-4-ohm.wav"],
        bench=second / "bench.toml",
        amplifier=second / "amplifier.toml",
        html=both,
    )
    return scope, both
