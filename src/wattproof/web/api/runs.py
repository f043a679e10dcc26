"""Runs for scripts: which go on, how far one has come, begin one, stop one."""

from collections.abc import Sequence
from pathlib import Path
from time import monotonic, sleep
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query
from pydantic import BaseModel, ConfigDict

from wattproof import tasks
from wattproof.errors import RefusedError
from wattproof.tasks import BegunRun, RunPast, SheetWishes, Workbench
from wattproof.web.api.asking import Text
from wattproof.web.api.carrying import FAULTS, may
from wattproof.web.forms import TheDesk

router = APIRouter(prefix="/api/run", responses=FAULTS)

APPEARS_S = 60.0
"""A run must have opened its window within this, seconds."""

Session = Annotated[Text, Query(description="name of the session, or a part of it that no other session has")]


class RunBegan(BaseModel):
    """A run that goes on in a process of its own."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    session: str


class RunsListed(BaseModel):
    """The sessions whose runs go on now."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    running: tuple[str, ...]


@router.get("/list", operation_id="run_list")
def listed(desk: TheDesk) -> RunsListed:
    """List the runs that go on."""
    return RunsListed(running=tuple(address.session for address in desk.place.running()))


@router.get("/state", operation_id="run_state")
def state(desk: TheDesk, session: Session) -> RunPast:
    """Tell how far a session's run has come, step by step, and what has stopped it."""
    return desk.place.past_run(session)


@router.post("/stop", operation_id="run_stop", dependencies=[Depends(may)])
async def stop(desk: TheDesk, session: Session) -> RunsListed:
    """Fade the drive out and end the run.

    It is no hardware stop: have one that cuts drive and supply within reach.
    """
    run = await desk.watching.find(session)
    if run is None:
        raise RefusedError(
            f"No run of {session} goes on here.",
            why="no process says that it carries it out",
            hint="GET /api/run/list tells the whole names of those that go on.",
        )
    run.stop()
    return RunsListed(running=tuple(address.session for address in desk.place.running()))


def begin_run(
    amplifier: Path | None = None,
    bench: Path | None = None,
    *,
    archive: Path,
    wishes: SheetWishes,
    sheet: Path | None = None,
    answer: Sequence[str] = (),
    **words: Any,  # noqa: ANN401  (session, skip, clear_trip, note: as the task takes them)
) -> RunBegan:
    """Begin a run as the command does, but in a process of its own, and give the session that it is of.

    Raises
    ------
    WattproofError
        It may not begin, or cannot.
    """
    if amplifier is not None and bench is not None and sheet is None and wishes != SheetWishes():
        sheet = amplifier.with_name("sheet.json")
        sheet.write_text(tasks.plan(amplifier, bench, wishes=wishes).to_json(), encoding="utf-8")
    files = [file for file in (amplifier, bench) if file is not None]
    return RunBegan(session=_appeared(Workbench(archive).begin_run(files=files, sheet=sheet, answers=answer, **words)))


def _appeared(begun: BegunRun) -> str:
    """Wait until the run can be watched; by then it has read its files."""
    until_s = monotonic() + APPEARS_S
    while monotonic() < until_s and not begun.over:
        address = begun.window()
        if address is not None:
            return address.session
        sleep(0.05)
    address = begun.window()  # its reason, if it ended with one
    if address is not None:
        return address.session
    raise RefusedError(
        "The run cannot be watched.",
        why="it opened no window, or was over before anybody could look",
        hint="GET /api/session/list tells its session; GET /api/run/state how far it came.",
    )
