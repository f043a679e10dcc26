"""Which moment each frame of a clip shows, at whole and at broken rates."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.errors import SettingsError
from wattproof.publish.overlay_clock import RATES, clock_for, frame_of_code, rate_of, time_code
from wattproof.publish.overlay_layout import size_of

FRAMES_IN_10_S = {
    "23.976": 240,  # 239.76
    "24": 240,
    "25": 250,
    "29.97": 300,  # 299.70
    "30": 300,
    "50": 500,
    "59.94": 599,  # 599.40
    "60": 600,
}


@pytest.mark.parametrize("word", RATES)
def test_ten_seconds_have_their_frames_at_every_rate(word):
    clock = clock_for(rate=rate_of(word), from_s=Fraction(0), to_s=Fraction(10))
    assert clock.n_frames == FRAMES_IN_10_S[word]
    assert clock.at_s(0) == 0.0


def test_an_hour_at_a_broken_rate_drifts_by_nothing():
    clock = clock_for(rate=rate_of("29.97"), from_s=Fraction(0), to_s=Fraction(3600))
    assert clock.n_frames == 107892
    assert clock.at_s(30000) == 1001.0


def test_a_lead_in_is_whole_frames_so_that_the_stretch_begins_on_one():
    clock = clock_for(rate=rate_of("25"), from_s=Fraction(2), to_s=Fraction(4), lead_in_s=Fraction(1, 3))
    assert clock.n_frames == 8 + 50
    assert clock.at_s(8) == 2.0


@given(
    word=st.sampled_from(sorted(RATES)),
    zero_us=st.integers(-(10**8), 10**8),
    from_ms=st.integers(0, 5000),
    length_ms=st.integers(100, 5000),
)
@settings(max_examples=50, deadline=None)
def test_frames_lie_upon_those_of_the_footage_and_begin_within_one_before(word, zero_us, from_ms, length_ms):
    rate, zero = rate_of(word), Fraction(zero_us, 10**6)
    start = Fraction(from_ms, 1000)
    clock = clock_for(rate=rate, from_s=start, to_s=start + Fraction(length_ms, 1000), phase_s=zero)
    assert ((clock.first_s - zero) * rate).denominator == 1
    assert 0 <= start - clock.first_s < 1 / rate
    end = clock.first_s + clock.n_frames / rate
    assert abs(end - start - Fraction(length_ms, 1000)) <= Fraction(1, 2) / rate


@pytest.mark.parametrize(("start", "stop"), [(2, 2), (3, 2), (0, Fraction(1, 1000)), (0, 10**9)])
def test_a_stretch_without_frames_or_with_millions_is_refused(start, stop):
    with pytest.raises(SettingsError, match="no sensible length"):
        clock_for(rate=rate_of("24"), from_s=Fraction(start), to_s=Fraction(stop))


def test_time_codes_count_every_frame_and_are_read_back():
    assert time_code(0, rate=rate_of("24")) == "00:00:00:00"
    assert time_code(107892, rate=rate_of("29.97")) == "00:59:56:12"
    for word in RATES:
        for frame in (0, 1, 23, 4567, 86399 * 24):
            assert frame_of_code(time_code(frame, rate=rate_of(word)), rate=rate_of(word)) == frame


@pytest.mark.parametrize(
    "code", ["", "00:00:00", "00:00:00:25", "00:60:00:00", "00:00:00;00", "1:0:0:0", "00:00:-1:00"]
)
def test_a_wrong_time_code_is_refused_and_the_hint_is_one(code):
    with pytest.raises(SettingsError) as caught:
        frame_of_code(code, rate=rate_of("25"))
    told = caught.value.hint.rsplit(" ", 1)[1].rstrip(".")
    assert frame_of_code(told, rate=rate_of("25")) == 90000


@pytest.mark.parametrize("word", ["", "1280", "1280x", "1281x720", "100x100", "1280x720x3", "9999x720", "axb"])
def test_a_size_that_cannot_be_is_refused(word):
    with pytest.raises(SettingsError):
        size_of(word)
