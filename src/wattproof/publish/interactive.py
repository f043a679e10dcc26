"""A chart that can be read off and looked into: the specification that is printed, and what a page adds to it.

The page's script turns the added parameters: where a stack is looked at (``from``, ``to``), where it is read (``at``)
and which of its points are marked. Charts drawn on the same x axis share one set, so that they move together.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from wattproof.publish.document import Spec
from wattproof.report import PAPER, SOFT


@dataclass(frozen=True, kw_only=True)
class Live:
    """A chart for the page's script.

    Attributes
    ----------
    spec : dict
        Vega-Lite: the printed one, with the parameters above.
    panels : list of dict
        What the script reads values from, from the top panel down: the axes' titles, the ends of the x axis and
        whether it is logarithmic, the plot's size, the set of parameters it is turned by, and its lines with their
        names, colours and layers.
    """

    spec: Spec
    panels: list[dict[str, Any]]


def interactive(spec: Spec) -> Live | None:
    """Add to a chart what lets a page zoom it and show its values.

    Parameters
    ----------
    spec : dict
        A chart of `wattproof.report`: one panel of layers over fixed axes, or a stack of them; left as it is.

    Returns
    -------
    Live or None
        None for a chart of another make: it can be shown, but not be turned.

    Examples
    --------
    >>> interactive({"mark": "bar"}) is None
    True
    """
    panels: list[Spec] = spec.get("vconcat", [spec])
    if not all(map(_turnable, panels)):
        return None
    scales = [panel["encoding"]["x"]["scale"] for panel in panels]
    links = [scales.index(scale) for scale in scales]
    turned = [_turned(panel, number, link) for number, (panel, link) in enumerate(zip(panels, links, strict=True))]
    body = {"vconcat": turned} if "vconcat" in spec else turned[0]
    params = [param for link in sorted(set(links)) for param in _views(scales[link], link)]
    params += [{"name": f"marked_{number}", "value": []} for number in range(len(panels))]
    x_title = next((title for panel in reversed(panels) if (title := _title(panel, "x"))), "")
    told = [_told(panel, link, x_title) for panel, link in zip(panels, links, strict=True)]
    return Live(spec={**spec, **body, "params": params}, panels=told)


def _turnable(panel: Spec) -> bool:
    x, y = (panel.get("encoding", {}).get(axis, {}) for axis in ("x", "y"))
    domain = x.get("scale", {}).get("domain", ())
    return "layer" in panel and "field" in y and x.get("field") == "x" and len(domain) == len("ab")


def _views(scale: Mapping[str, Any], link: int) -> list[Spec]:
    low, high = scale["domain"]
    return [
        {"name": f"from_{link}", "value": low},
        {"name": f"to_{link}", "value": high},
        {"name": f"at_{link}", "value": None},
    ]


def _turned(panel: Spec, number: int, link: int) -> Spec:
    x = panel["encoding"]["x"]
    low, high = x["scale"]["domain"]
    whole = f"from_{link} == {low!r} && to_{link} == {high!r}"
    axis = dict(x.get("axis") or {})
    if "values" in axis:  # the printed ticks while all is seen; closer by, whatever is round there
        axis["values"] = {"expr": f"{whole} ? {axis['values']!r} : null"}
    ends = [{"expr": f"from_{link}"}, {"expr": f"to_{link}"}]
    moved = {**x, "scale": {**x["scale"], "domain": ends}, "axis": axis}
    layers = [_kept_inside(layer, link, whole) for layer in panel["layer"]]
    return {
        **panel,
        "encoding": {**panel["encoding"], "x": moved},
        "layer": [*layers, _rule(link), _points(number)],
    }


def _kept_inside(layer: Spec, link: int, whole: str) -> Spec:
    """Let nothing be drawn beside the plot once it shows a part only; a name whose place is out of sight goes."""
    mark = layer["mark"] if isinstance(layer["mark"], dict) else {"type": layer["mark"]}
    if mark["type"] != "text":
        return {**layer, "mark": {**mark, "clip": {"expr": f"!({whole})"}}}
    if "x" in layer.get("encoding", {}):
        return layer
    # while all is seen no name goes: rounded in the specification, its place may lie a hair beyond the axis' end
    seen = {"filter": f"({whole}) || datum.x >= from_{link} && datum.x <= to_{link}"}
    return {**layer, "transform": [*layer.get("transform", []), seen]}


def _rule(link: int) -> Spec:
    """Draw where the chart is being read."""
    return {
        "data": {"values": [{}]},
        "transform": [{"calculate": f"at_{link}", "as": "x"}, {"filter": "isNumber(datum.x)"}],
        "mark": {"type": "rule", "stroke": SOFT.light, "strokeWidth": 1, "clip": True},
        "encoding": {"y": {"value": 0}, "y2": {"value": "height"}},
    }


def _points(number: int) -> Spec:
    """Draw the points whose values are being read."""
    taken = [{"calculate": f"datum.row.{name}", "as": name} for name in ("x", "y", "colour")]
    mark = {"type": "point", "shape": "circle", "size": 70, "filled": True, "opacity": 1, "clip": True}
    return {
        "data": {"values": [{}]},
        "transform": [{"calculate": f"marked_{number}", "as": "row"}, {"flatten": ["row"]}, *taken],
        "mark": {**mark, "stroke": PAPER.light, "strokeWidth": 1.5},
        "encoding": {"fill": {"field": "colour", "type": "nominal", "scale": None, "legend": None}},
    }


def _told(panel: Spec, link: int, x_title: str) -> dict[str, Any]:
    low, high = panel["encoding"]["x"]["scale"]["domain"]
    return {
        "link": link,
        "low": low,
        "high": high,
        "log": panel["encoding"]["x"]["scale"].get("type") == "log",
        "width": panel["width"],
        "height": panel["height"],
        "x": x_title,
        "y": _title(panel, "y"),
        "series": _series(panel["layer"]),
    }


def _title(panel: Spec, axis: str) -> str:
    return str((panel["encoding"][axis].get("axis") or {}).get("title") or "")


def _series(layers: Sequence[Spec]) -> list[dict[str, Any]]:
    """Find the lines and what they are called: a name stands in its line's colour."""
    marks = [layer["mark"] if isinstance(layer["mark"], dict) else {} for layer in layers]
    names: dict[str, list[str]] = {}
    for layer, mark in zip(layers, marks, strict=True):
        texts = [str(row["text"]) for row in layer.get("data", {}).get("values", []) if "text" in row]
        if mark.get("type") == "text" and texts:
            names.setdefault(mark.get("fill", ""), []).append(texts[0])
    found = []
    for number, (layer, mark) in enumerate(zip(layers, marks, strict=True)):
        if mark.get("type") == "line" and layer.get("data", {}).get("values"):
            named = names.get(mark.get("stroke", ""), [])
            name = named.pop(0) if named else ""
            found.append({"name": name, "colour": mark.get("stroke", ""), "layer": number})
    return found
