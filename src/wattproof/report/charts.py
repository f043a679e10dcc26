"""The pictures of a session as Vega-Lite specifications: data inline, nothing to fetch."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import isfinite, log10
from types import MappingProxyType

from wattproof.measure import CaptureResult, CurvePoint, Figure, Trace
from wattproof.report import drawing, words
from wattproof.report.drawing import Axis, Point, Spec
from wattproof.report.faces import face_value

_SAY = words.CHARTS
WIDE_PX = 640
_AXIS_ROOM_PX = 60
_LABEL_ROOM_PX = 84
_LOWEST_DB = -180.0
"""A level under this is a stored zero, not a level: it is drawn at the bottom edge."""

_Named = tuple[Trace, list[Point]]
_Marks = Sequence[tuple[Point, Point]]
_UNMARKED: Mapping[str, Sequence[_Marks]] = MappingProxyType({})
_LIMITS_PERCENT = (1.0, 10.0)


@dataclass(frozen=True, kw_only=True)
class _Line:
    result: CaptureResult
    output: str
    label: str
    curve: tuple[CurvePoint, ...]

    def points(self, x: str, y: str, *, log: bool = False, percent: bool = False) -> list[Point]:
        scale = 100.0 if percent else 1.0
        pairs = ((getattr(point, x), getattr(point, y)) for point in self.curve)
        return [(a, scale * b) for a, b in drawing.drawable(pairs, log_x=log, log_y=log)]


def _lines(results: Iterable[CaptureResult], *kinds: str) -> list[_Line]:
    """Take the curves of these kinds apart by output and name each by what tells it from the others."""
    found = [(r, output) for r in results if r.kind in kinds for output in dict.fromkeys(p.output for p in r.curve)]
    many = len({output for _, output in found}) > 1
    loads = [_load_text(result, output) for result, output in found]
    names = [", ".join(filter(None, (o if many else "", load))) for (_, o), load in zip(found, loads, strict=True)]
    if len(set(names)) < len(names) or "" in names:
        names = [", ".join(filter(None, (result.file, name))) for (result, _), name in zip(found, names, strict=True)]
    return [
        _Line(result=r, output=o, label=name, curve=tuple(p for p in r.curve if p.output == o))
        for (r, o), name in zip(found, names, strict=True)
    ]


def _load_text(result: CaptureResult, output: str) -> str:
    loads = (f.conditions.get("load_ohm") for f in result.figures if f.output == output)
    load = next((load for load in loads if isinstance(load, int | float)), None)
    return "" if load is None else f"{load:.3g} ohm"


def distortion_against_power(results: Iterable[CaptureResult], *, width_px: int = WIDE_PX) -> Spec | None:
    """Draw THD+N over load power for all ramps together, both logarithmic, with the 1 % and 10 % lines.

    The interpolated powers at a limit are marked, each with a bar as long as its 95 % interval.

    Returns
    -------
    dict or None
        None where no ramp has power and distortion.
    """
    drawn = [(line, line.points("load_power", "thd_n", log=True, percent=True)) for line in _lines(results, "ramp")]
    drawn = [(line, points) for line, points in drawn if len(points) > 1]
    if not drawn:
        return None
    plot_px = width_px - _AXIS_ROOM_PX
    every = [point for _, points in drawn for point in points]
    x_axis = drawing.log_axis(_SAY["load_power"], (x for x, _ in every), labels=plot_px // 55)
    y_axis = drawing.log_axis(_SAY["thd_n"], [*(y for _, y in every), *_LIMITS_PERCENT])
    layers = [part for limit in _LIMITS_PERCENT for part in drawing.limit_line(limit, f"{limit:g} %")]
    layers += [drawing.line(points, number) for number, (_, points) in enumerate(drawn)]
    for number, (line, _) in enumerate(drawn):
        layers += _limit_marks(line, number)
    ends = (
        drawing.End(number=number, text=line.label, x=points[-1][0], y=points[-1][1])
        for number, (line, points) in enumerate(drawn)
    )
    layers += drawing.top_labels(ends, x_axis, width_px=plot_px)
    told = " ".join([_SAY["distortion_told"], *(_told_limits(line) for line, _ in drawn)])
    height_px = min(380, round(plot_px * 0.75))
    panel = drawing.panel(x_axis, y_axis, layers, width_px=plot_px, height_px=height_px)
    return drawing.chart(_SAY["distortion_title"], told, [panel])


def _limit_figures(line: _Line) -> list[tuple[float, Figure]]:
    named = ((words.limit_percent(f.name), f) for f in line.result.figures if f.output == line.output)
    return [(limit, figure) for limit, figure in named if limit is not None and figure.value > 0]


def _limit_marks(line: _Line, number: int) -> list[Spec]:
    found = _limit_figures(line)
    points = drawing.drawable(((figure.value, limit) for limit, figure in found), log_x=True, log_y=True)
    return drawing.marks(points, [figure.interval95 for _, figure in found], number) if points else []


def _told_limits(line: _Line) -> str:
    said = [f"{limit:g} % at {face_value(figure)}" for limit, figure in _limit_figures(line)]
    return f"{line.label}: {', '.join(said)}." if said else f"{line.label}."


def _told(what: str, lines: Iterable[_Line]) -> str:
    """Say what a chart holds, and the lines it holds it for."""
    return f"{what} {'; '.join(line.label for line in lines)}."


def supply_sag(results: Iterable[CaptureResult], *, width_px: int = WIDE_PX) -> Spec | None:
    """Draw supply voltage and current over load power for all ramps, or over time with several outputs.

    Returns
    -------
    dict or None
        None where no ramp has a supply channel.
    """
    lines = _lines(results, "ramp")
    alone = len({id(line.result) for line in lines}) == len(lines)
    powered = alone and all(line.points("load_power", "supply_voltage") for line in lines)
    lines = lines if powered else _one_each(lines)
    x, x_title = ("load_power", _SAY["load_power"]) if powered else ("t_s", _SAY["time"])
    panels = _stack(lines, x, x_title, ("supply_voltage", "supply_current"), width_px=width_px)
    told = _told(_SAY["sag_told" if powered else "sag_time_told"], lines)
    return drawing.chart(_SAY["sag_title"], told, panels) if panels else None


def _one_each(lines: Sequence[_Line]) -> list[_Line]:
    """Keep one line a capture: outputs that are driven together share one supply."""
    first = {id(line.result): line for line in reversed(lines)}
    kept = [line for line in lines if first[id(line.result)] is line]
    return [replace(line, label=_load_text(line.result, line.output) or line.result.file) for line in kept]


def efficiency_against_power(results: Iterable[CaptureResult], *, width_px: int = WIDE_PX) -> Spec | None:
    """Draw efficiency over load power for all ramps with one output driven; None where there is none."""
    lines = _lines(results, "ramp")
    lines = [line for line in lines if sum(other.result is line.result for other in lines) == 1]
    panels = _stack(lines, "load_power", _SAY["load_power"], ("efficiency",), width_px=width_px, height_px=260)
    return drawing.chart(_SAY["efficiency_title"], _told(_SAY["efficiency_told"], lines), panels) if panels else None


def power_over_time(result: CaptureResult, *, width_px: int = WIDE_PX) -> Spec | None:
    """Draw what a hold did: power, distortion, supply and temperature over time, as far as the channels give them.

    The sustained powers are marked at their times, each with a bar as long as its 95 % interval.
    """
    quantities = ("load_power", "thd_n", "supply_voltage", "temperature")
    lines = _lines([result], "hold")
    marked = {"load_power": [_sustained(line) for line in lines]}
    panels = _stack(lines, "t_s", _SAY["time"], quantities, width_px=width_px, height_px=120, marked=marked)
    return drawing.chart(_SAY["sustain_title"], f"{result.file}: {_SAY['sustain_told']}", panels) if panels else None


def _sustained(line: _Line) -> list[tuple[Point, Point]]:
    """Give each sustained power as its point (time, power) and its interval."""
    own = (f for f in line.result.figures if (f.name, f.output) == ("sustained_power", line.output))
    placed = ((figure.conditions.get("at_s"), figure) for figure in own)
    return [
        ((at_s, f.value), f.interval95) for at_s, f in placed if isinstance(at_s, int | float) and isfinite(f.value)
    ]


def _stack(
    lines: Sequence[_Line],
    x: str,
    x_title: str,
    quantities: Sequence[str],
    *,
    width_px: int,
    height_px: int = 170,
    marked: Mapping[str, Sequence[_Marks]] = _UNMARKED,
) -> list[Spec]:
    """Draw one panel a quantity, all over the same x; `marked` holds the single results of each line."""
    plot_px = width_px - _AXIS_ROOM_PX - (_LABEL_ROOM_PX if len(lines) > 1 else 0)
    shown = {name: [_series(line, x, name) for line in lines] for name in quantities}
    shown = {name: series for name, series in shown.items() if any(len(points) > 1 for points in series)}
    if not shown:
        return []
    every = [a for series in shown.values() for points in series for a, _ in points]
    x_axis = drawing.linear_axis(x_title, every, ticks=max(3, plot_px // 90), tight=True)
    labels = [line.label for line in lines]
    last = list(shown)[-1]
    return [
        _series_panel(
            x_axis,
            _SAY[name],
            series,
            labels,
            width_px=plot_px,
            height_px=height_px,
            x_named=name == last,
            marked=marked.get(name, ()),
        )
        for name, series in shown.items()
    ]


def _series(line: _Line, x: str, quantity: str) -> list[Point]:
    """Give a line's points; of temperature the rise, which is the same in kelvin and in degrees Celsius."""
    points = line.points(x, quantity, percent=quantity in {"thd_n", "efficiency"})
    start = points[0][1] if points and quantity == "temperature" else 0.0
    return [(a, b - start) for a, b in points]


