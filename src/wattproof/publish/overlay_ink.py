"""Text, bars and lines as coverage of pixels (0 to 1), and their ink laid over a plate whose alpha is straight."""

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wattproof.report import font_folder

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont, ImageFont

Pixels = NDArray[np.uint8]
Coverage = NDArray[np.float32]
Colour = tuple[int, int, int]

_WEIGHTS = {False: "Regular", True: "Semibold"}
_DIGITS = "0123456789"
_FINER = 4


def colour_of(code: str) -> Colour:
    """Give the red, green and blue of ``#rrggbb``.

    Examples
    --------
    >>> colour_of("#16202a")
    (22, 32, 42)
    """
    return int(code[1:3], 16), int(code[3:5], 16), int(code[5:7], 16)


@cache
def font(size_px: int, *, strong: bool = False) -> "FreeTypeFont | ImageFont":
    """Give the pages' font; where its package is missing, the drawing library's own."""
    from PIL import ImageFont

    folder = font_folder()
    if folder is None:
        return ImageFont.load_default(size_px)
    return ImageFont.truetype(str(folder / f"SourceSansPro-{_WEIGHTS[strong]}.ttf"), size_px)


@cache
def glyph(letter: str, size_px: int, *, strong: bool) -> Coverage:
    """Give one letter in its cell, shape (1.3 size, its advance); all digits are as wide as the widest of them."""
    from PIL import Image, ImageDraw

    face = font(size_px, strong=strong)
    width = face.getlength(letter)
    cell = max(face.getlength(digit) for digit in _DIGITS) if letter in _DIGITS else width
    image = Image.new("L", (max(round(cell), 1), round(1.3 * size_px)))
    ImageDraw.Draw(image).text(((round(cell) - width) / 2, size_px), letter, fill=255, font=face, anchor="ls")
    return np.asarray(image, dtype=np.float32) * np.float32(1 / 255)


@cache
def text_width(text: str, size_px: int, *, strong: bool = False) -> int:
    """Give how wide a text will be, pixels."""
    return sum(glyph(letter, size_px, strong=strong).shape[1] for letter in text)


def text_coverage(text: str, size_px: int, *, strong: bool = False) -> Coverage:
    """Set a text letter by letter, so that a number that changes does not dance; shape (1.3 size, width)."""
    if not text:
        return np.zeros((round(1.3 * size_px), 0), dtype=np.float32)
    return np.hstack([glyph(letter, size_px, strong=strong) for letter in text])


def rounded_box(height_px: int, width_px: int, radius_px: float) -> Coverage:
    """Give a box with round corners, smooth at its edge."""
    from PIL import Image, ImageDraw

    image = Image.new("L", (width_px * _FINER, height_px * _FINER))
    box = (0, 0, width_px * _FINER - 1, height_px * _FINER - 1)
    ImageDraw.Draw(image).rounded_rectangle(box, radius=radius_px * _FINER, fill=255)
    small = image.resize((width_px, height_px), Image.Resampling.BOX)
    return np.asarray(small, dtype=np.float32) * np.float32(1 / 255)


def add_line(
    coverage: Coverage, first: tuple[float, float], last: tuple[float, float], width_px: float
) -> tuple[slice, slice] | None:
    """Draw a straight line with round ends into a coverage, and give the rows and columns it touches.

    What is covered already stays covered: a pixel's coverage is the largest that a line gives it, so that a curve
    drawn piece by piece looks as if drawn at once.

    Parameters
    ----------
    coverage : Coverage of shape (height, width)
    first, last : (x, y), pixels from the upper left corner's pixel centre
    width_px : float

    Returns
    -------
    (rows, columns) or None
        None where nothing of it lies inside.
    """
    reach = width_px / 2 + 1
    (x0, y0), (x1, y1) = first, last
    height, width = coverage.shape
    columns = slice(max(int(min(x0, x1) - reach), 0), min(int(max(x0, x1) + reach) + 2, width))
    rows = slice(max(int(min(y0, y1) - reach), 0), min(int(max(y0, y1) + reach) + 2, height))
    if rows.start >= rows.stop or columns.start >= columns.stop:
        return None
    y, x = np.ogrid[rows, columns]
    along_x, along_y = x1 - x0, y1 - y0
    square = along_x**2 + along_y**2
    share = np.clip(((x - x0) * along_x + (y - y0) * along_y) / square, 0, 1) if square else 0.0
    away = np.hypot(x - x0 - share * along_x, y - y0 - share * along_y)
    part = coverage[rows, columns]
    np.maximum(part, np.clip(width_px / 2 + 0.5 - away, 0, 1), out=part)
    return rows, columns


def lay_over(pixels: Pixels, colour: Colour, coverage: Coverage) -> None:
    """Lay ink over RGBA pixels whose alpha is straight; both of one height and width.

    Where the ink covers a part `c` and the plate has alpha `a`, alpha becomes ``c + a (1 - c)`` and the colour is
    the mean of both, weighted by what each of them adds to it.
    """
    under = pixels[..., 3].astype(np.float32) / 255 * (1 - coverage)
    alpha = coverage + under
    weight = np.divide(coverage, alpha, out=np.zeros_like(coverage), where=alpha > 0)[..., np.newaxis]
    mixed = pixels[..., :3] * (1 - weight) + np.array(colour, dtype=np.float32) * weight
    pixels[..., :3] = np.rint(mixed)
    pixels[..., 3] = np.rint(alpha * 255)
