"""A report taken apart for the typesetter: plain data in which every word is a string, and pictures as files."""

import re
from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from typing import Any

from wattproof.publish.document import (
    Block,
    Bullets,
    Chart,
    Document,
    Facts,
    Link,
    Paragraph,
    Photo,
    Row,
    Scale,
    Section,
    Strip,
    Table,
    Words,
)
from wattproof.publish.print_columns import columns_of
from wattproof.publish.print_words import SAY
from wattproof.report import INK, SOFT, typeset

Plain = dict[str, Any]
"""What JSON holds."""

_UNBREAKABLE_LETTERS = 14
_PIECE_LETTERS = 10
_HEAD_LETTERS = 70
_WHOLE_PARAGRAPH_LETTERS = 2000
_WHOLE_ROW_LETTERS = 500
"""What is longer may part between two pages: kept whole, it might not fit on one."""

_POINTS_PER_PIXEL = 0.6
"""One scale for all drawings, so that their letters are of one size: those of 13 pixels come to 7.8 points."""

_PHOTO_PIXELS_PER_POINT = 150 / 72
"""A photograph is printed no larger than 150 of its pixels make an inch: larger would show no more."""


class Laid:
    """A document as plain data, with a picture file for every drawing.

    Parameters
    ----------
    document : Document
    drawings : dict
        The SVG of every chart, scale and strip, by the block's ``id``.
    """

    def __init__(self, document: Document, *, drawings: Mapping[int, str]) -> None:
        self.files: dict[str, bytes] = {}
        self._drawings = drawings
        self._labels = _labels(document)
        self._placed: set[str] = set()
        self.data: Plain = {
            "say": dict(SAY),
            "ink": INK.light,
            "soft": SOFT.light,
            "name": cleaned(_named(document)),
            "title": pieces(document.title),
            "subtitle": pieces(document.subtitle),
            "head": shortened(printed(document.title), _HEAD_LETTERS),
            "date": cleaned(document.date),
            "program": cleaned(document.program),
            "generated": cleaned(document.generated),
            "made": _moment(document.generated),
            **_language(document.language),
            "lead": [self._paragraph(paragraph) for paragraph in document.lead],
            "sections": [self._section(section) for section in in_order(document.sections)],
        }

    def _section(self, section: Section) -> Plain:
        return {
            "label": self._place(section.anchor),
            "title": pieces(section.title),
            "appendix": section.appendix,
            "blocks": [self._block(block) for block in section.blocks],
        }

    def _place(self, anchor: str) -> str:
        """Give an anchor's label where it stands first; a label may stand once."""
        if anchor in self._placed:
            return ""
        self._placed.add(anchor)
        return self._labels.get(anchor, "")

    def _block(self, block: Block) -> Plain:
        lay: Mapping[type, Callable[[Any], Plain]] = {
            Paragraph: self._paragraph,
            Bullets: self._bullets,
            Facts: self._facts,
            Table: self._table,
            Chart: self._chart,
            Scale: self._scale,
            Strip: self._strip,
            Photo: self._photo,
        }
        return lay[type(block)](block)

    def _paragraph(self, block: Paragraph) -> Plain:
        whole = sum(len(text_of(word)) for word in block.words) <= _WHOLE_PARAGRAPH_LETTERS
        return {"kind": "paragraph", "tone": block.tone, "words": self._runs(block.words), "whole": whole}

    def _bullets(self, block: Bullets) -> Plain:
        return {"kind": "bullets", "title": pieces(block.title), "items": [self._runs(item) for item in block.items]}

    def _facts(self, block: Facts) -> Plain:
        pairs = [{"name": pieces(name), "words": self._runs(words)} for name, words in block.pairs]
        return {"kind": "facts", "title": pieces(block.title), "pairs": pairs}

    def _table(self, block: Table) -> Plain:
        rows = [self._row(row) for row in block.rows]
        heads = [pieces(column.head) for column in block.columns]
        columns = columns_of(
            [heads, *([[piece for run in cell for piece in run["text"]] for cell in row["cells"]] for row in rows)]
        )
        return {
            "kind": "table",
            "caption": pieces(block.caption),
            "heads": heads,
            "numeric": [column.numeric for column in block.columns],
            "rows": rows,
            "notes": [pieces(note) for note in block.notes],
            "size": columns.size_pt,
            "shares": columns.shares,
            "whole": columns.whole,
        }

    def _row(self, row: Row) -> Plain:
        letters = max((sum(len(text_of(word)) for word in cell) for cell in row.cells), default=0)
        cells = [self._runs(cell) for cell in row.cells]
        return {"label": self._place(row.anchor), "cells": cells, "whole": letters <= _WHOLE_ROW_LETTERS}

    def _chart(self, block: Chart) -> Plain:
        picture = self._drawing(block, told=block.caption)
        return {"kind": "picture", "caption": pieces(block.caption), "picture": picture}

    def _scale(self, block: Scale) -> Plain:
        return {
            "kind": "scale",
            "title": pieces(block.title),
            "verdict": block.verdict,
            "picture": self._drawing(
                block, told=_told(f"{block.title}:", f"{block.verdict}.", "".join(map(text_of, block.told)))
            ),
            "told": self._runs(block.told),
            "details": [pieces(detail) for detail in block.details],
        }

    def _strip(self, block: Strip) -> Plain:
        told = _told(f"{block.title}:", "; ".join(f"{part.name} {part.text}" for part in block.parts))
        return {
            "kind": "strip",
            "title": pieces(block.title),
            "picture": self._drawing(block, told=told),
            "told": self._runs(block.told),
        }

    def _photo(self, block: Photo) -> Plain:
        name = f"photo-{len(self.files)}.jpg"
        self.files[name] = block.jpeg
        picture = {
            "file": name,
            "alt": cleaned(block.caption) or cleaned(block.name),
            "width": block.width_px / _PHOTO_PIXELS_PER_POINT,
            "shape": block.height_px / block.width_px,
            "photo": True,
        }
        return {"kind": "picture", "caption": pieces(block.caption), "picture": picture}

    def _drawing(self, block: Chart | Scale | Strip, *, told: str) -> Plain:
        name = f"drawing-{len(self.files)}.svg"
        svg = self._drawings[id(block)]
        self.files[name] = svg.encode()
        width, height = _size_px(svg)
        at = {"width": width * _POINTS_PER_PIXEL, "shape": height / width, "photo": False}
        return {"file": name, "alt": cleaned(told), **at}

    def _runs(self, words: Iterable[Words]) -> list[Plain]:
        return [
            {"text": pieces(text_of(word)), "to": self._labels.get(word.to, "") if isinstance(word, Link) else ""}
            for word in words
        ]


