"""Papers of amplifiers: ratings typed as printed and looked at meanwhile, what was seen inside, the file itself."""

import asyncio
from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from wattproof.tasks import PaperSeen
from wattproof.web.desk import Desk
from wattproof.web.forms import Form, TheDesk, text_in
from wattproof.web.pages.paper_forms import PaperForm, state_in, typed_in
from wattproof.web.pages.papers import PaperPages

router = APIRouter(include_in_schema=False, prefix="/amplifiers")


@router.post("/look")
async def look(request: Request, desk: TheDesk, form: Form) -> Response:
    """Answer with what can be said of the ratings typed so far, as a part of the page."""
    found = await asyncio.to_thread(
        desk.place.amplifiers.look, typed_in(form), name=text_in(form, "paper"), number=state_in(form)
    )
    return desk.page(request, "amplifier_look.html.j2", look=found)


def _more(
    desk: Desk, name: str, form: PaperForm, seen: PaperSeen | None, _said: Mapping[str, Any]
) -> dict[str, Any]:  # fmt: skip
    number = None if seen is None else seen.number
    return {"look": desk.place.amplifiers.look(form.typed, name=name, number=number)}


PAGES = PaperPages(
    kind="amplifier", here="amplifiers", address="/amplifiers", papers=lambda desk: desk.place.amplifiers, more=_more
)
router.include_router(PAGES.router())
