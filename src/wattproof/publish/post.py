"""The post: a report's blocks as Markdown for a forum, every stranger's word escaped."""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

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
from wattproof.publish.print_data import cleaned, in_order, text_of
from wattproof.publish.print_words import SAY

_MEANT = re.compile(r"[\\`*_\[\]<>|~$&#@^]")
"""What means something wherever it stands; the rest, only where a line begins or in an address."""

_OPENS_A_LINE = re.compile(r"^(\d*)([.)](?=\s|$)|[-+](?=\s|$)|[-=](?=[-=]))")
_ADDRESS = re.compile(r"(?<=[A-Za-z])(:)(?=//)|(?<=\bwww)(\.)", re.IGNORECASE)


def document_markdown(document: Document, *, appendix: bool = True) -> str:
    """Write a report as a forum post.

    Drawings are told in words with their numbers, links are plain words, and tables are of the kind with bars between
    the columns. Whatever a stranger wrote is escaped: it can open no table, list, picture or address.

    Parameters
    ----------
    document : Document
    appendix : bool
        False leaves the appendices out, where a forum takes no long posts.

    Returns
    -------
    str
        Markdown, ending in a line feed.
    """
    head = [f"# {_line([document.title])}", _line([document.subtitle]), _day(document.date)]
    sections = [section for section in in_order(document.sections) if appendix or not section.appendix]
    parts = [*head, *(part for paragraph in document.lead for part in _paragraph(paragraph))]
    parts += [part for section in sections for part in _section(section)]
    made = ", ".join(
        filter(None, (document.program, document.generated and f"{SAY['generated']} {document.generated}"))
    )
    return "\n\n".join(filter(None, [*parts, _line([made])])) + "\n"


def escaped(text: str) -> str:
    r"""Put a backslash before every sign that would be taken for a command.

    Examples
    --------
    >>> print(escaped("1. a|b <i> www.x.y"))
    1\. a\|b \<i\> www\.x.y
    """
    text = _MEANT.sub(r"\\\g<0>", cleaned(text).strip())
    return _ADDRESS.sub(r"\\\g<0>", _OPENS_A_LINE.sub(r"\1\\\2", text))


def _line(words: Iterable[Words]) -> str:
    return escaped("".join(map(text_of, words)))


def _day(date: str) -> str:
    return f"{SAY['bench_day']}: {_line([date])}" if date else ""


def _section(section: Section) -> Iterator[str]:
    title = f"{SAY['appendix']}: {section.title}" if section.appendix else section.title
    yield f"## {_line([title])}"
    for block in section.blocks:
        yield from _block(block)


def _block(block: Block) -> Iterator[str]:
    write: Mapping[type, Callable[[Any], Iterator[str]]] = {
        Paragraph: _paragraph,
        Bullets: _bullets,
        Facts: _facts,
        Table: _table,
        Chart: _chart,
        Scale: _scale,
        Strip: _strip,
        Photo: _photo,
    }
    return write[type(block)](block)


def _paragraph(block: Paragraph) -> Iterator[str]:
    said = _line(block.words)
    if block.tone == "caution":
        yield f"> **{SAY['caution']}.** {said}"
    elif said:
        yield said


def _head(title: str) -> Iterator[str]:
    if title:
        yield f"### {_line([title])}"


def _listed(items: Iterable[str]) -> Iterator[str]:
    if lines := [f"- {item}" for item in items]:
        yield "\n".join(lines)


def _bullets(block: Bullets) -> Iterator[str]:
    yield from _head(block.title)
    yield from _listed(map(_line, block.items))


def _facts(block: Facts) -> Iterator[str]:
    yield from _head(block.title)
    yield from _listed(f"**{_line([name])}:** {_line(words)}" for name, words in block.pairs)


def _table(block: Table) -> Iterator[str]:
    yield f"**{_line([block.caption])}**"
    lines = [[_line([column.head]) for column in block.columns]]
    lines.append(["---:" if column.numeric else ":---" for column in block.columns])
    lines += [[_line(cell) for cell in row.cells] for row in block.rows]
    yield "\n".join(f"| {' | '.join(cells)} |" for cells in lines)
    yield from _listed(_line([note]) for note in block.notes)


def _chart(block: Chart) -> Iterator[str]:
    yield f"**{SAY['chart']}.** {_line([block.caption])}"


def _scale(block: Scale) -> Iterator[str]:
    yield from _head(block.title)
    yield f"**{SAY['verdict']}: {block.verdict}.** {_line(block.told)}".rstrip()
    yield from _listed(_line([detail]) for detail in block.details)


def _strip(block: Strip) -> Iterator[str]:
    yield from _head(block.title)
    yield from _listed(f"**{_line([part.name])}:** {_line([part.text])}" for part in block.parts)
    if told := _line(block.told):
        yield told


def _photo(block: Photo) -> Iterator[str]:
    yield f"**{SAY['photo']}.** {_line([block.caption or block.name])}"
