"""What a session's run has come to, read from the archive: for a page that opens when nothing runs any more."""

from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, ConfigDict

from wattproof.errors import ArchiveError
from wattproof.measure import CaptureResult
from wattproof.plan import RunSheet, Step
from wattproof.tasks.ran import FigureRan, StepRan

if TYPE_CHECKING:
    from wattproof.archive import Archive, Session


class _Answer(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class PastStep(_Answer):
    """A step of the sheet and how it ended; no state where it has not ended yet."""

    number: int
    name: str
    kind: str
    state: Literal["", "done", "failed", "skipped", "stopped"] = ""
    why: str = ""
    found: tuple[str, ...] = ()


class PastTrip(_Answer):
    """The guard's last stop that nobody has cleared."""

    code: str
    message: str
    why: str
    hint: str


class RunPast(_Answer):
    """How far a session's run has come."""

    session: str
    amplifier: str
    bench: str
    simulated: bool
    steps: tuple[PastStep, ...]
    state: str
    left: int
    trip: PastTrip | None = None


def recent_sessions(store: "Archive", most: int) -> tuple[str, ...]:
    """Give the names of the newest sessions, the newest first; none of them is opened."""
    if not store.root.is_dir():
        return ()
    names = (entry.name for entry in store.root.iterdir() if (entry / "session.json").is_file())
    return tuple(sorted(names, reverse=True)[:most])


def need_session(store: "Archive", name: str) -> None:
    """Refuse a name that is no session's of this archive: what a page is asked for is never taken for a path.

    Raises
    ------
    ArchiveError
        There is none.
    """
    if name.startswith(".") or name not in {entry.name for entry in store.root.glob("*")}:
        raise ArchiveError(
            f"There is no session {name[:80]}.",
            why="no folder of the archive has this name",
            hint="Choose one of those listed under Run or Findings.",
        )


def run_past(store: "Archive", name: str) -> RunPast:
    """Read how far a session's run has come.

    Raises
    ------
    ArchiveError
        There is no such session, or a file of it is damaged.
    """
    need_session(store, name)
    session = store.open_session(name)
    sheet, journal = store.run_sheet(session), store.journal(session)
    ended = {line["number"]: line for line in journal if line.get("did") == "step-ended"}
    results = _results(store, session)
    steps = tuple(_step(step, ended.get(step.number), results) for step in _steps(sheet))
    over = [line for line in journal if line.get("did") in {"run-begun", "run-ended"}]
    latched = store.latched(session)
    rig = session.bench.rig
    return RunPast(
        session=session.id,
        amplifier=f"{session.amplifier.maker} {session.amplifier.model}",
        bench=session.bench.name,
        simulated=rig is not None and rig.kind == "simulated",
        steps=steps,
        state=str(over[-1].get("state", "cut off")) if over else "",
        left=sum(step.state not in {"done", "skipped", "stopped"} for step in steps),
        trip=None if latched is None else PastTrip(**{key: str(latched.get(key, "")) for key in PastTrip.model_fields}),
    )


def _steps(sheet: RunSheet | None) -> tuple[Step, ...]:
    return () if sheet is None else sheet.steps


def _results(store: "Archive", session: "Session") -> dict[int, CaptureResult]:
    stored = store.read_figures(session)
    if stored is None:
        return {}
    return {capture.number: capture.results[0] for capture in stored.captures if capture.results}


def _step(step: Step, ended: dict[str, object] | None, results: dict[int, CaptureResult]) -> PastStep:
    if ended is None or ended.get("name") != step.name:
        return PastStep(number=step.number, name=step.name, kind=step.kind)
    state, capture = ended["state"], ended.get("capture")
    result = results.get(capture) if isinstance(capture, int) else None
    return PastStep(
        number=step.number,
        name=step.name,
        kind=step.kind,
        state=state,
        why=str(ended.get("why", "")),
        found=() if result is None or state != "done" else _found(step, result),
    )


def _found(step: Step, result: CaptureResult) -> tuple[str, ...]:
    from wattproof.run import leading_figures

    figures = tuple(FigureRan.model_validate(one.model_dump()) for one in leading_figures(result, step.kind))
    return tuple(StepRan(number=step.number, name=step.name, state="done", figures=figures).found())
