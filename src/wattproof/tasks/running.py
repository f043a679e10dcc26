"""`run`: a bench day carried out, from the run sheet to the figures."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wattproof.amplifier import Amplifier, parse_amplifier
from wattproof.bench import Bench, parse_bench
from wattproof.capture import Operator, PartCheck, open_rig
from wattproof.errors import GuardTripError, RefusedError, RigError, SettingsError
from wattproof.measure import CaptureResult
from wattproof.plan import RunSheet, SheetWishes, make_run_sheet, recheck
from wattproof.run import Carried, Event, StopButton, carry_out
from wattproof.tasks.asking import answers_said, asked, refuse
from wattproof.tasks.files import refuse_overwriting, text_of
from wattproof.tasks.measured import Measured
from wattproof.tasks.measuring import measure_items
from wattproof.tasks.ran import Ran, StepRan
from wattproof.tasks.sessions import item_of, measure_session
from wattproof.tasks.shown import Shown

if TYPE_CHECKING:
    from wattproof.archive import Archive, CaptureRecord, Session


@dataclass(frozen=True, kw_only=True)
class _Day:
    """What a run begins with: a new session's papers, or those of one that is taken up again."""

    amplifier: Amplifier
    bench: Bench
    sheet: RunSheet
    answers: dict[str, str]
    folder: Path
    files: tuple[Path, Path] | None = None
    session: "Session | None" = None


def run(
    amplifier: Path | None = None,
    bench: Path | None = None,
    *,
    session: str | None = None,
    archive: Path | None = None,
    sheet: Path | None = None,
    wishes: SheetWishes | None = None,
    answer: Sequence[str] = (),
    clear_trip: str | None = None,
    skip: Sequence[int] = (),
    note: str = "",
    html: Path | None = None,
    operator: Operator | None = None,
    tell: Callable[[Event], None] | None = None,
    button: StopButton | None = None,
    window: bool = False,
) -> Ran:
    """Carry out a bench day: drive, record, watch, measure; or go on with one that was interrupted.

    Parameters
    ----------
    amplifier, bench : Path or None
        amplifier.toml and bench.toml with a [rig]; left out to go on with a session.
    session : str or None
        Go on with this session: its name, or a part of it that no other has.
    archive : Path or None
        Folder of the archive.
    sheet : Path or None
        An edited run sheet, as `plan` writes it; made from the two files when left out.
    wishes : SheetWishes or None
        What the day is to hold.
    answer : sequence of str
        Answers to the sheet's questions, each CODE=WORDS.
    clear_trip : str or None
        What was found at the bench after the guard's last trip, and done about it; only then the run goes on.
    skip : sequence of int
        Numbers of steps to pass over.
    note : str
        A line to remember a new session by.
    html : Path or None
        Also write a page with charts.
    operator : Operator or None
        Who is asked; None asks nobody.
    tell : callable or None
        Gets every event of the run.
    button : StopButton or None
        Something beside Ctrl-C to stop the run with.
    window : bool
        Let the workbench on this machine watch the run, answer its questions and stop it.

    Raises
    ------
    RefusedError
        A check refuses the run, or a question is open.
    GuardTripError
        The guard has stopped the drive, or an earlier trip is not cleared.
    KeyboardInterrupt
        A person has stopped the run.
    BenchError
        A part of the bench does not answer.
    InputError, ArchiveError
        A file is wrong; the disk refuses.
    """
    from wattproof.archive import Archive, default_root

    refuse_overwriting((html,), given=(amplifier, bench, sheet))
    store = Archive(archive or default_root())
    if session is not None:
        day = _taken_up(store, session, amplifier, bench, sheet, answer)
    else:
        day = _begun(amplifier, bench, sheet, wishes, answer)
    _need_steps(skip, day.sheet)
    said = asked(day.sheet, day.answers, operator)
    refuse(day.sheet, said)
    place = day.session or _new_session(store, day, note)
    shown = Shown(window=window, tell=tell, operator=operator, button=button)
    heard, operator = _Heard(shown.tell), shown.operator
    with store.conducting(place), shown.opened(store, place):
        store.keep_run_sheet(place, day.sheet)
        store.keep_answers(place, {code: text for code, text in said.items() if store.answers(place).get(code) != text})
        _clear(store, place, clear_trip, operator)
        carried = _conducted(store, place, day, heard, shown=shown, skip=skip)
        stored = measure_session(store, place, None, known=carried.results)
    measured = Measured(captures=tuple(stored.results))
    title = f"{day.amplifier.maker} {day.amplifier.model}"
    measured.write(html=html, csv=None, bench=day.bench, amplifier=day.amplifier, title=title)
    return heard.answer(place, carried, figures=sum(len(result.figures) for result in stored.results))


