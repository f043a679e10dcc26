"""Parts that every chart is made of: axes whose ends are known, lines told apart without colour, labels that part."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil, floor, isfinite, log10
from typing import Any, Literal

from wattproof.report import palette

Spec = dict[str, Any]
Point = tuple[float, float]

FONT = "'Source Sans Pro', 'Source Sans 3', 'Liberation Sans', sans-serif"
_LABEL_PX = 14
_LEAST_SPAN = 0.02
_LETTER_PX = 7.0
"""Width of an average letter at 13 px, on the wide side, for keeping labels apart without a text engine."""


def short(value: float) -> float:
    """Round to five significant figures: a pixel is coarser, and the page stays small."""
    return float(f"{value:.5g}")


@dataclass(frozen=True, kw_only=True)
class Axis:
    """An axis with its ends and ticks fixed, so that places on it are known before it is drawn."""

    title: str
    low: float
    high: float
    ticks: tuple[float, ...]
    log: bool = False

    def share(self, value: float) -> float:
        """Give how far along the axis a value lies: 0 at its low end, 1 at its high end."""
        if self.log:
            return (log10(value) - log10(self.low)) / (log10(self.high) - log10(self.low))
        return (value - self.low) / (self.high - self.low)

    def encoding(self, field: str, *, named: bool = True) -> Spec:
        """Give the axis as a position channel reading `field`; unnamed, it keeps its grid but no words."""
        axis: Spec = {"title": self.title if named else None, "values": list(self.ticks), "format": "~f"}
        return {
            "field": field,
            "type": "quantitative",
            "scale": {"type": "log" if self.log else "linear", "domain": [self.low, self.high], "nice": False},
            "axis": axis if named else {**axis, "labels": False, "ticks": False},
        }


def linear_axis(title: str, values: Iterable[float], *, ticks: int = 5, tight: bool = False) -> Axis:
    """Make an axis over the values with round ends, or a tight one, for time, that ends where they end.

    One with round ends starts at zero where the values come near it, and spans at least 2 % of them: a smaller change
    would be blown up to look like a large one.
    """
    low, high = _ends(values)
    if 0 < low < 0.4 * high and not tight:
        low = 0.0
    wanting = 0.0 if tight else _LEAST_SPAN * max(abs(low), abs(high)) - (high - low)
    if wanting > 0 or high == low:
        spread = max(wanting, 0.0) / 2 or 0.5
        low, high = low - spread, high + spread
    step = _round_step((high - low) / ticks)
    first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
    marks = tuple(short(number * step) for number in range(first, last + 1))
    if not tight:
        return Axis(title=title, low=marks[0], high=marks[-1], ticks=marks)
    return Axis(title=title, low=low, high=high, ticks=tuple(mark for mark in marks if low <= mark <= high))


def log_axis(title: str, values: Iterable[float], *, labels: int = 8) -> Axis:
    """Make a logarithmic axis over positive values, from a 1, 2 or 5 to a 1, 2 or 5 of some decade."""
    low, high = _ends(values)
    decades = range(floor(log10(low)) - 1, ceil(log10(high)) + 2)
    steps = [float(f"{digit}e{decade}") for decade in decades for digit in (1, 2, 5)]
    start = max(step for step in steps if step <= low * (1 + 1e-9))
    stop = min(step for step in steps if step >= high * (1 - 1e-9) and step > start)
    inside = [step for step in steps if start <= step <= stop]
    whole = [step for step in inside if f"{step:e}".startswith("1.0")]
    ticks = inside if len(inside) <= labels or len(whole) < 2 else whole
    return Axis(title=title, low=start, high=stop, ticks=tuple(ticks), log=True)


def _ends(values: Iterable[float]) -> tuple[float, float]:
    kept = list(values)
    return min(kept), max(kept)


def _round_step(rough: float) -> float:
    size = 10.0 ** floor(log10(rough))
    return next(digit * size for digit in (1.0, 2.0, 2.5, 5.0, 10.0) if digit * size >= rough * (1 - 1e-9))


def drawable(points: Iterable[tuple[float | None, float | None]], *, log_x: bool, log_y: bool) -> list[Point]:
    """Keep the points that can be drawn: finite numbers, and above zero on a logarithmic axis."""
    return [
        (x, y) for x, y in points if x is not None and y is not None and _shown(x, log=log_x) and _shown(y, log=log_y)
    ]


def _shown(value: float, *, log: bool) -> bool:
    return isfinite(value) and (value > 0 or not log)


def rows(points: Iterable[Point]) -> list[dict[str, float]]:
    """Write points as inline data."""
    return [{"x": short(x), "y": short(y)} for x, y in points]


def line(points: Sequence[Point], number: int, *, width: float = 2.0) -> Spec:
    """Draw a series' line: colour and dash by its number."""
    index = number % len(palette.SERIES)
    mark: Spec = {"type": "line", "stroke": palette.SERIES[index].light, "strokeWidth": width, "strokeJoin": "round"}
    if dash := palette.DASHES[index]:
        mark["strokeDash"] = list(dash)
    return {"data": {"values": rows(points)}, "mark": mark}


