"""Figures and verdicts in; what the public gets to see out: reports, pictures, overlays, sites. Knows no paths."""

from wattproof.publish.contents import session_document
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
    plain_words,
)
from wattproof.publish.film import FilmFormat, FilmShape, write_film, write_picture
from wattproof.publish.html import document_html, report_script
from wattproof.publish.html_fragments import Fragments, SectionFragment, document_fragments
from wattproof.publish.inputs import Foreseen, PublishedSession
from wattproof.publish.overlay_clock import FrameClock, clock_for, frame_of_code, rate_of, time_code
from wattproof.publish.overlay_course import Course, course_of
from wattproof.publish.overlay_layout import size_of
from wattproof.publish.overlay_paint import frames_of
from wattproof.publish.overlay_scene import Claim, Scene, scene_of
from wattproof.publish.photographs import cleaned_photo, photo_kept
from wattproof.publish.picture import Format, Picture, chosen_pictures, draw_picture, picture_bytes
from wattproof.publish.picture_content import session_pictures
from wattproof.publish.picture_sheet import Look
from wattproof.publish.post import document_markdown
from wattproof.publish.print import document_pages, document_pdf
from wattproof.publish.remarks import Remarks, parse_remarks
from wattproof.publish.site import amplifier_pages, site_pages
from wattproof.publish.site_model import (
    SITE_LOADS_OHM,
    SITE_SUPPLY_V,
    SITE_THD_N,
    SiteFigure,
    SiteRating,
    SiteSession,
)

__all__ = [
    "SITE_LOADS_OHM",
    "SITE_SUPPLY_V",
    "SITE_THD_N",
    "Block",
    "Bullets",
    "Chart",
    "Claim",
    "Column",
    "Course",
    "Document",
    "Facts",
    "FilmFormat",
    "FilmShape",
    "Foreseen",
    "Format",
    "Fragments",
    "FrameClock",
    "Link",
    "Look",
    "Mark",
    "Paragraph",
    "Part",
    "Photo",
    "Picture",
    "PublishedSession",
    "Remarks",
    "Row",
    "Scale",
    "Scene",
    "Section",
    "SectionFragment",
    "SiteFigure",
    "SiteRating",
    "SiteSession",
    "Spec",
    "Strip",
    "Table",
    "Words",
    "amplifier_pages",
    "chosen_pictures",
    "cleaned_photo",
    "clock_for",
    "course_of",
    "document_fragments",
    "document_html",
    "document_markdown",
    "document_pages",
    "document_pdf",
    "draw_picture",
    "frame_of_code",
    "frames_of",
    "parse_remarks",
    "photo_kept",
    "picture_bytes",
    "plain_words",
    "rate_of",
    "report_script",
    "scene_of",
    "session_document",
    "session_pictures",
    "site_pages",
    "size_of",
    "time_code",
    "write_film",
    "write_picture",
]
