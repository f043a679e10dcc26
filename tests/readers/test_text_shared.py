"""The real captures that stand beside the project: every figure of their own list must come out."""

import json

import numpy as np
import pytest

from wattproof.errors import NotAWaveformError
from wattproof.readers.contract import Answers
from wattproof.readers.text_capture import TextReader

# What the list calls a unit, and what the file's own word for it is in SI; None where the file does not say.
UNITS = {"Volt": "V", "V": "V", "N": "N", "m/s^2": "m/s^2", "?": None, "mV (unit not stated)": None}
CAPTURES = [
    "daq_decimal_comma_no_x.lvm",
    "daq_latin1_degree_comments.lvm",
    "scope_extra_column_4ch.csv",
    "scope_in_s_header_3ch.csv",
    "scope_no_header_xyy.csv",
    "scope_preamble_then_data.csv",
    "scope_second_volt_float32_time.csv",
    "scope_sequence_start_increment_2ch.csv",
    "scope_sequence_start_increment_4ch.csv",
    "scope_split_header_timebase_ps.csv",
    "scope_two_row_header_power_amp_1khz.csv",
]
OTHERS = [
    "frequency_response_not_a_capture.csv",
    "network_trace_quoted_hash_not_a_capture.csv",
    "scope_settings_sidecar_not_a_capture.txt",
]
pytestmark = pytest.mark.shared


def read(shared_data, name):
    return TextReader().open(shared_data / "captures" / name, Answers())


@pytest.mark.parametrize("name", CAPTURES)
def test_every_listed_figure_of_a_capture_comes_out(shared_data, name):
    wanted = json.loads((shared_data / "captures" / "expected.json").read_text(encoding="utf-8"))[name]
    recording = read(shared_data, name)
    assert recording.n_samples == wanted["n"]
    # The list's own rule for the rate, so both differ by rounding only; times are the very cells of the file.
    assert recording.rate_hz == pytest.approx(wanted["fs"], rel=1e-12)
    assert recording.start_s == wanted["t0"]
    assert recording.start_s + (recording.n_samples - 1) / recording.rate_hz == pytest.approx(wanted["t1"], rel=1e-6)
    assert len(recording.channels) == len(wanted["ch"])
    for listed, channel, values in zip(
        wanted["ch"].values(), recording.channels, recording.read().samples, strict=True
    ):
        assert np.isfinite(values).sum() == listed["n_finite"]
        assert values.mean() == pytest.approx(listed["mean"], rel=1e-12)
        assert np.sqrt(np.mean(values**2)) == pytest.approx(listed["rms"], rel=1e-12)
        assert values.std() == pytest.approx(listed["ac_rms"], rel=1e-9)
        assert (values.min(), values.max()) == (listed["min"], listed["max"])
        assert np.unique(values).size == listed["levels"]
        if listed["unit"]:
            assert channel.unit == UNITS[listed["unit"]]


@pytest.mark.parametrize("name", OTHERS)
def test_what_is_no_waveform_is_refused_with_the_reason(shared_data, name):
    with pytest.raises(NotAWaveformError) as caught:
        read(shared_data, name)
    assert caught.value.why
    assert caught.value.hint
    assert ("frequency" in caught.value.why) == (name != "scope_settings_sidecar_not_a_capture.txt")


def test_every_text_file_of_the_list_is_tested_here(shared_data):
    folder = shared_data / "captures"
    assert {path.name for path in folder.iterdir() if path.suffix in {".csv", ".lvm", ".txt"}} == {*CAPTURES, *OTHERS}


@pytest.mark.parametrize(
    ("name", "codes"),
    [
        (
            "daq_latin1_degree_comments.lvm",
            {
                "encoding",
                "time-unit-assumed",
                "rate-contradicts",
                "uneven-time",
                "length-contradicts",
                "words-column",
            },
        ),
        ("scope_no_header_xyy.csv", {"time-unit-assumed", "unit-unknown"}),
        ("scope_preamble_then_data.csv", {"interpolated-samples"}),
        ("scope_split_header_timebase_ps.csv", {"time-unit-assumed", "unit-unknown"}),
        ("scope_two_row_header_power_amp_1khz.csv", set()),
        ("scope_in_s_header_3ch.csv", set()),
    ],
)
def test_what_is_doubtful_is_said_and_nothing_else(shared_data, name, codes):
    assert {notice.code for notice in read(shared_data, name).notices} == codes


def test_units_and_names_of_the_slow_log_keep_their_letters(shared_data):
    recording = read(shared_data, "daq_latin1_degree_comments.lvm")
    assert [channel.unit for channel in recording.channels] == ["MPa", "°C", "ml"]
    assert recording.channels[0].name == "Pressão ABS."


def test_preamble_is_kept_as_metadata(shared_data):
    wanted = json.loads((shared_data / "captures" / "expected.json").read_text(encoding="utf-8"))
    notes = wanted["scope_preamble_then_data.csv"]["notes"]
    metadata = read(shared_data, "scope_preamble_then_data.csv").metadata
    assert {key: metadata[key] for key in notes} == notes
