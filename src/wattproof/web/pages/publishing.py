"""Publish: report, pictures, overlay, data, evidence pack and site, made at a press and offered for download."""

import asyncio
from collections.abc import Callable, Sequence
from pathlib import Path

from fastapi import APIRouter, HTTPException, Request
from starlette.datastructures import FormData, UploadFile
from starlette.responses import FileResponse, RedirectResponse, Response

from wattproof import tasks
from wattproof.errors import FileMissingError, PageError, WattproofError
from wattproof.tasks import ClipWishes, Findings, PhotoGiven
from wattproof.web.desk import Desk
from wattproof.web.forms import Form, TheDesk, fingerprint_in, text_in, texts_in
from wattproof.web.jobs import Tell
from wattproof.web.pages.findings import list_sessions, make_findings
from wattproof.web.shelf import Made, zipped
from wattproof.web.uploads import shown_name

router = APIRouter(include_in_schema=False)

Work = Callable[[Path, Tell], tuple[str, Sequence[Path], object]]

_PREVIEW = (
    "sandbox allow-scripts; default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:; "
    "frame-ancestors 'self'"
)
"""A report is a page with a script of its own: it may run, but as a stranger who can reach nothing of the workbench."""

_STILL = "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'self'"
_SHOWN = {".png": "image/png", ".svg": "image/svg+xml", ".html": "text/html"}
_MOST_PHOTO_BYTES = 60_000_000


@router.get("/publish")
def publish(request: Request, desk: TheDesk, q: str = "", page: int = 1) -> Response:
    """Choose a session; make a site of all; check a pack."""
    return _front(request, desk, q=q, page=page)


def _front(
    request: Request, desk: Desk, *, q: str = "", page: int = 1, key: str = "", fault: WattproofError | None = None
) -> Response:
    return desk.page(
        request, "publish.html.j2", status=200 if fault is None else 422, here="publish", title="Publish",
        listed=list_sessions(desk, q, page), q=q, made=desk.shelf.of(request.state.browser, ""), key=key, fault=fault,
    )  # fmt: skip


@router.post("/publish/site")
def site(request: Request, desk: TheDesk, form: Form) -> Response:
    """Make a site of the whole archive."""
    title, archive = text_in(form, "title"), desk.settings.archive

    def work(folder: Path, tell: Tell) -> tuple[str, Sequence[Path], object]:
        made = tasks.site(folder / "site", archive=archive, title=title, tell=tell)
        tell("packing the pages into one file ...")
        told = f"{made.amplifiers} amplifiers. Unpack it, and open index.html or give the folder to a web host."
        return "\n".join([told, *made.problems]), (zipped(folder / "site"),), made

    return _begin(request, desk, "", "Site of the whole archive", work)


@router.post("/publish/verify")
async def verify(request: Request, desk: TheDesk, form: Form) -> Response:
    """Check a pack that was handed over."""
    try:
        given, key = _pack_in(form), fingerprint_in(form, "key")
    except WattproofError as error:
        return await asyncio.to_thread(_front, request, desk, key=text_in(form, "key"), fault=error)
    folder, name = desk.shelf.folder(), shown_name(given.filename or "")
    await asyncio.to_thread(_copied, given, folder / "pack.zip")

    def work(_folder: Path, tell: Tell) -> tuple[str, Sequence[Path], object]:
        try:
            found = tasks.verify(folder / "pack.zip", key=key, tell=tell).model_copy(update={"file": name})
        finally:
            (folder / "pack.zip").unlink(missing_ok=True)
        return found.text(), (), found

    return _begin(request, desk, "", f"Check of {name}", work)


@router.get("/publish/made/{key}")
def result(request: Request, desk: TheDesk, key: str) -> Response:
    """Show what was made."""
    made = _made(request, desk, key)
    verified = made.answer if isinstance(made.answer, tasks.Verified) else None
    return desk.page(
        request, "publish_made.html.j2", here="publish", title=made.title, made=made, verified=verified,
        files=[(number, file, _size(file)) for number, file in enumerate(made.files)], shown=_SHOWN,
    )  # fmt: skip


@router.get("/publish/made/{key}/{number}")
def download(request: Request, desk: TheDesk, key: str, number: int, *, show: bool = False) -> Response:
    """Hand a file over, to be kept; or to be shown, shut in."""
    made = _made(request, desk, key)
    if not 0 <= number < len(made.files) or not made.files[number].is_file():
        raise HTTPException(404, "There is no such file any more.")
    file = made.files[number]
    if not show or file.suffix not in _SHOWN:
        return FileResponse(file, filename=file.name, media_type="application/octet-stream")
    headers = {
        "content-security-policy": _PREVIEW if file.suffix == ".html" else _STILL,
        "x-frame-options": "SAMEORIGIN",
    }
    return FileResponse(file, media_type=_SHOWN[file.suffix], headers=headers)


