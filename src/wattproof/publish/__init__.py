"""Figures and verdicts in; what the public gets to see out: reports, pictures, overlays, sites. Knows no paths."""

from wattproof.publish.document import (
    Block,
    Bullets,
    Chart,
    Column,
    Document,
    Facts,
    Link,
    Mark,
    Paragraph,
    Part,
    Photo,
    Row,
    Scale,
    Section,
    Spec,
    Strip,
    Table,
    Words,
)
from wattproof.publish.post import document_markdown
from wattproof.publish.print import document_pages, document_pdf

__all__ = [
    "Block",
    "Bullets",
    "Chart",
    "Column",
    "Document",
    "Facts",
    "Link",
    "Mark",
    "Paragraph",
    "Part",
    "Photo",
    "Row",
    "Scale",
    "Section",
    "Spec",
    "Strip",
    "Table",
    "Words",
    "document_markdown",
    "document_pages",
    "document_pdf",
]
