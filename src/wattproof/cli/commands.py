"""One function a command: takes the words, calls the task, shows its answer. Nothing is computed here."""

from datetime import date
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from wattproof import tasks
from wattproof.cli.compare_command import compare
from wattproof.cli.day_commands import bench_check, bench_floor, plan, run
from wattproof.cli.export_command import export
from wattproof.cli.judge_command import judge
from wattproof.cli.model_commands import model, predict
from wattproof.cli.overlay_command import overlay
from wattproof.cli.pack_command import key_new, pack
from wattproof.cli.paper_commands import paper_back, paper_keep, paper_list, paper_show
from wattproof.cli.picture_command import picture
from wattproof.cli.plausible_command import plausible
from wattproof.cli.report_command import report
from wattproof.cli.serve_command import serve
from wattproof.cli.show import progress, saved, show_notices, show_read, show_sessions
from wattproof.cli.site_command import site
from wattproof.cli.verify_command import verify
from wattproof.cli.void_commands import session_unvoid, session_void

__all__ = [
    "archive_index",
    "bench_calibrate",
    "bench_check",
    "bench_floor",
    "compare",
    "demo",
    "export",
    "judge",
    "key_new",
    "measure",
    "model",
    "overlay",
    "pack",
    "paper_back",
    "paper_keep",
    "paper_list",
    "paper_show",
    "picture",
    "plan",
    "plausible",
    "predict",
    "read",
    "report",
    "run",
    "schema",
    "serve",
    "session_add",
    "session_figures",
    "session_list",
    "session_new",
    "session_unvoid",
    "session_void",
    "site",
    "verify",
]

Measuring = Parameter(name="*", group="How to measure")
Unsaid = Parameter(name="*", group="What the files do not say")


def read(
    files: list[Path],
    /,
    *,
    answers: Annotated[tasks.FileAnswers, Unsaid] = tasks.FileAnswers(),  # noqa: B008  (frozen)
    json: bool = False,
) -> None:
    """Show what files were taken to be: rate, length, channels, units, ranges, and all that is doubtful.

    Parameters
    ----------
    files
        Audio files, text captures of oscilloscopes and loggers, NPY, NPZ, HDF5 or MAT files.
    json
        Print one JSON object instead.
    """
    found = tasks.read(files, answers=answers)
    print(found.model_dump_json(indent=2) if json else show_read(found))


def measure(
    files: list[Path],
    /,
    *,
    bench: Path | None = None,
    amplifier: Path | None = None,
    wishes: Annotated[tasks.Wishes, Measuring] = tasks.Wishes(),  # noqa: B008
    answers: Annotated[tasks.FileAnswers, Unsaid] = tasks.FileAnswers(),  # noqa: B008
    html: Path | None = None,
    csv: Path | None = None,
    budget: bool = False,
    json: bool = False,
) -> None:
    """Measure captures and typed readings: every figure with its uncertainty, conditions and origin.

    Parameters
    ----------
    files
        Captures in any format that `wattproof read` knows, or a typed readings.csv.
    bench
        bench.toml: what the channels are, their scales, the loads.
    amplifier
        amplifier.toml: what is under test.
    html
        Also write a page with charts to this file.
    csv
        Also write the figures as a table for a spreadsheet to this file.
    budget
        Show what each uncertainty is made of.
    json
        Print one JSON object instead of a table.
    """
    found = tasks.measure(
        files, bench=bench, amplifier=amplifier, wishes=wishes, answers=answers, html=html, csv=csv, tell=progress()
    )
    if json:
        print(found.to_json())
        return
    print(found.budgets() if budget else found.table())
    show_notices(found.captures)
    saved(html, csv)


def bench_calibrate(
    file: Path,
    /,
    *,
    channel: str = "load_voltage=1",
    u_reference: float = 0.0,
    u_reference_relative: float = 0.0,
    calibrated: date | None = None,
    json: bool = False,
) -> None:
    """Fit a channel's scale and offset from reference readings: a straight line with uncertainty and residuals.

    Parameters
    ----------
    file
        CSV with the columns reference,reading: what the reference meter showed, what the channel read in file units.
    channel
        What is calibrated, ROLE=INPUT or ROLE:OUTPUT=INPUT, for the table to paste into the bench file.
    u_reference
        Standard uncertainty of the reference that all its readings share (its zero), in its unit.
    u_reference_relative
        Relative standard uncertainty of the reference meter's own scale.
    calibrated
        Day of the calibration; today when left out.
    json
        Print one JSON object instead.
    """
    found = tasks.bench_calibrate(
        file,
        channel=channel,
        u_reference=u_reference,
        u_reference_relative=u_reference_relative,
        calibrated=calibrated,
    )
    print(found.model_dump_json(indent=2) if json else found.text)


