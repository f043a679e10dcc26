"""What a file is said to be, and which samples are called clipped."""

import json

import numpy as np
import pytest

from wattproof.errors import Notice
from wattproof.readers import Answers, FileSummary, open_recording, summarize
from wattproof.readers.summary import BLOCK_VALUES
from wattproof.waveform import Channel, MemoryRecording, Waveform


def memory(*tracks, full_scale=None, step=None, unit="V", notices=()):
    samples = np.array(tracks, dtype=np.float64)
    channels = tuple(
        Channel(name=str(number + 1), unit=unit, full_scale=full_scale, step=step) for number in range(len(samples))
    )
    wave = Waveform(samples=samples, rate_hz=48000.0, channels=channels)
    return MemoryRecording(waveform=wave, source="dunlin.csv", reader="memory", notices=notices)


def found(summary):
    return {one.code for one in summary.warnings}


def tone(n=4800, peak=1.0, tone_hz=997.0):
    return peak * np.sin(2 * np.pi * tone_hz / 48000 * np.arange(n) + 0.1)


def test_the_statistics_are_those_of_the_whole_record_though_it_is_read_in_pieces():
    rng = np.random.default_rng(3)
    tracks = rng.normal(2.0, 1.0, (2, BLOCK_VALUES + 1234))
    summary = summarize(memory(*tracks))
    for one, track in zip(summary.channels, tracks, strict=True):
        assert one.mean == pytest.approx(track.mean(), rel=1e-12)
        assert one.rms == pytest.approx(np.sqrt(np.mean(track**2)), rel=1e-12)
        assert (one.min, one.max) == (track.min(), track.max())
    assert (summary.samples, summary.duration_s) == (tracks.shape[1], tracks.shape[1] / 48000)


def test_its_json_has_the_agreed_shape():
    given = (Notice(code="cut-off", message="It is cut off.", hint="Copy it again."),)
    text = summarize(memory(tone(), notices=given)).model_dump_json()
    assert FileSummary.model_validate_json(text).file == "dunlin.csv"
    plain = json.loads(text)
    assert " ".join(plain) == "file reader sample_rate_hz samples duration_s start_s channels metadata warnings"
    assert set(plain["channels"][0]) == {"name", "unit", "mean", "rms", "min", "max", "clipped"}
    assert plain["warnings"] == [{"code": "cut-off", "message": "It is cut off.", "hint": "Copy it again."}]


@pytest.mark.parametrize("bits", [8, 16, 24])
def test_runs_at_full_scale_are_clipped(bits):
    step = 2.0 ** (1 - bits)
    driven = np.clip(np.round(tone(peak=1.3) / step) * step, -1.0, 1.0 - step)
    summary = summarize(memory(driven, full_scale=1.0, step=step, unit="FS"))
    at_rail = (driven == 1.0 - step) | (driven == -1.0)
    assert "clipped-input" in found(summary)
    # A lone sample at the rail between two that are not is left out: it may be a mere touch.
    assert 0.9 * at_rail.sum() <= summary.channels[0].clipped <= at_rail.sum()


def test_one_touch_of_full_scale_is_not_clipping():
    touch = np.zeros(100)
    touch[[10, 50]] = 1.0 - 2.0**-15, -1.0
    summary = summarize(memory(touch, full_scale=1.0, step=2.0**-15, unit="FS"))
    assert (summary.channels[0].clipped, found(summary)) == (0, set())


@pytest.mark.parametrize("offset", range(-3, 4))
def test_a_run_over_the_edge_of_two_blocks_is_counted_once(offset):
    record = np.zeros(BLOCK_VALUES + 100)
    start = BLOCK_VALUES + offset
    record[start : start + 3] = 1.0 - 2.0**-15
    summary = summarize(memory(record, full_scale=1.0, step=2.0**-15, unit="FS"))
    assert summary.channels[0].clipped == 3
    assert "3 samples in 1 runs" in summary.warnings[0].message


def test_a_float_file_above_full_scale_is_not_clipped_but_said(write, riff):
    values = np.float32([2.0, 2.0, -0.5, 0.1]).tobytes()
    summary = summarize(open_recording(write(riff(fmt=(3, 1, 48000, 192000, 4, 32), data=values))))
    assert (summary.channels[0].clipped, summary.channels[0].max) == (0, 2.0)
    assert found(summary) == {"above-full-scale"}


