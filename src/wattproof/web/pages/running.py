"""Run: begin a bench day, watch it live, answer what it asks, stop it, go on with it."""

import asyncio
import json
from contextlib import suppress
from pathlib import Path
from time import monotonic
from typing import Any

from fastapi import APIRouter, Request, WebSocket, WebSocketDisconnect
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from wattproof import tasks
from wattproof.errors import RefusedError, WattproofError
from wattproof.tasks import BegunRun
from wattproof.web.desk import Desk
from wattproof.web.forms import Form, TheDesk, text_in, whole, whole_in
from wattproof.web.pages.sheets import show_sheet
from wattproof.web.watching import Page, WatchedRun

router = APIRouter(include_in_schema=False)

APPEARS_S = 60.0
"""A run must have opened its window within this, seconds."""

LEAVE_S = 10.0
LONGEST_WORD = 8192
MOST_LISTED = 20


@router.get("/run")
def runs(request: Request, desk: TheDesk) -> Response:
    """Show what is running, and what can be begun or gone on with."""
    papers = tasks.paper_list(archive=desk.settings.archive).papers
    return desk.page(
        request,
        "runs.html.j2",
        here="run",
        title="Run",
        running=[address.session for address in desk.place.running()],
        sessions=desk.place.recent_sessions(MOST_LISTED),
        sheets=[paper.name for paper in papers if paper.kind == "sheet"],
    )


@router.post("/run/begin")
async def begin(request: Request, desk: TheDesk, form: Form) -> Response:
    """Begin a run, or go on with one; then show it.

    Fields: ``amplifier``, ``bench``, ``sheet`` (names of papers) or ``session``; ``sheet_state``; ``answer-CODE``;
    ``skip`` (numbers); ``clear_trip``; ``note``; ``leave`` (stop the drive when no page is open). What cannot begin is
    told on the page that asked, with all that was typed.
    """
    try:
        begun = await asyncio.to_thread(_begun, desk, form)
        session = await _appeared(begun)
    except WattproofError as error:
        return await _asked_again(request, desk, form, error)
    run = await desk.watching.find(session)
    if run is not None and text_in(form, "leave"):
        run.leave_after(LEAVE_S)
    return desk.go(f"/run/{session}", kept=True)


def _begun(desk: Desk, form: FormData) -> BegunRun:
    """Take the papers as they are now, but the sheet as it was seen; the answers are the form's."""
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
        sheet=_paper(desk, "sheet", sheet, whole_in(form, "sheet_state")) if sheet else None,
        answers=answers,
        skip=[number for number in map(whole, text_in(form, "skip").replace(",", " ").split()) if number is not None],
        clear_trip=text_in(form, "clear_trip") or None,
        note=text_in(form, "note"),
    )


def _paper(desk: Desk, kind: str, name: str, number: int | None = None) -> Path:
    return tasks.paper_show(kind, name, number=number, archive=desk.settings.archive).file


async def _asked_again(request: Request, desk: Desk, form: FormData, error: WattproofError) -> Response:
    """Show the page that asked once more, with the fault and all that was typed."""
    sheet, session = text_in(form, "sheet"), text_in(form, "session")
    with suppress(WattproofError):
        if sheet:
            return await asyncio.to_thread(show_sheet, request, desk, sheet, typed=form, fault=error)
        if session:
            return await _shown(request, desk, session, typed=form, fault=error)
    raise error


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
    """Show a run as it goes; of one that is over, what it found and how to go on."""
    return await _shown(request, desk, session)


async def _shown(
    request: Request,
    desk: Desk,
    session: str,
    *,
    typed: FormData | None = None,
    fault: WattproofError | None = None,
) -> Response:
    run = await desk.watching.find(session)
    past = await asyncio.to_thread(desk.place.past_run, session)
    far: dict[str, Any] = {} if run is None else await run.so_far()
    said: FormData | dict[str, str] = typed or {}
    return desk.page(
        request, "run.html.j2", status=200 if fault is None else 422, here="run", title=f"Run · {session}",
        session=session, going=run is not None, past=past, last=far.get("last", {}), said=said, fault=fault,
    )  # fmt: skip


@router.post("/run/{session}/stop")
async def stop(desk: TheDesk, session: str, form: Form) -> Response:  # noqa: ARG001  (it is checked)
    """Stop the drive, also from a browser without scripts."""
    run = await desk.watching.find(session)
    if run is not None:
        run.stop()
    return RedirectResponse(f"/run/{session}", 303)


@router.post("/run/{session}/answer")
async def answer(desk: TheDesk, session: str, form: Form) -> Response:
    """Answer what the run asks, from a browser without scripts; a page that holds the controls goes before."""
    run, number = await desk.watching.find(session), whole_in(form, "id")
    if run is not None and run.holder is None and number is not None:
        run.answer(number, text_in(form, "text"))
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
