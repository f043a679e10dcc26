"""Import: files are handed over, shown for what they were taken to be, then measured or kept in a session."""

import asyncio
import re
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from fastapi import APIRouter, HTTPException, Request
from starlette.datastructures import FormData, UploadFile
from starlette.responses import RedirectResponse, Response

from wattproof import tasks
from wattproof.errors import SettingsError, WattproofError
from wattproof.tasks import FileSaid, GivenFile
from wattproof.web.desk import Desk
from wattproof.web.forms import Form, TheDesk, text_in
from wattproof.web.jobs import Tell
from wattproof.web.pages.findings import make_findings
from wattproof.web.pages.importing_fields import ASKED, said_of
from wattproof.web.uploads import Tray, take

router = APIRouter(include_in_schema=False)

MOST_OFFERED = 200

LARGE_BYTES = 50_000_000
"""More than this is looked through as work that takes long."""


@router.get("/import")
def choose(request: Request, desk: TheDesk, session: str = "") -> Response:
    """Take files."""
    return desk.page(
        request, "import.html.j2", here="import", title="Import", session=session,
        trays=desk.trays.of(request.state.browser),
    )  # fmt: skip


@router.post("/import/files")
async def files(request: Request, desk: TheDesk, form: Form) -> Response:
    """Take files in, to a tray of their own or to one that is there."""
    given = [one for one in form.getlist("files") if isinstance(one, UploadFile) and one.filename]
    browser = request.state.browser
    tray = desk.trays.find(browser, text_in(form, "tray"))
    if not given:
        raise SettingsError("No file was chosen.", why="the form came without one", hint="Choose one or more files.")
    tray = tray or desk.trays.new(browser, text_in(form, "session"))
    await asyncio.to_thread(take, tray, given)
    address = f"/import/{tray.key}"
    if sum(one.size_bytes for one in tray.files) < LARGE_BYTES:
        return RedirectResponse(address, 303)
    taken = tray

    def work(tell: Tell) -> str:
        for number, one in enumerate(taken.files, start=1):
            tell(f"looking at {one.name} ({number} of {len(taken.files)}) ...")
            desk.place.imports.see(one)
        return address

    return RedirectResponse(f"/jobs/{desk.jobs.begin(browser, 'Looking at the files', work).number}", 303)


@router.get("/import/{key}")
def tray_page(request: Request, desk: TheDesk, key: str) -> Response:
    """Show what the files were taken to be."""
    return _shown(request, desk, _tray(request, desk, key), {})


@router.post("/import/{key}")
async def go_on(request: Request, desk: TheDesk, key: str, form: Form) -> Response:
    """Look again, measure, keep, or throw away."""
    tray = _tray(request, desk, key)
    doing = {"measure": _measure, "keep": _keep, "drop": _drop}.get(text_in(form, "do"))
    if doing is None:
        return await asyncio.to_thread(_shown, request, desk, tray, form)
    try:
        return await asyncio.to_thread(doing, request, desk, tray, form)
    except WattproofError as error:
        return await asyncio.to_thread(_shown, request, desk, tray, form, error)


def _drop(_request: Request, desk: Desk, tray: Tray, _form: FormData) -> Response:
    desk.trays.drop(tray)
    return desk.go("/import", kept=True)


def _measure(request: Request, desk: Desk, tray: Tray, form: FormData) -> Response:
    """Measure without keeping; the figures lie with what else pages have made."""
    captures = _captures(desk, tray, form)
    bench, amplifier = (_paper(desk, tray, kind, text_in(form, kind)) for kind in ("bench", "amplifier"))
    desk.place.imports.refuse(captures, bench=bench)
    browser = request.state.browser

    def work(tell: Tell) -> str:
        def made_in(folder: Path) -> tuple[str, tuple[Path, ...], None]:
            names = desk.place.imports.measure(captures, bench=bench, amplifier=amplifier, out=folder, tell=tell)
            return "Measured, and not kept in the archive.", names, None

        made = desk.shelf.make(browser, "", "Figures", made_in)
        return f"/publish/made/{made.key}"

    return desk.go(f"/jobs/{desk.jobs.begin(browser, 'Measuring the files', work).number}")