@router.post("/publish/made/{key}/drop")
def drop(request: Request, desk: TheDesk, key: str, form: Form) -> Response:  # noqa: ARG001  (it is checked)
    """Throw it away."""
    made = _made(request, desk, key)
    desk.shelf.drop(made)
    return desk.go(f"/publish/{made.session}" if made.session else "/publish")


@router.get("/publish/{session}")
def session_page(request: Request, desk: TheDesk, session: str) -> Response:
    """Show what can be made of a session; what is not drawn yet is drawn first, for its pictures are to be named."""
    seen = desk.place.findings.see(session)
    if desk.place.findings.find(seen) is None and seen.state == "measured":
        there = f"/publish/{seen.session}"
        return RedirectResponse(f"/jobs/{make_findings(request, desk, seen.session, then=there).number}", 303)
    return _session_page(request, desk, session)


@router.post("/publish/{session}/report")
def report(request: Request, desk: TheDesk, session: str, form: Form) -> Response:
    """Make the report."""
    formats, dated, archive = tuple(texts_in(form, "format")), bool(text_in(form, "dated")), desk.settings.archive

    def work(folder: Path, tell: Tell) -> tuple[str, Sequence[Path], object]:
        made = tasks.report(
            session, archive=archive, out=folder / session, format=formats, dated=dated, tell=tell
        )  # fmt: skip
        return "\n\n".join(made.found), [one.file for one in made.files], None

    return _begin(request, desk, session, "Report", work)


@router.post("/publish/{session}/pictures")
def pictures(request: Request, desk: TheDesk, session: str, form: Form) -> Response:
    """Draw pictures."""
    names, archive = texts_in(form, "name") or ["all"], desk.settings.archive
    look = {one: text_in(form, one) for one in ("shape", "paper", "format")}

    def work(folder: Path, tell: Tell) -> tuple[str, Sequence[Path], object]:
        made = tasks.picture(session, names, out=folder, archive=archive, tell=tell, **look)
        return f"{len(made.files)} files.", made.files, None

    return _begin(request, desk, session, "Pictures", work)


@router.post("/publish/{session}/overlay")
def overlay(request: Request, desk: TheDesk, session: str, form: Form) -> Response:
    """Make a clip to be laid over footage."""
    capture, archive = text_in(form, "capture"), desk.settings.archive
    form_of_clip = "webm" if text_in(form, "format") == "webm" else "mov"

    def work(folder: Path, tell: Tell) -> tuple[str, Sequence[Path], object]:
        clip = folder / f"{session}-{capture}.{form_of_clip}"
        wishes = ClipWishes(
            out=clip, format="webm" if form_of_clip == "webm" else "mov", fps=text_in(form, "fps") or "30",
            size=text_in(form, "size") or "1280x720",
        )  # fmt: skip
        made = tasks.overlay(session, capture, archive=archive, wishes=wishes, tell=tell)
        return made.text(), (clip,), None

    return _begin(request, desk, session, f"Overlay of capture {capture}", work)


@router.post("/publish/{session}/data")
def data(request: Request, desk: TheDesk, session: str, form: Form) -> Response:
    """Write tables, objects and recordings for other programs."""
    tables_only, archive = not text_in(form, "recordings"), desk.settings.archive

    def work(folder: Path, tell: Tell) -> tuple[str, Sequence[Path], object]:
        out = folder / f"{session}-data"
        made = tasks.export(session, out=out, tables_only=tables_only, archive=archive, tell=tell)
        tell("packing the files into one ...")
        return made.text(), (zipped(out),), None

    return _begin(request, desk, session, "Data for other programs", work)


@router.post("/publish/{session}/pack")
def pack(request: Request, desk: TheDesk, session: str, form: Form) -> Response:
    """Make an evidence pack, signed where a key of this machine is named."""
    key, passphrase = text_in(form, "key"), str(form.get("passphrase", ""))
    sign = Path(key).expanduser() if key and desk.settings.pairing_code is None else None
    archive = desk.settings.archive

    def work(folder: Path, tell: Tell) -> tuple[str, Sequence[Path], object]:
        made = tasks.pack(
            session, out=folder / f"{session}.zip", sign=sign, archive=archive, ask=lambda _words: passphrase or None,
            tell=tell,
        )  # fmt: skip
        return made.text(), (made.file,), None

    return _begin(request, desk, session, "Evidence pack", work)