def _series_panel(
    x_axis: Axis,
    y_title: str,
    series: Sequence[Sequence[Point]],
    names: Sequence[str],
    *,
    width_px: int,
    height_px: int,
    x_named: bool = True,
    marked: Sequence[_Marks] = (),
) -> Spec:
    inside = [[mark for mark in own if x_axis.low <= mark[0][0] <= x_axis.high] for own in marked]
    ends_of_bars = [end for own in inside for _, interval in own for end in interval if isfinite(end)]
    every = [*(y for points in series for _, y in points), *ends_of_bars]
    y_axis = drawing.linear_axis(y_title, every, ticks=max(2, height_px // 45))
    there = [number for number, points in enumerate(series) if points]
    layers = [drawing.line(series[number], number) for number in there]
    for number, own in enumerate(inside):
        layers += drawing.marks([p for p, _ in own], [i for _, i in own], number, along="y") if own else []
    if len(series) > 1:
        ends = (
            drawing.End(number=number, text=names[number], x=series[number][-1][0], y=series[number][-1][1])
            for number in there
        )
        layers += drawing.end_labels(ends, y_axis, height_px=height_px)
    return drawing.panel(x_axis, y_axis, layers, width_px=width_px, height_px=height_px, x_named=x_named)


def waveform_at_limit(result: CaptureResult, *, width_px: int = WIDE_PX) -> Spec | None:
    """Draw the few cycles a page shows, one panel a unit; None where the capture keeps none."""
    at_limit = any(words.limit_percent(figure.name) is not None for figure in result.figures)
    groups: dict[tuple[str, str], list[_Named]] = {}
    for trace in result.views.waveform:
        pairs = ((1e3 * x, y) for x, y in zip(trace.x, trace.y, strict=True))
        points = drawing.drawable(pairs, log_x=False, log_y=False)
        if len(points) > 1:
            groups.setdefault((words.ROLES.get(trace.y_label, trace.y_label), trace.y_unit), []).append((trace, points))
    if not groups:
        return None
    plot_px = width_px - _AXIS_ROOM_PX - (_LABEL_ROOM_PX if any(len(group) > 1 for group in groups.values()) else 0)
    every = [x for group in groups.values() for _, points in group for x, _ in points]
    x_axis = drawing.linear_axis(_SAY["time_ms"], every, ticks=max(3, plot_px // 90), tight=True)
    panels = [
        _named_panel(
            x_axis,
            f"{label.capitalize()} ({unit})",
            group,
            width_px=plot_px,
            height_px=170,
            x_named=place == len(groups),
        )
        for place, ((label, unit), group) in enumerate(groups.items(), start=1)
    ]
    told = f"{result.file}: {_SAY['waveform_told']}"
    return drawing.chart(_SAY["waveform_title" if at_limit else "waveform_plain_title"], told, panels)


def spectrum(result: CaptureResult, *, width_px: int = WIDE_PX) -> Spec | None:
    """Draw spectra in dB over a logarithmic frequency axis; None where the capture keeps none."""
    group: list[_Named] = []
    for trace in result.views.spectrum:
        pairs = ((x, _in_db(y, trace.y_unit)) for x, y in zip(trace.x, trace.y, strict=True))
        points = drawing.drawable(pairs, log_x=True, log_y=False)
        if len(points) > 1:
            group.append((trace, [(x, max(y, _LOWEST_DB)) for x, y in points]))
    if not group:
        return None
    plot_px = width_px - _AXIS_ROOM_PX - (_LABEL_ROOM_PX if len(group) > 1 else 0)
    x_axis = drawing.log_axis(_SAY["frequency"], (x for _, points in group for x, _ in points), labels=plot_px // 55)
    y_title = _SAY["spectrum"].format(_reference(group[0][0].y_unit))
    panel = _named_panel(x_axis, y_title, group, width_px=plot_px, height_px=260)
    return drawing.chart(_SAY["spectrum_title"], f"{result.file}: {_SAY['spectrum_told']}", [panel])


def _in_db(value: float, unit: str) -> float | None:
    if unit.startswith("dB"):
        return value
    return 20 * log10(value) if value > 0 else None


def _reference(unit: str) -> str:
    """Say what a spectrum's dB are referred to: the tone for a ratio, one unit otherwise."""
    return _SAY["fundamental"] if "/" in unit or unit.startswith("dB") else f"1 {unit}"


def _named_panel(
    x_axis: Axis, y_title: str, group: Sequence[_Named], *, width_px: int, height_px: int, x_named: bool = True
) -> Spec:
    names = [trace.output or words.ROLES.get(trace.name, trace.name) for trace, _ in group]
    series = [points for _, points in group]
    return _series_panel(x_axis, y_title, series, names, width_px=width_px, height_px=height_px, x_named=x_named)
