"""The picture of a clip: what is drawn again is what changed, and nothing is seen beside the plate."""

import importlib.util
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from wattproof.publish.overlay_clock import clock_for, rate_of
from wattproof.publish.overlay_course import course_of
from wattproof.publish.overlay_ground import GREEN, INK, PLATE, RUST, SOFT, strip_bar
from wattproof.publish.overlay_ink import add_line, lay_over, text_coverage, text_width
from wattproof.publish.overlay_layout import SAFE
from wattproof.publish.overlay_paint import Painter, frames_of
from wattproof.publish.overlay_scene import Claim, scene_of

_spec = importlib.util.spec_from_file_location("overlaid_captures", Path(__file__).with_name("overlaid_captures.py"))
captures = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(captures)

SIZES = [(1280, 720), (720, 1280), (1080, 1080), (640, 360)]
SCENES = {
    "ramp": scene_of(course_of(captures.ramp()), title="Bittern 1, ramp", claim=Claim(power_w=300, text="claim 300 W")),
    "hold": scene_of(course_of(captures.hold(100.0, 90.0, None, 80.0)), title="Bittern 1, a very long name " * 4),
    "bursts": scene_of(course_of(captures.bursts()), title="Bittern 1", claim=Claim(power_w=90, text="claim 90 W")),
}


def painted(scene, t_s, size=(640, 360)):
    return Painter(scene, width_px=size[0], height_px=size[1]).paint(scene.at(t_s)).copy()


@pytest.mark.parametrize("name", SCENES)
def test_a_picture_drawn_step_by_step_is_the_picture_drawn_at_once(name):
    scene = SCENES[name]
    painter = Painter(scene, width_px=640, height_px=360)
    for frame in range(0, 90, 7):
        step_by_step = painter.paint(scene.at(frame / 30))
        assert np.array_equal(step_by_step, painted(scene, frame / 30)), frame
    assert np.array_equal(painter.paint(scene.at(0.7)), painted(scene, 0.7)), "and back in time"


