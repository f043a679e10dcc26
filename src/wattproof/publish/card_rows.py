"""Draws rows of results: words beside or above a line with dots, intervals and the maker's claim."""

from collections.abc import Sequence
from dataclasses import dataclass

from wattproof.publish.card import CardRow, RowsCard, Verdict
from wattproof.publish.card_fit import fitting, gap
from wattproof.publish.card_signs import legend_on, sign_on, verdict_shade
from wattproof.publish.card_track import ENDS, axis_on, dots_height, grid_on, track_on
from wattproof.publish.picture_frame import Area
from wattproof.publish.picture_sheet import LINE, Sheet
from wattproof.publish.picture_type import DESCENT, folded, text_width_px
from wattproof.report import INK, SOFT, typeset

_MOST_LINES = 4
_MOST_BESIDE = 0.5
"""Share of the width that words may take where they stand beside their line."""
_HEAD, _AXIS, _SIGN, _BETWEEN, _EDGE = 1.12, 2.6, 0.95, 1.2, 0.5
"""In letters: a row's head, the axis, a verdict's sign, from words to line, from line to edge (for half a dot)."""


@dataclass(frozen=True, kw_only=True)
class _Laid:
    """A row with its words folded and its heights known."""

    row: CardRow
    head: tuple[str, ...]
    told: tuple[tuple[str, ...], ...]
    words_px: float
    track_px: float
    height_px: float


def rows_on(sheet: Sheet, area: Area, card: RowsCard, *, first: int = 0, most: int | None = None) -> int:
    """Draw a card's rows from one on, as many as fit, or as are wanted; give the number of the first not drawn.

    Parameters
    ----------
    sheet : Sheet
    area : Area
    card : RowsCard
    first : int
    most : int or None
        No more rows than these.

    Returns
    -------
    int
    """
    letter_px = sheet.letter_px
    rows = card.rows[first:][:most]
    words_wide_px = _words_width(sheet, area, rows)
    beside = words_wide_px < area.width_px
    top_px = legend_on(sheet, area, card.legend) + 0.3 * letter_px
    room_px = area.bottom_px - top_px - (_AXIS * letter_px if card.ticks else 0)
    laid = [_laid(row, letter_px, words_wide_px, beside=beside) for row in rows]
    laid = laid[: fitting([one.height_px for one in laid], room_px=room_px, letter_px=letter_px)]
    gap_px = gap([one.height_px for one in laid], room_px=room_px, letter_px=letter_px)
    left_px = area.left_px + (words_wide_px + _BETWEEN * letter_px if beside else _EDGE * letter_px)
    tracks = Area(
        left_px=left_px,
        top_px=top_px,
        right_px=area.right_px - _EDGE * letter_px,
        bottom_px=top_px + sum(one.height_px + gap_px for one in laid),
    )
    if beside:
        grid_on(sheet, tracks, card.ticks)
    for one in laid:
        _row(sheet, one, area.left_px, tracks, top_px=top_px, grid=() if beside else card.ticks)
        top_px += one.height_px + gap_px
    if card.ticks:
        axis_on(sheet, area, tracks, ticks=card.ticks, title=card.axis)
    return first + len(laid)


def _words_width(sheet: Sheet, area: Area, rows: Sequence[CardRow]) -> float:
    """Give the width for words: on a wide sheet what they need beside the lines, but not too much, else all of it."""
    if sheet.look.shape != "wide":
        return area.width_px
    letter_px = sheet.letter_px
    heads = [text_width_px(typeset(row.head), size_px=_HEAD * letter_px, weight=600) for row in rows]
    told = [
        text_width_px(typeset(text), size_px=letter_px) + _sign_room(row, letter_px)
        for row in rows
        for text in _told(row)
    ]
    return min(max([*heads, *told]) + 1, _MOST_BESIDE * area.width_px)


