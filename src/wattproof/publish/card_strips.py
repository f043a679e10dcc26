"""Draws strips: the supply's power at several levels, a watt as wide on each, parted into what it became."""

from dataclasses import dataclass

from wattproof.publish.card import CardPart, CardStrip, StripsCard
from wattproof.publish.card_fit import fitting, gap
from wattproof.publish.picture_frame import Area
from wattproof.publish.picture_sheet import LINE, Sheet
from wattproof.publish.picture_type import DESCENT, folded, text_width_px
from wattproof.report import INK, PAPER, SERIES, SOFT

_HEAD, _BAR, _AXIS, _SWATCH, _SWATCHED, _APART = 1.12, 1.35, 2.8, 0.62, 0.9, 1.1
"""In letters: a strip's head, its height, the axis, a swatch alone and with its gap, between one part's words and the
next."""
_CUT_PX = 3.0


@dataclass(frozen=True, kw_only=True)
class _Named:
    """A line of a part's words: where it stands, whether it is their first, and the part."""

    x_px: float
    line: int
    text: str
    part: CardPart
    begins: bool


def strips_on(sheet: Sheet, area: Area, card: StripsCard, *, first: int = 0, most: int | None = None) -> int:
    """Draw a card's strips from one on, as many as fit, or as are wanted; give the number of the first not drawn.

    Parameters
    ----------
    sheet : Sheet
    area : Area
    card : StripsCard
    first : int
    most : int or None
        No more strips than these.

    Returns
    -------
    int
    """
    letter_px = sheet.letter_px
    room_px = area.height_px - _AXIS * letter_px
    strips = card.strips[first:][:most]
    heights = [_height(sheet, area, strip) for strip in strips]
    heights = heights[: fitting(heights, room_px=room_px, letter_px=letter_px)]
    gap_px = gap(heights, room_px=room_px, letter_px=letter_px)
    top_px = area.top_px
    for strip, height_px in zip(strips, heights, strict=False):
        _strip(sheet, area, strip, card, top_px=top_px)
        top_px += height_px + gap_px
    _axis(sheet, area, card, top_px=top_px)
    return first + len(heights)


def _head(sheet: Sheet, area: Area, strip: CardStrip) -> tuple[str, ...]:
    return folded(strip.head, width_px=area.width_px, size_px=_HEAD * sheet.letter_px, weight=600)


def _height(sheet: Sheet, area: Area, strip: CardStrip) -> float:
    lines = max(name.line for name in _named(sheet, area, strip))
    return sheet.letter_px * (
        LINE * _HEAD * len(_head(sheet, area, strip)) + _BAR + (0.3 if lines else 0) + LINE * lines
    )


def _named(sheet: Sheet, area: Area, strip: CardStrip) -> list[_Named]:
    """Lay the parts' words in lines: beside the head (line 0) where all fit there, else under the strip."""
    letter_px = sheet.letter_px
    wides = [_SWATCHED * letter_px + text_width_px(part.text, size_px=letter_px) for part in strip.parts if part.text]
    head_px = text_width_px(strip.head, size_px=_HEAD * letter_px, weight=600)
    beside = head_px + sum(wides) + _APART * letter_px * len(wides) <= area.width_px
    line, x_px = (0, area.left_px + head_px + _APART * letter_px) if beside else (1, area.left_px)
    placed: list[_Named] = []
    for part in strip.parts:
        lines = (
            folded(part.text, width_px=area.width_px - _SWATCHED * letter_px, size_px=letter_px) if part.text else ()
        )
        for number, text in enumerate(lines):
            wide_px = _SWATCHED * letter_px + text_width_px(text, size_px=letter_px)
            if x_px > area.left_px and x_px + wide_px > area.right_px:
                line, x_px = line + 1, area.left_px
            placed.append(_Named(x_px=x_px, line=line, text=text, part=part, begins=number == 0))
            x_px = x_px + wide_px + _APART * letter_px if number == len(lines) - 1 else area.right_px
    return placed


def _strip(sheet: Sheet, area: Area, strip: CardStrip, card: StripsCard, *, top_px: float) -> None:
    letter_px = sheet.letter_px
    bar_px = sheet.words(
        _head(sheet, area, strip), x_px=area.left_px, top_px=top_px, width_px=0, shade=INK, size_px=_HEAD * letter_px,
        weight=600,
    )  # fmt: skip
    x_px = area.left_px
    for part in strip.parts:
        wide_px = area.width_px * part.watts / card.ticks[-1]
        _part(
            sheet,
            part,
            x_px=x_px,
            y_px=bar_px,
            width_px=wide_px - min(_CUT_PX, wide_px / 3),
            height_px=_BAR * letter_px,
        )
        x_px += wide_px
    head_base_px = top_px + _HEAD * letter_px * (LINE - DESCENT)
    under_base_px = bar_px + letter_px * (_BAR + 0.3 - DESCENT)
    for named in _named(sheet, area, strip):
        base_px = under_base_px + LINE * letter_px * named.line if named.line else head_base_px
        size_px = _SWATCH * letter_px
        if named.begins:
            _part(sheet, named.part, x_px=named.x_px, y_px=base_px - size_px, width_px=size_px, height_px=size_px)
        sheet.text(named.text, x_px=named.x_px + _SWATCHED * letter_px, base_px=base_px, shade=INK)


def _part(sheet: Sheet, part: CardPart, *, x_px: float, y_px: float, width_px: float, height_px: float) -> None:
    """Draw a part; upright lines tell heat from load without colour."""
    shade = SERIES[1] if part.heat else SERIES[0]
    sheet.box(x_px=x_px, y_px=y_px, width_px=width_px, height_px=height_px, shade=shade)
    step_px = sheet.letter_px / 3
    for number in range(1, int((width_px - 2) / step_px) + 1) if part.heat else ():
        at_px = x_px + number * step_px
        sheet.line(
            x_px=at_px, y_px=y_px, x2_px=at_px, y2_px=y_px + height_px, shade=PAPER, width_px=sheet.letter_px / 14
        )


def _axis(sheet: Sheet, area: Area, card: StripsCard, *, top_px: float) -> None:
    letter_px = sheet.letter_px
    sheet.line(x_px=area.left_px, y_px=top_px, x2_px=area.right_px, y2_px=top_px, shade=SOFT, width_px=letter_px / 15)
    base_px = top_px + letter_px * (LINE + 0.1 - DESCENT)
    reach_px = area.left_px - letter_px
    for tick in card.ticks:
        said = f"{tick:.6g}"
        at_px = area.left_px + area.width_px * tick / card.ticks[-1]
        sheet.line(x_px=at_px, y_px=top_px, x2_px=at_px, y2_px=top_px + 0.25 * letter_px, shade=SOFT, width_px=2)
        half_px = text_width_px(said, size_px=letter_px) / 2
        at_px = min(max(at_px, area.left_px + half_px), area.right_px - half_px)
        if at_px - half_px > reach_px + 0.3 * letter_px:
            sheet.text(said, x_px=at_px, base_px=base_px + 0.1 * letter_px, shade=SOFT, anchor="middle")
            reach_px = at_px + half_px
    middle_px = (area.left_px + area.right_px) / 2
    sheet.text(card.axis, x_px=middle_px, base_px=base_px + LINE * letter_px, shade=INK, anchor="middle")
