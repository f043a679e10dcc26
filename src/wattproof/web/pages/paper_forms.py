"""The form of a paper as a browser sends it, and what its buttons ask for: a row more, a row less, keep it."""

import re
from dataclasses import dataclass, field
from typing import Any

from starlette.datastructures import FormData

from wattproof.errors import WattproofError
from wattproof.tasks import FormTyped, PaperDesk
from wattproof.web.forms import text_in, whole_in

_NAME = re.compile(r"(\w*)\.(\d{1,4})\.([\w.]{1,60})")


@dataclass(kw_only=True)
class PaperForm:
    """What a paper's page shows in its fields.

    Attributes
    ----------
    typed : FormTyped
    wrong : dict of str to str
        What is wrong with fields, by "part.row.key".
    fault : WattproofError or None
    given_back : bool
        Whether these are the person's own words coming back, which nothing kept elsewhere may replace.
    """

    typed: FormTyped
    wrong: dict[str, str] = field(default_factory=dict)
    fault: WattproofError | None = None
    given_back: bool = False


def typed_in(form: FormData) -> FormTyped:
    """Read the fields, which are called "part.row.key"; rows keep their order, and gaps between them close."""
    found: dict[str, dict[int, dict[str, str]]] = {}
    for name, value in form.multi_items():
        match = _NAME.fullmatch(name)
        if match is not None and isinstance(value, str):
            found.setdefault(match[1], {}).setdefault(int(match[2]), {})[match[3]] = value
    return FormTyped(rows={part: [rows[number] for number in sorted(rows)] for part, rows in found.items()})


def rows_changed(desk: PaperDesk[Any], form: FormData, typed: FormTyped) -> bool:
    """Do what a button asked for with rows: "add-loads", "out-loads-2"; says whether one did."""
    what, _, rest = text_in(form, "do").partition("-")
    key, _, number = rest.partition("-")
    part = next((part for part in desk.parts if part.many and part.key == key), None)
    if part is None or what not in {"add", "out"}:
        return False
    rows = typed.rows.setdefault(key, [])
    if what == "add":
        rows.append(desk.row(part))
    elif number.isdecimal() and int(number) < len(rows):
        del rows[int(number)]
    return True


def state_in(form: FormData) -> int | None:
    """Give the number of the state that the form was made of."""
    return whole_in(form, "state")
