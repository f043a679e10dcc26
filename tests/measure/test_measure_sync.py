"""A camera's sound lined up with a capture: by the capture's own tone, by a clap, or not at all."""

import numpy as np
import pytest
from scipy.signal import fftconvolve

from wattproof.dsp import match_courses, tone_course
from wattproof.errors import MeasureError, NoToneError
from wattproof.measure import heard_clap, same_clap, same_tone
from wattproof.testing import Recorder, burst_train

RATE_HZ = 48000.0


def room(rate_hz, *, seed):
    """Straight sound, and as much energy again in reverberation from 4 ms on."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(0.4 * rate_hz)) / rate_hz
    tail = rng.normal(size=t.size) * 10 ** (-3 * t / 0.6) * (rng.random(t.size) < 0.05)
    tail[t < 0.004] = 0.0
    tail /= np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return tail


def bursts(tone_hz, seconds=5.0):
    """The recording of a burst train: whole cycles of 50 ms every 1.3 s, unevenly placed in the record."""
    capture = burst_train(
        tone_hz=tone_hz,
        cycles_on=round(0.05 * tone_hz),
        cycles_period=round(1.3 * tone_hz),
        lead_cycles=0.6 * tone_hz,
        recorder=Recorder(rate_hz=RATE_HZ, seconds=seconds),
    )
    return capture.waveform.samples[0]


def heard(pattern, tone_hz, *, begins_s, rate_hz=44100.0, seed=1, seconds=16.0, noise=0.02):
    """What a camera hears of it from `begins_s` on: at its own rate, through a room, in noise."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * rate_hz)) / rate_hz - begins_s
    # the tone is far below either rate: a straight line between samples is good to 1 - cos(pi f / rate)
    sound = np.interp(t, np.arange(pattern.size) / RATE_HZ, pattern, left=0.0, right=0.0)
    sound = fftconvolve(sound, room(rate_hz, seed=seed))[: t.size]
    return (sound + noise * np.abs(pattern).max() * rng.normal(size=t.size)).astype(np.float32)


@pytest.mark.parametrize("tone_hz", [397.0, 997.0])
def test_bursts_are_found_to_a_millisecond_through_a_room_at_another_rate(tone_hz):
    pattern = bursts(tone_hz)
    for seed in range(5):
        begins_s = 2.0 + 1.2345 * seed
        sound = heard(pattern, tone_hz, begins_s=begins_s, seed=seed)
        event = same_tone(sound, pattern, rate_hz=44100.0, pattern_rate_hz=RATE_HZ, tone_hz=tone_hz)
        assert abs(event.heard_s - begins_s) < 1e-3
        assert abs(event.heard_s - begins_s) < 2 * event.heard_u_s
        assert event.doubts == ()
        assert event.offset_s == -event.heard_s


def test_a_bass_tone_is_found_as_well_as_it_says():
    errors, us = [], []
    pattern = bursts(97.0)
    for seed in range(8):
        begins_s = 1.5 + seed
        sound = heard(pattern, 97.0, begins_s=begins_s, seed=seed)
        event = same_tone(sound, pattern, rate_hz=44100.0, pattern_rate_hz=RATE_HZ, tone_hz=97.0)
        errors.append(event.heard_s - begins_s)
        us.append(event.heard_u_s)
    assert np.mean(np.abs(errors) < 2 * np.array(us)) >= 0.95
    assert max(us) < 0.009  # half of one and a half cycles


def test_a_ramp_that_is_cut_is_found_by_its_end():
    t = np.arange(round(5 * RATE_HZ)) / RATE_HZ
    pattern = np.where(t < 4.2, 10 ** ((t - 4.2) * 0.5), 0.0) * np.sin(2 * np.pi * 997 * t)
    event = same_tone(
        heard(pattern, 997.0, begins_s=6.321), pattern, rate_hz=44100.0, pattern_rate_hz=RATE_HZ, tone_hz=997.0
    )
    assert abs(event.heard_s - 6.321) < 2e-3


def test_distance_is_taken_off_with_its_doubt():
    pattern = bursts(997.0)
    sound = heard(pattern, 997.0, begins_s=3.0)
    near, far = (
        same_tone(sound, pattern, rate_hz=44100.0, pattern_rate_hz=RATE_HZ, tone_hz=997.0, distance_m=metres)
        for metres in (0.0, 3.43)
    )
    assert near.heard_s - far.heard_s == pytest.approx(0.01)
    assert far.heard_u_s == pytest.approx(np.hypot(near.heard_u_s, 0.001))


def test_bursts_alike_are_doubted_unless_said_roughly_where():
    """A train of which the camera heard more than the capture holds fits in two places."""
    pattern = bursts(997.0, seconds=1.3 * 6)
    inner = pattern[: round(2.6 * RATE_HZ)]
    sound = heard(pattern, 997.0, begins_s=2.0)
    event = same_tone(sound, inner, rate_hz=44100.0, pattern_rate_hz=RATE_HZ, tone_hz=997.0)
    assert any("--sync-near-s" in doubt for doubt in event.doubts)


