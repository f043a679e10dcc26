"""Bench: what is on the table, as a form and as its file; calibrated by typing, spoken to, its floor measured."""

import asyncio
from typing import Any

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from wattproof.errors import WattproofError
from wattproof.tasks import CalibrationTyped
from wattproof.web.desk import Desk
from wattproof.web.forms import Form, TheDesk, text_in, texts_in
from wattproof.web.jobs import Tell
from wattproof.web.pages.paper_forms import PaperForm, rows_changed, state_in, typed_in

router = APIRouter(include_in_schema=False, prefix="/bench")

POINTS = 6
"""Rows for reference readings on a fresh page."""


@router.get("")
def benches(request: Request, desk: TheDesk) -> Response:
    """List the benches, with what is overdue, and how to make one."""
    return _list(request, desk)


@router.post("/example")
async def example(request: Request, desk: TheDesk, form: Form) -> Response:
    """Keep an example to begin with: of an audio interface, or a simulated one."""
    wanted = text_in(form, "example")
    try:
        if wanted == "audio":
            name = await asyncio.to_thread(desk.place.benches.keep_example)
        else:
            _, name = await asyncio.to_thread(desk.place.sheets.keep_example, wanted)
    except WattproofError as error:
        return await asyncio.to_thread(_list, request, desk, error)
    return desk.go(f"/bench/{name}")


@router.get("/new")
def new(request: Request, desk: TheDesk) -> Response:
    """Show the form of a bench that nothing is said of yet."""
    return _page(request, desk, "", PaperForm(typed=desk.place.benches.blank()))


@router.post("/new")
async def keep_new(request: Request, desk: TheDesk, form: Form) -> Response:
    """Keep a new bench, or do with its rows what a button asked for."""
    return await asyncio.to_thread(_done, request, desk, "", form)


@router.get("/{name}")
def bench(request: Request, desk: TheDesk, name: str, state: int | None = None) -> Response:
    """Show a bench, or one of its states."""
    return _shown(request, desk, name, number=state)


@router.post("/{name}")
async def keep(request: Request, desk: TheDesk, name: str, form: Form) -> Response:
    """Keep what was typed, or do with its rows what a button asked for."""
    return await asyncio.to_thread(_done, request, desk, name, form)


@router.post("/{name}/text")
async def keep_text(request: Request, desk: TheDesk, name: str, form: Form) -> Response:
    """Keep the file as it was typed; what is wrong with it is told by line."""
    text = str(form.get("text", ""))
    try:
        await asyncio.to_thread(desk.place.benches.keep_text, text, name=name)
    except WattproofError as error:
        return await asyncio.to_thread(_shown, request, desk, name, text=text, text_fault=error)
    return desk.go(f"/bench/{name}#file", kept=True)


@router.post("/{name}/back")
async def back(desk: TheDesk, name: str, form: Form) -> Response:
    """Take the last change back, or take any state."""
    said = text_in(form, "to")
    await asyncio.to_thread(desk.place.benches.back, name, to=int(said) if said.isdecimal() else None)
    return desk.go(f"/bench/{name}")


@router.get("/{name}/file")
def file(desk: TheDesk, name: str) -> Response:
    """Give the file itself."""
    seen = desk.place.benches.see(name)
    head = {"content-disposition": f'attachment; filename="{seen.name}.toml"'}
    return Response(seen.text, media_type="application/toml", headers=head)


@router.post("/{name}/calibrate")
async def calibrate(request: Request, desk: TheDesk, name: str, form: Form) -> Response:
    """Fit a line through what was typed and show it; or take it over into the bench with its day."""
    typed = _calibration_in(form)
    more = text_in(form, "do") == "more"
    try:
        if text_in(form, "do") == "take":
            await asyncio.to_thread(desk.place.benches.take_calibration, name, typed)
            return desk.go(f"/bench/{name}#calibrate", kept=True)
        found = None if more else await asyncio.to_thread(desk.place.benches.calibration, name, typed)
    except WattproofError as error:
        return await asyncio.to_thread(_shown, request, desk, name, typed=typed, calibration_fault=error)
    return await asyncio.to_thread(_shown, request, desk, name, typed=typed, calibration=found, more=more)


