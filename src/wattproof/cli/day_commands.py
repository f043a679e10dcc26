"""The commands of a bench day: what they are told goes to the task, what it tells goes to the terminal."""

import sys
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from wattproof import tasks
from wattproof.cli.asking import TerminalOperator, somebody
from wattproof.cli.day_view import JsonLines, MovingView, PlainView
from wattproof.cli.show import progress, saved

Wished = Parameter(name="*", group="What the day is to hold")


def plan(
    amplifier: Path,
    bench: Path,
    /,
    *,
    wishes: Annotated[tasks.SheetWishes, Wished] = tasks.SheetWishes(),  # noqa: B008  (frozen)
    html: Path | None = None,
    json: bool = False,
) -> None:
    """Plan a bench day: steps, currents, heat and rests, what must be answered first, and what the bench can judge.

    Parameters
    ----------
    amplifier
        amplifier.toml of what is to be measured.
    bench
        bench.toml of what is on the table.
    html
        Also write a page to print and take to the bench.
    json
        Print the run sheet as one JSON object instead; wattproof run takes it back with --sheet.
    """
    planned = tasks.plan(amplifier, bench, wishes=wishes, html=html)
    print(planned.to_json() if json else planned.table())
    saved(html)


def bench_check(bench: Path, /, *, json: bool = False) -> None:
    """Speak to each part of the rig: recorder, supply, load, meters; tell all that fails together.

    Parameters
    ----------
    bench
        bench.toml with a [rig].
    json
        Print one JSON object instead.
    """
    found = tasks.bench_check(bench, operator=TerminalOperator() if somebody() else None)
    print(found.to_json() if json else found.text())
    if found.failed:
        sys.exit(2)


def bench_floor(
    bench: Path,
    /,
    *,
    seconds: float = 5.0,
    tone_hz: float = 997.0,
    level_v_rms: float | None = None,
    wired: bool = False,
    json: bool = False,
) -> None:
    """Measure the recorder's own noise, with nothing driven, and its distortion, with a tone looped back.

    Parameters
    ----------
    bench
        bench.toml with a [rig].
    seconds
        Length of each of the two captures.
    tone_hz
        The tone that is looped back.
    level_v_rms
        Its level at the generator's output; half of its full scale when left out.
    wired
        The loop-back is wired and the amplifier disconnected: nobody needs to be asked.
    json
        Print one JSON object instead.
    """
    found = tasks.bench_floor(
        bench,
        seconds=seconds,
        tone_hz=tone_hz,
        level_v_rms=level_v_rms,
        wired=wired,
        operator=TerminalOperator() if somebody() else None,
        tell=progress(),
    )
    print(found.to_json() if json else found.table())


def run(
    amplifier: Path | None = None,
    bench: Path | None = None,
    /,
    *,
    session: str | None = None,
    archive: Path | None = None,
    sheet: Path | None = None,
    wishes: Annotated[tasks.SheetWishes, Wished] = tasks.SheetWishes(),  # noqa: B008  (frozen)
    answer: tuple[str, ...] = (),
    clear_trip: str | None = None,
    skip: tuple[int, ...] = (),
    note: str = "",
    html: Path | None = None,
    window: bool = False,
    json_lines: bool = False,
    json: bool = False,
) -> None:
    """Carry out a bench day: drive, record, watch, measure; or go on with one that was interrupted.

    Software is no substitute for a hardware stop that cuts drive and supply. Ctrl-C fades the drive out.

    Parameters
    ----------
    amplifier
        amplifier.toml of what is under test.
    bench
        bench.toml with a [rig]: what plays, records, feeds and loads.
    session
        Go on with this session instead: its name, or a part of it that no other has.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    sheet
        An edited run sheet, as wattproof plan --json writes it.
    answer
        Answer to one of the sheet's questions, CODE=WORDS: --answer hardware-stop=yes
    clear_trip
        What was found at the bench after the guard's last trip, and done about it.
    skip
        Number of a step to pass over.
    note
        A line to remember a new session by.
    html
        Also write a page with charts to this file.
    window
        Let the workbench on this machine watch the run, answer its questions and stop it.
    json_lines
        Print every event of the run as one JSON object a line, for programs.
    json
        Print one JSON object at the end instead of a table.
    """
    view = _view(json_lines=json_lines)
    operator = TerminalOperator(view.aside) if somebody() and not json_lines else None
    with view.running():
        ran = tasks.run(
            amplifier,
            bench,
            session=session,
            archive=archive,
            sheet=sheet,
            wishes=wishes,
            answer=answer,
            clear_trip=clear_trip,
            skip=skip,
            note=note,
            html=html,
            operator=operator,
            tell=view,
            window=window,
        )
    if json_lines:
        return
    print(ran.to_json() if json else ran.table())
    saved(html)


def _view(*, json_lines: bool) -> MovingView | PlainView | JsonLines:
    if json_lines:
        return JsonLines()
    if not sys.stderr.isatty():
        return PlainView()
    from rich.console import Console

    return MovingView(Console(stderr=True))
