"""The parts of pictures: charts stretched, thinned and parted; cards as data; where a card puts what it shows."""

import re
from itertools import pairwise

import pytest

from wattproof.measure import CaptureResult, CurvePoint, Figure
from wattproof.publish.card import CardPart, CardRow, CardStrip, Claim, Dot, Line, RowsCard, StripsCard
from wattproof.publish.card_fit import fitting, gap
from wattproof.publish.card_rows import rows_on
from wattproof.publish.card_strips import strips_on
from wattproof.publish.document import Chart
from wattproof.publish.picture_chart import (
    chart_on,
    chart_pages,
    dressed,
    panels_of,
    shortened,
    shows_intervals,
    side_by_side,
    stretched,
)
from wattproof.publish.picture_frame import Area, Around, framed
from wattproof.publish.picture_sheet import Look, Sheet
from wattproof.report import distortion_against_power, power_over_time, supply_sag, waveform_at_limit

AROUND = Around(title="Power over time", amplifier="Reed & Marten Otter 4", notes=("Bench day 2031-05-14",))


def hold(*outputs):
    curve = tuple(
        CurvePoint(t_s=t + 0.5, output=o, load_power=50.0 + n, thd_n=0.01, supply_voltage=14.0, temperature=293.0 + t)
        for n, o in enumerate(outputs)
        for t in range(12)
    )
    figures = tuple(
        Figure(name="sustained_power", value=50.0 + n, u=0.3, unit="W", output=o, origin="hold.wav",
               conditions={"at_s": 1.0, "load_ohm": 4.03})
        for n, o in enumerate(outputs)
    )  # fmt: skip
    return CaptureResult(file="hold.wav", kind="hold", figures=figures, curve=curve)


def chart(*outputs):
    wide, narrow = (power_over_time(hold(*outputs), width_px=width) for width in (640, 340))
    return Chart(name="hold-1", caption="Held.", wide=wide, narrow=narrow)


def label_places(panel):
    """Where a panel's labels stand, by their words; the halo behind each counts once."""
    names = [layer for layer in panel["layer"] if layer["mark"]["type"] == "text"]
    return {layer["data"]["values"][0]["text"]: layer["encoding"]["y"]["value"] for layer in names}


@pytest.mark.parametrize("shape", ["wide", "tall", "square"])
def test_a_chart_fills_its_area_and_no_more(shape):
    look = Look(shape=shape)
    area = framed(Sheet(look=look), AROUND)
    scale = look.letter_px / 13
    spec, *_ = chart_pages(chart("A"), look, area)
    sheet = Sheet(look=look)
    drawn = chart_on(sheet, area, spec)
    across = drawn.get("columns", 1)
    assert sum(panel["width"] for panel in panels_of(drawn)[:across]) * scale < area.width_px
    assert sum(panel["height"] for panel in panels_of(drawn)[::across]) * scale < area.height_px
    assert f"translate({area.left_px:.6g} {area.top_px:.6g}) scale({scale:.6g})" in sheet.parts[0]
    # drawn once more, as it is now, it has the area's size: what axes take was found by drawing, not guessed
    from wattproof.report import draw_svg

    width, height = re.search(r' width="([\d.]+)" height="([\d.]+)"', draw_svg(drawn)).groups()
    assert area.width_px - 3 * scale <= float(width) * scale <= area.width_px + 0.01
    assert area.height_px - 3 * scale <= float(height) * scale <= area.height_px + 0.01


def test_stretching_moves_labels_with_their_lines_and_keeps_them_apart():
    before = dressed(chart("A", "B", "C").wide, Look())
    after = stretched(before, wider_px=100, higher_px=200)
    for old, new in zip(panels_of(before), panels_of(after), strict=True):
        assert new["width"] == pytest.approx(old["width"] + 100, abs=0.01)
        factor = new["height"] / old["height"]
        assert factor == pytest.approx(1 + 200 / sum(panel["height"] for panel in panels_of(before)), abs=1e-3)
        moved = sorted(label_places(new).values())
        assert list(label_places(old)) == list(label_places(new))
        assert all(b - a >= 14.99 for a, b in pairwise(moved))
        assert moved[-1] <= new["height"] + 0.01
    low = panels_of(stretched(before, wider_px=0, higher_px=-300))[0]
    assert len(low["encoding"]["y"]["axis"]["values"]) <= 1 + low["height"] / 15


def test_many_panels_stand_side_by_side_where_it_is_wide_and_on_pages_where_it_is_narrow():
    four = chart("A", "B", "C", "D")
    wide = chart_pages(four, Look(), framed(Sheet(look=Look()), AROUND))
    assert [spec["columns"] for spec in wide] == [2]
    axes = [panel["encoding"]["x"]["axis"]["title"] for panel in panels_of(wide[0])]
    assert axes == [None, None, "Time (s)", "Time (s)"]
    tall = Look(shape="tall")
    pages = chart_pages(four, tall, framed(Sheet(look=tall), AROUND))
    assert len(pages) > 1
    shown = [panel["encoding"]["y"]["axis"]["title"] for page in pages for panel in panels_of(page)]
    assert shown == [panel["encoding"]["y"]["axis"]["title"] for panel in panels_of(four.narrow)]
    assert all(panels_of(page)[-1]["encoding"]["x"]["axis"]["title"] == "Time (s)" for page in pages)
    assert side_by_side(four.wide)["description"] == four.wide["description"]


