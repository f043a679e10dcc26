"""What a page adds to a chart: nothing that shows before it is turned, and the names that the chart itself gives."""

import copy
import re

import pytest

from wattproof.publish import Chart
from wattproof.publish.interactive import interactive
from wattproof.report import draw_svg


@pytest.fixture(scope="module")
def specs(whole_report):
    blocks = [block for section in whole_report().sections for block in section.blocks]
    return {chart.name: chart.wide for chart in blocks if isinstance(chart, Chart)}


def turned_to(spec, **params):
    return {**spec, "params": [{**one, "value": params.get(one["name"], one["value"])} for one in spec["params"]]}


def texts(svg):
    return re.findall(r"<text[^>]*>([^<]*)</text>", svg)


def paths(svg):
    return re.findall(r'<path [^>]*d="([^"]*)"[^>]*stroke="#(?:12609f|a9470f)"', svg)


@pytest.mark.parametrize("name", ["distortion", "sag"])
def test_before_it_is_turned_it_is_the_printed_chart(specs, name):
    printed, live = draw_svg(specs[name]), draw_svg(interactive(specs[name]).spec)
    assert re.findall('viewBox="[^"]*"', live)[0] == re.findall('viewBox="[^"]*"', printed)[0]
    assert texts(live) == texts(printed)
    assert "04-ramp.wav, 4 ohm" in texts(live)
    assert len(paths(printed)) >= 2
    assert paths(live) == paths(printed)


def test_turning_one_pair_of_ends_moves_every_panel_of_a_stack(specs):
    live = interactive(specs["sag"])
    assert [panel["link"] for panel in live.panels] == [0, 0]
    before, after = (paths(draw_svg(spec)) for spec in (live.spec, turned_to(live.spec, from_0=20.0, to_0=60.0)))
    assert len(before) == len(after) == 4
    assert all(was != now for was, now in zip(before, after, strict=True))


def test_a_closer_look_has_round_ticks_and_leaves_out_names_that_are_out_of_sight(specs):
    said = texts(draw_svg(turned_to(interactive(specs["sag"]).spec, from_0=21.0, to_0=59.0)))
    assert "40" in said
    assert "100" not in said
    assert "04-ramp.wav, 4 ohm" not in said


def test_reading_draws_a_line_and_the_points_read(specs):
    live = interactive(specs["sag"])
    read = turned_to(live.spec, at_0=40.0, marked_1=[{"x": 40.0, "y": 4.2, "colour": "#12609f"}])
    bare, drawn = draw_svg(live.spec), draw_svg(read)
    assert drawn.count("<line") - bare.count("<line") == 2  # one rule in each panel
    assert drawn.count('fill="#12609f"') - bare.count('fill="#12609f"') == 1


def test_panels_know_their_axes_and_the_names_of_their_lines(specs):
    voltage, current = interactive(specs["sag"]).panels
    assert (voltage["x"], voltage["y"], current["y"]) == (
        "Power in the load (W)",
        "Supply voltage (V)",
        "Supply current (A)",
    )
    assert [series["name"] for series in current["series"]] == ["03-ramp.wav, 4 ohm", "04-ramp.wav, 4 ohm"]
    assert (voltage["low"], voltage["log"]) == (pytest.approx(0.04), False)
    (distortion,) = interactive(specs["distortion"]).panels
    assert distortion["log"] is True


def test_panels_on_different_axes_are_turned_apart(specs):
    spec = copy.deepcopy(specs["sag"])
    spec["vconcat"][1]["encoding"]["x"]["scale"]["domain"] = [0.0, 500.0]
    live = interactive(spec)
    assert [panel["link"] for panel in live.panels] == [0, 1]
    before, after = (paths(draw_svg(one)) for one in (live.spec, turned_to(live.spec, from_1=20.0, to_1=60.0)))
    assert [was != now for was, now in zip(before, after, strict=True)] == [False, False, True, True]


def test_the_printed_specification_is_left_as_it_is(specs):
    for spec in specs.values():
        kept = copy.deepcopy(spec)
        interactive(spec)
        assert spec == kept


@pytest.mark.parametrize("other", [{"mark": "bar"}, {"hconcat": []}, {"layer": [], "encoding": {"x": {"field": "x"}}}])
def test_a_chart_of_another_make_is_not_turned(other):
    assert interactive(other) is None
