"""Every way a WAV file gets its lengths wrong: the samples come out, and the fault is said."""

import os
import struct
import time

import numpy as np
import pytest

from wattproof.errors import BrokenFileError, UnknownFormatError
from wattproof.readers import open_recording


def codes(recording):
    return {notice.code for notice in recording.notices}


def notice(recording, code):
    return next(one for one in recording.notices if one.code == code)


@pytest.fixture
def truth(sine16):
    return np.frombuffer(sine16, dtype="<i2") / 32768


def test_a_plain_file_has_nothing_to_complain_of(write, riff, sine16, truth):
    recording = open_recording(write(riff(data=sine16)))
    assert (recording.rate_hz, recording.n_samples, recording.notices) == (48000.0, 480, ())
    np.testing.assert_array_equal(recording.read().samples[0], truth)


@pytest.mark.parametrize("claimed", [0, 0x7FFFFFFF, 36, 0xFFFFFFFF])
def test_the_size_of_the_whole_is_only_advice(write, riff, sine16, truth, claimed):
    recording = open_recording(write(riff(data=sine16, riff=claimed)))
    np.testing.assert_array_equal(recording.read().samples[0], truth)
    assert codes(recording) == {"file-size"}
    assert notice(recording, "file-size").numbers == {"claimed_bytes": claimed + 8, "present_bytes": 44 + 960}


def test_a_cut_off_file_gives_what_is_there_and_both_numbers(write, riff, sine16, truth):
    recording = open_recording(write(riff(data=sine16)[: 44 + 480]))
    np.testing.assert_array_equal(recording.read().samples[0], truth[:240])
    assert codes(recording) == {"cut-off"}
    assert notice(recording, "cut-off").numbers == {"claimed_bytes": 960, "present_bytes": 480}


def test_half_a_frame_at_the_cut_is_left_out(write, riff, sine16, truth):
    recording = open_recording(write(riff(data=sine16)[: 44 + 481]))
    assert recording.n_samples == 240
    assert codes(recording) == {"cut-off", "partial-frame"}


@pytest.mark.parametrize("junk", [b"abc", b"\x01\x02\x03\x04\x05\x06\x07\x08\x09", bytes(1000)])
def test_stray_bytes_after_the_samples_are_not_sound(write, riff, sine16, truth, junk):
    recording = open_recording(write(riff(data=sine16) + junk))
    np.testing.assert_array_equal(recording.read().samples[0], truth)
    assert notice(recording, "trailing-bytes").numbers == {"bytes": len(junk)}


@pytest.mark.parametrize(("claimed", "whole"), [(0xFFFFFFFF, 0xFFFFFFFF), (0, 36)])
def test_a_recorder_that_never_finished_is_read_to_the_end(write, riff, sine16, truth, claimed, whole):
    recording = open_recording(write(riff(data=sine16, dsize=claimed, riff=whole)))
    np.testing.assert_array_equal(recording.read().samples[0], truth)
    assert codes(recording) == {"unfinished-recording"}


def test_a_sound_chunk_that_is_truly_empty_is_no_record(write, riff, chunk):
    with pytest.raises(BrokenFileError, match="no samples"):
        open_recording(write(riff(data=b"", post=chunk(b"LIST", b"INFO"))))


@pytest.mark.parametrize("pad", [True, False])
def test_an_odd_chunk_with_or_without_its_pad(write, riff, chunk, sine16, truth, pad):
    odd = chunk(b"LIST", b"INFOICMT\x05\0\0\0hello", pad=pad)
    recording = open_recording(write(riff(data=sine16, pre=odd)))
    np.testing.assert_array_equal(recording.read().samples[0], truth)
    assert ("missing-pad" in codes(recording)) is not pad
    assert recording.metadata["info_comment"] == "hello"


def test_a_chunk_of_zeros_is_skipped_by_its_size(write, riff, chunk, sine16, truth):
    recording = open_recording(write(riff(data=sine16, pre=chunk(b"LIST", bytes(64)))))
    np.testing.assert_array_equal(recording.read().samples[0], truth)
    assert recording.notices == ()


