"""The signs of cards: what was measured or predicted, what a verdict is, where a claim stands, and their legend."""

from collections.abc import Sequence

from wattproof.publish.picture_frame import Area
from wattproof.publish.picture_sheet import LINE, Sheet
from wattproof.publish.picture_type import DESCENT, text_width_px
from wattproof.publish.picture_words import SAY
from wattproof.report import GRID, INK, SERIES, Shade

_FULL = {"measured", "meets", "falls short"}
_SHADES = {"meets": SERIES[2], "falls short": SERIES[1], "cannot tell": SERIES[0]}


def verdict_shade(verdict: str) -> Shade:
    """Give a verdict's colour, which its sign and its words tell too; of what is no verdict, that of results."""
    return _SHADES.get(verdict, SERIES[0])


def sign_on(sheet: Sheet, sort: str, *, x_px: float, y_px: float) -> None:
    """Draw a result's sign around a point.

    A full circle was measured, or is a rating that is met; an open circle is carried or predicted by the model; a
    triangle on its tip falls short; an open diamond cannot be told.
    """
    r = 0.27 * sheet.letter_px
    circle = f"M{-r:.5g} 0A{r:.5g} {r:.5g} 0 1 1 {r:.5g} 0A{r:.5g} {r:.5g} 0 1 1 {-r:.5g} 0Z"
    triangle = f"M{-1.2 * r:.5g} {-0.9 * r:.5g}H{1.2 * r:.5g}L0 {1.25 * r:.5g}Z"
    diamond = f"M0 {-1.25 * r:.5g}L{1.25 * r:.5g} 0L0 {1.25 * r:.5g}L{-1.25 * r:.5g} 0Z"
    path = {"falls short": triangle, "cannot tell": diamond}.get(sort, circle)
    sheet.shape(
        path, x_px=x_px, y_px=y_px, shade=verdict_shade(sort), width_px=sheet.letter_px / 11, filled=sort in _FULL
    )


def legend_on(sheet: Sheet, area: Area, kinds: Sequence[str]) -> float:
    """Explain signs in as few lines as they fit on; give the lower edge."""
    letter_px = sheet.letter_px
    x_px, top_px = area.left_px, area.top_px
    for kind in kinds:
        said = SAY[f"legend_{kind}"]
        wide_px = 1.3 * letter_px + text_width_px(said, size_px=letter_px)
        if x_px > area.left_px and x_px + wide_px > area.right_px:
            x_px, top_px = area.left_px, top_px + LINE * letter_px
        base_px = top_px + letter_px * (LINE - DESCENT)
        _sample(sheet, kind, x_px=x_px + 0.5 * letter_px, y_px=base_px - 0.33 * letter_px)
        sheet.text(said, x_px=x_px + 1.3 * letter_px, base_px=base_px, shade=INK)
        x_px += wide_px + 1.1 * letter_px
    return top_px + (LINE * letter_px if kinds else 0.0)


def claim_on(sheet: Sheet, *, x_px: float, top_px: float, bottom_px: float, at_least: bool | None) -> None:
    """Draw a claim as a flag on its pole, flying to the side on which it is kept."""
    letter_px = sheet.letter_px
    sheet.line(x_px=x_px, y_px=top_px, x2_px=x_px, y2_px=bottom_px, shade=INK, width_px=letter_px / 8)
    size = 0.42 * letter_px
    flag = f"M0 0L{-size if at_least is False else size:.5g} {size / 2:.5g}L0 {size:.5g}Z"
    sheet.shape(flag, x_px=x_px, y_px=top_px, shade=INK, width_px=1, filled=True)


def _sample(sheet: Sheet, kind: str, *, x_px: float, y_px: float) -> None:
    letter_px = sheet.letter_px
    if kind == "claim":
        left_px, half_px = x_px - 0.3 * letter_px, 0.45 * letter_px
        sheet.box(
            x_px=left_px,
            y_px=y_px - half_px,
            width_px=0.8 * letter_px,
            height_px=2 * half_px,
            shade=GRID,
            opacity=0.7,
        )
        claim_on(sheet, x_px=left_px, top_px=y_px - half_px, bottom_px=y_px + half_px, at_least=True)
        return
    thick_px = 0.26 * letter_px
    sheet.box(
        x_px=x_px - 0.5 * letter_px,
        y_px=y_px - thick_px / 2,
        width_px=letter_px,
        height_px=thick_px,
        shade=SERIES[0],
        opacity=0.5,
    )
    if kind != "found":
        sign_on(sheet, kind, x_px=x_px, y_px=y_px)
