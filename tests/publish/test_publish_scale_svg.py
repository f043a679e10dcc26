"""Ratings on a line and the supply's power as a strip: places that say what the numbers say, words that stay inside."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.publish import Link, Mark, Part, Scale, Strip
from wattproof.publish.scale_svg import scale_svg, strip_svg, verdict_svg
from wattproof.report import shades

SVG = "{http://www.w3.org/2000/svg}"
POWER = Scale(
    title="520 W",
    verdict="falls short",
    quantity="Power",
    unit="W",
    claim=520.0,
    at_least=True,
    measured=Mark(value=500.0, low=490.0, high=510.0),
    low=440.0,
    high=560.0,
)


def drawn(svg):
    return ET.fromstring(svg)


def words(svg):
    return [text.text for text in drawn(svg).iter(f"{SVG}text")]


def bar(svg):
    (line,) = (one for one in drawn(svg).iter(f"{SVG}line") if one.get("stroke-width") == "5")
    return float(line.get("x1")), float(line.get("x2"))


def flag(svg):
    (line,) = (one for one in drawn(svg).iter(f"{SVG}line") if one.get("stroke-width") == "2")
    return float(line.get("x1"))


def place(value, *, width_px=640):
    """Where a value of `POWER` lies: 12 px are left at either end."""
    return 12 + (width_px - 24) * (value - 440) / 120


@pytest.mark.parametrize("width_px", [340, 640])
def test_claim_and_interval_lie_where_their_numbers_are(width_px):
    svg = scale_svg(POWER, width_px=width_px)
    assert flag(svg) == pytest.approx(place(520, width_px=width_px), abs=0.01)
    assert bar(svg) == pytest.approx((place(490, width_px=width_px), place(510, width_px=width_px)), abs=0.01)


def test_the_side_on_which_the_claim_is_kept_is_shaded():
    def shaded(scale):
        (box,) = drawn(scale_svg(scale, width_px=640)).iter(f"{SVG}rect")
        return float(box.get("x")), float(box.get("x")) + float(box.get("width"))

    assert shaded(POWER) == pytest.approx((place(520), 628), abs=0.02)
    assert shaded(replace(POWER, at_least=False)) == pytest.approx((12, place(520)), abs=0.02)


def test_a_claim_to_come_near_to_has_no_side_and_says_so():
    svg = scale_svg(replace(POWER, at_least=None), width_px=640)
    assert not list(drawn(svg).iter(f"{SVG}rect"))
    assert "claimed: about 520 W" in [word.replace("\N{NO-BREAK SPACE}", " ") for word in words(svg)]


def test_a_number_that_was_carried_is_not_called_found():
    carried = replace(POWER, carried=True)
    wide, narrow = (
        [word.replace("\N{NO-BREAK SPACE}", " ") for word in words(scale_svg(carried, width_px=px))]
        for px in (640, 340)
    )
    assert "carried to rated conditions: 500 W (95 %: 490 to 510)" in wide
    assert "carried: 500 W (95 %: 490 to 510)" in narrow


def test_a_logarithmic_line_puts_decades_apart_equally():
    scale = replace(POWER, claim=0.1, at_least=False, measured=Mark(value=1.0, low=0.5, high=2.0), low=0.01, high=10.0)
    assert flag(scale_svg(replace(scale, log=True), width_px=640)) == pytest.approx(12 + 616 / 3, abs=0.01)


def test_numbers_are_written_to_their_doubt_and_to_five_digits_at_most():
    said = [word.replace("\N{NO-BREAK SPACE}", " ") for word in words(scale_svg(POWER, width_px=640))]
    assert "found: 500 W (95 %: 490 to 510)" in said
    fine = replace(POWER, measured=Mark(value=500.0123, low=500.0023, high=500.0223))
    assert any("500.01" in word and "500.012" not in word for word in words(scale_svg(fine, width_px=640)))


def test_what_was_not_measured_is_not_drawn():
    svg = scale_svg(replace(POWER, verdict="cannot tell", measured=Mark(value=None, low=None, high=None)), width_px=640)
    assert "not measured" in words(svg)
    assert 'stroke-width="5"' not in svg
    alone = scale_svg(replace(POWER, measured=Mark(value=500.0, low=None, high=None)), width_px=640)
    assert any("doubt unknown" in word for word in words(alone))


def test_each_verdict_has_the_shape_that_reports_and_cards_explain():
    for verdict, circle, tips in (("meets", 1, 0), ("falls short", 0, 3), ("cannot tell", 0, 4)):
        for svg in (verdict_svg(verdict), scale_svg(replace(POWER, verdict=verdict), width_px=640)):
            flags = 0 if svg == verdict_svg(verdict) else 1
            paths = [path.get("d") for path in drawn(svg).findall(".//{*}path")]
            assert len(drawn(svg).findall(".//{*}circle")) == circle
            assert len(paths) == flags + (tips > 0)
            assert all(len(re.findall("[MLH]", path)) == tips for path in paths[flags:])


@pytest.mark.parametrize(("at_least", "words_", "side"), [(True, "at least", 1), (False, "at most", -1)])
def test_the_flag_flies_to_the_side_on_which_the_claim_is_kept_and_its_words_say_the_same(at_least, words_, side):
    svg = scale_svg(replace(POWER, at_least=at_least), width_px=640)
    pole, tip = (float(re.findall(r"[ML]([\d.]+)", next(drawn(svg).iter(f"{SVG}path")).get("d"))[n]) for n in (0, 1))
    assert (tip - pole) * side > 0
    assert f"claimed: {words_} 520 W" in [word.replace("\N{NO-BREAK SPACE}", " ") for word in words(svg)]


def test_who_hears_the_page_hears_the_words_as_they_are_printed():
    told = ("Measured 500 W in ", Link(text="03-ramp.wav", to="capture-3"), ".")
    strip = Strip(title="At 1 %", parts=(Part(name="load", share=1.0, text="500 W"),), told=told)
    for svg, first in ((scale_svg(replace(POWER, told=told), width_px=640), "falls short."),
                       (strip_svg(strip, width_px=640), "load 500 W.")):  # fmt: skip
        assert next(drawn(svg).iter(f"{SVG}desc")).text == f"{first} Measured 500 W in 03-ramp.wav."


finite = st.floats(min_value=0.001, max_value=1e6)


@settings(max_examples=40, deadline=None)
@given(
    claim=finite,
    value=finite,
    share=st.floats(0, 0.5),
    log=st.booleans(),
    at_least=st.booleans(),
    width_px=st.sampled_from([340, 640]),
)
def test_nothing_is_drawn_outside(claim, value, share, log, at_least, width_px):
    low, high = value * (1 - share), value * (1 + share)
    ends = (0.9 * min(low, claim), 1.1 * max(high, claim))
    scale = replace(POWER, claim=claim, at_least=at_least, measured=Mark(value=value, low=low, high=high),
                    low=ends[0], high=ends[1], log=log)  # fmt: skip
    for element in drawn(scale_svg(scale, width_px=width_px)).iter():
        places = [float(element.get(name)) for name in ("x", "x1", "x2", "cx") if element.get(name)]
        assert all(0 <= place <= width_px for place in places)
        if element.tag == f"{SVG}text":
            half = 6.0 * len(element.text) / 2  # our own font's average letter at 13 px
            assert half <= float(element.get("x")) <= width_px - half or 2 * half > width_px


STRIP = Strip(
    title="At 1 %", parts=(Part(name="load", share=0.75, text="300 W"), Part(name="heat", share=0.25, text="100 W"))
)


def parts(svg):
    return [box for box in drawn(svg).iter(f"{SVG}rect") if float(box.get("height")) > 20]


@pytest.mark.parametrize("width_px", [340, 640])
def test_parts_are_as_wide_as_their_shares(width_px):
    load, heat = (float(box.get("width")) + 1 for box in parts(strip_svg(STRIP, width_px=width_px)))
    assert load / heat == pytest.approx(3.0, rel=1e-3)
    assert load + heat == pytest.approx(width_px - 2, abs=0.02)


def test_parts_are_told_apart_by_hatching_too():
    many = replace(STRIP, parts=tuple(Part(name=f"part {n}", share=0.2, text="1 W") for n in range(5)))
    fills = [box.get("fill") for box in parts(strip_svg(many, width_px=640))]
    assert len(set(fills)) == 5
    hatches = re.findall(r'<pattern[^>]*><path d="([^"]*)"', strip_svg(many, width_px=640))
    assert len(set(hatches)) == 4  # and one is full


def test_a_part_of_nothing_is_still_seen_and_named():
    strip = replace(STRIP, parts=(*STRIP.parts, Part(name="rest", share=0.0, text="0 W")))
    svg = strip_svg(strip, width_px=340)
    assert float(parts(svg)[-1].get("width")) >= 1
    assert any(word.startswith("rest") for word in words(svg))
    boxes = [(float(box.get("x")), float(box.get("width"))) for box in parts(svg)]
    assert max(x + width for x, width in boxes) <= 340


def test_only_the_palettes_colours_are_used_so_that_dark_pages_can_turn_them():
    light = {shade.light for shade in shades()}
    used = re.findall(r'(?:fill|stroke)="(#[^"]*)"', scale_svg(POWER, width_px=640) + strip_svg(STRIP, width_px=640))
    assert used
    assert set(used) <= light


def test_strangers_words_are_escaped_and_the_drawing_stays_well_formed():
    nasty = '<script>"&\x00\x07'
    svg = scale_svg(replace(POWER, title=nasty, quantity=nasty, unit=nasty), width_px=340)
    svg += strip_svg(replace(STRIP, title=nasty, parts=(Part(name=nasty, share=1.0, text=nasty),)), width_px=340)
    assert "<script" not in svg
    assert drawn(f"<both>{svg}</both>") is not None


def test_equal_blocks_give_equal_bytes():
    assert scale_svg(POWER, width_px=640) == scale_svg(replace(POWER), width_px=640)
    assert scale_svg(POWER, width_px=640) != scale_svg(POWER, width_px=340)
