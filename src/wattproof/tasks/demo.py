"""`demo`: the whole job on sample captures and on simulated bench days of made-up amplifiers."""

import textwrap
from collections.abc import Callable, Sequence
from datetime import date
from importlib import import_module
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from wattproof.errors import FileMissingError
from wattproof.measure import CaptureResult
from wattproof.report import doubts_of
from wattproof.tasks.demo_days import Shown, bench_days
from wattproof.tasks.demo_published import published
from wattproof.tasks.measured import Measured
from wattproof.tasks.measuring import Wishes, measure
from wattproof.tasks.reading import read
from wattproof.tasks.sessions import SessionMade, session_add, session_figures, session_list, session_new

DAY = date(2031, 5, 14)
STEPS = (
    ("01-idle.wav", "idle", "4 ohm"),
    ("02-steady-4-ohm.wav", "steady 4 ohm", "4 ohm"),
    ("03-ramp-4-ohm.flac", "ramp 4 ohm", "4 ohm"),
    ("04-ramp-2-ohm.wav", "ramp 2 ohm", "2 ohm"),
    ("05-burst-2-ohm.wav", "burst 2 ohm", "2 ohm"),
    ("06-hold-2-ohm.flac", "hold 2 ohm", "2 ohm"),
    ("readings.csv", "typed readings", None),
)
"""File, step, and load; the kinds are told apart by themselves."""

WIDEST = 120
"""Columns that a printed line keeps to."""


class Demonstrated(BaseModel):
    """What `wattproof demo` answers: where everything is."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    folder: Path
    session: str
    figures: int
    pages: tuple[Path, ...]
    csv: Path
    bench_days: tuple[str, ...] = ()
    published: tuple[Path, ...] = ()


def demo(
    *, folder: Path | None = None, samples_only: bool = False, tell: Callable[[str], None] | None = None
) -> Demonstrated:
    """Run the whole job: captures kept, measured, published; then five bench days on a simulated bench.

    Everything is invented: the boathouse, the makers, the amplifiers and their results.

    Parameters
    ----------
    folder : Path or None
        Where samples, archive and pages go; ./demo-output when left out.
    samples_only : bool
        Leave the bench days out: a few seconds instead of a minute or two.
    tell : callable or None
        Gets a line of text for each step.

    Raises
    ------
    FileMissingError
        The folder cannot be made or written.
    """
    shown = folder or Path("demo-output")
    home = shown.absolute()
    say = tell or (lambda _line: None)
    samples = home / "samples"
    say("Making up a bench day in a boathouse. Amplifiers, makers and results are invented, and nothing gets hot.")
    _write_samples(samples)
    found, made, page, csv = _captures(home, shown, say)
    others = _other_pages(samples, home)
    days = () if samples_only else _days(home, shown, say)
    shown_to_all = published(made.session, home=home, shown=shown, say=say)
    say(f"\nThe session, with every capture byte for byte: {home / 'archive' / made.session}")
    say(f"Whether the maker's ratings hold:  wattproof judge {made.session} --archive {shown / 'archive'}")
    say(f"Figures for a spreadsheet: {csv}")
    say("Pages to open in a browser:")
    pages = (page, *others, *(day.page for day in days))
    for path in pages:
        say(f"  {path}")
    say("What is published:")
    for path in shown_to_all:
        say(f"  {path}")
    say(f"\nAll of it as pages to work with:  wattproof serve --archive {shown / 'archive'}")
    figures = sum(len(result.figures) for result in found.captures)
    return Demonstrated(
        folder=home,
        session=made.session,
        figures=figures,
        pages=pages,
        csv=csv,
        bench_days=tuple(day.session for day in days),
        published=shown_to_all,
    )


def _captures(home: Path, shown: Path, say: Callable[[str], None]) -> tuple[Measured, SessionMade, Path, Path]:
    """Read, keep and measure the sample captures."""
    samples = home / "samples"
    say(f"  The captures, the bench file and the amplifier file are in {samples}\n")
    say(f"1. See what a file holds:  wattproof read {shown / 'samples' / '03-ramp-4-ohm.flac'}")
    for summary in read([samples / "03-ramp-4-ohm.flac"]).files:
        clock = f"{summary.sample_rate_hz:g} samples a second"
        say(f"  {summary.file}, taken for {summary.reader}: {summary.duration_s:g} s, {clock}")
        say(f"  {len(summary.channels)} channels: {', '.join(channel.name for channel in summary.channels)}\n")
    made = _session_begun(home / "archive") or session_new(
        samples / "amplifier.toml", samples / "bench.toml", archive=home / "archive", started=DAY
    )
    say("2. Keep the day together:  wattproof session new, and wattproof session add for each capture")
    say(f"  session {made.session}")
    for file, step, load in STEPS:
        wishes = Wishes(load=load)
        kept = session_add(made.session, [samples / file], archive=home / "archive", step=step, wishes=wishes)
        say(f"  {file:<20} kept as {kept.captures[0].folder}")
    say(f"\n3. Measure it:  wattproof session figures {made.session} --archive {shown / 'archive'}")
    say("  What stands behind ± spans 95 %. The line under a heading holds for each row that does not say otherwise.\n")
    page, csv = home / "bittern-1.html", home / "bittern-1.csv"
    found = session_figures(made.session, archive=home / "archive", html=page, csv=csv)
    say("\n".join([found.table(), *_doubts(found.captures)]))
    return found, made, page, csv


def _days(home: Path, shown: Path, say: Callable[[str], None]) -> tuple[Shown, ...]:
    """Carry out the bench days on the simulated bench."""
    files = shown / "benches" / "bittern-1"
    say("\n4. Have a bench day carried out: a run sheet, the drive, a guard on every block, and the figures")
    say(f"  wattproof plan {files / 'amplifier.toml'} {files / 'bench.toml'}")
    say(f"  wattproof run {files / 'amplifier.toml'} {files / 'bench.toml'}")
    say("  Five made-up amplifiers on a simulated bench, a minute or two:")
    return bench_days(home, samples_day=DAY, tell=say)


def _doubts(captures: Sequence[CaptureResult]) -> list[str]:
    """Say what is doubtful about captures, and under each doubt what to do; empty where nothing is."""
    doubts = doubts_of(captures)
    lines = ["What is doubtful about these captures, and what to do about it:"] if doubts else []
    for doubt in doubts:
        for told in doubt.told:
            lines += textwrap.wrap(f"  {', '.join(told.places)}: {told.message}", WIDEST, subsequent_indent="    ")
        lines += textwrap.wrap(f"    -> {doubt.hint}", WIDEST, subsequent_indent="       ") if doubt.hint else []
    return lines


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


def _session_begun(archive: Path) -> SessionMade | None:
    """Find the session of an earlier demonstration, so that repeating it adds none."""
    if not archive.is_dir():
        return None
    for line in session_list(archive=archive).sessions:
        if line.session.startswith(f"{DAY}-"):
            return SessionMade(session=line.session, folder=archive / line.session)
    return None


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
