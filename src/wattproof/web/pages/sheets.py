"""Run sheet: two papers and a few wishes become a plan, which is edited, printed, answered for and begun."""

import asyncio
from collections.abc import Mapping, Sequence
from typing import Any, Literal

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.responses import HTMLResponse, Response

from wattproof import tasks
from wattproof.errors import SettingsError, WattproofError
from wattproof.tasks import SheetEdit, SheetWishes
from wattproof.web.desk import Desk
from wattproof.web.forms import Form, TheDesk, text_in, texts_in, whole, whole_in

router = APIRouter(include_in_schema=False)

BURSTS: tuple[tuple[Literal["whole-cycles", "1-khz", "both", "none"], str], ...] = (
    ("whole-cycles", "whole cycles of the test tone"),
    ("1-khz", "20 ms of 1 kHz"),
    ("both", "both"),
    ("none", "none"),
)
DRIVEN = (("all", "all at once"), ("each", "one after the other"))
NUMBERS = {"hold_s": "Hold", "supply_v": "Supply voltage", "tone_hz": "Test tone", "load_tau_s": "Loads warm with"}

PRINT_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'; base-uri 'none'"
"""The printed page is one file with its styles in it; it has no script, and may have none."""


@router.get("/sheet")
def sheets(request: Request, desk: TheDesk, amplifier: str = "", bench: str = "") -> Response:
    """Choose two papers; with both, say what the day is to hold."""
    return _choosing(request, desk, {"amplifier": amplifier, "bench": bench})


@router.post("/sheet")
async def plan(request: Request, desk: TheDesk, form: Form) -> Response:
    """Plan a day and keep its sheet."""
    amplifier, bench = text_in(form, "amplifier"), text_in(form, "bench")
    try:
        name = await asyncio.to_thread(
            desk.place.sheets.make, amplifier, bench, wishes=_wishes(form), name=text_in(form, "name")
        )
    except WattproofError as error:
        return await asyncio.to_thread(_choosing, request, desk, form, error)
    return desk.go(f"/sheet/{name}", kept=True)


@router.post("/sheet/example")
async def example(request: Request, desk: TheDesk, form: Form) -> Response:
    """Keep the papers of a simulated amplifier and go on with them."""
    paced = text_in(form, "pace") != "quick"
    try:
        amplifier, bench = await asyncio.to_thread(
            desk.place.sheets.keep_example, text_in(form, "example"), paced=paced
        )
    except WattproofError as error:
        return await asyncio.to_thread(_choosing, request, desk, {}, error)
    return desk.go(f"/sheet?amplifier={amplifier}&bench={bench}")


@router.get("/sheet/{name}")
def sheet(request: Request, desk: TheDesk, name: str) -> Response:
    """Show a sheet: steps, what can be judged, checks, and what must be answered before it can begin."""
    return show_sheet(request, desk, name)


@router.get("/sheet/{name}/print")
def printed(desk: TheDesk, name: str) -> Response:
    """Show the page to print."""
    return HTMLResponse(desk.place.sheets.printed(name), headers={"content-security-policy": PRINT_POLICY})


@router.post("/sheet/{name}/edit")
async def edit(request: Request, desk: TheDesk, name: str, form: Form) -> Response:
    """Keep the sheet with its steps changed, in another order, or without one."""
    try:
        await asyncio.to_thread(_edited, desk, name, form)
    except WattproofError as error:
        return await asyncio.to_thread(show_sheet, request, desk, name, typed=form, fault=error)
    return desk.go(f"/sheet/{name}#steps", kept=True)


@router.post("/sheet/{name}/back")
async def back(desk: TheDesk, name: str, form: Form) -> Response:
    """Take the last change back, or take any state of the sheet."""
    to, archive = whole_in(form, "to"), desk.settings.archive
    await asyncio.to_thread(tasks.paper_back, "sheet", name, to=to, archive=archive)
    return desk.go(f"/sheet/{name}#steps")


