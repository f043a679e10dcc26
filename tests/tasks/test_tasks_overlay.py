"""A session's capture as a clip: from the archive to a file that is decoded again, lined up with a camera's sound."""

import json
import os
import re
import subprocess

import numpy as np
import pytest
import soundfile

from wattproof import tasks
from wattproof.archive import Archive
from wattproof.errors import (
    ArchiveError,
    FileMissingError,
    MissingChannelError,
    NoToneError,
    SettingsError,
)
from wattproof.publish import film
from wattproof.tasks import CameraWishes, ClipWishes, overlaying
from wattproof.testing import Recorder, burst_train, steady_tone, workshop_wiring

RATE_HZ = 48000
SECONDS = 4.0
CLAP_S = 0.3
BENCH = """
name = "Boathouse bench"
[[channels]]
input = 1
role = "load_voltage"
scale = 42.0
[[channels]]
input = 2
role = "supply_voltage"
scale = 20.0
[[loads]]
name = "2 ohm"
resistance_ohm = 2.0
"""
AMPLIFIER = """
maker = "Reed & Marten"
model = "Otter 4"
[[ratings]]
quantity = "power"
value = 90
unit = "W"
load_ohm = 4
[[ratings]]
quantity = "power"
value = 0.4
unit = "kW"
load_ohm = 2
channels_driven = 1
"""


def clap(rate_hz, seed):
    t = np.arange(round(0.02 * rate_hz)) / rate_hz
    return np.random.default_rng(seed).normal(size=t.size) * (1 - np.exp(-t / 2e-4)) * np.exp(-t / 4e-3)


@pytest.fixture(scope="module")
def pattern():
    """Bursts of 50 cycles at 997 Hz, the first after 0.7 s."""
    return burst_train(
        tone_hz=997.0, cycles_on=50, cycles_period=1097, lead_cycles=698, load_v_rms=28.0, resistance_ohm=2.0,
        wiring=workshop_wiring("load_voltage"), recorder=Recorder(rate_hz=RATE_HZ, seconds=SECONDS),
    ).waveform.samples[0]  # fmt: skip


@pytest.fixture(scope="module")
def made(tmp_path_factory, pattern):
    """A session of a burst train with a microphone on the third input, and of a steady tone."""
    folder = tmp_path_factory.mktemp("overlay")
    (folder / "bench.toml").write_text(BENCH, encoding="utf-8")
    (folder / "amplifier.toml").write_text(AMPLIFIER, encoding="utf-8")
    rng = np.random.default_rng(4)
    supply = np.full(pattern.size, 14.2 / 20)
    room = 0.002 * rng.normal(size=pattern.size)
    start = round(CLAP_S * RATE_HZ)
    room[start : start + 960] += 0.5 * clap(RATE_HZ, 2)
    soundfile.write(folder / "bursts.wav", np.stack([pattern, supply, room], axis=1), RATE_HZ, "DOUBLE")
    steady = steady_tone(wiring=workshop_wiring("load_voltage"), recorder=Recorder(seconds=1.0)).waveform.samples[0]
    soundfile.write(folder / "tone.wav", np.stack([steady, steady * 0 + 0.7], axis=1), 48000, "DOUBLE")
    session = tasks.session_new(folder / "amplifier.toml", folder / "bench.toml", archive=folder / "archive")
    wishes = tasks.Wishes(load="2 ohm")
    for name, step in (("tone.wav", "gain 2 ohm"), ("bursts.wav", "burst 2 ohm")):
        tasks.session_add(session.session, [folder / name], archive=folder / "archive", step=step, wishes=wishes)
    return folder / "archive", session.session