def test_names_are_shortened_only_where_the_load_is_one():
    alike = shortened(chart("A", "B").wide)
    assert set(label_places(panels_of(alike)[0])) == {"A", "B"}
    ramps = [
        CaptureResult(
            file=f"{ohm}.wav", kind="ramp",
            curve=tuple(CurvePoint(t_s=t, load_power=2.0**t, thd_n=0.001 * 2**t) for t in range(6)),
            figures=(
                Figure(name="power_at_thd_1", value=8.0, u=0.1, unit="W", origin="x", conditions={"load_ohm": ohm}),
            ),
        )
        for ohm in (2.01, 4.03)
    ]  # fmt: skip
    apart = distortion_against_power(ramps)
    assert shortened(apart) == apart
    assert supply_sag(ramps) is None


def test_intervals_are_spoken_of_where_they_are_drawn():
    assert shows_intervals(chart("A").wide)
    bare = CaptureResult(file="x.wav", kind="hold", curve=hold("A").curve)
    assert not shows_intervals(power_over_time(bare))
    assert waveform_at_limit(bare) is None


def test_a_dressed_chart_in_short(snapshot):
    spec = dressed(chart("A").narrow, Look(paper="dark"))
    kept = {key: spec[key] for key in ("title", "config", "spacing", "description")}
    assert kept == snapshot
    assert panels_of(spec)[0]["layer"][0]["mark"] == snapshot


def test_a_row_places_dots_interval_and_claim_on_its_line():
    line = Line(low=0.0, high=200.0)
    row = CardRow(
        head="4.03 ohm: 150.0 W", verdict="meets", told=("claimed 100 W",), line=line,
        dots=(Dot(value=150.0, low=140.0, high=170.0),), claim=Claim(value=100.0, at_least=True, text="claimed 100 W"),
    )  # fmt: skip
    card = RowsCard(rows=(row,), legend=(), ticks=(0.0, 100.0, 200.0), axis="Power (W)")
    sheet = Sheet(look=Look(shape="square"))
    area = Area(left_px=100, top_px=100, right_px=1030, bottom_px=900)
    assert rows_on(sheet, area, card) == 1
    track = (area.left_px + 15, area.right_px - 15)  # half a letter is left for a dot at either end

    def at(watts):
        return track[0] + (track[1] - track[0]) * watts / 200

    circle = next(part for part in sheet.parts if part.startswith("<path") and "A" in part)
    assert float(re.search(r"translate\((\S+) ", sheet.parts[sheet.parts.index(circle)])[1]) < at(20)  # the verdict's
    dot = [part for part in sheet.parts if part.startswith("<path")][-1]
    assert float(re.search(r"translate\((\S+) ", dot)[1]) == pytest.approx(at(150), abs=0.01)
    boxes = [tuple(map(float, re.findall(r'(?:x|width)="([\d.]+)"', part))) for part in sheet.parts if "<rect" in part]
    assert boxes[0] == pytest.approx((at(100), at(200) - at(100)), abs=0.02)  # the claim's better side
    assert boxes[1] == pytest.approx((at(140), at(170) - at(140)), abs=0.02)


def test_a_strip_is_as_wide_as_its_watts():
    strips = (
        CardStrip(head="Idle", parts=(CardPart(watts=20.0, heat=True, text="all heat"),)),
        CardStrip(
            head="Full",
            parts=(CardPart(watts=300.0, heat=False, text="load"), CardPart(watts=80.0, heat=True, text="heat")),
        ),
    )
    sheet = Sheet(look=Look())
    area = Area(left_px=100, top_px=100, right_px=1700, bottom_px=900)
    assert strips_on(sheet, area, StripsCard(strips=strips, ticks=(0.0, 200.0, 400.0), axis="W")) == 2
    bars = [part for part in sheet.parts if "<rect" in part and 'height="40.5"' in part]
    widths = [float(re.search(r'width="([\d.]+)"', bar)[1]) for bar in bars]
    # 4 px a watt; the cut between parts is drawn out of them, 3 px
    assert widths == pytest.approx([4 * 20 - 3, 4 * 300 - 3, 4 * 80 - 3])
    starts = [float(re.search(r' x="([\d.]+)"', bar)[1]) for bar in bars]
    assert starts == pytest.approx([100, 100, 100 + 4 * 300])


def test_rows_that_do_not_fit_are_left_for_the_next_sheet():
    assert fitting([10, 10, 10], room_px=29, letter_px=2) == 2
    assert fitting([10, 10, 10], room_px=32, letter_px=2) == 3
    assert fitting([40], room_px=30, letter_px=2) == 0
    assert gap([10, 10], room_px=26, letter_px=2) == 3
    assert gap([10, 10], room_px=500, letter_px=2) == pytest.approx(4.4)
    rows = tuple(CardRow(head=f"Row {n}", line=Line(low=0, high=1), dots=()) for n in range(40))
    card, look = RowsCard(rows=rows, legend=("claim",)), Look(shape="square")
    first, seen = 0, 0
    while first < len(rows):
        sheet = Sheet(look=look)
        first = rows_on(sheet, framed(sheet, AROUND), card, first=first)
        seen += sum(">Row" in part for part in sheet.parts)
    assert seen == 40


@pytest.mark.parametrize(("value", "share"), [(1.0, 0.0), (10.0, 0.5), (100.0, 1.0), (1e6, 1.0), (-3.0, 0.0)])
def test_a_logarithmic_line_parts_decades_evenly(value, share):
    assert Line(low=1.0, high=100.0, log=True).share(value) == pytest.approx(share)
