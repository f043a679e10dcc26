"""Pictures of a session, each by its name: charts of the report and cards of results, drawn for a screen's shape."""

from dataclasses import dataclass
from typing import Literal, assert_never

from wattproof.errors import UsageError
from wattproof.publish.picture_chart import ChartDrawn, chart_on, chart_pages
from wattproof.publish.picture_frame import Around, framed
from wattproof.publish.picture_sheet import Look, Sheet
from wattproof.publish.picture_type import register_font

Format = Literal["svg", "png", "pdf"]
_DOTS_PER_INCH = 72


@dataclass(frozen=True, kw_only=True)
class Picture:
    """One picture, ready to be drawn for any shape and paper.

    Attributes
    ----------
    name : str
        What it is called by: letters, digits and hyphens.
    told : str
        What it shows, for who cannot see it.
    around : Around
        The words above and below.
    content : ChartDrawn
        What is drawn between them.
    """

    name: str
    told: str
    around: Around
    content: ChartDrawn


def draw_picture(picture: Picture, look: Look) -> tuple[str, ...]:
    """Draw a picture as SVG.

    Parameters
    ----------
    picture : Picture
    look : Look

    Returns
    -------
    tuple of str
        Mostly one; as many as it takes where a card's rows do not fit on one.
    """
    area = framed(Sheet(look=look), picture.around)
    drawn = []
    for spec in chart_pages(picture.content, look, area):
        sheet = Sheet(look=look)
        chart_on(sheet, framed(sheet, picture.around), spec)
        drawn.append(sheet.svg(title=f"{picture.around.title}: {picture.around.amplifier}", description=picture.told))
    return tuple(drawn)


def picture_bytes(svg: str, *, form: Format) -> bytes:
    """Turn a drawn picture into a file's content.

    Parameters
    ----------
    svg : str
        From `draw_picture`.
    form : str
        "svg"; "png" of as many pixels as the picture's shape has, clear where no paper is painted; or "pdf".

    Returns
    -------
    bytes
        The same picture gives the same bytes.
    """
    import vl_convert

    register_font()
    match form:
        case "svg":
            return svg.encode()
        case "png":
            return bytes(vl_convert.svg_to_png(svg, scale=1.0, ppi=_DOTS_PER_INCH))
        case "pdf":
            return bytes(vl_convert.svg_to_pdf(svg, scale=1.0))
        case never:
            assert_never(never)


def chosen_pictures(pictures: tuple[Picture, ...], names: tuple[str, ...]) -> tuple[Picture, ...]:
    """Pick pictures by their names, or all of them by the name "all".

    Raises
    ------
    UsageError
        There is no picture of that name.
    """
    there = {picture.name: picture for picture in pictures}
    for name in names:
        if name not in there and name != "all":
            raise UsageError(
                f'There is no picture "{name}" of this session.',
                why=f"there are {', '.join(there) or 'none'}",
                hint=f"Name one that is there: {next(iter(there))}." if there else "Capture a ramp first.",
            )
    return pictures if "all" in names else tuple(there[name] for name in dict.fromkeys(names))
