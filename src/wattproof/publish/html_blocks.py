"""A document's blocks as plain data for a template, with their drawings made and their links led somewhere."""

from base64 import b64encode
from collections.abc import Callable, Iterable, Mapping
from functools import cache
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
from wattproof.publish.html_charts import Drawings
from wattproof.publish.html_places import Places
from wattproof.publish.interactive import Live
from wattproof.publish.print_data import cleaned, text_of
from wattproof.publish.scale_svg import verdict_svg
from wattproof.report import page_environment, typeset

if TYPE_CHECKING:
    import jinja2
    from markupsafe import Markup

Plain = dict[str, Any]

_LONG_LETTERS = 26


class Blocks:
    """A document on its way to a template: places with ids, drawings, and blocks as plain data.

    Parameters
    ----------
    document : Document
    """

    def __init__(self, document: Document) -> None:
        self._drawings = Drawings(document)
        self._places = Places(document)
        self.lead = [self._paragraph(paragraph) for paragraph in document.lead]
        self.sections = [self._section(section) for section in self._places.sections]

    @property
    def live(self) -> list[tuple[Live, Live]]:
        """Give the charts that a script can turn, each for wide and for narrow pages."""
        return self._drawings.live

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
def environment() -> "jinja2.Environment":
    """Give what fills the templates of reports and sites: every word is escaped, cleaned and typeset."""
    filled = page_environment("wattproof.publish")
    filled.filters["typeset"] = lambda text: typeset(cleaned(text))
    return filled


def _drawing(svg: str) -> "Markup":
    from markupsafe import Markup

    return Markup(svg)  # the drawings escape the names they are given
