"""The marker is found where it is, through filters, noise and hum, and nowhere where it is not."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import butter, sosfilt

from wattproof.capture.audio_drive import GAP_S, QUIET_S, MarkedDrive
from wattproof.capture.drives import ToneDrive
from wattproof.capture.markers import MARKER_S, MARKER_V_PEAK, MarkerSearch, find_marker, marker
from wattproof.errors import RigError

RATE_HZ = 48000
PATTERN = marker(rate_hz=RATE_HZ)
QUIET = round(0.4 * RATE_HZ)


def searched(track, *, step=2400, quiet=QUIET):
    search = MarkerSearch(PATTERN, rate_hz=RATE_HZ, quiet=quiet)
    for n_samples in range(step, len(track) + step, step):
        heard = search.look(track[:n_samples])
        if heard is not None:
            return heard
    return None


def track_with(at, *, level=0.01, seconds=2.0):
    track = np.zeros(round(seconds * RATE_HZ))
    track[at : at + len(PATTERN)] = level * PATTERN
    return track


def test_the_marker_is_the_same_every_time_and_begins_and_ends_at_nothing():
    assert np.array_equal(PATTERN, marker(rate_hz=RATE_HZ))
    assert len(PATTERN) == round(MARKER_S * RATE_HZ)
    assert abs(PATTERN).max() <= 1.0
    assert abs(PATTERN[0]) < 1e-6
    assert abs(PATTERN[-1]) < 1e-2


@given(delay=st.integers(QUIET, QUIET + 9000), level=st.floats(1e-4, 0.9), upside_down=st.booleans())
def test_it_is_found_to_the_sample_either_way_up(delay, level, upside_down):
    heard = searched(track_with(delay, level=-level if upside_down else level))
    assert heard.sample == delay
    assert heard.exactly == pytest.approx(delay, abs=1e-6)
    assert heard.likeness == pytest.approx(-1 if upside_down else 1, abs=1e-9)


def test_a_part_of_a_sample_is_told():
    shift = 0.37
    spectrum = np.fft.rfft(track_with(QUIET + 1000))
    turns = np.exp(-2j * np.pi * shift * np.arange(len(spectrum)) / (2.0 * RATE_HZ))
    heard = searched(np.fft.irfft(spectrum * turns))
    assert heard.exactly == pytest.approx(QUIET + 1000 + shift, abs=0.02)


@pytest.mark.parametrize("noise", [1e-4, 1e-3, 5e-3])
def test_noise_moves_it_by_no_more_than_its_doubt_says(noise):
    off = []
    for seed in range(30):
        track = track_with(QUIET + 1000) + noise * np.random.default_rng(seed).standard_normal(2 * RATE_HZ)
        heard = searched(track)
        off.append((heard.exactly - QUIET - 1000) / heard.doubt)
    assert np.sqrt(np.mean(np.square(off))) < 2


@pytest.mark.parametrize(
    "band_hz", [("lowpass", 80.0), ("highpass", 80.0), ("bandpass", (60.0, 4000.0))], ids=["bass", "treble", "band"]
)
def test_an_amplifiers_filter_does_not_hide_it(band_hz):
    kind, edges_hz = band_hz
    through = sosfilt(butter(2, edges_hz, kind, fs=RATE_HZ, output="sos"), track_with(QUIET + 1000))
    through += 1e-5 * np.random.default_rng(3).standard_normal(len(through))
    heard = searched(through)
    assert abs(heard.likeness) > 0.3
    assert abs(heard.sample - QUIET - 1000) < 0.01 * RATE_HZ  # a filter's own delay


@pytest.mark.parametrize("hum_hz", [47.0, 50.0, 60.0, 100.0, 150.0])
def test_hum_noise_and_silence_are_no_marker(hum_hz):
    places = np.arange(2 * RATE_HZ)
    hum = 0.1 * np.sin(2 * np.pi * hum_hz * places / RATE_HZ)
    noise = np.random.default_rng(5).standard_normal(len(places))
    assert searched(hum) is None
    assert searched(hum * (places > QUIET)) is None  # switched on late
    assert searched(1e-3 * noise + 0.2) is None
    assert searched(np.zeros(2 * RATE_HZ)) is None
    assert searched(np.full(2 * RATE_HZ, 0.25)) is None


def test_no_record_holds_no_marker():
    assert find_marker(np.zeros(10), PATTERN) is None
    assert find_marker(np.zeros(0), PATTERN) is None


# --- the drive between its markers --------------------------------------------------------------------------------


def tone(level_v_rms=0.5):
    return ToneDrive(level_v_rms=level_v_rms, seconds=0.3, tone_hz=997.0, outputs=("A", "B"), rate_hz=RATE_HZ)


def marked(drive, **how):
    return MarkedDrive(drive, rate_hz=RATE_HZ, full_scale_v=2.0, marked=True, **how)


def played(drive, n_blocks, *, go_at=None, block=480):
    made = []
    for n in range(n_blocks):
        if n == go_at:
            drive.go()
        made.append(drive.block(block))
    return np.concatenate(made, axis=1)


def test_nothing_moves_before_the_marker_was_heard():
    made = played(marked(tone()), 300)
    assert abs(made).max() <= MARKER_V_PEAK
    start = round(QUIET_S * RATE_HZ)
    assert not made[:, :start].any()
    assert np.array_equal(made[0, start : start + len(PATTERN)], MARKER_V_PEAK * PATTERN)
    assert not made[:, start + len(PATTERN) :].any()


def test_the_drive_is_played_as_it_is_between_gaps_and_the_marker_again():
    drive = marked(tone())
    made = played(drive, 300, go_at=2)
    assert drive.start >= round((QUIET_S + MARKER_S + GAP_S) * RATE_HZ)
    assert not drive.driving
    assert np.array_equal(made[:, drive.start : drive.end], tone().block(drive.end - drive.start))
    gap = round(GAP_S * RATE_HZ)
    assert not made[:, drive.end : drive.end + gap].any()
    again = made[:, drive.end + gap : drive.end + gap + len(PATTERN)]
    assert np.array_equal(again, np.tile(MARKER_V_PEAK * PATTERN, (2, 1)))
    assert np.array_equal(np.concatenate(drive.played, axis=1), made[:, drive.start : drive.end])
    assert not drive.finished
    drive.close()
    assert drive.finished


def test_more_than_full_scale_is_refused_before_it_is_played():
    drive = marked(tone(level_v_rms=1.5))
    with pytest.raises(RigError, match="more than the generator gives") as caught:
        played(drive, 300, go_at=0)
    assert "2" in caught.value.why
    assert "drive_v_full_scale" in caught.value.hint
