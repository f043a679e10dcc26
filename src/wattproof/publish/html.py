"""The page: a report's blocks as one self-contained HTML document, whole without its script, nothing fetched."""

import re
from base64 import b64encode
from collections.abc import Iterable
from functools import cache
from hashlib import sha256
from importlib.resources import files
from json import dumps
from typing import TYPE_CHECKING

from wattproof.publish.document import Document
from wattproof.publish.html_blocks import Blocks, Plain, environment
from wattproof.publish.html_charts import engine, script_data
from wattproof.publish.html_words import PAGE
from wattproof.report import page_styles

if TYPE_CHECKING:
    from markupsafe import Markup


def document_html(document: Document) -> str:
    """Write a report as one page.

    Charts are drawn here and stand in the page as pictures; where its script runs they can be read off and zoomed.
    Every word of the document is escaped, and a policy in the page's head keeps it from fetching anything.

    Parameters
    ----------
    document : Document

    Returns
    -------
    str
        A complete HTML document; the same document gives the same bytes. A link whose place is not in the document
        is set as plain words.
    """
    blocks = Blocks(document)
    scripts = _scripts(charts=bool(blocks.live))
    return (
        environment()
        .get_template("report.html.j2")
        .render(
            say=PAGE,
            document=document,
            language=_language(document.language),
            css=_styles(),
            policy=_policy(scripts),
            lead=blocks.lead,
            sections=blocks.sections,
            first=blocks.sections[0]["id"] if blocks.sections else "report",
            scripts=scripts,
            data=inline_json(script_data(blocks.live)),
        )
    )


def _styles() -> "Markup":
    from markupsafe import Markup

    sheet = (files("wattproof.publish") / "templates" / "report.css").read_text(encoding="utf-8")
    return page_styles() + Markup(f"\n{sheet}")


@cache
def _scripts(*, charts: bool) -> tuple[str, ...]:
    """Give the page's scripts, each shut in so that its names stay its own: the chart engine, and what we add to it."""
    scripts = (engine(), report_script()) if charts else (report_script(),)
    return tuple(_unbroken(f"(()=>{{{script}\n}})()") for script in scripts)


def report_script() -> str:
    """Give what turns a report's charts, for pages that serve it as a file beside the chart engine."""
    return (files("wattproof.publish") / "templates" / "report.js").read_text(encoding="utf-8")


def _unbroken(script: str) -> str:
    """Keep a script from ending, or opening a comment, before its end."""
    return script.replace("</script", r"<\/script").replace("<!--", r"<\!--")


def _policy(scripts: Iterable[str]) -> str:
    """Allow the page its own scripts, by their hashes, and pictures inside it; nothing may be fetched."""
    hashes = [f"'sha256-{b64encode(sha256(script.encode()).digest()).decode()}'" for script in scripts]
    scripted = f"script-src {' '.join(hashes)}"
    return (
        f"default-src 'none'; {scripted}; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"
    )


def inline_json(data: Plain) -> "Markup":
    """Write data so that it may stand in a page without ending its script."""
    from markupsafe import Markup

    text = dumps(data, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return Markup(re.sub("[<>&]", lambda found: f"\\u{ord(found[0]):04x}", text))


def _language(tag: str) -> str:
    """Give the tag if it is one; "und", undetermined, if not."""
    return tag if re.fullmatch(r"[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*", tag) else "und"
