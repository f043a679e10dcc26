"""A report's blocks as pieces of another page: the same drawings and words, without a page around them."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from wattproof.publish.document import Document
from wattproof.publish.html import inline_json
from wattproof.publish.html_blocks import Blocks, environment
from wattproof.publish.html_charts import script_data
from wattproof.publish.html_words import PAGE

if TYPE_CHECKING:
    from markupsafe import Markup


@dataclass(frozen=True, kw_only=True)
class SectionFragment:
    """A section without its heading.

    Attributes
    ----------
    anchor : str
        Id for its heading: links of other sections lead there.
    title : str
    appendix : bool
    html : Markup
    """

    anchor: str
    title: str
    appendix: bool
    html: "Markup"


@dataclass(frozen=True, kw_only=True)
class Fragments:
    """A report in pieces.

    Attributes
    ----------
    lead : Markup
        What was found, in a few paragraphs.
    sections : tuple of SectionFragment
    chart_data : Markup
        JSON for a data block of the id ``chart-data``, which the report's own script reads.
    """

    lead: "Markup"
    sections: tuple[SectionFragment, ...]
    chart_data: "Markup"


def document_fragments(document: Document) -> Fragments:
    """Write a report's lead and sections as pieces of HTML, every word escaped.

    Parameters
    ----------
    document : Document
        Links whose places are not in it are set as plain words.
    """
    blocks = Blocks(document)
    parts = environment().get_template("report_parts.html.j2").make_module({"say": PAGE})
    show = parts.show  # type: ignore[attr-defined]  # a name of the template

    def shown(some: list[dict[str, object]]) -> "Markup":
        from markupsafe import Markup

        return Markup().join(show[one["kind"]](one) for one in some)

    return Fragments(
        lead=shown([{"kind": "paragraph", **paragraph} for paragraph in blocks.lead]),
        sections=tuple(
            SectionFragment(
                anchor=section["id"],
                title=section["title"],
                appendix=section["appendix"],
                html=shown(section["blocks"]),
            )
            for section in blocks.sections
        ),
        chart_data=inline_json(script_data(blocks.live)),
    )
