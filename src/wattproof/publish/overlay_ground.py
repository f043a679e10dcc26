"""What never changes in a clip, drawn once: the plate, the words of the ledger, the chart's axes, the empty bars."""

from dataclasses import dataclass

import numpy as np

from wattproof.publish import overlay_words as words
from wattproof.publish.overlay_axes import Curve
from wattproof.publish.overlay_ink import (
    Colour,
    Coverage,
    Pixels,
    add_line,
    colour_of,
    lay_over,
    rounded_box,
    text_coverage,
    text_width,
)
from wattproof.publish.overlay_layout import Box, Layout
from wattproof.publish.overlay_scene import Scene
from wattproof.report import palette

PLATE_ALPHA = 0.86
"""On white footage the palette's soft ink then still has more than 4.5 times the plate's luminance."""

INK, SOFT, GRID, PLATE = (colour_of(shade.dark) for shade in (palette.INK, palette.SOFT, palette.LIMIT, palette.PAPER))
BLUE, RUST, GREEN = (colour_of(palette.SERIES[k].dark) for k in range(3))

TITLE, LABEL, NUMBER, SMALL = 25, 27, 36, 22
"""Sizes of type in units: a 720th of the picture's shorter side."""


@dataclass(frozen=True, kw_only=True)
class Plot:
    """Where the curve lies: the chart's inner box, and a place in it for a point of 0 to 1."""

    box: Box

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Give a point's pixel within the box, rows downwards."""
        return x * (self.box.width - 1), (1 - y) * (self.box.height - 1)


def part(pixels: Pixels, box: Box) -> Pixels:
    """Give a view of a box's pixels."""
    return pixels[box.y : box.y + box.height, box.x : box.x + box.width]


def write(pixels: Pixels, text: str, *, x: int, y: int, size_px: int, colour: Colour, strong: bool = False) -> int:
    """Set a text whose upper left corner is at x, y, cut off at the picture's edge; give where it ends."""
    ink = text_coverage(text, size_px, strong=strong)
    room = pixels[y : y + ink.shape[0], x : x + ink.shape[1]]
    lay_over(room, colour, ink[: room.shape[0], : room.shape[1]])
    return x + int(ink.shape[1])


def fitting(text: str, size_px: int, width_px: int) -> str:
    """Shorten a text to a width, with three dots at its end."""
    if text_width(text, size_px) <= width_px:
        return text
    short = text
    while short and text_width(short + "…", size_px) > width_px:
        short = short[:-1]
    return short.rstrip() + "…"


def ground(scene: Scene, layout: Layout) -> Pixels:
    """Draw what stays; RGBA of shape (height, width, 4)."""
    pixels = np.empty((layout.height_px, layout.width_px, 4), dtype=np.uint8)
    pixels[...] = (*PLATE, 0)  # the plate's colour everywhere: a codec then has no edge to smear
    plate = rounded_box(layout.plate.height, layout.plate.width, 14 * layout.unit)
    part(pixels, layout.plate)[..., 3] = np.rint(255 * PLATE_ALPHA * plate)
    size = layout.px(TITLE)
    room = layout.title.width - (text_width(words.BURST.format(88, 88), size) if scene.course.kind == "burst" else 0)
    write(
        pixels, fitting(scene.title, size, room), x=layout.title.x, y=layout.title.y, size_px=size, colour=INK
    )  # fmt: skip
    _ledger(pixels, scene, layout)
    if layout.strip.height:
        write(
            pixels, words.STRIP, x=layout.strip.x, y=layout.strip.y, size_px=layout.px(SMALL), colour=SOFT
        )  # fmt: skip
    if scene.curve is not None:
        _chart(pixels, scene, scene.curve, layout)
    return pixels


def _ledger(pixels: Pixels, scene: Scene, layout: Layout) -> None:
    label, number = layout.px(LABEL), layout.px(NUMBER)
    for k, name in enumerate(scene.course.columns):
        # one base line for words and numbers: a size below the upper edge of either
        base = layout.ledger.y + k * layout.line_px + number
        write(pixels, words.LABELS[name], x=layout.ledger.x, y=base - label, size_px=label, colour=SOFT)
        unit_x = layout.ledger.x + layout.ledger.width - unit_width(layout)
        write(pixels, words.UNITS[name], x=unit_x, y=base - label, size_px=label, colour=SOFT)


def unit_width(layout: Layout) -> int:
    """Give the width kept for the units at the right of the ledger."""
    return max(text_width(unit, layout.px(LABEL)) for unit in words.UNITS.values())


