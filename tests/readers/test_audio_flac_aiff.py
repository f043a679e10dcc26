"""FLAC and AIFF, whole, cut off and damaged, against what was written."""

import struct

import numpy as np
import pytest
import soundfile

from wattproof.errors import BrokenFileError, UnknownFormatError
from wattproof.readers import open_recording

N = 30000


@pytest.fixture
def samples():
    noise = np.random.default_rng(7).normal(0, 0.01, (N, 2))
    tone = 0.5 * np.sin(2 * np.pi * 997 / 48000 * np.arange(N))[:, None]
    return np.round((tone + noise) * 2**15) / 2**15


@pytest.fixture
def flac(tmp_path, samples):
    path = tmp_path / "teal.flac"
    soundfile.write(path, samples, 48000, subtype="PCM_16")
    return path


def test_a_whole_flac_file_reads_as_written(flac, samples):
    recording = open_recording(flac)
    assert (recording.reader, recording.n_samples, recording.rate_hz, recording.notices) == ("flac", N, 48000.0, ())
    np.testing.assert_array_equal(recording.read().samples, samples.T)
    np.testing.assert_array_equal(recording.read(12345, 12399).samples, samples[12345:12399].T)
    np.testing.assert_array_equal(np.concatenate([one.copy() for one in recording.blocks(1000)]), samples)
    assert recording.channels[1].step == 2.0**-15


@pytest.mark.parametrize("left", [0.4, 0.75, 0.9999])
def test_a_cut_off_flac_file_gives_every_sample_before_the_cut(flac, samples, left):
    content = flac.read_bytes()
    flac.write_bytes(content[: int(len(content) * left)])
    recording = open_recording(flac)
    (found,) = recording.notices
    assert found.code == "cut-off"
    assert found.numbers == {"claimed_samples": N, "present_samples": recording.n_samples}
    assert left * N - 4096 * 2 < recording.n_samples < N
    np.testing.assert_array_equal(recording.read().samples, samples.T[:, : recording.n_samples])
    np.testing.assert_array_equal(recording.read(5000, 6000).samples, samples.T[:, 5000:6000])
    assert sum(len(one) for one in recording.blocks(777)) == recording.n_samples


@pytest.mark.parametrize(("total", "code"), [(0, "unfinished-recording"), (2**36 - 1, "cut-off")])
def test_a_flac_length_that_is_unknown_or_absurd_is_counted(flac, samples, total, code):
    content = bytearray(flac.read_bytes())
    kept = int.from_bytes(content[18:26], "big") >> 36 << 36
    content[18:26] = (kept | total).to_bytes(8, "big")
    flac.write_bytes(content)
    recording = open_recording(flac)
    assert [one.code for one in recording.notices] == [code]
    np.testing.assert_array_equal(recording.read().samples, samples.T)


def test_damage_in_the_middle_of_flac_is_an_error_with_the_place(flac):
    content = bytearray(flac.read_bytes())
    middle = len(content) // 2
    content[middle : middle + 60] = b"\x55" * 60
    flac.write_bytes(content)
    with pytest.raises(BrokenFileError, match="damaged"):
        open_recording(flac).read()


def test_flac_of_header_only_is_refused(flac):
    flac.write_bytes(flac.read_bytes()[:100])
    with pytest.raises(BrokenFileError):
        open_recording(flac)


@pytest.mark.parametrize("subtype", ["PCM_S8", "PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"])
@pytest.mark.parametrize("endian", ["FILE", "LITTLE"])
def test_aiff_reads_as_another_library_reads_it(tmp_path, samples, subtype, endian):
    path = tmp_path / "avocet.aiff"
    if endian == "LITTLE" and subtype in {"PCM_S8", "PCM_U8", "FLOAT", "DOUBLE"}:
        endian = "FILE"
    soundfile.write(path, samples, 44100, subtype=subtype, endian=endian)
    recording = open_recording(path)
    assert (recording.reader, recording.rate_hz, recording.notices) == ("aiff", 44100.0, ())
    np.testing.assert_array_equal(recording.read().samples, soundfile.read(path)[0].T)


def build_aiff(
    data: bytes, *, claimed: int, rate: bytes = bytes.fromhex("400ebb80000000000000"), form=b"AIFF", coding=b""
):
    common = struct.pack(">HIH", 1, claimed, 16) + rate + coding
    body = form + b"COMM" + struct.pack(">I", len(common)) + common
    body += b"SSND" + struct.pack(">III", len(data) + 8, 0, 0) + data
    return b"FORM" + struct.pack(">I", len(body)) + body


def test_an_aiff_count_that_contradicts_its_sound_is_reported(write):
    recording = open_recording(write(build_aiff(struct.pack(">4h", 1, 2, 3, 4), claimed=10)))
    assert recording.rate_hz == 48000.0
    assert (recording.read().samples[0] * 32768).tolist() == [1, 2, 3, 4]
    assert recording.notices[0].numbers == {"claimed_samples": 10, "present_samples": 4}


def test_a_cut_off_aiff_file(write):
    recording = open_recording(write(build_aiff(bytes(100), claimed=50)[:-40]))
    assert recording.n_samples == 30
    assert [one.code for one in recording.notices] == ["cut-off"]


def test_a_compressed_aifc_file_is_refused_by_name(write):
    with pytest.raises(UnknownFormatError, match="ulaw"):
        open_recording(write(build_aiff(bytes(8), claimed=4, form=b"AIFC", coding=b"ulaw\0\0")))


@pytest.mark.parametrize("rate", [bytes(10), b"\x7f\xff" + bytes(8), b"\xc0\x0e\xbb\x80" + bytes(6)])
def test_an_aiff_rate_that_cannot_be_is_refused(write, rate):
    with pytest.raises(BrokenFileError, match="cannot be right"):
        open_recording(write(build_aiff(bytes(8), claimed=4, rate=rate)))
