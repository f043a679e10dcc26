"""A report as blocks in order: what is said once here is shown by each of its faces, a page, a print and a post."""

from dataclasses import dataclass, field
from typing import Any, Literal

Spec = dict[str, Any]
"""A chart as a Vega-Lite specification, its data inline."""

Tone = Literal["plain", "caution", "aside"]


@dataclass(frozen=True, kw_only=True)
class Link:
    """Words that lead to another place of the same document.

    Attributes
    ----------
    text : str
        As printed.
    to : str
        `anchor` of the block or section it leads to.
    """

    text: str
    to: str


Words = str | Link
"""A run of text; several make a paragraph or a cell, joined without space."""


def plain_words(words: tuple[Words, ...]) -> str:
    """Give runs of text as they are printed, without where they lead."""
    return "".join(word.text if isinstance(word, Link) else word for word in words)


@dataclass(frozen=True, kw_only=True)
class Paragraph:
    """Plain words. A caution is set apart by its head and its frame, not by colour alone."""

    words: tuple[Words, ...]
    tone: Tone = "plain"


@dataclass(frozen=True, kw_only=True)
class Bullets:
    """A list; `title` stands over it, empty for none."""

    items: tuple[tuple[Words, ...], ...]
    title: str = ""


@dataclass(frozen=True, kw_only=True)
class Facts:
    """Names with what stands behind them: a description list."""

    pairs: tuple[tuple[str, tuple[Words, ...]], ...]
    title: str = ""


@dataclass(frozen=True, kw_only=True)
class Column:
    """A column of a table: numbers are set to the right, words to the left."""

    head: str
    numeric: bool = False


@dataclass(frozen=True, kw_only=True)
class Row:
    """A row; `anchor` is where links to it lead, empty for none. The first cell is the row's head."""

    cells: tuple[tuple[Words, ...], ...]
    anchor: str = ""


@dataclass(frozen=True, kw_only=True)
class Table:
    """Rows of equal length under one caption; `notes` are said under it."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Chart:
    """One picture of figures.

    Attributes
    ----------
    name : str
        Short, of letters, digits and hyphens, the same in every report: what `wattproof picture` calls it by.
    caption : str
        What it shows, in words, with its leading numbers: also told to who cannot see it.
    wide : dict
        Specification for paper and broad screens, 640 px.
    narrow : dict
        The same for a telephone, 340 px.
    """

    name: str
    caption: str
    wide: Spec = field(repr=False)
    narrow: Spec = field(repr=False)


@dataclass(frozen=True, kw_only=True)
class Mark:
    """What was measured against one reading of a rating: a dot and its 95 % interval; None where nothing was."""

    value: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, kw_only=True)
class Scale:
    """A rating on a line: the claim as a mark, what was measured as a dot with its 95 % interval.

    Attributes
    ----------
    title : str
        The rating as stated, with its number and conditions.
    verdict : str
        "meets", "falls short" or "cannot tell".
    quantity, unit : str
        What the line measures, for its axis.
    claim : float
        The rated number, in `unit`.
    at_least : bool or None
        True where more is better (power), False where less is (distortion), None where it is to be near (gain).
    measured : Mark
    low, high : float
        Ends of the line, in `unit`; claim and interval lie inside.
    log : bool
        True: the line is logarithmic.
    carried : bool
        True: the mark was not measured so, but carried to the rated conditions.
    told : tuple of Words
        The whole in words: what was measured where, probability, margin.
    details : tuple of str
        More lines: corrections, other readings, what would settle it.
    """

    title: str
    verdict: Literal["meets", "falls short", "cannot tell"]
    quantity: str
    unit: str
    claim: float
    at_least: bool | None
    measured: Mark
    low: float
    high: float
    log: bool = False
    carried: bool = False
    told: tuple[Words, ...] = ()
    details: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Part:
    """A part of the supply's power: its name, how much of the whole (0 to 1) and its number as printed."""

    name: str
    share: float
    text: str


@dataclass(frozen=True, kw_only=True)
class Strip:
    """Where the supply's power goes: parts whose widths are their shares; they sum to 1."""

    title: str
    parts: tuple[Part, ...]
    told: tuple[Words, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Photo:
    """A photograph the person added: a JPEG without its camera's notes, and how large it is."""

    name: str
    caption: str
    jpeg: bytes = field(repr=False)
    width_px: int
    height_px: int


Block = Paragraph | Bullets | Facts | Table | Chart | Scale | Strip | Photo


@dataclass(frozen=True, kw_only=True)
class Section:
    """A heading and what stands under it; an appendix comes after all sections that are none."""

    anchor: str
    title: str
    blocks: tuple[Block, ...]
    appendix: bool = False


@dataclass(frozen=True, kw_only=True)
class Document:
    """A whole report.

    Attributes
    ----------
    title : str
        The amplifier's name.
    subtitle : str
        What kind of document it is, of which session.
    language : str
        As of BCP 47.
    date : str
        The day of the bench, ISO 8601.
    generated : str
        When the document was made, ISO 8601; empty: not said, so that equal inputs give equal bytes.
    program : str
        Name and version of the program that made it.
    lead : tuple of Paragraph
        Three to six sentences: what was tested and what was found.
    sections : tuple of Section
    """

    title: str
    subtitle: str
    language: str
    date: str
    generated: str
    program: str
    lead: tuple[Paragraph, ...]
    sections: tuple[Section, ...]