def _begun(
    amplifier: Path | None, bench: Path | None, sheet: Path | None, wishes: SheetWishes | None, answers: Sequence[str]
) -> _Day:
    if amplifier is None or bench is None:
        raise SettingsError(
            "A run needs an amplifier file and a bench file, or a session to go on with.",
            why="neither was given" if amplifier is None and bench is None else "only one of the files was given",
            hint="Write: wattproof run amplifier.toml bench.toml, or: wattproof run --session NAME",
        )
    thing = parse_amplifier(text_of(amplifier), file=amplifier.name)
    table = parse_bench(text_of(bench), file=bench.name)
    _need_rig(table, bench.name)
    today = date.today()  # noqa: DTZ011  (the day on the wall of the workshop)
    planned = (
        make_run_sheet(thing, table, wishes=wishes, day=today)
        if sheet is None
        else recheck(_edited(sheet), thing, table, day=today)
    )
    said = answers_said(answers, planned)
    return _Day(
        amplifier=thing, bench=table, sheet=planned, answers=said, folder=bench.parent, files=(amplifier, bench)
    )


def _taken_up(
    store: "Archive",
    session: str,
    amplifier: Path | None,
    bench: Path | None,
    sheet: Path | None,
    answers: Sequence[str],
) -> _Day:
    found = store.open_session(session)
    if amplifier is not None and parse_amplifier(text_of(amplifier), file=amplifier.name) != found.amplifier:
        raise _another("amplifier", amplifier, found.id)
    if bench is not None and parse_bench(text_of(bench), file=bench.name) != found.bench:
        raise _another("bench", bench, found.id)
    _need_rig(found.bench, "bench.toml")
    today = date.today()  # noqa: DTZ011
    planned = store.run_sheet(found)
    if sheet is not None:
        planned = recheck(_edited(sheet), found.amplifier, found.bench, day=today)
    if planned is None:
        raise RefusedError(
            f"Session {found.id} has no run sheet to go on with.",
            why="it was begun by hand, not by a run",
            hint="Begin a run: wattproof run amplifier.toml bench.toml, or give a sheet with --sheet.",
        )
    said = {**store.answers(found), **answers_said(answers, planned)}
    folder = found.folder if bench is None else bench.parent
    return _Day(
        amplifier=found.amplifier, bench=_as_written(found), sheet=planned, answers=said, folder=folder, session=found
    )


def _as_written(session: "Session") -> Bench:
    """Give the bench of the file that was kept: what a person left out of it is not the same as what stands there."""
    kept = session.folder / "bench.toml"
    return parse_bench(text_of(kept), file=kept.name) if kept.is_file() else session.bench


def _another(what: str, path: Path, session: str) -> RefusedError:
    return RefusedError(
        f"{path.name} is not the {what} that session {session} began with.",
        why="a session keeps one amplifier on one bench, so that its figures belong together",
        hint="Begin a new run with the changed file, or leave the file out.",
    )


def _need_rig(bench: Bench, file: str) -> None:
    if bench.rig is None:
        raise RefusedError(
            "This bench has nothing that plays and records.",
            why=f"{file} has no [rig]",
            hint='Add a [rig] with kind = "audio", or kind = "simulated" to try it without hardware.',
        )


