"""Where links of a page lead: every anchor once, as an id that is safe to stand in an address."""

import re

from wattproof.publish.document import Document, Row, Section, Table

_PLAIN = r"[A-Za-z][A-Za-z0-9_.-]*"


class Places:
    """The ids of a page.

    An anchor of letters, digits and hyphens is its own id, so that links from outside last; another gets one of ours.
    Where two blocks bear the same anchor, links lead to the first.

    Parameters
    ----------
    document : Document
    """

    def __init__(self, document: Document) -> None:
        self.sections = sorted(document.sections, key=lambda section: section.appendix)
        self._taken: set[str] = {"report", "contents", "chart-data"}
        self._ids: dict[str, str] = {}
        self._given: set[str] = set()
        for section in self.sections:
            self._reserve(section.anchor)
            for row in (row for block in section.blocks if isinstance(block, Table) for row in block.rows):
                self._reserve(row.anchor)

    def _reserve(self, anchor: str) -> None:
        if anchor and anchor not in self._ids:
            self._ids[anchor] = self.new(anchor)

    def new(self, wanted: str) -> str:
        """Give an id that nothing else bears."""
        stem = wanted if re.fullmatch(_PLAIN, wanted) else "place"
        number, name = 1, stem
        while name in self._taken:
            number += 1
            name = f"{stem}-{number}"
        self._taken.add(name)
        return name

    def of_section(self, section: Section) -> str:
        """Give a section its id; it needs one also where it has no anchor of its own."""
        return self._first(section.anchor) or self.new("section")

    def of_row(self, row: Row) -> str:
        """Give a row its id, empty for none."""
        return self._first(row.anchor)

    def leading_to(self, anchor: str) -> str:
        """Give the id that a link leads to, empty where there is no such place."""
        return self._ids.get(anchor, "")

    def _first(self, anchor: str) -> str:
        if not anchor or anchor in self._given:
            return ""
        self._given.add(anchor)
        return self._ids[anchor]