def test_near_narrows_where_it_is_looked_for():
    pattern = bursts(997.0)
    sound = np.concatenate([heard(pattern, 997.0, begins_s=1.0, seconds=30.0), heard(pattern, 997.0, begins_s=2.0)])
    found = [
        same_tone(sound, pattern, rate_hz=44100.0, pattern_rate_hz=RATE_HZ, tone_hz=997.0, near_s=near_s).heard_s
        for near_s in (4.0, 29.0)
    ]
    assert found == pytest.approx([1.0, 32.0], abs=2e-3)


@pytest.mark.parametrize("sound", ["noise", "silence", "short", "other tone"])
def test_what_the_camera_did_not_hear_is_refused_with_what_to_do(sound):
    pattern = bursts(997.0)
    t = np.arange(round(16 * RATE_HZ)) / RATE_HZ
    rng = np.random.default_rng(3)
    given = {
        "noise": rng.normal(size=t.size),
        "silence": np.zeros(t.size),
        "short": pattern[: pattern.size // 2],
        "other tone": np.sin(2 * np.pi * 997 * t) + 0.01 * rng.normal(size=t.size),
    }[sound]
    with pytest.raises(NoToneError, match="did not hear") as caught:
        same_tone(given, pattern, rate_hz=RATE_HZ, pattern_rate_hz=RATE_HZ, tone_hz=997.0)
    assert "--clap-at-s" in caught.value.hint


def test_a_tone_above_what_the_sound_can_hold_is_refused():
    with pytest.raises(NoToneError):
        same_tone(np.ones(8000), np.ones(8000), rate_hz=8000.0, pattern_rate_hz=RATE_HZ, tone_hz=5003.0)


def test_courses_of_one_recording_are_the_same():
    course = tone_course(bursts(997.0), rate_hz=RATE_HZ, tone_hz=997.0)
    found = match_courses(course, course)
    assert found.lag_s == pytest.approx(0.0, abs=1e-9)
    assert found.alike_percent == pytest.approx(100.0)


def test_the_course_of_a_steady_tone_is_its_peak():
    t = np.arange(48000) / RATE_HZ
    course = tone_course(3.0 * np.cos(2 * np.pi * 997 * t + 1), rate_hz=RATE_HZ, tone_hz=997.0)
    assert np.abs(course.phasor) == pytest.approx(np.full(course.phasor.size, 3.0), rel=0.01)


def claps(*at_s, rise=1.0, rate_hz=44100, seconds=6.0, seed=1):
    rng = np.random.default_rng(seed)
    sound = 0.003 * rng.normal(size=round(seconds * rate_hz))
    t = np.arange(round(0.02 * rate_hz)) / rate_hz
    for one in at_s:
        start = round(one * rate_hz)
        sound[start : start + t.size] += rise * rng.normal(size=t.size) * (1 - np.exp(-t / 2e-4)) * np.exp(-t / 4e-3)
    return sound


def test_a_clap_in_both_lines_them_up():
    mine, _ = heard_clap(claps(1.5, rate_hz=96000, seed=5), rate_hz=96000, source="ramp.wav")
    event = same_clap(claps(4.25), rate_hz=44100, capture_s=mine.t_s, capture_u_s=mine.u_s)
    assert event.offset_s == pytest.approx(1.5 - 4.25, abs=1e-3)
    assert event.u_s == pytest.approx(np.hypot(event.heard_u_s, mine.u_s))
    assert event.doubts == ()


def test_a_second_clap_is_told_and_nearness_decides():
    sound = claps(1.0, 4.5, seconds=12.0)
    _, doubts = heard_clap(sound, rate_hz=44100, source="camera.wav")
    assert "--sync-near-s" in doubts[0]
    chosen, doubts = heard_clap(claps(1.0, 11.0, seconds=14.0), rate_hz=44100, source="camera.wav", near_s=12.0)
    assert chosen.t_s == pytest.approx(11.0, abs=1e-3)
    assert doubts == ()


def test_a_soft_clap_is_doubted():
    for seed in range(3):
        found, doubts = heard_clap(claps(2.0, rise=0.018, seed=seed), rate_hz=44100, source="camera.wav")
        assert found.rise_db < 15
        assert "is it one?" in doubts[0]


def test_no_clap_is_refused_with_what_to_do():
    with pytest.raises(MeasureError, match="No clap is heard in camera") as caught:
        heard_clap(claps(), rate_hz=44100, source="camera.wav")
    assert "microphone" in caught.value.hint
    with pytest.raises(MeasureError, match="within 5 s of 5 s"):
        heard_clap(claps(11.0, seconds=14.0), rate_hz=44100, source="camera.wav", near_s=5.0)
