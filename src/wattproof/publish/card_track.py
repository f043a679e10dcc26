"""Draws the line of a card's row: the claim with its better side, dots with their intervals, ends and axis."""

from collections.abc import Sequence

from wattproof.publish.card import CardRow, Claim, Dot, Line
from wattproof.publish.card_signs import claim_on, sign_on, verdict_shade
from wattproof.publish.picture_frame import Area
from wattproof.publish.picture_sheet import LINE, Sheet
from wattproof.publish.picture_type import DESCENT, text_width_px
from wattproof.report import GRID, INK, LIMIT, SOFT

TRACK, ENDS = 1.15, 1.2
"""In letters: the least height of a line, the words under its ends."""
_PITCH, _MOST_HIGH = 0.75, 2.6
_BAR = 0.26
_APART = 0.4


def dots_height(dots: int) -> float:
    """Give the height, in letters, that so many dots take under one another; many are drawn closer together."""
    return max(TRACK, _pitch(dots) * (dots + 0.5))


def _pitch(dots: int) -> float:
    return min(_PITCH, _MOST_HIGH / max(dots, 1))


def track_on(sheet: Sheet, row: CardRow, line: Line, track: Area) -> None:
    """Draw a row's line with all that is placed on it."""
    letter_px = sheet.letter_px
    middle_px = (track.top_px + track.bottom_px) / 2
    if row.claim is not None:
        _claim(sheet, row.claim, line, track)
    sheet.line(
        x_px=track.left_px, y_px=middle_px, x2_px=track.right_px, y2_px=middle_px, shade=LIMIT, width_px=letter_px / 13
    )
    pitch_px = _pitch(len(row.dots)) * letter_px
    first_px = middle_px - pitch_px * (len(row.dots) - 1) / 2
    for number, dot in enumerate(row.dots):
        _dot(sheet, dot, line, track, y_px=first_px + number * pitch_px)
    if row.ends:
        _ends(sheet, row, line, track)


def _place(line: Line, track: Area, value: float) -> float:
    return track.left_px + track.width_px * line.share(value)


def _claim(sheet: Sheet, claim: Claim, line: Line, track: Area) -> None:
    """Draw the claim's flag, and shade the side on which it is kept."""
    at_px = _place(line, track, claim.value)
    if claim.at_least is not None:
        left_px, right_px = (at_px, track.right_px) if claim.at_least else (track.left_px, at_px)
        sheet.box(
            x_px=left_px,
            y_px=track.top_px,
            width_px=right_px - left_px,
            height_px=track.height_px,
            shade=GRID,
            opacity=0.7,
        )
    claim_on(sheet, x_px=at_px, top_px=track.top_px, bottom_px=track.bottom_px, at_least=claim.at_least)


def _dot(sheet: Sheet, dot: Dot, line: Line, track: Area, *, y_px: float) -> None:
    low_px, at_px, high_px = (_place(line, track, value) for value in (dot.low, dot.value, dot.high))
    shade = verdict_shade(dot.sort)
    thick_px = _BAR * sheet.letter_px
    sheet.box(
        x_px=low_px, y_px=y_px - thick_px / 2, width_px=high_px - low_px, height_px=thick_px, shade=shade, opacity=0.5
    )
    sign_on(sheet, dot.sort, x_px=at_px, y_px=y_px)


def _ends(sheet: Sheet, row: CardRow, line: Line, track: Area) -> None:
    """Write the claim's number under its flag, and the line's ends where they do not touch it."""
    letter_px = sheet.letter_px
    base_px = track.bottom_px + letter_px * (ENDS - DESCENT)
    free_left_px, free_right_px = track.right_px, track.left_px
    if row.claim is not None:
        half_px = text_width_px(row.claim.text, size_px=letter_px, weight=600) / 2
        at_px = min(max(_place(line, track, row.claim.value), track.left_px + half_px), track.right_px - half_px)
        sheet.text(row.claim.text, x_px=at_px, base_px=base_px, shade=INK, weight=600, anchor="middle")
        apart_px = half_px + _APART * letter_px
        free_left_px, free_right_px = at_px - apart_px, at_px + apart_px
    low, high = row.ends
    if track.left_px + text_width_px(low, size_px=letter_px) < free_left_px:
        sheet.text(low, x_px=track.left_px, base_px=base_px, shade=SOFT)
    if track.right_px - text_width_px(high, size_px=letter_px) > free_right_px:
        sheet.text(high, x_px=track.right_px, base_px=base_px, shade=SOFT, anchor="end")


def _tick_places(tracks: Area, ticks: Sequence[float]) -> list[float]:
    shared = Line(low=ticks[0], high=ticks[-1]) if ticks else None
    return [_place(shared, tracks, tick) for tick in ticks] if shared else []


def grid_on(sheet: Sheet, tracks: Area, ticks: Sequence[float]) -> None:
    """Draw upright lines at an axis' ticks."""
    for at_px in _tick_places(tracks, ticks):
        sheet.line(
            x_px=at_px,
            y_px=tracks.top_px,
            x2_px=at_px,
            y2_px=tracks.bottom_px,
            shade=GRID,
            width_px=sheet.letter_px / 15,
        )


def axis_on(sheet: Sheet, area: Area, tracks: Area, *, ticks: Sequence[float], title: str) -> None:
    """Write an axis' numbers under the tracks, as many as stand apart, and its title under them."""
    letter_px = sheet.letter_px
    base_px = tracks.bottom_px + letter_px * (LINE - DESCENT)
    reach_px = area.left_px - letter_px
    for tick, place_px in zip(ticks, _tick_places(tracks, ticks), strict=True):
        said = f"{tick:.6g}"
        half_px = text_width_px(said, size_px=letter_px) / 2
        at_px = min(max(place_px, area.left_px + half_px), area.right_px - half_px)
        if at_px - half_px > reach_px + _APART * letter_px:
            sheet.text(said, x_px=at_px, base_px=base_px, shade=SOFT, anchor="middle")
            reach_px = at_px + half_px
    middle_px = (tracks.left_px + tracks.right_px) / 2
    sheet.text(title, x_px=middle_px, base_px=base_px + LINE * letter_px, shade=INK, anchor="middle")
