"""The pages of a site: a list, a table side by side, a page an amplifier; whole without their script."""

import re
import unicodedata
from base64 import b64encode
from collections.abc import Sequence
from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from wattproof.publish.html_blocks import environment
from wattproof.publish.site_model import SITE_LOADS_OHM, SITE_SUPPLY_V, SITE_THD_N, SiteSession
from wattproof.publish.site_words import COUNTED, SIGNS, SITE
from wattproof.report import page_styles

if TYPE_CHECKING:
    from markupsafe import Markup

REPORTS = "sessions"


def site_pages(sessions: Sequence[SiteSession], *, program: str, title: str = "") -> dict[str, str]:
    """Write a site's pages but for the reports, which stand in ``sessions/NAME.html``.

    Parameters
    ----------
    sessions : sequence of SiteSession
        In any order.
    program : str
        Name and version of what made them.
    title : str
        What the site is called; a plain title when left out.

    Returns
    -------
    dict of path to str
        Paths relative to the site, with forward slashes; the same sessions give the same bytes.
    """
    ordered = sorted(sessions, key=lambda one: (one.amplifier.casefold(), one.amplifier, one.day, one.session))
    pages = amplifier_pages(ordered)
    shared: dict[str, Any] = {
        "say": SITE,
        "signs": SIGNS,
        "program": program,
        "site": title or SITE["title"],
        "terms": SITE["terms"].format(thd=f"{100 * SITE_THD_N:g} %", supply=f"{SITE_SUPPLY_V:g}"),
        "counted": tuple(COUNTED.values()),
    }
    rows = [_row(one, pages[one.maker, one.model]) for one in ordered]
    found = {
        "index.html": _render("site_list.html.j2", shared, rows=rows, up=""),
        "compare.html": _render("site_compare.html.j2", shared, rows=rows, up="", loads=SITE_LOADS_OHM),
    }
    for (maker, model), page in pages.items():
        own = [one for one in ordered if (one.maker, one.model) == (maker, model)]
        found[page] = _render("site_amplifier.html.j2", shared, sessions=own, up="../", reports=REPORTS)
    return found


def amplifier_pages(sessions: Sequence[SiteSession]) -> dict[tuple[str, str], str]:
    """Give each amplifier the path of its page, told apart where letters alone do not."""
    found: dict[tuple[str, str], str] = {}
    for maker, model in sorted({(one.maker, one.model) for one in sessions}):
        plain = _plain(f"{maker} {model}")
        name, number = plain, 2
        while f"amplifiers/{name}.html" in found.values():
            name, number = f"{plain}-{number}", number + 1
        found[maker, model] = f"amplifiers/{name}.html"
    return found


def _plain(text: str) -> str:
    letters = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", letters).strip("-")[:80] or "amplifier"


def _row(one: SiteSession, page: str) -> dict[str, Any]:
    verdicts = {COUNTED[name]: (SIGNS[name], count) for name, count in one.verdicts().items()}
    powers = [figure for load in SITE_LOADS_OHM if (figure := one.power(load))]
    return {
        "it": one,
        "page": page,
        "verdicts": verdicts,
        "best": max(powers, key=lambda figure: figure.value, default=None),
        "words": " ".join([one.amplifier, one.day, one.bench, one.note, *verdicts]).casefold(),
    }


def _render(template: str, shared: dict[str, Any], **data: object) -> str:
    script = _script() if template != "site_amplifier.html.j2" else ""
    return (
        environment()
        .get_template(template)
        .render(**shared, **data, css=_styles(), script=_safe(script), policy=_policy(script))
    )


@cache
def _styles() -> "Markup":
    return page_styles() + _safe("\n" + (files("wattproof.publish") / "templates" / "site.css").read_text("utf-8"))


@cache
def _script() -> str:
    return (files("wattproof.publish") / "templates" / "site.js").read_text("utf-8")


def _safe(text: str) -> "Markup":
    from markupsafe import Markup

    return Markup(text)  # our own files only


def _policy(script: str) -> str:
    """Allow a page its own script, by its hash; nothing may be fetched."""
    allowed = f"'sha256-{b64encode(sha256(script.encode()).digest()).decode()}'" if script else "'none'"
    return f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