def test_a_float_file_clipped_at_one_is_clipped(write, riff):
    values = np.clip(tone(peak=1.5), -1, 1).astype("<f4")
    summary = summarize(open_recording(write(riff(fmt=(3, 1, 48000, 192000, 4, 32), data=values.tobytes()))))
    assert found(summary) == {"clipped-input"}
    assert summary.channels[0].clipped > 0.4 * values.size


def eight_bit(values, full=1.0):
    return np.round(values / full * 100) * full / 100


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("a sine through 8 bits", eight_bit(tone())),
        ("a slow sine through 8 bits", eight_bit(tone(tone_hz=47.0))),
        ("two levels of DC", np.where(np.random.default_rng(1).random(4800) < 0.3, 9.2, 9.6)),
        ("logic with few levels", eight_bit(np.where(np.arange(4800) % 100 < 50, 3.3, 0.0), 10.0)),
        ("one value", np.full(4800, 13.8)),
        ("all zero", np.zeros(4800)),
        ("a noisy square wave", np.sign(tone()) + np.random.default_rng(2).normal(0, 0.05, 4800)),
        ("a temperature that levels off", np.round(60 * (1 - np.exp(-np.arange(4800) / 600)), 1)),
        ("a rectified current that rests at zero", eight_bit(np.maximum(tone(), 0.0))),
        ("white noise", np.random.default_rng(4).normal(0, 1, 4800)),
    ],
)
def test_what_is_not_clipped_is_not_called_so(name, values):
    summary = summarize(memory(values))
    assert (summary.channels[0].clipped, found(summary)) == (0, set()), name


@pytest.mark.parametrize("quantise", [eight_bit, lambda values: values])
def test_a_trace_that_ran_into_the_end_of_its_range_is_suspicious(quantise):
    values = np.clip(quantise(tone(peak=1.4)), -2.0, 0.8)
    summary = summarize(memory(values))
    assert found(summary) == {"flat-extremes"}
    assert summary.channels[0].clipped == pytest.approx((values == 0.8).sum(), rel=0.05)


def test_off_scale_marks_and_nan_are_counted_and_kept_out_of_the_rest():
    values = tone()
    values[100:103] = 9.91e37
    values[200] = -np.inf
    values[300:305] = np.nan
    summary = summarize(memory(values))
    (one,) = summary.channels
    assert found(summary) == {"off-scale", "nan-samples"}
    assert one.clipped == 4
    assert one.max == pytest.approx(1.0, abs=1e-3)
    assert one.rms == pytest.approx(1 / np.sqrt(2), rel=1e-2)
    assert "5 of 4800" in next(note.message for note in summary.warnings if note.code == "nan-samples")


def test_a_channel_without_one_number_has_no_statistics():
    summary = summarize(memory(np.full(10, np.nan), np.zeros(10)))
    assert summary.channels[0].model_dump(exclude={"name", "unit"}) == {
        "mean": None, "rms": None, "min": None, "max": None, "clipped": 0,
    }  # fmt: skip
    assert json.loads(summary.model_dump_json())["channels"][0]["mean"] is None


def test_a_nan_that_complains_when_touched_is_a_nan_like_any_other(tmp_path):
    """A signalling NaN raises the processor's invalid flag in arithmetic."""
    words = np.full(64, 0x3F800000, dtype="<u4")
    words[7] = 0x7F800001
    np.save(tmp_path / "rail.npy", words.view("<f4"))
    recording = open_recording(tmp_path / "rail.npy", Answers(rate_hz=1.0))
    assert np.isnan(recording.read().samples[0, 7])
    assert found(summarize(recording)) == {"nan-samples"}


def test_what_the_reader_said_already_is_not_said_twice():
    values = tone()
    values[5] = 9.9e37
    given = (Notice(code="off-scale", message="Line 7: 9.9E+37."),)
    assert [one.message for one in summarize(memory(values, notices=given)).warnings] == ["Line 7: 9.9E+37."]