def _told(row: CardRow) -> list[str]:
    """Give a row's words under its head; the verdict and what belongs to it as one text, so that it folds as one."""
    if row.verdict is None:
        return list(row.told)
    return [": ".join([row.verdict, *row.told[:1]]), *row.told[1:]]


def _laid(row: CardRow, letter_px: float, words_wide_px: float, *, beside: bool) -> _Laid:
    head = folded(row.head, width_px=words_wide_px, size_px=_HEAD * letter_px, weight=600, most=_MOST_LINES)
    sign_px = _sign_room(row, letter_px)
    told = tuple(
        folded(text, width_px=words_wide_px - sign_px, size_px=letter_px, most=_MOST_LINES) for text in _told(row)
    )
    words_px = LINE * letter_px * (_HEAD * len(head) + sum(len(lines) for lines in told))
    track_px = 0.0
    if row.line is not None:
        track_px = letter_px * (dots_height(len(row.dots)) + (ENDS if row.ends else 0))
    height_px = max(words_px, track_px) if beside else words_px + track_px
    return _Laid(row=row, head=head, told=told, words_px=words_px, track_px=track_px, height_px=height_px)


def _sign_room(row: CardRow, letter_px: float) -> float:
    """Give what a verdict takes beside its words as they are folded: its sign, and that it is written bolder."""
    if row.verdict is None:
        return 0.0
    bold_px = text_width_px(row.verdict, size_px=letter_px, weight=600)
    return _SIGN * letter_px + max(bold_px - text_width_px(row.verdict, size_px=letter_px), 0.0)


def _row(sheet: Sheet, laid: _Laid, left_px: float, tracks: Area, *, top_px: float, grid: Sequence[float]) -> None:
    """Draw a row: where words and line stand side by side, the lower of the two is centred on the other."""
    beside = laid.height_px < laid.words_px + laid.track_px
    _words(sheet, laid, left_px=left_px, top_px=top_px + (laid.height_px - laid.words_px if beside else 0) / 2)
    line = laid.row.line
    if line is None:
        return
    track_top_px = top_px + ((laid.height_px - laid.track_px) / 2 if beside else laid.words_px)
    bottom_px = track_top_px + laid.track_px - (ENDS * sheet.letter_px if laid.row.ends else 0)
    track = Area(left_px=tracks.left_px, top_px=track_top_px, right_px=tracks.right_px, bottom_px=bottom_px)
    grid_on(sheet, track, grid)
    track_on(sheet, laid.row, line, track)


def _words(sheet: Sheet, laid: _Laid, *, left_px: float, top_px: float) -> None:
    letter_px, row = sheet.letter_px, laid.row
    at_px = sheet.words(
        laid.head, x_px=left_px, top_px=top_px, width_px=0, shade=INK, size_px=_HEAD * letter_px, weight=600
    )
    for number, lines in enumerate(laid.told):
        if number == 0 and row.verdict:
            _verdict(sheet, row.verdict, lines, left_px=left_px, top_px=at_px)
            at_px += LINE * letter_px * len(lines)
        else:
            at_px = sheet.words(lines, x_px=left_px, top_px=at_px, width_px=0, shade=SOFT)


def _verdict(sheet: Sheet, verdict: Verdict, lines: Sequence[str], *, left_px: float, top_px: float) -> None:
    """Write the verdict's words in their colour behind their sign, and what belongs to them after them."""
    letter_px = sheet.letter_px
    base_px = top_px + letter_px * (LINE - DESCENT)
    sign_on(sheet, verdict, x_px=left_px + 0.38 * letter_px, y_px=base_px - 0.33 * letter_px)
    left_px += _SIGN * letter_px
    wide_px = sheet.text(verdict, x_px=left_px, base_px=base_px, shade=verdict_shade(verdict), weight=600)
    if rest := lines[0][len(verdict) :]:
        sheet.text(rest, x_px=left_px + wide_px, base_px=base_px, shade=INK)
    sheet.words(lines[1:], x_px=left_px, top_px=top_px + LINE * letter_px, width_px=0, shade=INK)
