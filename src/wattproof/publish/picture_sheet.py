"""A picture's paper: its size, margin and colours, and the few shapes it is drawn of, written as SVG."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from math import ceil
from typing import Literal

from wattproof.publish.picture_type import DESCENT, FAMILY, Weight, folded, text_width_px
from wattproof.report import INK, PAPER, SOFT, Shade

Shape = Literal["wide", "tall", "square"]
Paper = Literal["light", "dark", "none", "none-dark"]
Anchor = Literal["start", "middle", "end"]

_SIZES_PX: dict[Shape, tuple[int, int]] = {"wide": (1920, 1080), "tall": (1080, 1920), "square": (1080, 1080)}
_MARGIN = 0.05
_LETTERS_DOWN = 36
LINE = 1.24
"""From base line to base line, in letters."""


@dataclass(frozen=True, kw_only=True)
class Look:
    """What a picture is made for: its shape, and the paper it is drawn on.

    Attributes
    ----------
    shape : str
        "wide" is 1920 by 1080 px, "tall" 1080 by 1920, "square" 1080 by 1080.
    paper : str
        "light" and "dark" are painted; "none" is clear, for a light ground, "none-dark" clear, for a dark one.
    """

    shape: Shape = "wide"
    paper: Paper = "light"

    @property
    def width_px(self) -> int:
        """Width of the picture."""
        return _SIZES_PX[self.shape][0]

    @property
    def height_px(self) -> int:
        """Height of the picture."""
        return _SIZES_PX[self.shape][1]

    @property
    def left_px(self) -> float:
        """Where the safe area begins: what lies outside may be cut off by a screen or covered by its controls."""
        return _MARGIN * self.width_px

    @property
    def right_px(self) -> float:
        """Where the safe area ends."""
        return self.width_px - self.left_px

    @property
    def top_px(self) -> float:
        """Upper edge of the safe area."""
        return _MARGIN * self.height_px

    @property
    def bottom_px(self) -> float:
        """Lower edge of the safe area."""
        return self.height_px - self.top_px

    @property
    def letter_px(self) -> int:
        """The smallest size of letters: 36 of them, one over the other, fill the picture."""
        return ceil(self.height_px / _LETTERS_DOWN)

    @property
    def dark(self) -> bool:
        """Whether the ground is dark."""
        return self.paper in {"dark", "none-dark"}

    @property
    def clear(self) -> bool:
        """Whether no paper is painted."""
        return self.paper in {"none", "none-dark"}

    def colour(self, shade: Shade) -> str:
        """Give a shade's colour on this paper; words on a ground that is not known are never soft."""
        if self.clear and shade == SOFT:
            shade = INK
        return shade.dark if self.dark else shade.light


@dataclass
class Sheet:
    """What has been drawn so far; lengths in px from the upper left corner.

    Attributes
    ----------
    look : Look
    letter_px : float, px
        Size of letters where none is asked for: at first the look's smallest, larger where there is room.
    parts : list of str
    """

    look: Look
    letter_px: float = 0.0
    parts: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.letter_px = self.letter_px or self.look.letter_px

    def text(
        self,
        said: str,
        *,
        x_px: float,
        base_px: float,
        shade: Shade,
        size_px: float | None = None,
        weight: Weight = 400,
        anchor: Anchor = "start",
    ) -> float:
        """Write one line on its base line, in the sheet's letters when no size is given; give its width."""
        size_px = size_px or self.letter_px
        self.parts.append(
            f'<text x="{_px(x_px)}" y="{_px(base_px)}" font-family="{FAMILY}" font-size="{_px(size_px)}px" '
            f'font-weight="{weight}" text-anchor="{anchor}" fill="{self.look.colour(shade)}">{escape(said)}</text>'
        )
        return text_width_px(said, size_px=size_px, weight=weight)

    def words(
        self,
        said: str | Sequence[str],
        *,
        x_px: float,
        top_px: float,
        width_px: float,
        shade: Shade,
        size_px: float | None = None,
        weight: Weight = 400,
    ) -> float:
        """Write text from a top edge down, folded to a width where it is not folded yet; give its lower edge."""
        size_px = size_px or self.letter_px
        lines = folded(said, width_px=width_px, size_px=size_px, weight=weight) if isinstance(said, str) else said
        for number, line in enumerate(lines):
            base_px = top_px + size_px * (LINE * (number + 1) - DESCENT)
            self.text(line, x_px=x_px, base_px=base_px, shade=shade, size_px=size_px, weight=weight)
        return top_px + size_px * LINE * len(lines)

    def box(
        self, *, x_px: float, y_px: float, width_px: float, height_px: float, shade: Shade, opacity: float = 1.0
    ) -> None:
        """Fill a rectangle."""
        faded = "" if opacity == 1 else f' opacity="{opacity:g}"'
        self.parts.append(
            f'<rect x="{_px(x_px)}" y="{_px(y_px)}" width="{_px(width_px)}" height="{_px(height_px)}" '
            f'fill="{self.look.colour(shade)}"{faded}/>'
        )

    def line(
        self,
        *,
        x_px: float,
        y_px: float,
        x2_px: float,
        y2_px: float,
        shade: Shade,
        width_px: float,
        dash: Sequence[float] = (),
    ) -> None:
        """Draw a straight line."""
        dashed = f' stroke-dasharray="{" ".join(_px(part) for part in dash)}"' if dash else ""
        self.parts.append(
            f'<line x1="{_px(x_px)}" y1="{_px(y_px)}" x2="{_px(x2_px)}" y2="{_px(y2_px)}" '
            f'stroke="{self.look.colour(shade)}" stroke-width="{_px(width_px)}"{dashed}/>'
        )

    def shape(self, path: str, *, x_px: float, y_px: float, shade: Shade, width_px: float, filled: bool) -> None:
        """Draw a path around a point, filled or as an outline."""
        colour = self.look.colour(shade)
        fill = colour if filled else ("none" if self.look.clear else self.look.colour(PAPER))
        self.parts.append(
            f'<path transform="translate({_px(x_px)} {_px(y_px)})" d="{path}" fill="{fill}" stroke="{colour}" '
            f'stroke-width="{_px(width_px)}" stroke-linejoin="round"/>'
        )

    def put(self, drawn: str) -> None:
        """Add what was drawn elsewhere, an SVG element."""
        self.parts.append(drawn)

    def svg(self, *, title: str, description: str) -> str:
        """Write the whole picture; title and description are told to who cannot see it."""
        width_px, height_px = self.look.width_px, self.look.height_px
        paper = f'<rect width="{width_px}" height="{height_px}" fill="{self.look.colour(PAPER)}"/>'
        return "\n".join(
            [
                f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" role="img" '
                f'aria-labelledby="title description" width="{width_px}" height="{height_px}" '
                f'viewBox="0 0 {width_px} {height_px}">',
                f'<title id="title">{escape(title)}</title><desc id="description">{escape(description)}</desc>',
                *([] if self.look.clear else [paper]),
                *self.parts,
                "</svg>\n",
            ]
        )


def _px(length: float) -> str:
    """Write a length to a hundredth of a pixel, without needless zeros."""
    return f"{round(length, 2) + 0.0:.10g}"