@router.post("/publish/{session}/words")
async def words(request: Request, desk: TheDesk, session: str, form: Form) -> Response:
    """Keep what the person says beside the figures."""
    try:
        await asyncio.to_thread(_keep_words, desk, session, form)
    except WattproofError as error:
        return await asyncio.to_thread(_session_page, request, desk, session, said=form, fault=error)
    return desk.go(f"/publish/{session}#words", kept=True)


@router.get("/publish/{session}/photo/{name}")
def photo(desk: TheDesk, session: str, name: str) -> Response:
    """Show a kept photograph."""
    found = desk.place.words.photo(session, name)
    if found is None:
        raise HTTPException(404, "There is no such photograph.")
    return Response(found, media_type="image/jpeg", headers={"content-security-policy": _STILL})


def _keep_words(desk: Desk, session: str, form: FormData) -> None:
    kept = texts_in(form, "photo")
    captions = texts_in(form, "caption")
    left_out = set(texts_in(form, "leave_out"))
    photos = [
        PhotoGiven(name=name, caption=caption)
        for name, caption in zip(kept, captions, strict=False)
        if name not in left_out
    ]
    new = [one for one in form.getlist("photos") if isinstance(one, UploadFile) and one.filename]
    photos += [
        PhotoGiven(name=shown_name(one.filename or ""), caption=text_in(form, "new_caption"), data=_bytes_of(one))
        for one in new
    ]
    desk.place.words.keep(
        session, summary=text_in(form, "summary"), pros=_lines(form, "pros"), cons=_lines(form, "cons"), photos=photos
    )


def _pack_in(form: FormData) -> UploadFile:
    given = form.get("pack")
    if not isinstance(given, UploadFile) or not given.filename:
        raise PageError("No pack was chosen.", why="the form came without a file", hint="Choose the pack's .zip file.")
    return given


def _lines(form: FormData, name: str) -> list[str]:
    return [line.strip() for line in text_in(form, name).splitlines() if line.strip()]


def _bytes_of(given: UploadFile) -> bytes:
    found = given.file.read(_MOST_PHOTO_BYTES + 1)
    if len(found) > _MOST_PHOTO_BYTES:
        raise PageError(
            f"{given.filename} is too large to be a photograph.",
            why=f"up to {_MOST_PHOTO_BYTES / 1e6:.0f} MB are taken",
            hint="Scale it down first.",
        )
    return found


def _copied(given: UploadFile, file: Path) -> None:
    import shutil

    try:
        with file.open("wb") as out:
            shutil.copyfileobj(given.file, out, 1 << 20)
    except OSError as error:
        file.unlink(missing_ok=True)
        raise FileMissingError(
            "The file could not be taken.",
            why=error.strerror or str(error),
            hint="Make room on the disk, and try again.",
        ) from error


def _session_page(
    request: Request, desk: Desk, session: str, *, said: FormData | None = None, fault: WattproofError | None = None
) -> Response:
    seen = desk.place.findings.see(session)
    found = desk.place.findings.find(seen)
    words_now = desk.place.words.show(session)
    return desk.page(
        request, "publish_session.html.j2", status=200 if fault is None else 422, here="publish",
        title=f"{seen.amplifier} · Publish", seen=seen, found=found if isinstance(found, Findings) else None,
        words=words_now, said=said or {}, fault=fault, signing=desk.settings.pairing_code is None,
        made=desk.shelf.of(request.state.browser, seen.session),
    )  # fmt: skip


def _begin(request: Request, desk: Desk, session: str, title: str, work: Work) -> Response:
    """Begin to make something; its job ends on the page of what was made."""
    browser = request.state.browser
    if session:
        desk.place.findings.need(session)

    def carried(tell: Tell) -> str:
        made = desk.shelf.make(browser, session, title, lambda folder: work(folder, tell))
        return f"/publish/made/{made.key}"

    name = f"{title}: {session}" if session else title
    return desk.go(f"/jobs/{desk.jobs.begin(browser, name, carried).number}", kept=True)


def _made(request: Request, desk: Desk, key: str) -> Made:
    made = desk.shelf.find(request.state.browser, key)
    if made is None:
        raise HTTPException(404, "This is no longer kept here. Make it again.")
    return made


def _size(file: Path) -> str:
    size = file.stat().st_size if file.is_file() else 0
    return f"{size / 1e6:.1f} MB" if size >= 100_000 else f"{size / 1e3:.0f} kB"
