"""The clock of a text capture: the rate from the whole record, and a word for everything that makes it doubtful."""

import numpy as np
import pytest

from wattproof.errors import BrokenFileError, NeedsAnswerError
from wattproof.readers.contract import Answers
from wattproof.readers.text_capture import read_text


def capture(times, *, head="Time (s),A (V)\n", form="{:.9f}"):
    return (head + "".join(f"{form.format(t)},{i % 7}.5\n" for i, t in enumerate(times))).encode()


def read(raw, **answers):
    return read_text(raw, source="sedge.csv", answers=Answers(**answers))


def notice(recording, code):
    return next(one for one in recording.notices if one.code == code)


def codes(recording):
    return {one.code for one in recording.notices}


def test_an_even_clock_has_no_doubts():
    recording = read(capture(np.arange(500) / 8000 - 0.01))
    assert recording.rate_hz == pytest.approx(8000, rel=1e-9)
    assert recording.start_s == -0.01
    assert not recording.notices


def test_repeated_stamps_give_the_rate_of_the_whole_record():
    recording = read(capture(np.arange(3000) * 1e-4, form="{:.3f}"))
    said = notice(recording, "repeated-time")
    # 0.000 to 0.300 are 301 stamps: 300 of the 2999 steps change, all others repeat.
    assert said.numbers["repeated"] == 2999 - 300
    # The promise: the true rate lies within the stated doubt.
    assert abs(recording.rate_hz / 10_000 - 1) <= said.numbers["rate_u_ratio"]
    assert said.numbers["rate_u_ratio"] == pytest.approx(1e-3 / 0.2999, rel=0.01)


@pytest.mark.parametrize("step_s", [1.37e-3, 2.9e-4, 1 / 4410])
def test_too_few_digits_are_said_and_the_true_rate_lies_within_the_stated_doubt(step_s):
    recording = read(capture(np.arange(4000) * step_s, form="{:.4f}"))
    said = notice(recording, "coarse-time")
    assert abs(recording.rate_hz * step_s - 1) <= said.numbers["rate_u_ratio"]


def test_six_significant_digits_past_a_decade_are_rounding_and_not_unevenness():
    times = 0.0099 + np.arange(4000) * 3.3e-8
    recording = read(capture(times, form="{:.5e}"))
    assert codes(recording) == {"repeated-time"}
    assert recording.rate_hz == pytest.approx(1 / 3.3e-8, rel=1e-3)


def test_a_stated_rate_that_agrees_is_finer_than_the_stamps():
    raw = capture(np.arange(3000) * 1e-4, form="{:.3f}", head="Sample rate: 10 kHz\nTime (s),A (V)\n")
    assert read(raw).rate_hz == 10_000


def test_a_stated_rate_that_contradicts_is_said_with_both_numbers():
    recording = read(capture(np.arange(400) * 1e-3, head="Sample rate: 2 kS/s\nTime (s),A (V)\n"))
    said = notice(recording, "rate-contradicts")
    assert said.numbers["stated_hz"] == 2000
    assert said.numbers["column_hz"] == pytest.approx(1000, rel=1e-9)
    assert recording.rate_hz == pytest.approx(1000, rel=1e-9)


def test_a_step_that_drifts_is_said_with_the_residual_of_a_line():
    steps = np.where(np.arange(4000) < 2000, 1e-3, 1.001e-3)
    recording = read(capture(np.concatenate([[0], np.cumsum(steps)])))
    said = notice(recording, "drifting-time")
    # Two straight halves leave the chord by a quarter of n times the difference of the steps.
    assert said.numbers["worst_steps"] == pytest.approx(4000 / 4 * 1e-6 / 1.0005e-3, rel=0.01)
    assert said.numbers["first_step_s"] == pytest.approx(1e-3)
    assert said.numbers["last_step_s"] == pytest.approx(1.001e-3)


def test_only_changes_stored_is_uneven_and_the_small_step_is_named():
    kept = [i for i in range(3000) if i % 7 in {0, 1, 4}]
    said = notice(read(capture(np.array(kept) * 2.5e-9, form="{:.4e}")), "uneven-time")
    assert "whole multiples of 2.5e-09 s" in said.message


def test_a_gap_is_uneven_and_its_line_is_named():
    times = np.delete(np.arange(2000) * 1e-3, slice(501, 520))
    assert "line 503" in notice(read(capture(times)), "uneven-time").message