def marks(
    points: Sequence[Point], spans: Sequence[Point], number: int, *, along: Literal["x", "y"] = "x"
) -> list[Spec]:
    """Draw single results: the series' mark at each point, and a bar from end to end of its 95 % interval."""
    index = number % len(palette.SERIES)
    colour = palette.SERIES[index].light
    bars = [
        {"x": short(x), "y": short(y), along: short(low), f"{along}2": short(high)}
        for (x, y), (low, high) in zip(points, spans, strict=True)
        if low > 0
    ]
    return [
        {
            "data": {"values": bars},
            "mark": {"type": "rule", "stroke": colour, "strokeWidth": 5, "opacity": 0.45},
            "encoding": {f"{along}2": {"field": f"{along}2"}},
        },
        {
            "data": {"values": rows(points)},
            "mark": {
                "type": "point",
                "shape": palette.SHAPES[index],
                "size": 70,
                "filled": True,
                "fill": colour,
                "stroke": palette.PAPER.light,
                "strokeWidth": 1.5,
                "opacity": 1,
            },
        },
    ]


def limit_line(y: float, text: str) -> list[Spec]:
    """Draw a level that results are held against, with its name at the left end."""
    data = {"values": [{"y": y, "text": text}]}
    across = {"x": {"value": 0}, "x2": {"value": "width"}}
    return [
        {"data": data, "mark": {"type": "rule", "stroke": palette.LIMIT.light, "strokeWidth": 1}, "encoding": across},
        {
            "data": data,
            "mark": {
                "type": "text",
                "align": "left",
                "baseline": "bottom",
                "dx": 4,
                "dy": -2,
                "fill": palette.SOFT.light,
            },
            "encoding": {"x": {"value": 0}, "text": {"field": "text"}},
        },
    ]


@dataclass(frozen=True, kw_only=True)
class End:
    """The right end of a line and the line's name and number."""

    number: int
    text: str
    x: float
    y: float


def end_labels(ends: Iterable[End], y_axis: Axis, *, height_px: float) -> list[Spec]:
    """Name lines at their right ends, moved apart where they would touch."""
    order = sorted(ends, key=lambda end: -end.y)
    places = _parted([height_px * (1 - y_axis.share(end.y)) for end in order], limit=height_px)
    return [part for end, place in zip(order, places, strict=True) for part in _label(end, short(place), align="left")]


def _parted(places: Sequence[float], *, limit: float) -> list[float]:
    """Push ascending places down until they are a label apart, then back up where they ran over the end."""
    parted: list[float] = []
    for place in places:
        parted.append(place if not parted else max(place, parted[-1] + _LABEL_PX))
    for index in range(len(parted) - 1, -1, -1):
        parted[index] = min(parted[index], limit - _LABEL_PX * (len(parted) - 1 - index))
    return parted


def top_labels(ends: Iterable[End], x_axis: Axis, *, width_px: float) -> list[Spec]:
    """Name lines that leave at the top, in as many rows as keep the names apart."""
    reach: list[float] = []
    layers = []
    for end in sorted(ends, key=lambda end: end.x):
        half = _LETTER_PX * len(end.text) / 2
        middle = width_px * x_axis.share(end.x)
        row = next((row for row, right in enumerate(reach) if middle - half > right), len(reach))
        reach[row : row + 1] = [middle + half + _LETTER_PX]
        layers += _label(end, -9 - _LABEL_PX * row, align="center")
    return layers


def _label(end: End, y_px: float, *, align: str) -> list[Spec]:
    """Write a line's name over a halo of paper, so that another line may pass behind it."""
    colour = palette.SERIES[end.number % len(palette.SERIES)].light
    data = {"values": [{"x": short(end.x), "text": end.text}]}
    mark = {"type": "text", "align": align, "baseline": "middle", "dx": 7 if align == "left" else 0, "fontWeight": 600}
    halo = {**mark, "fill": palette.PAPER.light, "stroke": palette.PAPER.light, "strokeWidth": 4, "strokeJoin": "round"}
    encoding = {"y": {"value": y_px}, "text": {"field": "text"}}
    return [
        {"data": data, "mark": halo, "encoding": encoding},
        {"data": data, "mark": {**mark, "fill": colour}, "encoding": encoding},
    ]


def panel(
    x_axis: Axis, y_axis: Axis, layers: Sequence[Spec], *, width_px: int, height_px: int, x_named: bool = True
) -> Spec:
    """Put layers that read ``x`` and ``y`` on one pair of axes; in a stack only the lowest x axis is named."""
    return {
        "width": width_px,
        "height": height_px,
        "encoding": {"x": x_axis.encoding("x", named=x_named), "y": y_axis.encoding("y")},
        "layer": list(layers),
    }


def chart(title: str, description: str, panels: Sequence[Spec]) -> Spec:
    """Stack panels into a chart in the house's style; `description` is what it shows, for who cannot see it."""
    body: Spec = panels[0] if len(panels) == 1 else {"vconcat": list(panels), "spacing": 34}
    return {
        "$schema": "https://vega.github.io/schema/vega-lite/v6.json",
        "title": {"text": title, "anchor": "start", "fontSize": 16, "offset": 14, "color": palette.INK.light},
        "description": description,
        "background": None,
        "config": _config(),
        **body,
    }


def _config() -> Spec:
    return {
        "aria": False,
        "font": FONT,
        "view": {"stroke": None},
        "text": {"fontSize": 13},
        "axis": {
            "labelFontSize": 13,
            "titleFontSize": 13,
            "titleFontWeight": "normal",
            "titlePadding": 8,
            "labelColor": palette.SOFT.light,
            "titleColor": palette.INK.light,
            "gridColor": palette.GRID.light,
            "domainColor": palette.LIMIT.light,
            "tickColor": palette.LIMIT.light,
            "labelFlush": False,
        },
        # the vertical axis' title lies flat over the axis: read without turning the head, and no taller than a line
        "axisY": {
            "titleAngle": 0,
            "titleAlign": "left",
            "titleAnchor": "end",
            "titleBaseline": "bottom",
            "titleX": -34,
            "titleY": -9,
        },
    }
