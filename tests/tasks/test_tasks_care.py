"""Nothing that was recorded is written over, no number without sense is measured with, and any name can be said."""

import os
import struct
import sys

import numpy as np
import pytest

from wattproof.errors import SettingsError
from wattproof.tasks import Wishes, measure, read


def tone_file(path):
    t = np.arange(4_800) / 48_000.0
    data = np.round(16_000 * np.sin(2 * np.pi * 997.0 * t)).astype("<i2").tobytes()
    head = (
        b"WAVEfmt " + struct.pack("<IHHIIHH", 16, 1, 1, 48_000, 96_000, 2, 16) + b"data" + struct.pack("<I", len(data))
    )
    path.write_bytes(b"RIFF" + struct.pack("<I", len(head) + len(data)) + head + data)
    return path


@pytest.mark.parametrize("answer", ["html", "csv"])
def test_a_capture_is_never_written_over(tmp_path, answer):
    capture = tone_file(tmp_path / "steady.wav")
    before = capture.read_bytes()
    with pytest.raises(SettingsError, match="written over"):
        measure([capture], **{answer: tmp_path / "." / "steady.wav"})
    assert capture.read_bytes() == before


def test_two_answers_do_not_share_a_file(tmp_path):
    with pytest.raises(SettingsError, match="written over"):
        measure([tone_file(tmp_path / "steady.wav")], html=tmp_path / "out", csv=tmp_path / "out")


@pytest.mark.parametrize(
    "wish",
    [
        {"volts_per_unit": 0.0},
        {"volts_per_unit": float("nan")},
        {"volts_per_unit": float("inf")},
        {"steady_power_w": -3.0},
        {"steady_power_w": float("nan")},
        {"high_hz": -4.0},
        {"low_hz": 5_000.0, "high_hz": 100.0},
    ],
    ids=str,
)
def test_numbers_without_sense_are_refused_by_their_option(wish):
    option = "--" + list(wish)[-1].replace("_", "-")
    with pytest.raises(SettingsError, match=option):
        Wishes(**wish)


def test_a_reversed_channel_may_have_a_scale_below_zero():
    assert Wishes(volts_per_unit=-42.0).volts_per_unit == -42.0


@pytest.mark.skipif(sys.platform in {"win32", "darwin"}, reason="file names there are always text")
def test_a_name_that_is_no_utf_8_can_be_answered_in_every_form(tmp_path):
    path = tone_file(tmp_path / os.fsdecode(b"steady \xff\xfe.wav"))
    assert read([path]).files[0].file == r"steady \xff\xfe.wav"
    found = measure([path], html=tmp_path / "page.html", csv=tmp_path / "table.csv")
    assert r"steady \\xff\\xfe.wav" in found.captures[0].model_dump_json()
    assert (tmp_path / "page.html").read_text(encoding="utf-8")
