"""Compare: sessions side by side on common terms."""

from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from wattproof.errors import SettingsError, WattproofError
from wattproof.tasks import ComparisonAsked
from wattproof.web.desk import Desk
from wattproof.web.forms import TheDesk
from wattproof.web.jobs import Tell

router = APIRouter(include_in_schema=False)


@router.get("/compare")
def compare(request: Request, desk: TheDesk, load: str = "", supply: str = "", anew: str = "") -> Response:
    """Show a comparison; one that was not made yet is work of its own first."""
    names = request.query_params.getlist("session")
    terms = {"load": load, "supply": supply}
    try:
        asked = ComparisonAsked.typed(names, loads=load, supply=supply)
        if len(asked.sessions) < 2:
            raise _too_few(len(asked.sessions))
    except WattproofError as error:
        return _page(request, desk, names, terms, fault=error)
    found = desk.place.comparisons.find(asked)
    if found is None or anew:
        return _begun(request, desk, asked, terms)
    return _page(request, desk, asked.sessions, terms, found=found)


def _too_few(number: int) -> SettingsError:
    return SettingsError(
        "There is nothing to compare.",
        why="no session was chosen" if number == 0 else "one session was chosen",
        hint="Tick two or more in the list of amplifiers.",
    )


def _begun(request: Request, desk: Desk, asked: ComparisonAsked, terms: dict[str, str]) -> Response:
    address = _address(asked.sessions, terms)

    def work(tell: Tell) -> str:
        desk.place.comparisons.make(asked, tell=tell)
        return address

    job = desk.jobs.begin(request.state.browser, f"Comparing {len(asked.sessions)} sessions", work)
    return RedirectResponse(f"/jobs/{job.number}", 303)


def _address(names: object, terms: dict[str, str]) -> str:
    return "/compare?" + urlencode({"session": names, **{k: v for k, v in terms.items() if v}}, doseq=True)


def _page(request: Request, desk: Desk, names: object, terms: dict[str, str], **said: object) -> Response:
    fault = said.get("fault")
    return desk.page(
        request, "compare.html.j2", status=200 if fault is None else 422, here="amplifiers", title="Compare",
        sessions=names, terms=terms, anew=_address(names, terms) + "&anew=yes",
        **{"fault": None, "found": None, **said},
    )  # fmt: skip
