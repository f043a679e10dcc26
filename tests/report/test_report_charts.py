"""Every specification draws, with finite data on known axes; colour is never alone."""

import json
import math
import re
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from wattproof.measure import CaptureResult, CurvePoint, Figure, Trace, Views
from wattproof.report import (
    distortion_against_power,
    draw_svg,
    drawing,
    efficiency_against_power,
    palette,
    power_over_time,
    spectrum,
    supply_sag,
    waveform_at_limit,
)


@pytest.fixture(scope="session", params=[640, 340])
def specs(request, results):
    width = request.param
    return {
        "distortion": distortion_against_power(results, width_px=width),
        "sag": supply_sag(results, width_px=width),
        "efficiency": efficiency_against_power(results, width_px=width),
        "hold": power_over_time(results[4], width_px=width),
        "waveform": waveform_at_limit(results[0], width_px=width),
        "spectrum": spectrum(results[0], width_px=width),
    }


NAMES = ["distortion", "sag", "efficiency", "hold", "waveform", "spectrum"]


def panels(spec):
    return spec.get("vconcat", [spec])


def data_of(layer):
    return layer["data"]["values"]


@pytest.mark.parametrize("name", NAMES)
def test_a_chart_draws_as_a_named_picture(specs, name):
    spec = specs[name]
    svg = draw_svg(spec)
    assert re.match(r'<svg role="img" aria-labelledby="t\w{8} d\w{8}"', svg)
    assert f">{spec['title']['text']}</title>" in svg
    assert svg.count("<path") > len(panels(spec))
    assert "NaN" not in svg
    assert "Infinity" not in svg


@pytest.mark.parametrize("name", NAMES)
def test_data_are_finite_and_inside_their_axes(specs, name):
    for panel in panels(specs[name]):
        for axis in ("x", "y"):
            scale = panel["encoding"][axis]["scale"]
            low, high = scale["domain"]
            assert low < high
            values = [row[axis] for layer in panel["layer"] for row in data_of(layer) if axis in row]
            assert values
            assert all(math.isfinite(value) for value in values)
            slack = 1e-4 * max(abs(low), abs(high))  # inline data are rounded to five figures
            assert min(values) >= low - slack
            assert max(values) <= high + slack
            if scale["type"] == "log":
                assert low > 0
                assert min(values) > 0


@pytest.mark.parametrize("name", NAMES)
def test_data_are_short_and_nothing_is_fetched(specs, name):
    text = json.dumps(specs[name], allow_nan=False)
    assert '"url"' not in text
    for panel in panels(specs[name]):
        numbers = [
            v for layer in panel["layer"] for row in data_of(layer) for v in row.values() if isinstance(v, float)
        ]
        assert all(value == float(f"{value:.5g}") for value in numbers)


def test_the_powers_at_a_limit_are_marked_with_their_interval(results):
    spec = distortion_against_power(results[:1])
    marked = [layer for layer in spec["layer"] if layer["mark"]["type"] == "point"]
    figure = results[0].figure("power_at_thd_1")
    assert {row["y"] for row in data_of(marked[0])} == {0.1, 1.0, 10.0}
    bars = [row for layer in spec["layer"] if layer["mark"]["type"] == "rule" for row in data_of(layer) if "x2" in row]
    bar = next(row for row in bars if row["y"] == 1.0)
    assert (bar["x"], bar["x2"]) == pytest.approx(figure.interval95, rel=1e-4)


def test_the_sustained_powers_are_marked_on_the_hold_with_their_intervals(results):
    powers = [figure for figure in results[4].figures if figure.name == "sustained_power"]
    panel = panels(power_over_time(results[4]))[0]
    (points,) = [data_of(layer) for layer in panel["layer"] if layer["mark"]["type"] == "point"]
    (bars,) = [data_of(layer) for layer in panel["layer"] if layer["mark"]["type"] == "rule"]
    assert [row["x"] for row in points] == [10.0, 60.0, 290.0]
    assert [row["y"] for row in points] == pytest.approx([figure.value for figure in powers], rel=1e-4)
    for row, figure in zip(bars, powers, strict=True):
        assert (row["y"], row["y2"]) == pytest.approx(figure.interval95, rel=1e-4)
    low, high = panel["encoding"]["y"]["scale"]["domain"]
    assert low <= min(row["y"] for row in bars)
    assert max(row["y2"] for row in bars) <= high
    assert all(
        not [m for m in other["layer"] if m["mark"]["type"] == "point"]
        for other in panels(power_over_time(results[4]))[1:]
    )