def number_box(layout: Layout, line: int) -> Box:
    """Give where a line's number stands: between its words and its unit."""
    right = layout.ledger.x + layout.ledger.width - unit_width(layout) - layout.px(8)
    width = text_width("00000", layout.px(NUMBER), strong=True)
    return Box(right - width, layout.ledger.y + line * layout.line_px, width, layout.line_px)


def strip_bar(layout: Layout) -> Box:
    """Give the bar of the strip."""
    box = layout.strip
    return Box(box.x, box.y + layout.px(32), box.width, layout.px(26))


def strip_text(layout: Layout) -> Box:
    """Give the line below the bar."""
    box = layout.strip
    return Box(box.x, box.y + layout.px(62), box.width, layout.px(1.3 * LABEL))


def progress_bar(layout: Layout) -> Box:
    """Give the bar of the time gone."""
    box = layout.progress
    return Box(box.x, box.y + box.height - layout.px(8), box.width, layout.px(8))


def plot_of(curve: Curve, layout: Layout) -> Plot:
    """Give where the curve lies within the chart's box."""
    small, box = layout.px(SMALL), layout.chart
    left = max(text_width(text, small) for _, text in curve.y_axis.ticks(4)) + layout.px(10)
    right, top, foot = layout.px(12), layout.px(1.9 * SMALL), layout.px(1.35 * SMALL)
    return Plot(box=Box(box.x + left, box.y + top, box.width - left - right, box.height - top - foot))


def _chart(pixels: Pixels, scene: Scene, curve: Curve, layout: Layout) -> None:
    small, box, plot = layout.px(SMALL), layout.chart, plot_of(curve, layout)
    head = words.CHARTS[curve.words].format(f"{scene.course.duration_s:.0f}")
    write(pixels, fitting(head, small, box.width), x=box.x, y=box.y, size_px=small, colour=SOFT)
    lines = np.zeros((plot.box.height, plot.box.width), dtype=np.float32)
    for value, text in curve.y_axis.ticks(4):
        y = float(curve.y_axis.place(np.array([value]))[0])
        add_line(lines, plot.at(0, y), plot.at(1, y), max(layout.unit, 1.0))
        row = round(plot.at(0, y)[1]) + plot.box.y - round(0.72 * small)
        write(
            pixels, text, x=plot.box.x - layout.px(8) - text_width(text, small), y=row, size_px=small, colour=SOFT
        )  # fmt: skip
    for value, text in curve.x_axis.ticks(4 if curve.x_axis.log else 5):
        x = float(curve.x_axis.place(np.array([value]))[0])
        add_line(lines, plot.at(x, 0), plot.at(x, 1), max(layout.unit, 1.0))
        wide = text_width(text, small)
        left = min(round(plot.at(x, 0)[0]) + plot.box.x - wide // 2, box.x + box.width - wide)
        write(pixels, text, x=left, y=plot.box.y + plot.box.height + layout.px(2), size_px=small, colour=SOFT)
    lay_over(part(pixels, plot.box), GRID, 0.4 * lines)
    if curve.claim is not None and np.isfinite(curve.claim) and scene.claim is not None:
        _claim(pixels, scene.claim.text, curve, plot, layout)


def _claim(pixels: Pixels, text: str, curve: Curve, plot: Plot, layout: Layout) -> None:
    """Mark the claimed power by a dashed line and its words on the side that has room."""
    small, place = layout.px(SMALL), curve.claim or 0.0
    dashes: Coverage = np.zeros((plot.box.height, plot.box.width), dtype=np.float32)
    steps = np.linspace(
        0, 1, max(int((plot.box.height if curve.claim_upright else plot.box.width) / (11 * layout.unit)), 2)
    )
    for begin in steps[:-1]:
        ends = (float(begin), float(begin + 0.55 * steps[1]))
        first, last = (((place, e) if curve.claim_upright else (e, place)) for e in ends)
        add_line(dashes, plot.at(*first), plot.at(*last), 2.5 * layout.unit)
    lay_over(part(pixels, plot.box), INK, dashes)
    column, row = plot.at(place, 1) if curve.claim_upright else plot.at(0, place)
    wide = text_width(text, small, strong=True)
    if curve.claim_upright:
        left = column - wide - layout.px(6) if column > wide + layout.px(6) else column + layout.px(6)
        x, y = plot.box.x + round(left), plot.box.y
    else:
        x, y = (
            plot.box.x + plot.box.width - wide,
            plot.box.y + round(row) + (-layout.px(1.3 * SMALL) if row > 1.3 * small else layout.px(2)),
        )
    write(pixels, text, x=x, y=y, size_px=small, colour=INK, strong=True)