def test_frames_come_from_channels_and_bits_not_from_a_wrong_frame_size(write, riff, sine16, truth):
    recording = open_recording(write(riff(fmt=(1, 1, 48000, 192000, 4, 16), data=sine16)))
    np.testing.assert_array_equal(recording.read().samples[0], truth)
    assert codes(recording) == {"frame-size", "byte-rate"}


def test_a_frame_size_is_believed_where_the_spare_bytes_are_empty(write, riff, truth):
    in_four_bytes = (np.round(truth * 2**23).astype("<i4") << 8).astype("<i4").tobytes()
    recording = open_recording(write(riff(fmt=(1, 1, 48000, 192000, 4, 24), data=in_four_bytes)))
    np.testing.assert_array_equal(recording.read().samples[0], truth)
    assert codes(recording) == {"frame-size"}


def test_three_channels_of_24_bits_with_frames_of_four_bytes(write, riff):
    values = np.arange(-22, 23) * 1000
    data = b"".join(int(value).to_bytes(3, "little", signed=True) for value in values)
    recording = open_recording(write(riff(fmt=(1, 3, 8000, 72000, 4, 24), data=data)))
    assert recording.n_samples == 15
    np.testing.assert_array_equal(recording.read().samples, values.reshape(15, 3).T / 2**23)
    assert "frame-size" in codes(recording)


def test_sizes_of_64_bits_come_from_their_own_chunk(write, sine16, truth):
    ds64 = struct.pack("<QQQI", 0, len(sine16), 480, 0)
    body = b"WAVE" + b"ds64" + struct.pack("<I", 28) + ds64
    body += b"fmt " + struct.pack("<IHHIIHH", 16, 1, 1, 48000, 96000, 2, 16)
    for mark in (b"RF64", b"BW64"):
        content = mark + b"\xff" * 4 + body + b"data" + b"\xff" * 4 + sine16
        recording = open_recording(write(content + b"LIST" + struct.pack("<I", 4) + b"INFO"))
        np.testing.assert_array_equal(recording.read().samples[0], truth)
        assert recording.notices == ()


@pytest.mark.parametrize("order", ["<", ">"])
def test_byte_order_follows_the_first_four_bytes(write, riff, truth, order):
    data = np.round(truth * 32768).astype(f"{order}i2").tobytes()
    np.testing.assert_array_equal(open_recording(write(riff(data=data, order=order))).read().samples[0], truth)


def sparse(path, header: bytes, size: int):
    with path.open("wb") as file:
        file.write(header)
        file.truncate(size)
    return path


def test_a_length_past_32_bits_is_the_file_s_not_the_wrapped_one(tmp_path, riff):
    header = riff(data=b"", dsize=96000, riff=96036)
    recording = open_recording(sparse(tmp_path / "long.wav", header, 2**32 + 96000 + 44))
    assert recording.n_samples == (2**32 + 96000) // 2
    assert notice(recording, "length-wrapped").numbers == {"claimed_bytes": 96000, "present_bytes": 2**32 + 96000}
    assert recording.read(2**31 + 7, 2**31 + 9).samples.tolist() == [[0.0, 0.0]]


def test_nine_hours_of_float_are_nine_hours(tmp_path, riff):
    """Case M05: the wrapped 32-bit length says 2 h 14 min."""
    true_bytes = 44100 * 4 * 9 * 3600
    assert true_bytes == 5715360000
    header = riff(fmt=(3, 1, 44100, 176400, 4, 32), data=b"", dsize=true_bytes % 2**32, riff=true_bytes % 2**32)
    recording = open_recording(sparse(tmp_path / "nine hours.wav", header, true_bytes + 44))
    assert recording.n_samples / recording.rate_hz / 3600 == 9.0
    naive_hours = notice(recording, "length-wrapped").numbers["claimed_bytes"] / 4 / 44100 / 3600
    assert naive_hours == pytest.approx(2.2367, abs=0.001)