def test_a_mark_outside_the_curve_is_left_out(results):
    early = results[4].model_copy(update={"curve": results[4].curve[:20]})
    panel = panels(power_over_time(early))[0]
    (points,) = [data_of(layer) for layer in panel["layer"] if layer["mark"]["type"] == "point"]
    assert [row["x"] for row in points] == [10.0]


def test_temperature_is_drawn_as_its_rise(results):
    panel = panels(power_over_time(results[4]))[-1]
    assert panel["encoding"]["y"]["axis"]["title"] == "Rise of temperature (K)"
    (line,) = [data_of(layer) for layer in panel["layer"]]
    curve = results[4].curve
    assert line[0]["y"] == 0.0
    assert line[-1]["y"] == pytest.approx(curve[-1].temperature - curve[0].temperature, rel=1e-4)


def test_lines_differ_without_colour(results):
    spec = distortion_against_power(results)
    dashes = [str(layer["mark"].get("strokeDash")) for layer in spec["layer"] if layer["mark"]["type"] == "line"]
    shapes = [layer["mark"]["shape"] for layer in spec["layer"] if layer["mark"]["type"] == "point"]
    assert len(set(dashes)) == len(dashes) == 2
    assert len(set(shapes)) == len(shapes) == 2


def test_lines_are_named_by_what_tells_them_apart(results):
    assert "4.03 ohm: 0.1 % at" in distortion_against_power(results)["description"]
    twice = distortion_against_power([results[0], results[0].model_copy(update={"file": "other.wav"})])
    assert "02-ramp-4-ohm.wav, 4.03 ohm" in twice["description"]
    assert "other.wav, 4.03 ohm" in twice["description"]


def test_points_that_cannot_be_drawn_are_left_out():
    curve = (
        CurvePoint(t_s=0.0, load_power=0.0, thd_n=0.01),
        CurvePoint(t_s=0.1, load_power=1.0, thd_n=0.0),
        CurvePoint(t_s=0.2, load_power=2.0, thd_n=0.001),
        CurvePoint(t_s=0.3, load_power=math.nan, thd_n=0.001),
        CurvePoint(t_s=0.4, load_power=3.0, thd_n=0.002),
        CurvePoint(t_s=0.5, load_power=4.0),
    )
    spec = distortion_against_power([CaptureResult(file="a.wav", kind="ramp", curve=curve)])
    (line,) = [layer for layer in spec["layer"] if layer["mark"]["type"] == "line"]
    assert data_of(line) == [{"x": 2.0, "y": 0.1}, {"x": 3.0, "y": 0.2}]


def test_nothing_to_draw_is_no_chart():
    empty = CaptureResult(file="a.wav", kind="ramp")
    assert distortion_against_power([empty]) is None
    assert supply_sag([empty]) is None
    assert efficiency_against_power([empty]) is None
    assert power_over_time(empty.model_copy(update={"kind": "hold"})) is None
    assert waveform_at_limit(empty) is None
    assert spectrum(empty) is None


def test_a_supply_with_several_outputs_is_drawn_over_time(results):
    point = {"load_power": 10.0, "supply_current": 2.0}
    curve = tuple(
        CurvePoint(t_s=float(t), output=output, supply_voltage=14.0 - t, **point) for t in range(3) for output in "AB"
    )
    spec = supply_sag([CaptureResult(file="a.wav", kind="ramp", curve=curve)])
    assert panels(spec)[-1]["encoding"]["x"]["axis"]["title"] == "Time (s)"


def test_a_ratio_spectrum_is_shown_in_decibels():
    trace = Trace(
        name="spectrum", output="A", x_label="frequency", x_unit="Hz", y_label="level", y_unit="V/V",
        x=(0.0, 47.0, 94.0, 141.0), y=(1.0, 1.0, 0.001, 0.0),
    )  # fmt: skip
    spec = spectrum(CaptureResult(file="a.wav", kind="steady", views=Views(spectrum=(trace,))))
    assert data_of(spec["layer"][0]) == [{"x": 47.0, "y": 0.0}, {"x": 94.0, "y": -60.0}]


