"""Amplifiers: all that were tested, searched and sorted; a first start says what to do first."""

from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from wattproof.web.forms import Form, TheDesk
from wattproof.web.jobs import Tell

router = APIRouter(include_in_schema=False)


@router.get("/")
def amplifiers(request: Request, desk: TheDesk, q: str = "", sort: str = "-day", page: int = 1) -> Response:
    """Show a page of the list."""
    seen = desk.place.overviews.see(query=q, sort=sort, page=page)

    def address(**changed: object) -> str:
        said = {"q": seen.query, "sort": seen.sort, "page": 1, **changed}
        return "/?" + urlencode({name: value for name, value in said.items() if value not in {"", 1}})

    def sorted_by(key: str, first: str) -> str:
        """Give the address that sorts by a column; the column that is sorted by now turns round."""
        turned = seen.sort.removeprefix("-") if seen.sort.startswith("-") else f"-{seen.sort}"
        return address(sort=turned if seen.sort.removeprefix("-") == key else first + key)

    return desk.page(
        request, "amplifiers.html.j2", here="amplifiers", title="Amplifiers", seen=seen, address=address,
        sorted_by=sorted_by, papers=desk.place.amplifiers.called,
    )  # fmt: skip


@router.post("/amplifiers/read")
async def read(request: Request, desk: TheDesk, form: Form) -> Response:  # noqa: ARG001  (it is checked)
    """Read the sessions that the list does not tell of yet."""

    def work(tell: Tell) -> str:
        desk.place.overviews.read(tell)
        return "/"

    job = desk.jobs.begin(request.state.browser, "Reading the sessions", work)
    return RedirectResponse(f"/jobs/{job.number}", 303)


@router.post("/amplifiers/sample")
async def sample(request: Request, desk: TheDesk, form: Form) -> Response:  # noqa: ARG001  (it is checked)
    """Keep the session of a made-up amplifier, to try everything on."""

    def work(tell: Tell) -> str:
        desk.place.keep_sample(tell=tell)
        desk.place.overviews.read(tell)
        return "/"

    job = desk.jobs.begin(request.state.browser, "Making up a bench day", work)
    return RedirectResponse(f"/jobs/{job.number}", 303)
