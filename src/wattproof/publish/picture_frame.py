"""What stands around every picture: what it shows and of which amplifier above, conditions and rules below."""

from dataclasses import dataclass

from wattproof.publish.picture_sheet import LINE, Sheet
from wattproof.publish.picture_type import folded, shrunk
from wattproof.report import GRID, INK, SOFT

_TITLE_SIZES = (1.9, 1.7, 1.5, 1.35, 1.2)
"""In letters, the largest first."""
_NAME_SIZES = (1.15, 1.0)
_BETWEEN = "\N{NO-BREAK SPACE}· "


@dataclass(frozen=True, kw_only=True)
class Around:
    """The words around a picture.

    Attributes
    ----------
    title : str
        What it shows.
    amplifier : str
        Maker and model.
    notes : tuple of str
        The day, the conditions, what a bar means, the rule: said under the picture, one after the other.
    """

    title: str
    amplifier: str
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Area:
    """A rectangle to draw in, px from the upper left corner of the sheet."""

    left_px: float
    top_px: float
    right_px: float
    bottom_px: float

    @property
    def width_px(self) -> float:
        """From left to right."""
        return self.right_px - self.left_px

    @property
    def height_px(self) -> float:
        """From top to bottom."""
        return self.bottom_px - self.top_px


def framed(sheet: Sheet, around: Around) -> Area:
    """Write what stands around a picture; give the area that is left for the picture itself."""
    look = sheet.look
    letter_px, width_px = look.letter_px, look.right_px - look.left_px
    top_px = _head(sheet, around, width_px)
    lines = folded(_BETWEEN.join(around.notes), width_px=width_px, size_px=letter_px)
    foot_px = look.bottom_px - LINE * letter_px * len(lines)
    sheet.words(lines, x_px=look.left_px, top_px=foot_px, width_px=width_px, shade=SOFT)
    rule_px = foot_px - 0.4 * letter_px
    sheet.line(x_px=look.left_px, y_px=rule_px, x2_px=look.right_px, y2_px=rule_px, shade=GRID, width_px=letter_px / 15)
    return Area(
        left_px=look.left_px,
        top_px=top_px + 0.7 * letter_px,
        right_px=look.right_px,
        bottom_px=rule_px - 0.6 * letter_px,
    )


def _head(sheet: Sheet, around: Around, width_px: float) -> float:
    """Write title and amplifier; give their lower edge."""
    look = sheet.look
    sizes = [share * look.letter_px for share in _TITLE_SIZES]
    size_px, lines = shrunk(around.title, width_px=width_px, sizes_px=sizes, lines=1, weight=700)
    top_px = sheet.words(
        lines, x_px=look.left_px, top_px=look.top_px, width_px=width_px, shade=INK, size_px=size_px, weight=700
    )
    sizes = [share * look.letter_px for share in _NAME_SIZES]
    size_px, lines = shrunk(around.amplifier, width_px=width_px, sizes_px=sizes, lines=1, weight=600)
    return sheet.words(
        lines, x_px=look.left_px, top_px=top_px, width_px=width_px, shade=SOFT, size_px=size_px, weight=600
    )