def _keep(request: Request, desk: Desk, tray: Tray, form: FormData) -> Response:
    """Keep the captures in a session that is there, or in a new one; then measure it."""
    captures, session = _captures(desk, tray, form), text_in(form, "session")
    if not session:
        amplifier, bench = (_paper(desk, tray, kind, text_in(form, kind)) for kind in ("amplifier", "bench"))
        if amplifier is None or bench is None:
            raise SettingsError(
                "A new session needs an amplifier and a bench.",
                why="figures mean nothing without what was tested, and on what",
                hint="Choose both, or add an amplifier.toml and a bench.toml to the files; or take another session.",
            )
        desk.place.imports.refuse(captures, bench=bench)
        session = desk.place.imports.begin(
            amplifier=amplifier, bench=bench, started=_day(text_in(form, "started")), note=text_in(form, "note")
        )
    session = desk.place.imports.keep(session, captures)
    desk.trays.drop(tray)
    return desk.go(f"/jobs/{make_findings(request, desk, session).number}", kept=True)


def _captures(desk: Desk, tray: Tray, form: FormData) -> list[tuple[GivenFile, FileSaid]]:
    found = []
    for given in tray.files:
        if text_in(form, f"{given.key}-leave_out"):
            continue
        said = said_of(given, form)
        if desk.place.imports.see(given, said.answers).taken not in {"amplifier", "bench"}:
            found.append((given, said))
    return found


def _paper(desk: Desk, tray: Tray, kind: str, said: str) -> GivenFile | None:
    """Find the paper that was chosen: one of the files, or one that is kept."""
    if not said:
        return None
    where, _, name = said.partition(":")
    if where == "file":
        return next((one for one in tray.files if one.key == name), None)
    shown = tasks.paper_show(kind, name, archive=desk.settings.archive)
    return GivenFile(key=name, name=f"{name}.toml", path=shown.file, size_bytes=len(shown.text))


def _day(said: str) -> date | None:
    if not said:
        return None
    try:
        return date.fromisoformat(said)
    except ValueError as error:
        raise SettingsError(
            f'"{said[:20]}" is no day.',
            why="a day is written as 2031-05-14",
            hint="Correct it, or leave it empty for today.",
        ) from error


def _shown(
    request: Request, desk: Desk, tray: Tray, said: FormData | Mapping[str, Any], fault: WattproofError | None = None
) -> Response:
    lines, papers = [], _papers(desk)
    for given in tray.files:
        try:
            answers = said_of(given, said).answers
        except WattproofError:
            answers = None
        seen = desk.place.imports.see(given, answers)
        if seen.taken in papers and seen.fault is None:
            papers[seen.taken].insert(0, (f"file:{given.key}", f"{given.name}, from these files"))
        lines.append((given, seen, _asked(seen.fault)))
    return desk.page(
        request, "import_tray.html.j2", status=200 if fault is None else 422, here="import", title="Import",
        tray=tray, lines=lines, papers=papers, said=said, fault=fault, fields=ASKED,
        sessions=list(desk.place.recent_sessions(MOST_OFFERED)),
        roles=tasks.ROLES, size=_size, loads=_loads(desk, tray, papers["bench"], said),
    )  # fmt: skip


def _loads(
    desk: Desk, tray: Tray, benches: list[tuple[str, str]], said: FormData | Mapping[str, Any]
) -> tuple[str, ...]:
    """Name the loads of the bench that is chosen, to be picked from."""
    chosen = str(said.get("bench", benches[0][0] if benches else ""))
    try:
        bench = _paper(desk, tray, "bench", chosen)
        return () if bench is None else desk.place.imports.loads(bench)
    except WattproofError:
        return ()


def _papers(desk: Desk) -> dict[str, list[tuple[str, str]]]:
    kept = {"amplifier": desk.place.amplifiers.called, "bench": desk.place.benches.called}
    return {kind: [(f"paper:{name}", called) for name, called in one.items()] for kind, one in kept.items()}


def _asked(fault: WattproofError | None) -> list[str]:
    """Name the fields that answer what a file leaves open, by the options that its hint names."""
    if fault is None or fault.code != "needs-answer":
        return []
    named = [name.replace("-", "_") for name in re.findall(r"--([a-z-]+)", f"{fault.hint} {fault.why}")]
    return [name for name in ASKED if name in named]


def _tray(request: Request, desk: Desk, key: str) -> Tray:
    tray = desk.trays.find(request.state.browser, key)
    if tray is None:
        raise HTTPException(404, "These files are no longer here: they were kept, thrown away, or the workbench ended.")
    return tray


def _size(size_bytes: int) -> str:
    return f"{size_bytes / 1e6:.1f} MB" if size_bytes >= 100_000 else f"{size_bytes / 1e3:.1f} kB"
