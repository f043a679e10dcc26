"""Bench: what is on the table, as a form and as its file; calibrated by typing, spoken to, its floor measured."""

import asyncio
from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from wattproof.errors import WattproofError
from wattproof.tasks import CalibrationTyped, PaperSeen
from wattproof.web.desk import Desk
from wattproof.web.forms import Form, TheDesk, text_in, texts_in, whole_in
from wattproof.web.jobs import Tell
from wattproof.web.pages.paper_forms import PaperForm
from wattproof.web.pages.papers import PaperPages

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
        return await asyncio.to_thread(
            PAGES.shown, request, desk, name, status=422, typed=typed, calibration_fault=error
        )  # fmt: skip
    return await asyncio.to_thread(PAGES.shown, request, desk, name, typed=typed, calibration=found, more=more)


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
    channel = whole_in(form, "channel")
    pairs = tuple(zip(texts_in(form, "reference"), texts_in(form, "reading"), strict=False))
    return CalibrationTyped(
        channel=-1 if channel is None else channel,
        pairs=pairs,
        u_reference=text_in(form, "u_reference"),
        u_reference_percent=text_in(form, "u_reference_percent"),
        day=text_in(form, "day"),
    )


def _more(
    desk: Desk, name: str, _form: PaperForm, seen: PaperSeen | None, said: Mapping[str, Any]
) -> dict[str, Any]:  # fmt: skip
    papers = desk.place.benches
    usable = seen is not None and seen.fault is None
    typed = said.get("typed") or CalibrationTyped(channel=0, pairs=())
    spare = 3 if said.get("more") else 0 if typed.pairs else POINTS
    return {
        "calibration": said.get("calibration"),
        "calibration_fault": said.get("calibration_fault"),
        "typed": typed,
        "points": [*typed.pairs, *[("", "")] * spare],
        "channels": papers.channels(name) if usable else (),
        "rig": papers.rig(name) if usable else None,
        "found": papers.found(name),
    }


PAGES = PaperPages(kind="bench", here="bench", address="/bench", papers=lambda desk: desk.place.benches, more=_more)
router.include_router(PAGES.router())
