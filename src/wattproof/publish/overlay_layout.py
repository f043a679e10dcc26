"""Where things stand in a clip: a side column in a wide picture, a block at the foot of a tall one."""

from dataclasses import dataclass
from typing import NamedTuple

from wattproof.errors import SettingsError

SAFE = 0.05
"""Of width and height: nothing that is read lies nearer to the picture's edge."""

SMALLEST_PX, LARGEST_PX = 360, 4320


class Box(NamedTuple):
    """A part of the picture, pixels: left and upper edge, width and height."""

    x: int
    y: int
    width: int
    height: int


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Boxes for a picture of one size.

    Attributes
    ----------
    unit : float
        Pixels of a 720th of the picture's shorter side: all sizes are counted in it.
    plate, title, ledger, strip, chart, progress : Box
        The plate holds all others.
    line_px : int
        From one line of the ledger to the next.
    """

    width_px: int
    height_px: int
    unit: float
    plate: Box
    title: Box
    ledger: Box
    strip: Box
    chart: Box
    progress: Box
    line_px: int

    def px(self, units: float) -> int:
        """Turn units into whole pixels, at least one."""
        return max(round(units * self.unit), 1)


def size_of(word: str) -> tuple[int, int]:
    """Give width and height of a word such as 1280x720.

    Raises
    ------
    SettingsError
        It is no size, odd, or too small or large to be read or encoded.

    Examples
    --------
    >>> size_of("1280x720")
    (1280, 720)
    """
    numbers = [int(part) if part.isascii() and part.isdigit() and len(part) < 6 else 0 for part in word.split("x")]
    if len(numbers) != 2 or any(n % 2 or not SMALLEST_PX <= n <= LARGEST_PX for n in numbers):
        raise SettingsError(
            f'"{word}" is no size that a clip can have.',
            why=f"it takes WIDTHxHEIGHT in pixels, both even and from {SMALLEST_PX} to {LARGEST_PX}",
            hint="Give the size of the footage, for example --size 1920x1080.",
        )
    return numbers[0], numbers[1]


def layout_for(width_px: int, height_px: int, *, n_lines: int, strip: bool) -> Layout:
    """Lay out a clip.

    Parameters
    ----------
    width_px, height_px : int
    n_lines : int
        Lines of the ledger.
    strip : bool
        Whether there is a strip of where the supply's power goes.
    """
    unit = min(width_px, height_px) / 720
    build = _column if width_px > height_px else _foot
    return build(width_px, height_px, unit, n_lines, strip)


def _column(width_px: int, height_px: int, unit: float, n_lines: int, strip: bool) -> Layout:
    """Stack all in a column on the left."""
    pad = round(20 * unit)
    left, top = round(SAFE * width_px), round(SAFE * height_px)
    width, bottom = round(380 * unit), height_px - top
    line = round(46 * unit)
    title = Box(left, top, width, round(34 * unit))
    ledger = Box(left, title.y + title.height + round(6 * unit), width, n_lines * line)
    strip_top = ledger.y + ledger.height + round(10 * unit)
    strip_box = Box(left, strip_top, width, round(100 * unit) if strip else 0)
    progress = Box(left, bottom - round(38 * unit), width, round(38 * unit))
    chart_top = strip_box.y + strip_box.height + round(8 * unit)
    # without a strip the chart takes its place, but grows no taller than it is wide
    chart_height = min(progress.y - round(12 * unit) - chart_top, round(0.8 * width))
    lift = progress.y - round(12 * unit) - chart_top - chart_height
    moved = (box._replace(y=box.y + lift) for box in (title, ledger, strip_box))
    title, ledger, strip_box = moved
    chart = Box(left, chart_top + lift, width, chart_height)
    plate = Box(left - pad, title.y - pad // 2, width + 2 * pad, bottom + pad // 2 - title.y + pad // 2)
    return Layout(
        width_px=width_px, height_px=height_px, unit=unit, plate=plate, title=title, ledger=ledger, strip=strip_box,
        chart=chart, progress=progress, line_px=line,
    )  # fmt: skip


def _foot(width_px: int, height_px: int, unit: float, n_lines: int, strip: bool) -> Layout:
    """Set the ledger beside the chart, the strip below both."""
    pad = round(20 * unit)
    left, bottom = round(SAFE * width_px), height_px - round(SAFE * height_px)
    width = width_px - 2 * left
    line = round(46 * unit)
    progress = Box(left, bottom - round(38 * unit), width, round(38 * unit))
    strip_height = round(100 * unit) if strip else 0
    strip_box = Box(left, progress.y - round(8 * unit) - strip_height, width, strip_height)
    middle = max(n_lines * line, round(230 * unit))
    top = strip_box.y - round(12 * unit) - middle
    half = (width - round(24 * unit)) // 2
    ledger = Box(left, top, half, n_lines * line)
    chart = Box(left + width - half, top, half, middle)
    title = Box(left, top - round(40 * unit), width, round(34 * unit))
    plate = Box(left - pad, title.y - pad // 2, width + 2 * pad, bottom + pad // 2 - title.y + pad // 2)
    return Layout(
        width_px=width_px, height_px=height_px, unit=unit, plate=plate, title=title, ledger=ledger, strip=strip_box,
        chart=chart, progress=progress, line_px=line,
    )  # fmt: skip
