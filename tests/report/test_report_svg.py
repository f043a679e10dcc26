"""The drawing engine is kept from what would bring it down."""

import xml.etree.ElementTree as ET

import pytest

from wattproof.report import draw_svg


@pytest.mark.parametrize("letter", ["\x00", "\x07", "\x0b", "\x1b", "\ud800", "\ufffe", "\uffff"], ids=ascii)
def test_a_letter_that_no_drawing_may_hold_is_left_out(letter):
    word = f"ramp{letter}wav"
    spec = {
        "$schema": "https://vega.github.io/schema/vega-lite/v6.json",
        "title": {"text": word},
        "description": word,
        "data": {"values": [{"x": 1, "word": word}]},
        "mark": "text",
        "encoding": {"text": {"field": "word"}, "x": {"field": "x", "type": "quantitative", "title": word}},
    }
    words = [element.text for element in ET.fromstring(draw_svg(spec)).iter() if element.text == "rampwav"]
    assert len(words) == 5  # title and description of the drawing; its head, its axis and its mark
    assert spec["title"]["text"] == word