def show_sheet(
    request: Request, desk: Desk, name: str, *, typed: FormData | None = None, fault: WattproofError | None = None
) -> Response:
    """Answer with a sheet's page; with what was typed and why it did not work, where it did not."""
    said: Mapping[str, Any] = typed or {}
    return desk.page(
        request, "sheet.html.j2", status=200 if fault is None else 422, here="sheet", title=f"Run sheet · {name}",
        seen=desk.place.sheets.see(name), said=said, fault=fault,
    )  # fmt: skip


def _choosing(
    request: Request, desk: Desk, said: FormData | Mapping[str, str], fault: WattproofError | None = None
) -> Response:
    amplifier, bench = str(said.get("amplifier", "")), str(said.get("bench", ""))
    papers = tasks.paper_list(archive=desk.settings.archive).papers
    choices = None
    if amplifier and bench:
        try:
            choices = desk.place.sheets.choices(amplifier, bench)
        except WattproofError as error:
            fault = fault or error
    return desk.page(
        request, "sheets.html.j2", status=200 if fault is None else 422, here="sheet", title="Run sheet",
        amplifiers=list(desk.place.amplifiers.called.items()), benches=list(desk.place.benches.called.items()),
        sheets=[one.name for one in papers if one.kind == "sheet"],
        examples=desk.place.sheets.examples, choices=choices, said=said, typed=isinstance(said, FormData), fault=fault,
        loads=_ticked(said, "loads", () if choices is None else [name for name, taken in choices.loads if taken]),
        outputs=_ticked(said, "outputs", () if choices is None else choices.outputs),
        bursts=BURSTS, driven=DRIVEN,
    )  # fmt: skip


def _ticked(said: FormData | Mapping[str, str], name: str, usual: Sequence[str]) -> Sequence[str]:
    return texts_in(said, name) if isinstance(said, FormData) else usual


def _wishes(form: FormData) -> SheetWishes:
    usual = SheetWishes()
    hold_s, load_tau_s = _number(form, "hold_s"), _number(form, "load_tau_s")
    return SheetWishes(
        loads=tuple(texts_in(form, "loads")),
        outputs=tuple(texts_in(form, "outputs")),
        below_minimum=bool(text_in(form, "below_minimum")),
        bridged=bool(text_in(form, "bridged")),
        driven="each" if text_in(form, "driven") == "each" else "all",
        burst=next((one for one, _ in BURSTS if one == text_in(form, "burst")), usual.burst),
        hold_s=usual.hold_s if hold_s is None else hold_s,
        supply_v=_number(form, "supply_v"),
        tone_hz=_number(form, "tone_hz"),
        load_tau_s=usual.load_tau_s if load_tau_s is None else load_tau_s,
    )


def _number(form: FormData, name: str, called: str = "") -> float | None:
    """Read a number as a person types it; an empty field is none."""
    text = text_in(form, name).replace(",", ".")
    if not text:
        return None
    try:
        return float(text)
    except ValueError as error:
        raise SettingsError(
            f'{called or NUMBERS[name]}: "{text[:40]}" is no number.',
            why="it takes a number, with a point before its decimals, and no unit",
            hint="Correct it, or leave the field empty.",
        ) from error


def _edited(desk: Desk, name: str, form: FormData) -> str:
    numbers = [number for number in map(whole, texts_in(form, "step")) if number is not None]
    seconds = {n: _number(form, f"seconds-{n}", f"Seconds of step {n}") for n in numbers}
    levels = {n: _number(form, f"level-{n}", f"Level of step {n}") for n in numbers}
    change = SheetEdit(
        order=_moved(numbers, text_in(form, "move")),
        seconds={n: value for n, value in seconds.items() if value is not None},
        level_v_rms={n: value for n, value in levels.items() if value is not None},
    )
    return desk.place.sheets.edit(name, change, number=whole_in(form, "state"))


def _moved(numbers: list[int], said: str) -> tuple[int, ...]:
    """Put the steps in the order that a button asked for: "up-3", "down-3", "out-3"."""
    what, _, text = said.partition("-")
    number = whole(text)
    if number not in numbers:
        return tuple(numbers)
    order, place = list(numbers), numbers.index(number)
    step = order.pop(place)
    if what != "out":
        order.insert(max(0, place + (-1 if what == "up" else 1)), step)
    return tuple(order)