@pytest.mark.parametrize("name", SCENES)
@pytest.mark.parametrize("size", SIZES)
def test_all_ink_lies_on_the_plate_and_inside_the_safe_margins(name, size):
    scene = SCENES[name]
    pixels = painted(scene, 2.4, size)
    plate = Painter(scene, width_px=size[0], height_px=size[1]).layout.plate
    outside = np.ones(pixels.shape[:2], dtype=bool)
    outside[plate.y : plate.y + plate.height, plate.x : plate.x + plate.width] = False
    assert (pixels[outside, 3] == 0).all()
    assert (pixels[outside, :3] == PLATE).all(), "so that no codec finds an edge there"
    inked = np.abs(pixels[..., :3].astype(int) - PLATE).sum(axis=-1) > 30
    rows, columns = np.nonzero(inked)
    left, top = round(SAFE * size[0]), round(SAFE * size[1])
    assert left <= columns.min()
    assert columns.max() < size[0] - left
    assert top <= rows.min()
    assert rows.max() < size[1] - top
    inside = pixels[plate.y + plate.height // 2, plate.x + 2 : plate.x + plate.width - 2, 3]
    assert inside.min() >= 215


@pytest.mark.parametrize("size", SIZES)
def test_the_boxes_of_a_layout_do_not_overlap(size):
    layout = Painter(SCENES["ramp"], width_px=size[0], height_px=size[1]).layout
    taken = np.zeros((layout.height_px, layout.width_px), dtype=int)
    for box in (layout.title, layout.ledger, layout.strip, layout.chart, layout.progress):
        taken[box.y : box.y + box.height, box.x : box.x + box.width] += 1
    assert taken.max() == 1


def test_the_strip_is_as_wide_as_the_load_gets_of_the_supply():
    scene = SCENES["hold"]  # 80 % goes into the load
    painter = Painter(scene, width_px=1280, height_px=720)
    bar = strip_bar(painter.layout)
    row = painter.paint(scene.at(1.5))[bar.y + bar.height // 2, bar.x : bar.x + bar.width, :3].astype(int)
    green = np.abs(row - GREEN).sum(axis=-1) < 12
    assert green.sum() == pytest.approx(0.8 * bar.width, abs=1.5)
    assert green[: int(0.79 * bar.width)].all()


def test_the_strip_says_what_the_load_gets_and_that_the_rest_is_heat(monkeypatch):
    told = []
    monkeypatch.setattr(
        "wattproof.publish.overlay_paint.write", lambda _, text, **how: told.append((text, how["colour"]))
    )
    painted(SCENES["hold"], 1.5)
    assert ("load 80 %", GREEN) in told
    assert ("heat 20 %", RUST) in told


def test_soft_words_can_be_read_on_white_and_on_black_footage():
    pixels = painted(SCENES["hold"], 1.5, (1280, 720))
    plate = Painter(SCENES["hold"], width_px=1280, height_px=720).layout.plate
    r, g, b, alpha = (float(v) for v in pixels[plate.y + 4, plate.x + plate.width // 2])
    for footage in (0.0, 255.0):
        seen = [c * alpha / 255 + footage * (1 - alpha / 255) for c in (r, g, b)]
        assert contrast(SOFT, seen) > 4.5
        assert contrast(INK, seen) > 7


def contrast(first, second):
    lights = sorted(luminance(colour) + 0.05 for colour in (first, second))
    return lights[1] / lights[0]


def luminance(colour):
    parts = [c / 255 for c in colour]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_the_smallest_type_is_a_thirtieth_of_the_picture_or_more():
    ink = text_coverage("0123456789", 22) > 0.5
    rows = np.flatnonzero(ink.any(axis=1))
    # the height of a digit at 22 units of 720
    assert rows.max() - rows.min() + 1 >= 13
    assert text_coverage("g", 22).shape[0] >= 720 / 30


def test_digits_are_of_one_width_so_that_numbers_stand_still():
    assert len({text_width(digit, 36, strong=True) for digit in "0123456789"}) == 1
    assert text_coverage("111", 36).shape == text_coverage("808", 36).shape


def test_ink_over_straight_alpha_looks_as_ink_over_the_same_footage():
    rng = np.random.default_rng(1)
    pixels = rng.integers(0, 256, (5, 6, 4), dtype=np.uint8)
    cover = rng.random((5, 6)).astype(np.float32)
    footage = rng.integers(0, 256, (5, 6, 3)).astype(float)

    def over(picture):
        alpha = picture[..., 3:].astype(float) / 255
        return picture[..., :3] * alpha + footage * (1 - alpha)

    ink = np.array([200.0, 30.0, 90.0])
    wanted = over(pixels) * (1 - cover[..., np.newaxis]) + ink * cover[..., np.newaxis]
    lay_over(pixels, (200, 30, 90), cover)
    # colour and alpha are rounded to whole numbers: half a step each, the alpha's times 255 at most
    assert np.abs(over(pixels) - wanted).max() <= 1.01


def test_a_line_drawn_in_two_pieces_is_the_line_drawn_in_one():
    whole, pieces = (np.zeros((40, 60), dtype=np.float32) for _ in range(2))
    add_line(whole, (5.0, 30.0), (55.0, 5.0), 3.5)
    add_line(pieces, (5.0, 30.0), (25.0, 20.0), 3.5)
    add_line(pieces, (25.0, 20.0), (55.0, 5.0), 3.5)
    assert np.abs(whole - pieces).max() < 1e-5
    # a line's area is its length times its width, and a disc for its two round ends
    assert whole.sum() == pytest.approx(np.hypot(50, 25) * 3.5 + np.pi * 1.75**2, rel=0.02)
    assert add_line(whole, (-50.0, -50.0), (-20.0, -20.0), 3.5) is None


@pytest.mark.parametrize("word", ["24", "25", "29.97", "30", "60"])
def test_a_step_is_seen_in_the_first_frame_that_comes_on_after_it(word):
    scene = scene_of(course_of(captures.hold(100.0, 200.0)), title="")
    clock = clock_for(rate=rate_of(word), from_s=Fraction(0), to_s=Fraction(2))
    pictures = [frame.copy() for frame in frames_of(scene, clock, width_px=640, height_px=360)]
    assert len(pictures) == clock.n_frames
    ledger = Painter(scene, width_px=640, height_px=360).layout.ledger
    cut = [p[ledger.y : ledger.y + ledger.height, ledger.x : ledger.x + ledger.width] for p in pictures]
    changes = [n for n in range(1, len(cut)) if not np.array_equal(cut[n], cut[n - 1])]
    first = -int(-rate_of(word) // 1)  # the first whole number of frames at or after one second
    assert changes == [first]
