"""Findings: what a session shows, measured, judged and fitted; its model to play with; its captures and which count."""

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from wattproof import tasks
from wattproof.errors import SettingsError, WattproofError
from wattproof.tasks import Findings, ForeseenShown, OverviewLine, SessionSeen
from wattproof.web.desk import Desk
from wattproof.web.forms import Form, TheDesk, text_in
from wattproof.web.jobs import Job, Tell

router = APIRouter(include_in_schema=False)

MOST_LISTED = 100_000
PER_PAGE = 50


@router.get("/findings")
def sessions(request: Request, desk: TheDesk, q: str = "", page: int = 1) -> Response:
    """List the sessions, newest first."""
    listed = list_sessions(desk, q, page)
    return desk.page(request, "findings.html.j2", here="findings", title="Findings", listed=listed, q=q)


@dataclass(frozen=True, kw_only=True)
class Listed:
    """A page of the sessions: each name with what the index tells of it, which may be nothing yet."""

    rows: tuple[tuple[str, OverviewLine | None], ...]
    found: int
    total: int
    page: int
    pages: int


def list_sessions(desk: Desk, q: str, page: int) -> Listed:
    """Take the names from the folders and the rest from the index, so that no session is opened."""
    names = desk.place.recent_sessions(MOST_LISTED)
    told = desk.place.overviews.see(query=q, page=page)
    known = {line.session: line for line in told.lines}
    if q.strip():  # what nothing is told of yet cannot be searched, but for its name
        unread = [name for name in names if told.unread and name not in known and _fits(name, q)] if page == 1 else []
        rows = tuple((name, known.get(name)) for name in (*known, *unread))
        return Listed(
            rows=rows, found=told.found + len(unread), total=len(names), page=told.page, pages=told.pages
        )  # fmt: skip
    pages = max(1, -(-len(names) // PER_PAGE))
    page = min(max(1, page), pages)
    shown = names[(page - 1) * PER_PAGE : page * PER_PAGE]
    rows = tuple((name, known.get(name)) for name in shown)
    return Listed(rows=rows, found=len(names), total=len(names), page=page, pages=pages)


def _fits(name: str, q: str) -> bool:
    return all(word in name for word in q.casefold().split())


@router.get("/findings/{session}")
def findings(request: Request, desk: TheDesk, session: str) -> Response:
    """Show a session; what is measured but not drawn yet is drawn first, as work that takes long."""
    seen = desk.place.findings.see(session)
    found = desk.place.findings.find(seen)
    if found is None and seen.state == "measured":
        return RedirectResponse(f"/jobs/{make_findings(request, desk, seen.session).number}", 303)
    return _shown(request, desk, seen, found)


@router.post("/findings/{session}/measure")
def measure(request: Request, desk: TheDesk, session: str, form: Form) -> Response:  # noqa: ARG001  (it is checked)
    """Measure what is to be measured, then judge, fit and draw."""
    seen = desk.place.findings.see(session)
    return desk.go(f"/jobs/{make_findings(request, desk, seen.session).number}")


@router.post("/findings/{session}/captures/{number}/void")
async def void(request: Request, desk: TheDesk, session: str, number: int, form: Form) -> Response:
    """Mark a capture as void, with the reason; it is kept."""
    why, archive = text_in(form, "why"), desk.settings.archive
    desk.place.findings.need(session)
    try:
        await asyncio.to_thread(tasks.session_void, session, number, why=why, archive=archive)
    except WattproofError as error:
        return await asyncio.to_thread(_again, request, desk, session, fault=error, wrong=number)
    return await asyncio.to_thread(_anew, request, desk, session)


@router.post("/findings/{session}/captures/{number}/unvoid")
async def unvoid(request: Request, desk: TheDesk, session: str, number: int, form: Form) -> Response:  # noqa: ARG001
    """Take back that a capture is void."""
    desk.place.findings.need(session)
    await asyncio.to_thread(tasks.session_unvoid, session, number, archive=desk.settings.archive)
    return await asyncio.to_thread(_anew, request, desk, session)


@router.get("/findings/{session}/predicted")
def predicted(request: Request, desk: TheDesk, session: str) -> Response:
    """Give what the model says, as the piece of the page that the sliders redraw."""
    seen = desk.place.findings.see(session)
    found = desk.place.findings.find(seen)
    if not isinstance(found, Findings) or not found.sliders:
        return Response("", 204)
    _, foreseen = _foreseen(desk, seen.session, found, request.query_params)
    return desk.page(request, "findings_predicted.html.j2", foreseen=foreseen)


def make_findings(request: Request, desk: Desk, session: str, *, then: str = "") -> Job:
    """Begin the work, unless this browser has begun it already; `then` is where it leads instead of its own page."""
    title = f"Findings of {session}" if not then else f"What can be published of {session}"
    browser = request.state.browser
    for job in desk.jobs.of(browser):
        if job.title == title:
            return job

    def work(tell: Tell) -> str:
        desk.place.findings.make(session, tell=tell)
        return then or f"/findings/{session}"

    return desk.jobs.begin(browser, title, work)


def _anew(request: Request, desk: Desk, session: str) -> Response:
    """Measure again where there is something to measure; otherwise show what there is."""
    seen = desk.place.findings.see(session)
    if not seen.to_measure:
        return desk.go(f"/findings/{seen.session}#kept", kept=True)
    return desk.go(f"/jobs/{make_findings(request, desk, seen.session).number}", kept=True)


def _again(request: Request, desk: Desk, session: str, *, fault: WattproofError, wrong: int) -> Response:
    seen = desk.place.findings.see(session)
    return _shown(request, desk, seen, desk.place.findings.find(seen), fault=fault, wrong=wrong)


def _shown(
    request: Request,
    desk: Desk,
    seen: SessionSeen,
    found: Findings | WattproofError | None,
    *,
    fault: WattproofError | None = None,
    wrong: int = 0,
) -> Response:
    broken = found if isinstance(found, WattproofError) else None
    drawn = found if isinstance(found, Findings) else None
    asked: Mapping[str, str] = {}
    foreseen = None
    if drawn is not None and drawn.sliders:
        asked, foreseen = _foreseen(desk, seen.session, drawn, request.query_params)
    return desk.page(
        request, "findings_session.html.j2", status=200 if fault is None else 422, here="findings",
        title=f"{seen.amplifier} · Findings", seen=seen, found=drawn, broken=broken, asked=asked, foreseen=foreseen,
        fault=fault, wrong=wrong,
    )  # fmt: skip


def _foreseen(
    desk: Desk, session: str, found: Findings, said: Mapping[str, str]
) -> tuple[dict[str, str], ForeseenShown]:
    """Ask the model what was typed, or the usual where nothing was."""
    typed = {one.name: said.get(one.name, "").strip() or f"{one.usual:g}" for one in found.sliders}
    try:
        asked = {name: _number(name, text) for name, text in typed.items()}
    except SettingsError as error:
        return typed, ForeseenShown(refusal=error)
    return typed, desk.place.findings.foresee(session, asked)


def _number(name: str, text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError as error:
        raise SettingsError(
            f'"{text[:40]}" is no number.',
            why=f"{name.partition('_')[0]} takes a number, with a point before its decimals, and no unit",
            hint="Correct it, or leave the field empty.",
        ) from error
