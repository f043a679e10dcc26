"""The page: a report's blocks as one self-contained HTML document, whole without its script, nothing fetched."""

import re
from base64 import b64encode
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from hashlib import sha256
from importlib.resources import files
from json import dumps
from typing import TYPE_CHECKING, Any

from wattproof.publish.document import (
    Block,
    Bullets,
    Chart,
    Document,
    Facts,
    Paragraph,
    Photo,
    Scale,
    Section,
    Strip,
    Table,
    Words,
)
from wattproof.publish.html_charts import Drawings, engine, script_data
from wattproof.publish.html_places import Places
from wattproof.publish.html_words import PAGE
from wattproof.publish.print_data import cleaned, text_of
from wattproof.publish.scale_svg import verdict_svg
from wattproof.report import page_styles, typeset

if TYPE_CHECKING:
    import jinja2
    from markupsafe import Markup

Plain = dict[str, Any]

_LONG_LETTERS = 26


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
    return _Page(document).html


class _Page:
    """A document on its way to the template: places with ids, drawings, and blocks as plain data."""

    def __init__(self, document: Document) -> None:
        self._drawings = Drawings(document)
        self._places = Places(document)
        sections = [self._section(section) for section in self._places.sections]
        scripts = _scripts(charts=bool(self._drawings.live))
        self.html = (
            _environment()
            .get_template("report.html.j2")
            .render(
                say=PAGE,
                document=document,
                language=_language(document.language),
                css=_styles(),
                policy=_policy(scripts),
                lead=[self._paragraph(paragraph) for paragraph in document.lead],
                sections=sections,
                first=sections[0]["id"] if sections else "report",
                scripts=scripts,
                data=_inline_json(script_data(self._drawings.live)),
            )
        )

    def _section(self, section: Section) -> Plain:
        return {
            "id": self._places.of_section(section),
            "title": section.title,
            "appendix": section.appendix,
            "blocks": [self._block(block) for block in section.blocks],
        }

    def _block(self, block: Block) -> Plain:
        show: Mapping[type, Callable[[Any], Plain]] = {
            Paragraph: self._paragraph,
            Bullets: self._bullets,
            Facts: self._facts,
            Table: self._table,
            Chart: self._chart,
            Scale: self._scale,
            Strip: self._strip,
            Photo: self._photo,
        }
        return {"kind": type(block).__name__.lower(), **show[type(block)](block)}

    def _paragraph(self, block: Paragraph) -> Plain:
        return {"tone": block.tone, "runs": self._runs(block.words)}

    def _bullets(self, block: Bullets) -> Plain:
        return {"title": block.title, "items": [self._runs(item) for item in block.items]}

    def _facts(self, block: Facts) -> Plain:
        return {"title": block.title, "pairs": [(name, self._runs(words)) for name, words in block.pairs]}

    def _table(self, block: Table) -> Plain:
        rows = [
            {"id": self._places.of_row(row), "cells": [self._runs(cell) for cell in row.cells]} for row in block.rows
        ]
        return {
            "id": self._places.new("table"),
            "caption": block.caption,
            "columns": [(column, _look(block, number)) for number, column in enumerate(block.columns)],
            "rows": rows,
            "notes": block.notes,
        }

    def _chart(self, block: Chart) -> Plain:
        return {"id": self._places.new(f"chart-{block.name}"), "caption": block.caption, **self._drawn(block)}

    def _scale(self, block: Scale) -> Plain:
        return {
            "title": block.title,
            "verdict": block.verdict,
            "sign": _drawing(verdict_svg(block.verdict)),
            "told": self._runs(block.told),
            "details": block.details,
            **self._drawn(block),
        }

    def _strip(self, block: Strip) -> Plain:
        return {"title": block.title, "told": self._runs(block.told), **self._drawn(block)}

    def _photo(self, block: Photo) -> Plain:
        return {
            "caption": block.caption,
            "alt": block.caption or block.name,
            "source": f"data:image/jpeg;base64,{b64encode(block.jpeg).decode()}",
            "width_px": block.width_px,
            "height_px": block.height_px,
        }

    def _drawn(self, block: Chart | Scale | Strip) -> Plain:
        drawn = self._drawings.of(block)
        return {
            "wide": _drawing(drawn.wide),
            "narrow": _drawing(drawn.narrow),
            "live": drawn.live,
            "widths_px": drawn.widths_px,
        }

    def _runs(self, words: Iterable[Words]) -> list[tuple[str, str]]:
        """Give each run of words with the id it leads to, empty for none."""
        return [
            (word, "") if isinstance(word, str) else (word.text, self._places.leading_to(word.to)) for word in words
        ]


def _look(table: Table, number: int) -> str:
    """Say how a column is set: numbers to the right, and sentences no narrower than they can be read."""
    if table.columns[number].numeric:
        return "number"
    cells = (row.cells[number] for row in table.rows)
    return "long" if any(sum(len(text_of(word)) for word in cell) > _LONG_LETTERS for cell in cells) else ""


@cache
def _environment() -> "jinja2.Environment":
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("wattproof.publish"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["typeset"] = lambda text: typeset(cleaned(text))
    return environment


def _drawing(svg: str) -> "Markup":
    from markupsafe import Markup

    return Markup(svg)  # the drawings escape the names they are given


def _styles() -> "Markup":
    from markupsafe import Markup

    sheet = (files("wattproof.publish") / "templates" / "report.css").read_text(encoding="utf-8")
    return page_styles() + Markup(f"\n{sheet}")


@cache
def _scripts(*, charts: bool) -> tuple[str, ...]:
    """Give the page's scripts, each shut in so that its names stay its own: the chart engine, and what we add to it."""
    own = (files("wattproof.publish") / "templates" / "report.js").read_text(encoding="utf-8")
    scripts = (engine(), own) if charts else (own,)
    return tuple(_unbroken(f"(()=>{{{script}\n}})()") for script in scripts)


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


def _inline_json(data: Plain) -> "Markup":
    from markupsafe import Markup

    text = dumps(data, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return Markup(re.sub("[<>&]", lambda found: f"\\u{ord(found[0]):04x}", text))


def _language(tag: str) -> str:
    """Give the tag if it is one; "und", undetermined, if not."""
    return tag if re.fullmatch(r"[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*", tag) else "und"
