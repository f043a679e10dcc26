"""A report's chart made into a picture: the same specification, stretched into a frame and dressed for its paper."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Any

from wattproof.publish.document import Chart, Spec
from wattproof.publish.picture_frame import Area
from wattproof.publish.picture_sheet import Look, Sheet
from wattproof.publish.picture_type import FACE, FAMILY
from wattproof.report import GRID, PAPER, Axis, draw_svg, shades

LETTER_PX = 13
"""Size of the smallest letters in a report's charts: everything is enlarged until these are the picture's smallest."""
_LABEL_PX = 15
"""From one label at the end of a line to the next."""
_ROUNDS, _SLACK_PX = 5, 3.0
_NARROW_PX = 480
"""Up to this width a chart is made of its specification for a telephone."""
_LEAST_PANEL_PX = 24.0
_COLUMNS = 2
_AXIS_PX, _TITLE_PX = 46.0, 34.0
"""Room under the lowest panel for its axis, and over each panel for its title."""
_ALIKE = 0.02
_ROW_PX = 10
"""Between stacked panels, beside the room that their axes' titles take."""


def chart_pages(chart: Chart, look: Look, area: Area) -> list[Spec]:
    """Give a chart's specification for an area: one, or several where its panels would be too low to be read.

    Parameters
    ----------
    chart : Chart
    look : Look
    area : Area

    Returns
    -------
    list of dict
        Dressed for the paper, not yet stretched.
    """
    scale = look.letter_px / LETTER_PX
    nearest = chart.wide if area.width_px / scale > _NARROW_PX else chart.narrow
    spec = shortened(dressed(nearest, look))
    panels = panels_of(spec)
    columns = 1 if look.shape == "tall" or len(panels) <= _COLUMNS else _COLUMNS
    labels = max(len({_label_place(layer) for layer in panel["layer"]} - {None}) for panel in panels)
    least_px = max(_LEAST_PANEL_PX, _LABEL_PX * labels)
    rows = max(1, int((area.height_px / scale - _AXIS_PX) // (least_px + _TITLE_PX)))
    pages = ceil(len(panels) / (rows * columns))
    each = ceil(len(panels) / pages)
    parts = [spec] if pages == 1 else [_part(spec, panels[at : at + each]) for at in range(0, len(panels), each)]
    return [side_by_side(part) if len(panels_of(part)) > columns > 1 else part for part in parts]


def _part(spec: Spec, panels: Sequence[Spec]) -> Spec:
    """Make a chart of some panels of a stack, the lowest with the axis of them all."""
    named = panels_of(spec)[-1]["encoding"]["x"]
    *others, last = panels
    return {**spec, "vconcat": [*others, {**last, "encoding": {**last["encoding"], "x": named}}]}


def chart_on(sheet: Sheet, area: Area, spec: Spec) -> Spec:
    """Draw one of a chart's pages so that it fills an area; give its specification as drawn."""
    scale = sheet.look.letter_px / LETTER_PX
    drawn, spec = _fitted(spec, width_px=area.width_px / scale, height_px=area.height_px / scale)
    inside = re.sub(r"</svg>\s*$", "", drawn.body)
    sheet.put(f'<g transform="translate({area.left_px:.6g} {area.top_px:.6g}) scale({scale:.6g})">{inside}</g>')
    return spec


@dataclass(frozen=True, kw_only=True)
class _Drawn:
    width_px: float
    height_px: float
    body: str


def _draw(spec: Spec) -> _Drawn:
    svg = draw_svg(spec)
    opened = re.search(r'<svg[^>]* width="([\d.]+)" height="([\d.]+)"[^>]*>', svg)
    assert opened is not None  # noqa: S101  (so the drawing begins, or it is none)
    body = re.sub(r"<(title|desc)\b[^>]*>.*?</\1>", "", svg[opened.end() :], flags=re.DOTALL)
    # drawn in the one face, for it measures no list of faces; shown in that face or what comes nearest
    body = body.replace(f'font-family="{FACE}"', f'font-family="{FAMILY}"')
    return _Drawn(width_px=float(opened[1]), height_px=float(opened[2]), body=body)


def _fitted(spec: Spec, *, width_px: float, height_px: float) -> tuple[_Drawn, Spec]:
    """Stretch the panels until all is as large as the area: what axes and names take is found by drawing."""
    drawn = _draw(spec)
    for _ in range(_ROUNDS):
        wider, higher = width_px - drawn.width_px, height_px - drawn.height_px
        if 0 <= wider <= _SLACK_PX and 0 <= higher <= _SLACK_PX:
            break
        spec = stretched(spec, wider_px=wider - _SLACK_PX / 2, higher_px=higher - _SLACK_PX / 2)
        drawn = _draw(spec)
    return drawn, spec


def panels_of(spec: Spec) -> list[Spec]:
    """Give the panels of a chart: those that it stacks, or itself."""
    stacked: list[Spec] = spec.get("vconcat") or spec.get("concat") or [spec]
    return stacked


def shows_intervals(spec: Spec) -> bool:
    """Say whether a chart draws intervals: bars or a band, from one value to another."""
    ends = (
        layer.get("encoding", {}).get(name, {})
        for panel in panels_of(spec)
        for layer in panel["layer"]
        for name in ("x2", "y2")
    )
    return any("field" in end for end in ends)


def side_by_side(spec: Spec) -> Spec:
    """Lay a stack of many panels in two columns, each half as wide, the lowest of either with the axis of them all."""
    panels = panels_of(spec)
    named = panels[-1]["encoding"]["x"]
    halved = [_resized(panel, width_px=panel["width"] / 2, height_px=panel["height"]) for panel in panels]
    last = len(panels) - _COLUMNS
    halved = [
        {**panel, "encoding": {**panel["encoding"], "x": named}} if number >= last else panel
        for number, panel in enumerate(halved)
    ]
    rest = {key: value for key, value in spec.items() if key != "vconcat"}
    return {**rest, "concat": halved, "columns": _COLUMNS, "spacing": {"row": _ROW_PX, "column": 3 * _ROW_PX}}


def stretched(spec: Spec, *, wider_px: float, higher_px: float) -> Spec:
    """Make a chart's panels wider, each, and higher, together, and move the labels beside them along.

    Parameters
    ----------
    spec : dict
    wider_px : float, px
    higher_px : float, px
        Below zero to make it lower.

    Returns
    -------
    dict
    """
    panels = panels_of(spec)
    columns = spec.get("columns", 1)
    factor = 1 + higher_px / sum(panel["height"] for panel in panels[::columns])
    wider_px /= columns
    grown = [
        _resized(panel, width_px=panel["width"] + wider_px, height_px=max(panel["height"] * factor, _LEAST_PANEL_PX))
        for panel in panels
    ]
    stacked = next((key for key in ("vconcat", "concat") if key in spec), None)
    return {**spec, stacked: grown} if stacked else grown[0]


def _resized(panel: Spec, *, width_px: float, height_px: float) -> Spec:
    factor = height_px / panel["height"]
    places = sorted({place for layer in panel["layer"] if (place := _label_place(layer)) is not None and place >= 0})
    moved = dict(zip(places, _parted([place * factor for place in places], limit_px=height_px), strict=True))
    layers = [_moved(layer, moved) for layer in panel["layer"]]
    encoding = {**panel["encoding"], "y": _thinned(panel["encoding"]["y"], height_px)}
    return {**panel, "width": round(width_px, 2), "height": round(height_px, 2), "encoding": encoding, "layer": layers}


def _thinned(upright: Spec, height_px: float) -> Spec:
    """Leave out ticks whose numbers would touch: an upright axis is numbered however low it is."""
    low, high = upright["scale"]["domain"]
    axis = Axis(title="", low=low, high=high, ticks=(), log=upright["scale"]["type"] == "log")
    kept: list[float] = []
    for tick in upright["axis"]["values"]:
        if not kept or height_px * (axis.share(tick) - axis.share(kept[-1])) >= _LABEL_PX:
            kept.append(tick)
    return {**upright, "axis": {**upright["axis"], "values": kept}}


def _label_place(layer: Spec) -> float | None:
    """Give the height in px at which a layer's label stands, where it is a label that stands at one."""
    place: float | None = layer.get("encoding", {}).get("y", {}).get("value")
    return place if layer.get("mark", {}).get("type") == "text" else None


def _moved(layer: Spec, moved: dict[float, float]) -> Spec:
    place = _label_place(layer)
    if place is None or place not in moved:
        return layer
    return {**layer, "encoding": {**layer["encoding"], "y": {"value": round(moved[place], 2)}}}


def _parted(places_px: Sequence[float], *, limit_px: float) -> list[float]:
    """Push ascending places down until labels are apart, then up again where they ran over the end."""
    parted: list[float] = []
    for place in places_px:
        parted.append(place if not parted else max(place, parted[-1] + _LABEL_PX))
    for index in range(len(parted) - 1, -1, -1):
        parted[index] = min(parted[index], limit_px - _LABEL_PX * (len(parted) - 1 - index))
    return parted


def dressed(spec: Spec, look: Look) -> Spec:
    """Give a chart the colours of its paper, lines that are seen from afar, and no title of its own."""
    colours = {shade.light: look.colour(shade) for shade in shades()}
    if look.clear:
        colours[PAPER.light] = "transparent"  # a halo of paper would be a blot on a ground that is none
    plain: Spec = _exchanged(spec, colours)
    config: dict[str, Any] = plain["config"]
    axis = {**config["axis"], "gridWidth": 0.7, "gridColor": look.colour(GRID), "tickWidth": 0.8, "domainWidth": 0.8}
    lifted = {**config["axisY"], "titleY": _over_labels(plain, config["axisY"]["titleY"])}
    plain = {**plain, "spacing": _ROW_PX} if "vconcat" in plain else plain
    return {
        **_limits_in_front(plain, look),
        "title": {"text": ""},
        "config": {**config, "font": FACE, "axis": axis, "axisY": lifted},
    }


def shortened(spec: Spec) -> Spec:
    """Name lines by their outputs alone where all have one load, which stands under the picture.

    Examples
    --------
    >>> layer = {"mark": {"type": "text"}, "encoding": {"y": {"value": 3}}}
    >>> two = [{**layer, "data": {"values": [{"x": 1.0, "text": name}]}} for name in ("A, 4.04 ohm", "B, 4.03 ohm")]
    >>> [part["data"]["values"][0]["text"] for part in shortened({"layer": two})["layer"]]
    ['A', 'B']
    """
    names = {text for panel in panels_of(spec) for layer in panel["layer"] if (text := _label_text(layer))}
    parts = [re.fullmatch(r"(.+), ([\d.]+) ohm", name) for name in names]
    loads = [float(part[2]) for part in parts if part]
    short = {part[0]: part[1] for part in parts if part}
    if (
        len(loads) < max(len(names), 2)
        or max(loads) > (1 + _ALIKE) * min(loads)
        or len(set(short.values())) < len(short)
    ):
        return spec
    renamed: Spec = _exchanged(spec, short)
    return renamed


def _label_text(layer: Spec) -> str:
    return str(layer["data"]["values"][0].get("text", "")) if _label_place(layer) is not None else ""


def _over_labels(spec: Spec, title_y_px: float) -> float:
    """Lift the vertical axis' title over the names of lines that leave at the top."""
    rows = [
        place for panel in panels_of(spec) for layer in panel["layer"] if (place := _label_place(layer)) is not None
    ]
    return min([title_y_px, *(place - _LABEL_PX / 2 - 2 for place in rows if place < 0)])


def _limits_in_front(spec: Spec, look: Look) -> Spec:
    """Write the names of limits last and over a halo, so that no line runs through them."""
    if "layer" not in spec:
        return spec
    names = [layer for layer in spec["layer"] if layer["mark"]["type"] == "text" and _label_place(layer) is None]
    others = [layer for layer in spec["layer"] if layer not in names]
    paper = "transparent" if look.clear else look.colour(PAPER)
    halo = {"stroke": paper, "strokeWidth": 4, "strokeJoin": "round", "fill": paper}
    halos = [{**layer, "mark": {**layer["mark"], **halo}} for layer in names]
    return {**spec, "layer": [*others, *halos, *names]}


def _exchanged(part: Any, words: dict[str, str]) -> Any:  # noqa: ANN401  (any part of a specification)
    if isinstance(part, dict):
        return {key: _exchanged(value, words) for key, value in part.items()}
    if isinstance(part, list):
        return [_exchanged(value, words) for value in part]
    return words.get(part, part) if isinstance(part, str) else part
