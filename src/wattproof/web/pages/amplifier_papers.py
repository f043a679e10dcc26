"""Papers of amplifiers: ratings typed as printed and looked at meanwhile, what was seen inside, the file itself."""

import asyncio
from typing import Any

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.responses import Response

from wattproof.errors import WattproofError
from wattproof.web.desk import Desk
from wattproof.web.forms import Form, TheDesk, text_in
from wattproof.web.pages.paper_forms import PaperForm, rows_changed, state_in, typed_in

router = APIRouter(include_in_schema=False, prefix="/amplifiers")


@router.get("/new")
def new(request: Request, desk: TheDesk) -> Response:
    """Show the form of an amplifier that nothing is known of yet."""
    return _page(request, desk, "", PaperForm(typed=desk.place.amplifiers.blank()))


@router.post("/new")
async def keep_new(request: Request, desk: TheDesk, form: Form) -> Response:
    """Keep a new amplifier, or do with its rows what a button asked for."""
    return await asyncio.to_thread(_done, request, desk, "", form)


@router.post("/look")
async def look(request: Request, desk: TheDesk, form: Form) -> Response:
    """Answer with what can be said of the ratings typed so far, as a part of the page."""
    found = await asyncio.to_thread(
        desk.place.amplifiers.look, typed_in(form), name=text_in(form, "paper"), number=state_in(form)
    )
    return desk.page(request, "amplifier_look.html.j2", look=found)


@router.get("/{name}")
def paper(request: Request, desk: TheDesk, name: str, state: int | None = None) -> Response:
    """Show an amplifier's paper, or one of its states."""
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
        await asyncio.to_thread(desk.place.amplifiers.keep_text, text, name=name)
    except WattproofError as error:
        return await asyncio.to_thread(_shown, request, desk, name, text=text, text_fault=error)
    return desk.go(f"/amplifiers/{name}#file", kept=True)


@router.post("/{name}/back")
async def back(desk: TheDesk, name: str, form: Form) -> Response:
    """Take the last change back, or take any state."""
    said = text_in(form, "to")
    await asyncio.to_thread(desk.place.amplifiers.back, name, to=int(said) if said.isdecimal() else None)
    return desk.go(f"/amplifiers/{name}")


@router.get("/{name}/file")
def file(desk: TheDesk, name: str) -> Response:
    """Give the file itself."""
    seen = desk.place.amplifiers.see(name)
    head = {"content-disposition": f'attachment; filename="{seen.name}.toml"'}
    return Response(seen.text, media_type="application/toml", headers=head)


def _done(request: Request, desk: Desk, name: str, form: FormData) -> Response:
    papers, typed = desk.place.amplifiers, typed_in(form)
    if rows_changed(papers, form, typed) or text_in(form, "do") == "look":
        return _again(request, desk, name, form, PaperForm(typed=typed, given_back=True), status=200)
    made = papers.keep_form(typed, name=name, number=state_in(form))
    if made.name is None:
        shown = PaperForm(typed=typed, wrong=dict(made.wrong), fault=made.fault, given_back=True)
        return _again(request, desk, name, form, shown, status=422)
    return desk.go(f"/amplifiers/{made.name}", kept=True)


def _again(request: Request, desk: Desk, name: str, form: FormData, shown: PaperForm, *, status: int) -> Response:
    if not name:
        return _page(request, desk, name, shown, status=status)
    seen = desk.place.amplifiers.see(name, number=state_in(form))
    return _page(request, desk, name, shown, status=status, seen=seen)


def _shown(
    request: Request,
    desk: Desk,
    name: str,
    *,
    number: int | None = None,
    text: str | None = None,
    text_fault: WattproofError | None = None,
) -> Response:
    seen = desk.place.amplifiers.see(name, number=number)
    shown = PaperForm(typed=seen.typed or desk.place.amplifiers.blank())
    return _page(
        request, desk, seen.name, shown, status=200 if text_fault is None else 422, seen=seen, text=text,
        text_fault=text_fault or seen.fault,
    )  # fmt: skip


def _page(
    request: Request,
    desk: Desk,
    name: str,
    shown: PaperForm,
    *,
    status: int = 200,
    **said: Any,  # noqa: ANN401
) -> Response:
    papers = desk.place.amplifiers
    seen = said.get("seen")
    look = papers.look(shown.typed, name=name, number=None if seen is None else seen.number)
    known = {"seen": None, "text": None, "text_fault": None, **said}
    title = f"Amplifier · {name}" if name else "New amplifier"
    return desk.page(
        request, "amplifier.html.j2", status=status, here="amplifiers", title=title, name=name, desk_parts=papers.parts,
        shown=shown, look=look, blank={part.key: papers.row(part) for part in papers.parts}, **known,
    )  # fmt: skip