@pytest.mark.parametrize("values", [[5.0, 5.0], [0.0, 0.0], [-3.0, -3.0], [14.2, 14.2001], [1e-9, 2e-9], [0, 568.0]])
def test_a_linear_axis_holds_its_values(values):
    axis = drawing.linear_axis("x", values)
    assert axis.low <= min(values)
    assert axis.high >= max(values)
    assert 2 <= len(axis.ticks) <= 12
    assert axis.high - axis.low >= 0.02 * max(abs(v) for v in values) * (1 - 1e-9)


@pytest.mark.parametrize("values", [[3051.2, 3093.7], [0.0, 42.55], [10.0, 300.0], [7.0, 7.0]])
def test_a_tight_axis_ends_where_its_values_end(values):
    axis = drawing.linear_axis("t", values, tight=True)
    assert (axis.low, axis.high) == (tuple(values) if values[0] < values[1] else (6.5, 7.5))
    assert all(axis.low <= tick <= axis.high for tick in axis.ticks)
    assert axis.ticks


@pytest.mark.parametrize("values", [[1.0, 1.0], [0.02, 20.0], [0.3, 0.31], [1e-7, 4e3], [10.0, 10.0000001]])
def test_a_log_axis_holds_its_values(values):
    axis = drawing.log_axis("x", values)
    assert 0 < axis.low <= min(values)
    assert axis.high >= max(values) * (1 - 1e-8)
    assert len(axis.ticks) >= 2
    assert 0 <= axis.share(max(values)) <= 1 + 1e-8


def test_names_at_line_ends_never_touch():
    axis = drawing.linear_axis("y", [0.0, 1.0])
    ends = [drawing.End(number=n, text=f"{n} ohm", x=1.0, y=0.01 * n) for n in range(5)]
    places = sorted({layer["encoding"]["y"]["value"] for layer in drawing.end_labels(ends, axis, height_px=170)})
    assert all(b - a >= 13.9 for a, b in pairwise(places))
    assert places[-1] <= 170


def contrast(first, second):
    def luminance(colour):
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    low, high = sorted([luminance(first), luminance(second)])
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("shade", [palette.INK, palette.SOFT, *palette.SERIES])
def test_words_in_these_colours_can_be_read_on_both_papers(shade):
    assert contrast(shade.light, palette.PAPER.light) >= 4.5  # WCAG 2.2, 1.4.3, AA
    assert contrast(shade.dark, palette.PAPER.dark) >= 4.5


def test_a_chart_uses_no_colour_without_a_dark_one(specs):
    known = {shade.light for shade in palette.shades()}
    for spec in specs.values():
        used = set(re.findall(r'(?:fill|stroke)="([^"]+)"', draw_svg(spec))) - {"none", "transparent"}
        assert used <= known


def test_two_drawings_share_no_id(results):
    first, second = (draw_svg(waveform_at_limit(result)) for result in results[:2])
    ids = [set(re.findall(r'\bid="([^"]+)"', svg)) for svg in (first, second)]
    assert ids[0]
    assert not ids[0] & ids[1]


def test_a_hostile_name_stays_text_in_a_drawing():
    curve = tuple(CurvePoint(t_s=float(n), load_power=10.0**n, thd_n=0.01) for n in range(3))
    svg = draw_svg(distortion_against_power([CaptureResult(file="</svg><script>x</script>", kind="ramp", curve=curve)]))
    tags = []
    parser = HTMLParser()
    parser.handle_starttag = lambda tag, attrs: tags.append(tag)
    parser.feed(svg)
    assert "script" not in tags
    assert svg.count("</svg>") == 1


def test_a_limit_figure_without_an_interval_above_zero_draws_no_bar():
    curve = tuple(CurvePoint(t_s=float(n), load_power=10.0**n, thd_n=0.01 * (n + 1)) for n in range(3))
    figure = Figure(name="power_at_thd_1", value=1.0, u=2.0, unit="W", origin="a.wav")
    spec = distortion_against_power([CaptureResult(file="a.wav", kind="ramp", curve=curve, figures=(figure,))])
    assert [row for layer in spec["layer"] for row in data_of(layer) if "x2" in row] == []