@router.post("/{name}/check")
async def check(request: Request, desk: TheDesk, name: str, form: Form) -> Response:  # noqa: ARG001  (it is checked)
    """Speak to every part of the rig, as work of its own."""

    def work(tell: Tell) -> str:
        tell("speaking to each part; nothing is driven ...")
        desk.place.benches.check(name)
        return f"/bench/{name}#check"

    return _begun(request, desk, f"Checking {name}", work)


@router.post("/{name}/floor")
async def floor(request: Request, desk: TheDesk, name: str, form: Form) -> Response:
    """Measure what recorder and generator add, as work of its own."""
    wired = bool(text_in(form, "wired"))

    def work(tell: Tell) -> str:
        desk.place.benches.floor(name, wired=wired, tell=tell)
        return f"/bench/{name}#floor"

    return _begun(request, desk, f"Measuring the floor of {name}", work)


def _begun(request: Request, desk: Desk, title: str, work: Any) -> Response:  # noqa: ANN401
    job = desk.jobs.begin(request.state.browser, title, work)
    return RedirectResponse(f"/jobs/{job.number}", 303)


def _list(request: Request, desk: Desk, fault: WattproofError | None = None) -> Response:
    return desk.page(
        request, "benches.html.j2", status=200 if fault is None else 422, here="bench", title="Bench",
        benches=desk.place.benches.lines(), examples=desk.place.sheets.examples, fault=fault,
    )  # fmt: skip


def _calibration_in(form: FormData) -> CalibrationTyped:
    channel = text_in(form, "channel")
    pairs = tuple(zip(texts_in(form, "reference"), texts_in(form, "reading"), strict=False))
    return CalibrationTyped(
        channel=int(channel) if channel.isdecimal() else -1,
        pairs=pairs,
        u_reference=text_in(form, "u_reference"),
        u_reference_percent=text_in(form, "u_reference_percent"),
        day=text_in(form, "day"),
    )


def _done(request: Request, desk: Desk, name: str, form: FormData) -> Response:
    papers, typed = desk.place.benches, typed_in(form)
    seen = papers.see(name, number=state_in(form)) if name else None
    if rows_changed(papers, form, typed):
        return _page(request, desk, name, PaperForm(typed=typed, given_back=True), seen=seen)
    made = papers.keep_form(typed, name=name, number=state_in(form))
    if made.name is None:
        shown = PaperForm(typed=typed, wrong=dict(made.wrong), fault=made.fault, given_back=True)
        return _page(request, desk, name, shown, status=422, seen=seen)
    return desk.go(f"/bench/{made.name}", kept=True)


def _shown(request: Request, desk: Desk, name: str, *, number: int | None = None, **said: Any) -> Response:  # noqa: ANN401
    seen = desk.place.benches.see(name, number=number)
    shown = PaperForm(typed=seen.typed or desk.place.benches.blank())
    wrong = said.get("text_fault") or said.get("calibration_fault")
    said["text_fault"] = said.get("text_fault") or seen.fault
    return _page(request, desk, seen.name, shown, status=200 if wrong is None else 422, seen=seen, **said)


def _page(
    request: Request,
    desk: Desk,
    name: str,
    shown: PaperForm,
    *,
    status: int = 200,
    **said: Any,  # noqa: ANN401
) -> Response:
    papers = desk.place.benches
    seen = said.get("seen")
    usable = seen is not None and seen.fault is None
    typed = said.get("typed") or CalibrationTyped(channel=0, pairs=())
    spare = 3 if said.get("more") else 0 if typed.pairs else POINTS
    known = {"seen": None, "text": None, "text_fault": None, "calibration": None, "calibration_fault": None, **said}
    known |= {"typed": typed, "points": [*typed.pairs, *[("", "")] * spare]}
    return desk.page(
        request, "bench.html.j2", status=status, here="bench", title=f"Bench · {name}" if name else "New bench",
        name=name, desk_parts=papers.parts, shown=shown, blank={part.key: papers.row(part) for part in papers.parts},
        channels=papers.channels(name) if usable else (), rig=papers.rig(name) if usable else None,
        found=papers.found(name), **known,
    )  # fmt: skip
