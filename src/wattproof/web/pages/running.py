"""Run: begin a bench day, watch it live, answer what it asks, stop it."""

import asyncio
import json
from contextlib import suppress
from pathlib import Path
from time import monotonic

from fastapi import APIRouter, HTTPException, Request, WebSocket, WebSocketDisconnect
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from wattproof import tasks
from wattproof.errors import RefusedError
from wattproof.tasks import BegunRun
from wattproof.web.desk import Desk
from wattproof.web.forms import Form, TheDesk, text_in
from wattproof.web.watching import Page, WatchedRun

router = APIRouter(include_in_schema=False)

APPEARS_S = 60.0
"""A run must have opened its window within this, seconds."""

LEAVE_S = 10.0
LONGEST_WORD = 8192


@router.get("/run")
def runs(request: Request, desk: TheDesk) -> Response:
    """Show what is running, and what can be begun or gone on with."""
    return desk.page(
        request,
        "runs.html.j2",
        here="run",
        title="Run",
        running=[address.session for address in desk.place.running()],
        sessions=tasks.session_list(archive=desk.settings.archive).sessions[::-1][:20],
        papers=tasks.paper_list(archive=desk.settings.archive).papers,
    )


@router.post("/run/begin")
async def begin(desk: TheDesk, form: Form) -> Response:
    """Begin a run, or go on with one; then show it.

    Fields: ``amplifier``, ``bench``, ``sheet`` (names of papers) or ``session``; ``answer-CODE``; ``skip`` (numbers);
    ``clear_trip``; ``note``; ``leave`` (stop the drive when no page is open).
    """
    begun = await asyncio.to_thread(_begun, desk, form)
    session = await _appeared(begun)
    run = await desk.watching.find(session)
    if run is not None and text_in(form, "leave"):
        run.leave_after(LEAVE_S)
    return desk.go(f"/run/{session}", kept=True)


def _begun(desk: Desk, form: FormData) -> BegunRun:
    """Take the papers as they are now; the answers are the form's."""
    answers = [
        f"{name.removeprefix('answer-')}={value.strip()}"
        for name, value in form.multi_items()
        if name.startswith("answer-") and isinstance(value, str) and value.strip()
    ]
    session = text_in(form, "session")
    files = [] if session else [_paper(desk, kind, text_in(form, kind)) for kind in ("amplifier", "bench")]
    sheet = text_in(form, "sheet")
    return desk.place.begin_run(
        files=files,
        session=session or None,
        sheet=_paper(desk, "sheet", sheet) if sheet else None,
        answers=answers,
        skip=[int(number) for number in text_in(form, "skip").replace(",", " ").split() if number.isdecimal()],
        clear_trip=text_in(form, "clear_trip") or None,
        note=text_in(form, "note"),
    )


def _paper(desk: Desk, kind: str, name: str) -> Path:
    return tasks.paper_show(kind, name, archive=desk.settings.archive).file


async def _appeared(begun: BegunRun) -> str:
    """Wait until the run can be watched; what it says instead is shown as any error."""
    until_s = monotonic() + APPEARS_S
    while monotonic() < until_s:
        address = await asyncio.to_thread(begun.window)
        if address is not None:
            return address.session
        if begun.over:
            break
        await asyncio.sleep(0.05)
    raise RefusedError(
        "The run cannot be watched." if not begun.over else "The run was over before it could be watched.",
        why=f"it opened no window within {APPEARS_S:.0f} s" if not begun.over else "all of its steps were done before",
        hint="Look at its session under Findings.",
    )


@router.get("/run/{session}")
async def live(request: Request, desk: TheDesk, session: str) -> Response:
    """Show a run as it goes; one that is over leads to its findings."""
    run = await desk.watching.find(session)
    if run is None:
        raise HTTPException(404, f"No run of {session} is going on.")
    return desk.page(request, "run.html.j2", here="run", title=f"Run · {session}", session=session)


@router.post("/run/{session}/stop")
async def stop(desk: TheDesk, session: str, form: Form) -> Response:  # noqa: ARG001  (it is checked)
    """Stop the drive, also from a browser without scripts."""
    run = await desk.watching.find(session)
    if run is not None:
        run.stop()
    return RedirectResponse(f"/run/{session}", 303)


@router.websocket("/run/{session}/live")
async def watch(socket: WebSocket, session: str) -> None:
    """Hand a run's events to a page as they come, and the page's words to the run."""
    desk: Desk = socket.app.state.desk
    run = await desk.watching.find(session)
    await socket.accept()
    if run is None:
        await socket.send_text(json.dumps({"event": "window-closed"}))
        await socket.close()
        return
    page = await run.join()
    listening = asyncio.create_task(_listen(socket, run, page))
    try:
        while (text := await page.queue.get()) is not None:
            await socket.send_text(text)
        await socket.close()
    except (WebSocketDisconnect, RuntimeError):
        pass
    finally:
        listening.cancel()
        run.leave(page)


async def _listen(socket: WebSocket, run: WatchedRun, page: Page) -> None:
    with suppress(WebSocketDisconnect, RuntimeError):
        while True:
            text = await socket.receive_text()
            if len(text) > LONGEST_WORD:
                continue
            with suppress(ValueError):
                said = json.loads(text)
                if isinstance(said, dict):
                    run.hear(page, said)
    run.send_away(page)
