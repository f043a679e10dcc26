"""The colours of charts and pages, on light and on dark paper; a line is also told by its dash and its mark."""

from typing import NamedTuple


class Shade(NamedTuple):
    """A colour as drawn on light paper, and what stands for it on dark paper."""

    light: str
    dark: str


PAPER = Shade("#fbfaf7", "#16202a")
INK = Shade("#1e2b36", "#e6eaed")
SOFT = Shade("#52606b", "#a8b5bf")
GRID = Shade("#dcdfdf", "#33414d")
LIMIT = Shade("#8a929a", "#7b8994")

SERIES = (
    Shade("#12609f", "#79bdf0"),
    Shade("#a9470f", "#f2a36b"),
    Shade("#1b7560", "#66d1b4"),
    Shade("#6f2c7d", "#c599c8"),
    Shade("#4a4200", "#e3d167"),
    Shade("#545f70", "#c4d6dd"),
)
"""Blue, rust, sea green, plum, olive, slate: apart in lightness and hue also for eyes that see two primaries only."""

DASHES: tuple[tuple[int, ...], ...] = ((), (7, 3), (2, 2), (10, 3, 2, 3), (4, 4), (1, 3))
SHAPES = ("circle", "square", "triangle-up", "diamond", "cross", "triangle-down")


def shades() -> tuple[Shade, ...]:
    """Give every shade a chart may use."""
    return (PAPER, INK, SOFT, GRID, LIMIT, *SERIES)


def dark_rules(scope: str) -> str:
    """Write the style rules that turn a chart, drawn once in its light colours, dark inside `scope`."""
    return "\n".join(
        f'{scope} [{attribute}="{shade.light}"] {{ {attribute}: {shade.dark}; }}'
        for shade in shades()
        for attribute in ("fill", "stroke")
    )
