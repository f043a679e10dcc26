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
from wattproof.publish.picture import Format, Picture, chosen_pictures, draw_picture, picture_bytes
from wattproof.publish.picture_content import session_pictures
from wattproof.publish.picture_sheet import Look
from wattproof.publish.picture_subject import PictureSubject
from wattproof.publish.post import document_markdown
from wattproof.publish.print import document_pages, document_pdf

__all__ = [
    "Block",
    "Bullets",
    "Chart",
    "Column",
    "Document",
    "Facts",
    "Format",
    "Link",
    "Look",
    "Mark",
    "Paragraph",
    "Part",
    "Photo",
    "Picture",
    "PictureSubject",
    "Row",
    "Scale",
    "Section",
    "Spec",
    "Strip",
    "Table",
    "Words",
    "chosen_pictures",
    "document_markdown",
    "document_pages",
    "document_pdf",
    "draw_picture",
    "picture_bytes",
    "session_pictures",
]
