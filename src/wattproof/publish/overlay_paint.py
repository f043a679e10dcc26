"""A clip's frames one after the other: only what changed since the frame before is drawn again."""

from collections.abc import Iterator

import numpy as np

from wattproof.publish import overlay_words as words
from wattproof.publish.overlay_clock import FrameClock
from wattproof.publish.overlay_course import Shares
from wattproof.publish.overlay_ground import (
    BLUE,
    GREEN,
    INK,
    LABEL,
    NUMBER,
    RUST,
    SMALL,
    SOFT,
    TITLE,
    ground,
    number_box,
    part,
    plot_of,
    progress_bar,
    strip_bar,
    strip_text,
    write,
)
from wattproof.publish.overlay_ink import Colour, Coverage, Pixels, add_line, lay_over, rounded_box, text_width
from wattproof.publish.overlay_layout import Box, Layout, layout_for
from wattproof.publish.overlay_scene import Moment, Scene

Area = tuple[slice, slice]


class Painter:
    """Draws a scene's moments into one picture that it keeps.

    Parameters
    ----------
    scene : Scene
    width_px, height_px : int
        Of the picture.
    """

    def __init__(self, scene: Scene, *, width_px: int, height_px: int) -> None:
        self.scene = scene
        lines = len(scene.course.columns)
        self.layout: Layout = layout_for(width_px, height_px, n_lines=lines, strip=scene.has_strip)
        self.ground = ground(scene, self.layout)
        self.pixels = self.ground.copy()
        self._shown: Moment | None = None
        self._hatch = _hatch(strip_bar(self.layout), self.layout)
        self._plot = None if scene.curve is None else plot_of(scene.curve, self.layout)
        size = (1, 1) if self._plot is None else (self._plot.box.height, self._plot.box.width)
        self._line: Coverage = np.zeros(size, dtype=np.float32)
        self._drawn = 0
        self._head: Area | None = None

    def paint(self, moment: Moment) -> Pixels:
        """Give the picture of a moment, RGBA; it is drawn over at the next call."""
        before = self._shown
        for k, text in enumerate(moment.numbers):
            if before is None or before.numbers[k] != text:
                self._number(k, text)
        if self.layout.strip.height and (before is None or before.shares != moment.shares):
            self._strip(moment.shares)
        if before is None or before.points != moment.points:
            self._curve(moment.points)
        if before is None or before.gone_s != moment.gone_s:
            self._progress(moment.gone_s)
        if moment.remark != (before.remark if before is not None else ""):
            self._remark(moment.remark)
        self._shown = moment
        return self.pixels

    def _cleared(self, box: Box) -> Pixels:
        """Put a box back to what never changes, and give its pixels."""
        found = part(self.pixels, box)
        found[...] = part(self.ground, box)
        return found

    def _right(self, box: Box, text: str, *, size: float, colour: Colour, strong: bool = False) -> None:
        """Set a text at the right end of a box that was cleared."""
        size_px = self.layout.px(size)
        x = box.x + box.width - text_width(text, size_px, strong=strong)
        write(self.pixels, text, x=x, y=box.y, size_px=size_px, colour=colour, strong=strong)

    def _number(self, line: int, text: str) -> None:
        box = number_box(self.layout, line)
        self._cleared(box)
        self._right(box, text, size=NUMBER, colour=INK, strong=True)

    def _remark(self, text: str) -> None:
        title = self.layout.title
        width = text_width(words.BURST.format(88, 88), self.layout.px(TITLE))
        box = Box(title.x + title.width - width, title.y, width, title.height)
        self._cleared(box)
        self._right(box, text, size=TITLE, colour=SOFT)

    def _strip(self, shares: Shares | None) -> None:
        bar, line = strip_bar(self.layout), strip_text(self.layout)
        pixels = self._cleared(bar)
        self._cleared(line)
        if shares is None:
            lay_over(pixels, SOFT, np.full(pixels.shape[:2], 0.25, dtype=np.float32))
            return
        edge = shares.load * bar.width
        given = np.clip(edge - np.arange(bar.width, dtype=np.float32), 0, 1)[np.newaxis, :]
        lay_over(pixels, GREEN, np.broadcast_to(given, pixels.shape[:2]).astype(np.float32))
        lay_over(pixels, RUST, ((1 - given) * self._hatch).astype(np.float32))
        size_px = self.layout.px(LABEL)
        load = words.LOAD if self.scene.course.n_outputs == 1 else words.LOADS
        write(
            self.pixels, words.share_text(load, shares.load), x=line.x, y=line.y, size_px=size_px, colour=GREEN
        )  # fmt: skip
        self._right(line, words.share_text(words.HEAT, 1 - shares.load), size=LABEL, colour=RUST)

    def _progress(self, gone_s: float) -> None:
        whole_s = self.scene.course.duration_s
        bar = progress_bar(self.layout)
        pixels = self._cleared(bar)
        gone = np.clip(gone_s / whole_s * bar.width - np.arange(bar.width, dtype=np.float32), 0, 1)
        shape = rounded_box(bar.height, bar.width, bar.height / 2)
        lay_over(pixels, SOFT, 0.3 * shape)
        lay_over(pixels, INK, (shape * gone).astype(np.float32))
        box = Box(bar.x, self.layout.progress.y, bar.width, bar.y - self.layout.progress.y)
        text = words.TIMES.format(words.clock_text(gone_s), words.clock_text(whole_s))
        self._cleared(box)
        self._right(box, text, size=SMALL, colour=SOFT)

    def _curve(self, points: int) -> None:
        curve, plot = self.scene.curve, self._plot
        if curve is None or plot is None:
            return
        if points < self._drawn:  # back in time: from the beginning
            self._line[...] = 0
            self._drawn = 0
            self._restore((slice(0, plot.box.height), slice(0, plot.box.width)))
        touched = [self._head, *(self._stretch(k) for k in range(self._drawn, points))]
        self._drawn = points
        for area in touched:
            self._restore(area)
        self._head = self._tip(points - 1)

    def _stretch(self, index: int) -> Area | None:
        """Draw the line to a point from the one before, or its dot where it stands apart."""
        curve, plot, unit = self.scene.curve, self._plot, self.layout.unit
        if curve is None or plot is None or not np.isfinite(curve.x[index] + curve.y[index]):
            return None
        to = plot.at(float(curve.x[index]), float(curve.y[index]))
        before = index - 1
        joined = not curve.dots and self.scene.course.joined(index) and np.isfinite(curve.x[before] + curve.y[before])
        if not joined:
            return add_line(self._line, to, to, (9 if curve.dots else 3.5) * unit)
        return add_line(self._line, plot.at(float(curve.x[before]), float(curve.y[before])), to, 3.5 * unit)

    def _restore(self, area: Area | None) -> None:
        if area is None or self._plot is None:
            return
        pixels = part(self.pixels, self._plot.box)[area]
        pixels[...] = part(self.ground, self._plot.box)[area]
        lay_over(pixels, BLUE, self._line[area])

    def _tip(self, index: int) -> Area | None:
        """Mark the newest point."""
        curve, plot = self.scene.curve, self._plot
        if curve is None or plot is None or index < 0 or not np.isfinite(curve.x[index] + curve.y[index]):
            return None
        dot = np.zeros_like(self._line)
        at = plot.at(float(curve.x[index]), float(curve.y[index]))
        area = add_line(dot, at, at, 10 * self.layout.unit)
        if area is not None:
            lay_over(part(self.pixels, plot.box)[area], INK, dot[area])
        return area


def _hatch(bar: Box, layout: Layout) -> Coverage:
    """Give the heat's slanted lines: it is told from the load by more than its colour."""
    y, x = np.mgrid[: bar.height, : bar.width]
    period = 12 * layout.unit
    wave = np.abs(((x + y) / period) % 1 - 0.5) * 2
    return np.asarray(np.clip(0.45 + (wave - 0.5) * period / 2, 0.45, 1), dtype=np.float32)


def frames_of(scene: Scene, clock: FrameClock, *, width_px: int, height_px: int) -> Iterator[Pixels]:
    """Give a clip's frames in order, RGBA of shape (height, width, 4); each is drawn over by the next."""
    painter = Painter(scene, width_px=width_px, height_px=height_px)
    for frame in range(clock.n_frames):
        yield painter.paint(scene.at(clock.at_s(frame)))