def in_order(sections: Iterable[Section]) -> list[Section]:
    """Put appendices after all sections that are none."""
    return sorted(sections, key=lambda section: section.appendix)


def text_of(word: Words) -> str:
    """Give the words as printed, without where they lead."""
    return word.text if isinstance(word, Link) else word


def cleaned(text: str) -> str:
    r"""Put text on one line without control characters; spaces that hold words together stay.

    Examples
    --------
    >>> cleaned("a\n\tb\x07") + cleaned(" c ")
    'a b c '
    """
    return re.sub("[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]", "", re.sub("[ \t\r\n\v\f]+", " ", text))


def printed(text: str) -> str:
    """Put text on one line with the signs of print."""
    return typeset(cleaned(text))


def shortened(text: str, letters: int) -> str:
    """Cut what is longer than a running head holds, and show that it was cut."""
    return text if len(text) <= letters else f"{text[: letters - 1].rstrip()}…"


def pieces(text: str) -> list[str]:
    """Cut words that are longer than a narrow column where a line may end in them, adding no letter.

    Examples
    --------
    >>> pieces("long-ramp-file.wav of 3fa94c0d17be55aa")
    ['long-', 'ramp-', 'file.', 'wav of 3fa94c0d17', 'be55aa']
    """
    found = [""]
    for word in re.split(r"(?<=\s)", printed(text)):
        first, *more = _cut(word) if len(word) > _UNBREAKABLE_LETTERS else [word]
        found[-1] += first
        found += more
    return found


def _cut(word: str) -> list[str]:
    """Cut a long word behind the signs that part names, and what stays too long anywhere."""
    parts = re.split(r"(?<=[-_/\\:;,=])(?=\w)|(?<=\.)(?=[A-Za-z])", word)
    return [
        piece
        for part in parts
        for piece in ([part] if len(part) <= _UNBREAKABLE_LETTERS else re.findall(f".{{1,{_PIECE_LETTERS}}}", part))
    ]


def _named(document: Document) -> str:
    return f"{document.title}: {document.subtitle}" if document.subtitle else document.title


def _labels(document: Document) -> dict[str, str]:
    """Give every anchor a label of our own making."""
    anchors: list[str] = []
    for section in in_order(document.sections):
        anchors.append(section.anchor)
        anchors += [row.anchor for block in section.blocks if isinstance(block, Table) for row in block.rows]
    return {anchor: f"place-{number}" for number, anchor in enumerate(dict.fromkeys(filter(None, anchors)), start=1)}


def _language(tag: str) -> Plain:
    """Take a BCP 47 tag apart; "und", undetermined, where it is none."""
    found = re.fullmatch(r"([A-Za-z]{2,3})(?:-[A-Za-z]{4})?(?:-([A-Za-z]{2}))?(?:-.*)?", tag)
    return {"lang": found[1].lower() if found else "und", "region": (found[2] or "").upper() if found else ""}


def _moment(generated: str) -> list[int]:
    """Give year, month, day, hour, minute, second; empty where it is no moment."""
    try:
        moment = datetime.fromisoformat(generated)
    except ValueError:
        return []
    return [moment.year, moment.month, moment.day, moment.hour, moment.minute, moment.second]


def _told(*parts: str) -> str:
    return " ".join(filter(None, (part.strip() for part in parts)))


def _size_px(svg: str) -> tuple[float, float]:
    head = svg[: svg.index(">")]
    width, height = (re.search(rf'\s{side}="([\d.]+)(?:px)?"', head) for side in ("width", "height"))
    if width and height:
        return float(width[1]), float(height[1])
    box = re.search(r'\sviewBox="([-\d., ]+)"', head)
    _, _, across, down = (float(number) for number in re.split("[ ,]+", box[1].strip())) if box else (0, 0, 640, 320)
    return across, down
