"""Pictures of a session, each by its name: charts of the report and cards of results, drawn for a screen's shape."""

from dataclasses import dataclass
from difflib import get_close_matches
from math import ceil
from typing import Literal, assert_never

from wattproof.errors import InternalFaultError, UsageError
from wattproof.publish.card import RowsCard, StripsCard
from wattproof.publish.card_rows import rows_on
from wattproof.publish.card_strips import strips_on
from wattproof.publish.document import Chart
from wattproof.publish.picture_chart import chart_on, chart_pages
from wattproof.publish.picture_frame import Around, framed
from wattproof.publish.picture_pdf import picture_pdf
from wattproof.publish.picture_sheet import Look, Sheet
from wattproof.publish.picture_type import register_font

Format = Literal["svg", "png", "pdf"]
_DOTS_PER_INCH = 72
_LARGER = (1.5, 1.4, 1.3, 1.2, 1.1, 1.0)
"""How much larger than the smallest a card's letters may be, for it to be filled."""


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
    of : str
        The capture, where it is of one alone.
    content : Chart, RowsCard or StripsCard
        What is drawn between them.
    """

    name: str
    told: str
    around: Around
    content: Chart | RowsCard | StripsCard
    of: str = ""


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
    if isinstance(picture.content, Chart):
        sheets = _chart_sheets(picture.content, picture.around, look)
    else:
        sheets = _card_sheets(picture.content, picture.around, look)
    title = f"{picture.around.title}: {picture.around.amplifier}"
    return tuple(sheet.svg(title=title, description=picture.told) for sheet in sheets)


def _chart_sheets(chart: Chart, around: Around, look: Look) -> list[Sheet]:
    sheets = []
    for spec in chart_pages(chart, look, framed(Sheet(look=look), around)):
        sheets.append(Sheet(look=look))
        chart_on(sheets[-1], framed(sheets[-1], around), spec)
    return sheets


def _card_sheets(card: RowsCard | StripsCard, around: Around, look: Look) -> list[Sheet]:
    """Draw a card on as few sheets as it takes, alike filled, in the largest letters that leave each whole."""
    every = _length(card)
    for pages in range(1, every + 1):
        for larger in _LARGER:
            most = ceil(every / pages)
            drawn = [
                _card_sheet(card, around, look, larger=larger, first=first, most=most)
                for first in range(0, every, most)
            ]
            if [shown for _, shown in drawn] == [min(first + most, every) for first in range(0, every, most)]:
                return [sheet for sheet, _ in drawn]
    raise InternalFaultError(
        f'A row of the card "{around.title}" fits on no sheet.',
        why=f"a sheet is {look.width_px} by {look.height_px} pixels",
        hint="Report it, with the session's amplifier file.",
    )


def _length(card: RowsCard | StripsCard) -> int:
    return len(card.rows if isinstance(card, RowsCard) else card.strips)


def _card_sheet(
    card: RowsCard | StripsCard,
    around: Around,
    look: Look,
    *,
    larger: float = 1.0,
    first: int = 0,
    most: int | None = None,
) -> tuple[Sheet, int]:
    """Draw one sheet of a card; give it, and the number of the first row that is not on it."""
    sheet = Sheet(look=look)
    area = framed(sheet, around)
    sheet.letter_px *= larger
    if isinstance(card, RowsCard):
        return sheet, rows_on(sheet, area, card, first=first, most=most)
    return sheet, strips_on(sheet, area, card, first=first, most=most)


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
    match form:
        case "svg":
            return svg.encode()
        case "png":
            return _png(svg)
        case "pdf":
            return picture_pdf(svg)
        case never:
            assert_never(never)


def _png(svg: str) -> bytes:
    import vl_convert

    register_font()
    return bytes(vl_convert.svg_to_png(svg, scale=1.0, ppi=_DOTS_PER_INCH))


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
                hint=_other_name(name, list(there)),
            )
    return pictures if "all" in names else tuple(there[name] for name in dict.fromkeys(names))


def _other_name(name: str, there: list[str]) -> str:
    """Name what was probably meant; without that, how to see what each name shows."""
    if not there:
        return "Capture a ramp first."
    close = get_close_matches(name, there, n=1)
    return (
        f"Write {close[0]}."
        if close
        else f"Name one that is there, such as {there[0]}, or none to see what each shows."
    )
