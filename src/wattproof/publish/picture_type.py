"""How wide text is in the font that pictures are drawn in, and how it is folded or shrunk until it fits."""

from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from wattproof.errors import InternalFaultError
from wattproof.report import font_folder, typeset

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont

FACE = "Source Sans Pro"
FAMILY = "'Source Sans Pro', 'Source Sans 3', 'Liberation Sans', sans-serif"
DESCENT = 0.25
"""How far letters reach below their base line, in shares of the size."""

Weight = Literal[400, 600, 700]
_FACES: dict[Weight, str] = {400: "Regular", 600: "Semibold", 700: "Bold"}
_MEASURED_AT = 1000
_CUT = "…"


def _fonts() -> Path:
    """Give the folder of the font's files: without it no width is known.

    Raises
    ------
    InternalFaultError
        The package of the font is not installed, although Wattproof asks for it.
    """
    folder = font_folder()
    if folder is None:
        raise InternalFaultError(
            "The font of pictures is missing.",
            why="its package is not installed, although Wattproof depends on it",
            hint="Install Wattproof again, with its dependencies.",
        )
    return folder


def font_files() -> tuple[Path, ...]:
    """Give the files of the faces that pictures use."""
    return tuple(_fonts() / f"SourceSansPro-{face}.ttf" for face in _FACES.values())


@cache
def register_font() -> None:
    """Let the drawing of pictures know the font."""
    import vl_convert

    vl_convert.register_font_directory(str(_fonts()))


@cache
def _face(weight: Weight) -> "FreeTypeFont":
    from PIL import ImageFont

    return ImageFont.truetype(str(_fonts() / f"SourceSansPro-{_FACES[weight]}.ttf"), _MEASURED_AT)


@cache
def text_width_px(text: str, *, size_px: float, weight: Weight = 400) -> float:
    """Measure a line of text.

    Parameters
    ----------
    text : str
    size_px : float, px
        Size of the font.
    weight : 400, 600 or 700

    Returns
    -------
    float, px
        Its advance.
    """
    return _face(weight).getlength(text) * size_px / _MEASURED_AT


def folded(
    text: str, *, width_px: float, size_px: float, weight: Weight = 400, most: int | None = None
) -> tuple[str, ...]:
    """Fold text at its spaces into lines no wider than a width; a word that is wider by itself is cut.

    Parameters
    ----------
    text : str
    width_px : float, px
    size_px : float, px
    weight : 400, 600 or 700
    most : int or None
        No more lines than these; the last ends in an ellipsis where there would be more.

    Returns
    -------
    tuple of str
    """
    lines: list[str] = []
    for word in typeset(text).split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_px(longer, size_px=size_px, weight=weight) <= width_px:
            lines[-1] = longer
        else:
            lines.append(_cut(word, width_px=width_px, size_px=size_px, weight=weight))
    if most is not None and len(lines) > most:
        last = lines[most - 1] + _CUT
        lines[most - 1 :] = [_cut(last, width_px=width_px, size_px=size_px, weight=weight)]
    return tuple(lines)


def _cut(word: str, *, width_px: float, size_px: float, weight: Weight) -> str:
    if text_width_px(word, size_px=size_px, weight=weight) <= width_px:
        return word
    kept = word
    while kept and text_width_px(kept + _CUT, size_px=size_px, weight=weight) > width_px:
        kept = kept[:-1]
    return kept + _CUT


def shrunk(
    text: str, *, width_px: float, sizes_px: Sequence[float], lines: int, weight: Weight = 400
) -> tuple[float, tuple[str, ...]]:
    """Take the first of some sizes, largest first, at which text fits into so many lines; else the last, in one more.

    Parameters
    ----------
    text : str
    width_px : float, px
    sizes_px : sequence of float, px
    lines : int
    weight : 400, 600 or 700

    Returns
    -------
    size : float, px
    lines : tuple of str
    """
    for size_px in sizes_px:
        found = folded(text, width_px=width_px, size_px=size_px, weight=weight)
        if len(found) <= lines:
            return size_px, found
    return sizes_px[-1], folded(text, width_px=width_px, size_px=sizes_px[-1], weight=weight, most=lines + 1)