def session_new(
    amplifier: Path, bench: Path, /, *, archive: Path | None = None, started: date | None = None, note: str = "",
    json: bool = False,
) -> None:  # fmt: skip
    """Begin a session: the amplifier and the bench are kept as they are now.

    Parameters
    ----------
    amplifier
        amplifier.toml of what is under test.
    bench
        bench.toml of what is on the table.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    started
        Day of the bench day; today when left out.
    note
        A line to remember it by.
    json
        Print one JSON object instead.
    """
    made = tasks.session_new(amplifier, bench, archive=archive, started=started, note=note)
    print(made.model_dump_json(indent=2) if json else f"Session {made.session}\n  in {made.folder}")


def session_add(
    session: str, files: list[Path], /, *, archive: Path | None = None, step: str | None = None,
    wishes: Annotated[tasks.Wishes, Measuring] = tasks.Wishes(),  # noqa: B008
    answers: Annotated[tasks.FileAnswers, Unsaid] = tasks.FileAnswers(),  # noqa: B008
    json: bool = False,
) -> None:  # fmt: skip
    """Keep captures in a session, byte for byte, with what they were taken to be.

    Parameters
    ----------
    session
        Name of the session, or a part of it that no other session has.
    files
        The captures.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    step
        What the capture is of, in a few words: "ramp 4 ohm".
    json
        Print one JSON object instead.
    """
    kept = tasks.session_add(session, files, archive=archive, step=step, wishes=wishes, answers=answers)
    if json:
        print(kept.model_dump_json(indent=2))
        return
    for line in kept.lines():
        print(line)


def session_figures(
    session: str, /, *, archive: Path | None = None, again: bool = False, html: Path | None = None,
    csv: Path | None = None, budget: bool = False, json: bool = False,
) -> None:  # fmt: skip
    """Measure a session's captures and give the figures.

    Parameters
    ----------
    session
        Name of the session, or a part of it that no other session has.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    again
        Measure again even if nothing has changed since.
    html
        Also write a page with charts to this file.
    csv
        Also write the figures as a table for a spreadsheet to this file.
    budget
        Show what each uncertainty is made of.
    json
        Print one JSON object instead of a table.
    """
    found = tasks.session_figures(session, archive=archive, again=again, html=html, csv=csv, tell=progress())
    if json:
        print(found.to_json())
        return
    print(found.budgets() if budget else found.table())
    show_notices(found.captures)
    saved(html, csv)


def session_list(*, archive: Path | None = None, json: bool = False) -> None:
    """List the sessions of the archive.

    Parameters
    ----------
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    json
        Print one JSON object instead.
    """
    found = tasks.session_list(archive=archive)
    print(found.model_dump_json(indent=2) if json else show_sessions(found))


def archive_index(*, archive: Path | None = None, json: bool = False) -> None:
    """Make the archive's index again from its folders: the folders are the truth, the index only speeds up searching.

    Parameters
    ----------
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    json
        Print one JSON object instead.
    """
    made = tasks.archive_index(archive=archive)
    print(
        made.model_dump_json(indent=2)
        if json
        else f"Indexed in {made.folder}: sessions {made.sessions}, figures {made.figures}"
    )


def schema(name: str | None = None, /) -> None:
    """Print the JSON Schema of an answer or of a file you write.

    Parameters
    ----------
    name
        One of read, measure, plausible, plan, run, event, bench-check, bench-floor, calibrate, sessions, model,
        predict, judge, compare, report, picture, overlay, pack, verify, amplifier, bench, reading, words,
        export, export-index, export-capture, site, site-index; all of them are listed when left out.
    """
    print(tasks.schema(name))


def demo(*, folder: Path | None = None, samples_only: bool = False, json: bool = False) -> None:
    """Run the whole job: captures kept, measured, published; then five bench days on a simulated bench.

    Parameters
    ----------
    folder
        Where to put samples, archive and pages; ./demo-output when left out.
    samples_only
        Leave the bench days out: a few seconds instead of a minute or two.
    json
        Print one JSON object instead.
    """
    shown = tasks.demo(folder=folder, samples_only=samples_only, tell=None if json else print)
    if json:
        print(shown.model_dump_json(indent=2))
