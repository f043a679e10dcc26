"""Findings: what a session shows, measured, judged and fitted; its model to play with; its captures and which count."""

import asyncio
from collections.abc import Mapping

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from wattproof import tasks
from wattproof.errors import SettingsError, WattproofError
from wattproof.tasks import Findings, ForeseenShown, SessionSeen
from wattproof.web.desk import Desk
from wattproof.web.forms import Form, TheDesk, text_in
from wattproof.web.jobs import Job, Tell

router = APIRouter(include_in_schema=False)


@router.get("/findings")
def sessions(request: Request, desk: TheDesk, q: str = "") -> Response:
    """List the sessions, newest first."""
    listed = tasks.session_list(archive=desk.settings.archive)
    words = q.casefold().split()
    found = [one for one in listed.sessions[::-1] if _fits(f"{one.session} {one.amplifier}".casefold(), words)]
    return desk.page(
        request, "findings.html.j2", here="findings", title="Findings",
        sessions=found, all=len(listed.sessions), problems=listed.problems, q=q,
    )  # fmt: skip


def _fits(text: str, words: list[str]) -> bool:
    return all(word in text for word in words)


@router.get("/findings/{session}")
def findings(request: Request, desk: TheDesk, session: str) -> Response:
    """Show a session; what is measured but not drawn yet is drawn first, as work that takes long."""
    seen = desk.place.findings.see(session)
    if seen.session != session:
        return RedirectResponse(f"/findings/{seen.session}", 303)  # a part of a name will do
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
    try:
        await asyncio.to_thread(tasks.session_void, session, number, why=why, archive=archive)
    except WattproofError as error:
        return await asyncio.to_thread(_again, request, desk, session, fault=error, wrong=number)
    return await asyncio.to_thread(_anew, request, desk, session)


@router.post("/findings/{session}/captures/{number}/unvoid")
async def unvoid(request: Request, desk: TheDesk, session: str, number: int, form: Form) -> Response:  # noqa: ARG001
    """Take back that a capture is void."""
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
