"""Clips encoded and decoded again: their frames, their rate, their alpha, and what is left when it goes wrong."""

import importlib.util
import re
import subprocess
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from wattproof.errors import FilmError
from wattproof.publish import film
from wattproof.publish.film import FilmShape, encoder, write_film, write_picture
from wattproof.publish.overlay_clock import clock_for, rate_of
from wattproof.publish.overlay_course import course_of
from wattproof.publish.overlay_paint import Painter, frames_of
from wattproof.publish.overlay_scene import scene_of

_spec = importlib.util.spec_from_file_location("overlaid_captures", Path(__file__).with_name("overlaid_captures.py"))
captures = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(captures)

WIDTH, HEIGHT = 640, 360
ALPHA_STEPS = {"mov": 2, "webm": 16}
"""How far the codecs' alpha may be off: ProRes rounds to 10 bit and back, VP9 at this speed loses more."""


def made(to, word="25", *, form="mov", seconds=2, timecode=""):
    scene = scene_of(course_of(captures.hold(100.0, 200.0, seconds=float(seconds))), title="Bittern 1, hold")
    clock = clock_for(rate=rate_of(word), from_s=Fraction(0), to_s=Fraction(seconds))
    shape = FilmShape(format=form, width_px=WIDTH, height_px=HEIGHT, rate=rate_of(word), timecode=timecode)
    write_film(frames_of(scene, clock, width_px=WIDTH, height_px=HEIGHT), to=to, shape=shape)
    return scene, clock


def decoded(path, size=(HEIGHT, WIDTH)):
    """Give all frames, RGBA, as a player shows them."""
    head = ["-c:v", "libvpx-vp9"] if path.suffix == ".webm" else []
    command = [encoder(), "-v", "error", *head, "-i", str(path), "-f", "rawvideo", "-pix_fmt", "rgba", "-"]
    done = subprocess.run(command, capture_output=True, check=True)
    return np.frombuffer(done.stdout, dtype=np.uint8).reshape(-1, *size, 4)


def told(path):
    """Give what the file says of itself: its rate, its length and its time code."""
    said = subprocess.run([encoder(), "-hide_banner", "-i", str(path)], capture_output=True, check=False)
    text = said.stderr.decode()
    rate = re.search(r"([\d.]+) fps", text)
    length = re.search(r"Duration: 00:00:(\d+\.\d+)", text)
    code = re.search(r"timecode\s*: (\S+)", text)
    return float(rate[1]), float(length[1]), code[1] if code else ""


@pytest.mark.parametrize(
    ("word", "form"),
    [("24", "mov"), ("25", "webm"), ("30", "webm"), ("60", "webm"), ("23.976", "mov"), ("29.97", "webm")],
)
def test_a_clip_holds_each_frame_at_its_rate_and_shows_the_step_where_it_belongs(tmp_path, word, form):
    path = tmp_path / f"clip.{form}"
    scene, clock = made(path, word, form=form)
    frames = decoded(path)
    assert len(frames) == clock.n_frames
    rate, length_s, _ = told(path)
    assert rate == pytest.approx(float(rate_of(word)), abs=0.006)  # it prints two decimals
    assert length_s == pytest.approx(clock.n_frames / float(rate_of(word)), abs=0.011)
    ledger = Painter(scene, width_px=WIDTH, height_px=HEIGHT).layout.ledger
    cut = frames[:, ledger.y : ledger.y + ledger.height, ledger.x : ledger.x + ledger.width, :3].astype(int)
    changes = np.abs(np.diff(cut, axis=0)).mean(axis=(1, 2, 3))
    step = -int(-rate_of(word) // 1)
    assert int(np.argmax(changes)) + 1 == step
    assert changes[step - 1] > 4 * np.median(changes) + 1


@pytest.mark.parametrize(("word", "frames"), [("24", 240), ("25", 250), ("29.97", 300), ("30", 300), ("60", 600)])
def test_ten_seconds_have_their_frames_in_the_file(tmp_path, word, frames):
    path = tmp_path / "clip.webm"
    picture = np.zeros((64, 64, 4), dtype=np.uint8)
    clock = clock_for(rate=rate_of(word), from_s=Fraction(0), to_s=Fraction(10))
    shape = FilmShape(format="webm", width_px=64, height_px=64, rate=rate_of(word))
    write_film((picture for _ in range(clock.n_frames)), to=path, shape=shape)
    assert decoded(path, (64, 64)).shape[0] == clock.n_frames == frames
    assert told(path)[1] == pytest.approx(10.0, abs=0.011 if word != "29.97" else 0.021)


@pytest.mark.parametrize("form", ["mov", "webm"])
def test_alpha_is_nothing_outside_the_plate_and_kept_inside(tmp_path, form):
    path = tmp_path / f"clip.{form}"
    scene, clock = made(path, "24", form=form, seconds=1)
    frames = decoded(path)
    wanted = [frame.copy() for frame in frames_of(scene, clock, width_px=WIDTH, height_px=HEIGHT)]
    plate = Painter(scene, width_px=WIDTH, height_px=HEIGHT).layout.plate
    far = np.ones((HEIGHT, WIDTH), dtype=bool)
    # the codecs work in blocks of up to 64 pixels, in which an edge may ring
    far[max(plate.y - 64, 0) : plate.y + plate.height + 64, max(plate.x - 64, 0) : plate.x + plate.width + 64] = False
    for n in (0, 12, 23):
        assert (frames[n][far, 3] == 0).all()
        off = np.abs(frames[n][..., 3].astype(int) - wanted[n][..., 3])
        assert off.max() <= ALPHA_STEPS[form]
        solid = wanted[n][..., 3] > 200
        assert np.abs(frames[n][solid, :3].astype(int) - wanted[n][solid, :3]).mean() < 6


def test_the_same_frames_give_the_same_bytes(tmp_path):
    for form in ("mov", "webm"):
        files = [tmp_path / f"{name}.{form}" for name in ("one", "two")]
        for file in files:
            made(file, "24", form=form, seconds=1)
        assert files[0].read_bytes() == files[1].read_bytes()


def test_a_mov_carries_its_time_code(tmp_path):
    path = tmp_path / "clip.mov"
    made(path, "25", seconds=1, timecode="10:00:07:12")
    assert told(path)[2] == "10:00:07:12"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no full disk to write to")
@pytest.mark.parametrize("form", ["mov", "webm"])
def test_a_full_disk_is_told_with_what_to_do(form):
    with pytest.raises(FilmError, match="disk is full") as caught:
        made(Path("/dev/full"), "24", form=form, seconds=1)
    assert "--from-s" in caught.value.hint


def test_a_missing_encoder_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr(film, "encoder", lambda: str(tmp_path / "gone"))
    with pytest.raises(FilmError, match="cannot be started") as caught:
        made(tmp_path / "clip.mov")
    assert "--frames" in caught.value.hint


def test_an_encoder_that_stops_tells_its_last_words(tmp_path):
    with pytest.raises(FilmError, match="encoder stopped") as caught:
        made(tmp_path / "no such folder" / "clip.mov")
    assert "No such file" in caught.value.why


def test_a_picture_is_kept_to_the_last_bit():
    from io import BytesIO

    from PIL import Image

    scene = scene_of(course_of(captures.ramp()), title="Bittern 1")
    frame = Painter(scene, width_px=WIDTH, height_px=HEIGHT).paint(scene.at(2.0))
    with Image.open(BytesIO(write_picture(frame))) as image:
        assert image.mode == "RGBA"
        assert np.array_equal(np.asarray(image), frame)