def test_single_precision_times_at_one_second_are_rounded_not_uneven():
    times = np.float32(1 + np.arange(1000) * 1e-6).astype(float)
    recording = read(capture(times, form="{:.9g}"))
    said = notice(recording, "coarse-time")
    assert abs(recording.rate_hz / 1e6 - 1) <= said.numbers["rate_u_ratio"]


def test_single_precision_times_that_stand_still_are_refused():
    times = np.float32(100 + np.arange(8) * 1e-7).astype(float)
    with pytest.raises(BrokenFileError, match="clock"):
        read(capture(times, form="{:.9g}"))


def test_time_that_falls_by_a_thousand_is_told_from_records_that_start_again():
    by_unit = [*np.arange(1, 10) * 100.0, *np.arange(10, 30) * 0.1]
    with pytest.raises(BrokenFileError, match="factor of 1000") as caught:
        read(capture(by_unit, form="{:.2f}", head="Time (ns),A (V)\n"))
    assert "line 11" in caught.value.why
    again = [*np.arange(30) * 0.1, *np.arange(30) * 0.1]
    with pytest.raises(BrokenFileError, match="several records"):
        read(capture(again))
    with pytest.raises(BrokenFileError, match="falls from"):
        read(capture(np.arange(30)[::-1] * 0.1))


def test_the_hint_of_a_broken_clock_cures_it():
    raw = capture(np.arange(30)[::-1] * 0.1)
    recording = read(raw, time_column=0, rate_hz=10.0)
    assert recording.rate_hz == 10
    assert len(recording.channels) == 2  # the column without trust is still there to look at


def test_a_stated_length_that_contradicts_is_said():
    recording = read(capture(np.arange(50) * 1e-3, head="Points: 100\nDuration: 100 ms\nTime (s),A (V)\n"))
    said = [one for one in recording.notices if one.code == "length-contradicts"]
    assert [one.numbers["claimed"] for one in said] == [100, 100]
    assert {one.numbers["rows"] for one in said} == {50}


def test_a_rate_and_a_step_that_contradict_are_refused_until_the_person_says_the_rate():
    raw = b"Sample rate: 1 MHz\nXInc: 1e-3\nXUnits: s\nData:\n1.5\n2.5\n3.5\n"
    with pytest.raises(BrokenFileError, match="contradicts itself"):
        read(raw)
    assert read(raw, rate_hz=1000.0).rate_hz == 1000


def test_the_persons_rate_wins_and_the_files_own_is_said():
    recording = read(capture(np.arange(50) * 1e-3), rate_hz=48_000.0)
    assert recording.rate_hz == 48_000
    assert notice(recording, "rate-overruled").numbers["file_hz"] == pytest.approx(1000)


def test_no_clock_at_all_is_asked_for_and_the_answer_cures_it():
    raw = b"A (V)\n" + b"".join(b"%.3f\n" % x for x in np.sin(np.arange(30.0)))
    with pytest.raises(NeedsAnswerError, match="--rate-hz"):
        read(raw)
    assert read(raw, rate_hz=96_000.0).rate_hz == 96_000


@pytest.mark.parametrize(
    ("stated", "hertz"), [("1.25 MS/s", 1.25e6), ("250 kSa/s", 250e3), ("48 kHz", 48e3), ("96000", 96e3)]
)
def test_stated_rates_in_their_spellings(stated, hertz):
    assert read(f"Sample rate: {stated}\nA (V)\n0.5\n1.5\n0.5\n".encode()).rate_hz == pytest.approx(hertz)


def test_times_of_day_and_midnight():
    rows = "".join(f"23:59:{50 + i}.500;{i},25\n" if i < 10 else f"00:00:{i - 10:02d}.500;{i},25\n" for i in range(20))
    recording = read(("Clock;A (V)\n" + rows).encode())
    assert recording.rate_hz == pytest.approx(1)
    assert recording.start_s == 86390.5
    assert codes(recording) == {"past-midnight"}


def test_dates_with_times_need_no_guess_at_midnight():
    rows = "".join(
        f"2031-05-{14 + i // 10} {23 if i < 10 else 0:02d}:{59 if i < 10 else 0:02d}:{(50 + i) % 60:02d},{i}.5\n"
        for i in range(20)
    )
    recording = read(("When,A (V)\n" + rows).encode())
    assert (recording.rate_hz, codes(recording)) == (pytest.approx(1), set())
