"""Pairing: a browser on the network says the code that the terminal shows, once."""

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from wattproof.web import tokens
from wattproof.web.forms import Form, TheDesk, text_in
from wattproof.web.gate import cookie_header

router = APIRouter(include_in_schema=False)


@router.get("/pair")
def pair(request: Request, desk: TheDesk) -> Response:
    """Ask for the code."""
    if request.state.paired:
        return RedirectResponse("/", 303)
    return desk.page(request, "pair.html.j2", title="Pair this browser", wrong="")


@router.post("/pair")
async def paired(request: Request, desk: TheDesk, form: Form) -> Response:
    """Take the code; the right one makes this browser known."""
    tries = desk.tries
    wait_s = tries.wait_s()
    if wait_s > 0:
        words = f"Too many wrong codes. The next is looked at in {wait_s:.0f} s."
        return desk.page(request, "pair.html.j2", status=429, title="Pair this browser", wrong=words)
    said = "".join(text_in(form, "code").split()).replace("-", "")
    code = (desk.settings.pairing_code or "").replace("-", "")
    if not code or not tokens.same(said, code):
        tries.failed()
        words = "That is not the code. It stands in the terminal in which the workbench was started."
        return desk.page(request, "pair.html.j2", status=403, title="Pair this browser", wrong=words)
    answer = RedirectResponse("/", 303)
    answer.headers["set-cookie"] = cookie_header(desk.settings, tokens.new_browser(), paired=True)
    return answer