def _need_steps(numbers: Sequence[int], sheet: RunSheet) -> None:
    known = {step.number for step in sheet.steps}
    unknown = sorted(set(numbers) - known)
    if unknown:
        raise SettingsError(
            f"There is no step {unknown[0]} to pass over.",
            why=f"the sheet's steps are {min(known)} to {max(known)}" if known else "the sheet has no steps",
            hint="Look up the number with: wattproof plan amplifier.toml bench.toml",
        )


def _edited(path: Path) -> RunSheet:
    from pydantic import ValidationError

    try:
        return RunSheet.model_validate_json(text_of(path))
    except ValidationError as error:
        first = error.errors()[0]
        raise SettingsError(
            f"{path.name} is no run sheet.",
            why=f"{'.'.join(str(part) for part in first['loc']) or 'the file'}: {first['msg']}",
            hint="Write one with: wattproof plan amplifier.toml bench.toml --json > sheet.json, then edit it.",
        ) from error


def _new_session(store: "Archive", day: _Day, note: str) -> "Session":
    amplifier, bench = day.files or (None, None)
    return store.new_session(
        amplifier=day.amplifier,
        bench=day.bench,
        amplifier_toml=None if amplifier is None else amplifier.read_bytes(),
        bench_toml=None if bench is None else bench.read_bytes(),
        started=datetime.now().astimezone(),
        note=note,
    )


def _clear(store: "Archive", session: "Session", words: str | None, operator: Operator | None) -> None:
    """Clear what is latched, by words that were given or are asked for; refuse to go on without."""
    latched = store.latched(session)
    if latched is None:
        return
    if words is None and operator is not None:
        words = operator.choose(
            f"The guard stopped this session: {latched['message']} What did you find, and what did you do about it?", ()
        )
    if not (words or "").strip():
        raise GuardTripError(
            "The guard stopped this session, and nobody has cleared it.",
            why=str(latched["message"]),
            hint=f'{latched.get("hint", "")} Then say it: --clear-trip "what you found and did"'.strip(),
        )
    store.clear_trip(session, words or "")


def _conducted(
    store: "Archive",
    session: "Session",
    day: _Day,
    heard: "_Heard",
    *,
    shown: Shown,
    skip: Sequence[int],
) -> Carried:
    known: list[CaptureResult] = []

    def figures(place: "Session", record: "CaptureRecord") -> CaptureResult:
        item = item_of(store, place, record)
        [[result]] = measure_items([item], bench=day.bench, amplifier=day.amplifier, beside=known)
        known.append(result)
        return result

    rig = open_rig(day.bench, operator=shown.operator, folder=day.folder)
    try:
        _need_good(rig.check())
        return carry_out(
            day.sheet, rig, store, session, figures=figures, tell=heard,
            operator=shown.operator, button=shown.button, skip=skip, traced=shown.window is not None,
        )  # fmt: skip
    finally:
        rig.close()


def _need_good(check: PartCheck) -> None:
    if check.state != "failed":
        return
    failed = [part for part in check.inside if part.state == "failed"] or [check]
    raise RigError(
        "A part of the bench does not work.",
        why="\n".join(f"{part.part}: {part.why or part.said}" for part in failed),
        hint="\n".join(part.hint for part in failed if part.hint) or "wattproof bench check BENCH tells more.",
    )


@dataclass
class _Heard:
    """Hands events on and remembers what the answer is made of."""

    tell: Callable[[Event], None] | None
    steps: list[StepRan] = field(default_factory=list)
    costs: dict[str, Any] = field(default_factory=dict)

    def __call__(self, event: "Event") -> None:
        if event.event == "step-ended":
            self.steps.append(StepRan.model_validate(event.model_dump(include=set(StepRan.model_fields))))
        if event.event == "run-ended":
            names = {"full_power_s", "energy_j", "stepping_full_power_s", "stepping_energy_j"}
            self.costs = event.model_dump(include=names)
        if self.tell is not None:
            self.tell(event)

    def answer(self, session: "Session", carried: Carried, *, figures: int) -> Ran:
        return Ran(
            session=session.id,
            folder=session.folder,
            state="complete" if carried.state == "complete" else "interrupted",
            done=carried.done,
            left=carried.left,
            steps=tuple(self.steps),
            figures=figures,
            **self.costs,
        )
