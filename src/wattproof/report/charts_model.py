"""The picture of what a behaviour model predicts: power against load, with its interval, and what was measured."""

from collections.abc import Sequence

from wattproof.fit import Prediction
from wattproof.measure import Figure
from wattproof.report import drawing, palette, words
from wattproof.report.charts import WIDE_PX
from wattproof.report.drawing import Point, Spec

_AXIS_ROOM_PX = 60


def predicted_power(
    curve: Sequence[Prediction], measured: Sequence[Figure], *, told: str, width_px: int = WIDE_PX
) -> Spec | None:
    """Draw predicted power over load, logarithmic, within its 95 % interval; figures that were measured are marked.

    Parameters
    ----------
    curve : sequence of Prediction
        Of rising load, at one supply voltage and one limit.
    measured : sequence of Figure
        Powers with their ``load_ohm``.
    told : str
        What it shows, for who cannot see it.
    width_px : int

    Returns
    -------
    dict or None
        None where there are no two points.
    """
    points = [(one.asked.load_ohm, one.power) for one in curve]
    if len(points) < 2:
        return None
    placed = [(_load(figure), figure) for figure in measured]
    marked = [((load, figure.value), figure.interval95) for load, figure in placed if load]
    plot_px = width_px - _AXIS_ROOM_PX
    loads = [load for load, _ in points] + [load for (load, _), _ in marked]
    powers = [end for _, power in points for end in (power.low, power.high)] + [y for (_, y), _ in marked]
    x_axis = drawing.log_axis(words.CHARTS["load"], loads, labels=plot_px // 55)
    y_axis = drawing.linear_axis(words.CHARTS["load_power"], [0.0, *powers], ticks=6)
    band = [
        {"x": drawing.short(load), "y": drawing.short(power.low), "y2": drawing.short(power.high)}
        for load, power in points
    ]
    line: list[Point] = [(load, power.value) for load, power in points]
    layers: list[Spec] = [
        {
            "data": {"values": band},
            "mark": {"type": "area", "fill": palette.SERIES[0].light, "opacity": 0.22},
            "encoding": {"y2": {"field": "y2"}},
        },
        drawing.line(line, 0),
    ]
    if marked:
        layers += drawing.marks([point for point, _ in marked], [span for _, span in marked], 1, along="y")
    height_px = min(320, round(plot_px * 0.7))
    panel = drawing.panel(x_axis, y_axis, layers, width_px=plot_px, height_px=height_px)
    return drawing.chart(words.CHARTS["predicted_title"], told, [panel])


def _load(figure: Figure) -> float | None:
    load = figure.conditions.get("load_ohm")
    return float(load) if isinstance(load, int | float) and load > 0 else None