def test_a_long_chain_of_empty_chunks_ends_in_time(write, riff, sine16):
    started = time.monotonic()
    with pytest.raises(BrokenFileError, match="no 'fmt' chunk"):
        open_recording(write(b"RIFF\0\0\0\0WAVE" + b"JUNK\0\0\0\0" * 200_000))
    recording = open_recording(write(riff(data=sine16, post=b"JUNK\0\0\0\0" * 10_000)))
    assert recording.n_samples == 480
    assert "many-chunks" in codes(recording)
    assert time.monotonic() - started < 5


@pytest.mark.parametrize(
    ("fmt", "says"),
    [
        ((1, 0, 48000, 0, 0, 16), "no channels"),
        ((1, 1, 0, 0, 2, 16), "0 Hz"),
        ((1, 1, 48000, 0, 2, 0), "0 bits"),
        ((1, 1, 48000, 0, 2, 200), "200 bits"),
        ((3, 1, 48000, 0, 3, 24), "24 bits"),
    ],
)
def test_a_header_that_cannot_be_is_refused(write, riff, sine16, fmt, says):
    with pytest.raises(BrokenFileError, match=says):
        open_recording(write(riff(fmt=fmt, data=sine16)))


@pytest.mark.parametrize(("tag", "name"), [(6, "A-law"), (7, "mu-law"), (2, "ADPCM"), (0x55, "MP3"), (0x31, "GSM")])
def test_compressed_samples_are_refused_by_name(write, riff, tag, name):
    with pytest.raises(UnknownFormatError, match=name):
        open_recording(write(riff(fmt=(tag, 1, 8000, 8000, 1, 8), data=bytes(100))))


def test_a_file_without_sound_says_what_it_has(write, chunk):
    with pytest.raises(BrokenFileError) as caught:
        open_recording(write(b"RIFF\0\0\0\0WAVE" + chunk(b"bext", bytes(602))))
    assert "'bext'" in caught.value.why


def test_reading_never_touches_the_file(write, riff, sine16):
    content = riff(fmt=(3, 1, 48000, 192000, 4, 32), data=np.float32([2.0, -0.5]).tobytes())
    path = write(content)
    before = path.stat().st_mtime_ns
    assert open_recording(path).read().samples.tolist() == [[2.0, -0.5]]
    assert (path.read_bytes(), path.stat().st_mtime_ns) == (content, before)


def test_a_file_that_shrinks_while_read_is_an_error_not_noise(write, riff, sine16):
    path = write(riff(data=sine16))
    recording = open_recording(path)
    os.truncate(path, 500)
    with pytest.raises(BrokenFileError, match="shorter"):
        recording.read()
    with pytest.raises(BrokenFileError, match="shorter"):
        list(recording.blocks(100))


def test_words_beside_the_samples_are_kept_whatever_their_coding(write, riff, chunk, sine16):
    bext = (
        b"Kingfisher run 3".ljust(256, b"\0") + b"boathouse".ljust(32, b"\0") + bytes(32) + b"2031-05-14" + b"10:11:12"
    )
    bext += struct.pack("<Q", 48000 * 3600) + bytes(256)
    info = b"INFO" + chunk(b"ICMT", b"4 \xb0C drift") + chunk(b"ISFT", "Boje µ".encode())
    xml = b"<BWFXML><NOTE>load 4 ohm</NOTE></BWFXML>"
    pre = chunk(b"bext", bext) + chunk(b"LIST", info) + chunk(b"iXML", xml)
    words = open_recording(write(riff(data=sine16, pre=pre))).metadata
    assert words["bext_description"] == "Kingfisher run 3"
    assert words["bext_date"] == "2031-05-14"
    assert words["bext_samples_since_midnight"] == str(48000 * 3600)
    assert words["info_comment"] == "4 °C drift"
    assert words["info_software"] == "Boje µ"
    assert words["ixml_note"] == "load 4 ohm"
