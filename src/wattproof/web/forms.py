"""What a person typed into a form of ours: checked to be ours, and given back whole whatever is wrong with it."""

import re
from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import Depends, HTTPException, Request
from starlette.datastructures import FormData

from wattproof.errors import SettingsError
from wattproof.web import tokens
from wattproof.web.desk import Desk, desk_of

MOST_FIELDS = 5000
MOST_FIELD_BYTES = 2_000_000
MOST_DIGITS = 9

FINGERPRINT = r"^[0-9A-Fa-f :-]{64,128}$"
"""Of a public key: a page names no file of this machine."""


async def form_of(request: Request) -> AsyncIterator[FormData]:
    """Read a form, which must carry this browser's token; its files are gone once the request is answered.

    Raises
    ------
    HTTPException
        403: the form is not of this browser, or too old to tell.
    """
    desk: Desk = request.app.state.desk
    form = await request.form(
        max_files=desk.settings.most_files, max_fields=MOST_FIELDS, max_part_size=MOST_FIELD_BYTES
    )
    try:
        said = str(form.get(tokens.FORM_FIELD, "")) or request.headers.get(tokens.HEADER, "")
        if not may_change(request, said):
            raise HTTPException(403, "This form is not of this browser. Load the page again; what you typed is there.")
        yield form
    finally:
        await form.close()


def may_change(request: Request, said: str) -> bool:
    """Tell whether a request that asks for a change is of a script with its token, or carries its browser's token."""
    desk: Desk = request.app.state.desk
    return request.state.script or tokens.same(said, tokens.form_token(desk.settings.secret, request.state.browser))


Form = Annotated[FormData, Depends(form_of)]
"""In a route's signature: the form, checked."""

TheDesk = Annotated[Desk, Depends(desk_of)]
"""In a route's signature: what the pages share."""


def text_in(form: FormData, name: str, default: str = "") -> str:
    """Give a field's text without blanks around it; a file is no text."""
    value = form.get(name, default)
    return value.strip() if isinstance(value, str) else default


def whole_in(form: FormData, name: str) -> int | None:
    """Give a field's whole number; None where it holds none."""
    return whole(text_in(form, name))


def whole(text: str) -> int | None:
    """Read a whole number of few digits; None of anything else."""
    return int(text) if text.isdecimal() and len(text) <= MOST_DIGITS else None


def texts_in(form: FormData, name: str) -> list[str]:
    """Give the texts of all fields of a name."""
    return [value.strip() for value in form.getlist(name) if isinstance(value, str)]


def fingerprint_in(form: FormData, name: str) -> str | None:
    """Give a public key's fingerprint; None where the field is empty.

    Raises
    ------
    SettingsError
        It is something else: a file of this machine above all, which no page may name.
    """
    said = text_in(form, name)
    if said and not re.match(FINGERPRINT, said):
        raise SettingsError(
            "That is no fingerprint of a key.",
            why="a fingerprint is 64 of the digits 0 to 9 and a to f, with or without blanks between",
            hint="Copy it from where the tester publishes it, or leave the field empty.",
        )
    return said or None