@pytest.fixture
def overlay(made, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def of(capture="burst 2 ohm", camera=None, tell=None, **wishes):
        chosen = ClipWishes(**{"size": "640x360", "fps": "25", "format": "webm", **wishes})
        return tasks.overlay(made[1], capture, archive=made[0], wishes=chosen, camera=camera, tell=tell)

    return of


@pytest.fixture
def camera_sound(tmp_path, pattern):
    """What the camera hears: the capture from `begins_s` on and a clap, at its own rate, on its second track."""

    def of(begins_s, *, tone=0.2, clap_s=None, seconds=14.0, rate_hz=44100):
        t = np.arange(round(seconds * rate_hz)) / rate_hz - begins_s
        sound = tone * np.interp(t, np.arange(pattern.size) / RATE_HZ, pattern, left=0.0, right=0.0)
        if clap_s is not None:
            start = round(clap_s * rate_hz)
            sound[start : start + round(0.02 * rate_hz)] += 0.5 * clap(rate_hz, 3)
        sound += 0.002 * np.random.default_rng(8).normal(size=t.size)
        path = tmp_path / "camera.wav"
        soundfile.write(path, np.stack([0 * sound, sound], axis=1), rate_hz, "FLOAT")
        return path

    return of


def frames_in(path):
    command = [film.encoder(), "-v", "error", "-i", str(path), "-f", "framecrc", "-"]
    done = subprocess.run(command, capture_output=True, check=True)
    return sum(not line.startswith("#") for line in done.stdout.decode().splitlines())


def test_a_clip_covers_the_capture_and_its_answer_says_so(overlay, tmp_path):
    told = []
    made = overlay(tell=told.append)
    assert made.written.name == "02-burst-2-ohm-overlay.webm"
    assert [path.name for path in tmp_path.iterdir()] == [made.written.name]
    assert made.frames == frames_in(made.written) == 100
    assert (made.first_s, made.seconds) == (0.0, 4.0)
    assert made.lag_s == pytest.approx(50 / 997, abs=2e-4)
    assert [chapter.line for chapter in made.chapters] == ["0:00 gain 2 ohm", "0:01 burst 2 ohm"]
    assert any("of 100 frames" in line for line in told)
    assert json.loads(made.to_json())["frames"] == 100
    assert "0.0000 s of the capture" in made.text()


def test_the_same_capture_gives_the_same_clip(overlay, tmp_path):
    one, two = (overlay(out=tmp_path / name, to_s=0.4).written.read_bytes() for name in ("one.webm", "two.webm"))
    assert one == two


def test_a_stretch_with_a_lead_in(overlay, tmp_path):
    made = overlay("2", from_s=0.5, to_s=1.5, lead_in_s=0.2, chapters=tmp_path / "chapters.txt")
    assert made.frames == 5 + 25
    assert made.first_s == pytest.approx(0.3)
    assert (tmp_path / "chapters.txt").read_text() == "0:00 gain 2 ohm\n0:01 burst 2 ohm\n"


def test_the_tone_lines_a_clip_up_frame_by_frame(overlay, camera_sound):
    begins_s = 3.2345
    made = overlay(camera=CameraWishes(sync=camera_sound(begins_s)), to_s=1.0, timecode="10:00:00:00")
    place = made.synced
    assert place.by == "tone"
    assert abs(place.heard_s - begins_s) < 1e-3
    assert abs(place.heard_s - begins_s) < 2 * place.heard_u_s
    # frame 80 of the camera comes on at 3.2 s, 34.5 ms before the capture begins
    assert (place.first_frame, place.timecode) == (80, "10:00:03:05")
    assert made.first_s == pytest.approx(3.2 - place.heard_s, abs=1e-6)
    assert place.doubts == ()
    assert "10:00:03:05" in made.text()
    assert [chapter.line for chapter in made.chapters] == ["0:00 start", "0:03 burst 2 ohm"]


def test_a_clap_in_both_lines_a_clip_up(overlay, camera_sound):
    sound = camera_sound(5.5, tone=0.0, clap_s=5.5 + CLAP_S)
    made = overlay(camera=CameraWishes(sync=sound, clap_track="3"), to_s=1.0)
    assert made.synced.by == "clap"
    assert made.synced.capture_s == pytest.approx(CLAP_S, abs=1e-3)
    assert made.synced.heard_s - made.synced.capture_s == pytest.approx(5.5, abs=2e-3)
    assert made.synced.first_frame == 137  # 5.48 s
    with pytest.raises(MissingChannelError, match='no track "microphone"'):
        overlay(camera=CameraWishes(sync=sound, clap_track="microphone"))


def test_a_clap_before_the_capture_and_the_way_of_its_sound(overlay, camera_sound):
    sound = camera_sound(5.5, tone=0.0, clap_s=2.0)
    made = overlay(camera=CameraWishes(sync=sound, clap_at_s=-3.5, sync_distance_m=3.43), to_s=1.0)
    # the clap was 10 ms before it was heard
    assert made.synced.heard_s == pytest.approx(1.99, abs=1e-3)
    assert made.synced.first_frame == 137  # 5.49 s


def test_a_camera_that_started_late_is_told(overlay, camera_sound):
    made = overlay(camera=CameraWishes(sync=camera_sound(5.5, clap_s=2.0, tone=0.0), clap_at_s=2.5), to_s=1.0)
    assert made.synced.first_frame == -13
    assert "13 frames before" in made.synced.doubts[-1]


def test_a_camera_that_heard_nothing_is_told_what_to_do(overlay, camera_sound, tmp_path):
    with pytest.raises(NoToneError, match="did not hear"):
        overlay(camera=CameraWishes(sync=camera_sound(5.5, tone=0.0)))
    assert not list(tmp_path.glob("*overlay*")), "nothing is written before"


def test_frames_are_kept_as_pictures_in_a_new_folder(overlay, tmp_path):
    made = overlay(frames=tmp_path / "frames", to_s=0.2)
    names = sorted(path.name for path in (tmp_path / "frames").iterdir())
    assert names == [f"frame-{n:06d}.png" for n in range(5)]
    assert made.format == "png"
    with pytest.raises(FileMissingError, match="there already"):
        overlay(frames=tmp_path / "frames", to_s=0.2)


def children():
    """The processes that this one has started and that still run."""
    listed = subprocess.run(["ps", "-o", "pid=,args=", "--ppid", str(os.getpid())], capture_output=True, check=False)
    return [line for line in listed.stdout.decode().splitlines() if re.search(r"\bffmpeg", line)]


@pytest.mark.parametrize("fault", [KeyboardInterrupt, BrokenPipeError])
def test_a_clip_broken_off_leaves_what_was_there(overlay, tmp_path, monkeypatch, fault):
    whole = overlay(out=tmp_path / "clip.webm", to_s=0.4).written.read_bytes()
    drawn = overlaying.frames_of

    def broken_off(*args, **kwargs):
        for n, frame in enumerate(drawn(*args, **kwargs)):
            if n == 4:
                raise fault
            yield frame

    monkeypatch.setattr(overlaying, "frames_of", broken_off)
    for wishes in ({"out": tmp_path / "clip.webm"}, {"frames": tmp_path / "frames"}):
        with pytest.raises((fault, FileMissingError)):
            overlay(to_s=0.4, **wishes)
    assert [path.name for path in tmp_path.iterdir()] == ["clip.webm"]
    assert (tmp_path / "clip.webm").read_bytes() == whole
    assert children() == []


@pytest.mark.parametrize("word", ["7", "ramp 4 ohm", ""])
def test_a_capture_that_is_not_there_is_told_with_those_that_are(overlay, word):
    with pytest.raises(ArchiveError, match="No capture") as caught:
        overlay(word)
    assert "2 burst 2 ohm" in caught.value.why


def test_a_steady_tone_has_nothing_that_grows(overlay):
    with pytest.raises(MissingChannelError, match="nothing that grows"):
        overlay("1")


@pytest.mark.parametrize(
    ("wishes", "told"),
    [
        ({"to_s": 9.0}, "does not reach"),
        ({"from_s": 2.0, "to_s": 1.0}, "no sensible length"),
        ({"fps": "31"}, "no frame rate"),
        ({"size": "1281x720"}, "no size"),
        ({"timecode": "00:00:00:99"}, "no time code"),
        ({"out": "clip.mov", "format": "webm"}, "no mov"),
        ({"out": "clip.mp4", "format": None}, "no mp4"),
    ],
)
def test_wishes_that_make_no_sense_are_refused(overlay, tmp_path, wishes, told):
    if "out" in wishes:
        wishes = {**wishes, "out": tmp_path / wishes["out"]}
    with pytest.raises(SettingsError, match=told):
        overlay(**wishes)
    assert list(tmp_path.iterdir()) == []


def test_the_advice_for_too_late_an_end_can_be_followed(overlay):
    with pytest.raises(SettingsError) as caught:
        overlay(from_s=3.5, to_s=9.0)
    advised = float(re.search(r"--to-s ([\d.]+),", caught.value.hint)[1])
    assert overlay(from_s=3.5, to_s=advised).frames in {12, 13}


@pytest.mark.parametrize(
    "wishes",
    [
        lambda: ClipWishes(from_s=-1.0),
        lambda: ClipWishes(to_s=float("nan")),
        lambda: ClipWishes(lead_in_s=float("inf")),
        lambda: CameraWishes(clap_at_s=1.0),
        lambda: CameraWishes(sync="camera.wav", clap_at_s=1.0, clap_track="3"),
        lambda: CameraWishes(sync="camera.wav", sync_distance_m=-2.0),
        lambda: CameraWishes(sync="camera.wav", sync_near_s=float("nan")),
    ],
)
def test_numbers_that_are_none_are_refused(wishes):
    with pytest.raises(SettingsError):
        wishes()


def test_a_clip_is_not_written_over_the_camera_sound(overlay, camera_sound):
    sound = camera_sound(1.0)
    with pytest.raises(SettingsError, match="written over"):
        overlay(out=sound, camera=CameraWishes(sync=sound))


def test_the_claim_is_the_one_for_this_load(made):
    store = Archive(made[0])
    session = store.open_session(made[1])
    tasks.session_figures(made[1], archive=made[0])
    record = store.captures(session)[1]
    result = store.read_figures(session).captures[1].results[0]
    assert overlaying._claim(session, record, result).text == "claim 400 W"
    both = result.curve + tuple(point.model_copy(update={"output": "B"}) for point in result.curve)
    assert overlaying._claim(session, record, result.model_copy(update={"curve": both})) is None
