"""One full scale for every coding, checked against arithmetic and against an independent writer."""

import json
import struct

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wattproof.readers import Answers, open_recording
from wattproof.readers.pcm import Coding

GUID = "0000 1000 8000 00aa 0038 9b71"


def extensible(tag: int, valid: int) -> bytes:
    return struct.pack("<HHII", 22, valid, 0, tag) + bytes.fromhex(GUID)


def test_24_bit_codes_of_case_m06():
    codes = bytes.fromhex("000080 ffff7f ffffff 010000")
    decoded = Coding(kind="i", n_bytes=3).decode(np.frombuffer(codes, dtype=np.uint8))
    assert (decoded * 2.0**23).tolist() == [-8388608, 8388607, -1, 1]
    assert decoded.tolist() == pytest.approx([-1.0, 0.99999988, -1.1920929e-07, 1.1920929e-07], abs=1e-9)


@pytest.mark.shared
def test_24_bit_codes_as_the_shared_case_states_them(shared_data):
    lines = (shared_data / "cases.jsonl").read_text(encoding="utf-8").splitlines()
    case = next(one for one in map(json.loads, lines) if one["id"] == "M06")
    raw = bytes(int(byte, 16) for triple in case["inputs"]["bytes_le"] for byte in triple)
    decoded = Coding(kind="i", n_bytes=3).decode(np.frombuffer(raw, dtype=np.uint8)).tolist()
    assert decoded == pytest.approx(case["expected"]["float"]["value"], abs=case["expected"]["float"]["tol"])


@pytest.mark.parametrize("n_bytes", range(1, 9))
@pytest.mark.parametrize("order", ["<", ">"])
def test_half_scale_reads_a_half_at_every_width(n_bytes, order):
    half = 1 << (8 * n_bytes - 2)
    byteorder = "little" if order == "<" else "big"
    raw = b"".join(code.to_bytes(n_bytes, byteorder, signed=True) for code in (half, -half, -2 * half, 0, 2 * half - 1))
    decoded = Coding(kind="i", n_bytes=n_bytes, order=order).decode(np.frombuffer(raw, dtype=np.uint8))
    assert decoded[:4].tolist() == [0.5, -0.5, -1.0, 0.0]
    assert decoded[4] == pytest.approx(1 - 2.0 ** (1 - 8 * n_bytes), rel=2**-52)


def test_eight_bits_are_unsigned(write, riff):
    recording = open_recording(write(riff(fmt=(1, 1, 8000, 8000, 1, 8), data=bytes([0, 64, 128, 255]))))
    assert recording.read().samples.tolist() == [[-1.0, -0.5, 0.0, 127 / 128]]
    assert recording.channels[0].step == 1 / 128


def test_twelve_bits_sit_at_the_top_of_two_bytes(write, riff):
    data = (np.array([1024, -1024, 2047, -2048]) * 16).astype("<i2").tobytes()
    recording = open_recording(write(riff(fmt=(1, 1, 48000, 96000, 2, 12), data=data)))
    assert recording.read().samples[0].tolist() == [0.5, -0.5, 2047 / 2048, -1.0]
    assert recording.channels[0].step == 2.0**-11
    assert recording.notices == ()


def test_valid_bits_in_the_upper_bytes_are_the_rule(write, riff):
    data = (np.array([2**22, -(2**22), 1]) << 8).astype("<i4").tobytes()
    recording = open_recording(write(riff(fmt=(0xFFFE, 1, 48000, 192000, 4, 32), extra=extensible(1, 24), data=data)))
    assert recording.read().samples[0].tolist() == [0.5, -0.5, 2.0**-23]
    assert recording.channels[0].step == 2.0**-23
    assert recording.notices == ()


@pytest.mark.parametrize("signed", [True, False])
def test_valid_bits_in_the_lower_bytes_are_read_by_the_rule_and_reported(write, riff, signed):
    codes = np.array([2**22, -(2**22), 1, 12345])
    data = (codes if signed else codes & 0xFFFFFF).astype("<i4").tobytes()
    recording = open_recording(write(riff(fmt=(0xFFFE, 1, 48000, 192000, 4, 32), extra=extensible(1, 24), data=data)))
    assert recording.read().samples[0][0] == 0.5 / 256
    (found,) = recording.notices
    assert found.code == "upper-bits-unused"
    assert found.numbers["factor"] == 256
    assert "256 times too small" in found.message
    assert ("positive" in found.message) is not signed


def test_valid_bits_that_are_fewer_than_those_used(write, riff):
    data = np.array([2**30 + 1, -(2**30) - 1]).astype("<i4").tobytes()
    recording = open_recording(write(riff(fmt=(0xFFFE, 1, 48000, 192000, 4, 32), extra=extensible(1, 24), data=data)))
    assert [one.code for one in recording.notices] == ["valid-bits"]
    assert recording.channels[0].step == 2.0**-31


def test_floats_above_full_scale_are_kept(write, riff):
    values = np.float32([2.0, 3.0, -16411.0, 1019.0])
    recording = open_recording(
        write(riff(fmt=(0xFFFE, 1, 44100, 176400, 4, 32), extra=extensible(3, 32), data=values.tobytes()))
    )
    assert recording.read().samples[0].tolist() == values.tolist()


def test_the_person_s_rate_wins_with_a_word(write, riff, sine16):
    recording = open_recording(write(riff(data=sine16)), Answers(rate_hz=44100.0))
    assert recording.rate_hz == 44100.0
    (found,) = recording.notices
    assert (found.code, found.numbers) == ("rate-overruled", {"file_hz": 48000.0, "rate_hz": 44100.0})
    assert open_recording(write(riff(data=sine16)), Answers(rate_hz=48000.0)).notices == ()


def test_a_unit_cannot_make_volts_of_full_scale(write, riff, sine16):
    recording = open_recording(write(riff(data=sine16)), Answers(units={"1": "V"}))
    assert recording.channels[0].unit == "FS"
    assert [one.code for one in recording.notices] == ["unit-not-used"]


SUBTYPES = ["PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"]


@given(
    form=st.sampled_from(["WAV", "WAVEX", "RF64", "W64"]),
    subtype=st.sampled_from(SUBTYPES),
    n_channels=st.integers(1, 5),
    n_samples=st.integers(1, 300),
    seed=st.integers(0, 2**32 - 1),
    endian=st.sampled_from(["LITTLE", "BIG"]),
)
@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_what_another_library_wrote_reads_as_that_library_reads_it(
    tmp_path, form, subtype, n_channels, n_samples, seed, endian
):
    path = tmp_path / "written.bin"
    samples = np.random.default_rng(seed).uniform(-1, 1, (n_samples, n_channels))
    endian = endian if form == "WAV" else "FILE"
    soundfile.write(path, samples, 96000, format=form, subtype=subtype, endian=endian)
    theirs, rate_hz = soundfile.read(path, always_2d=True)
    recording = open_recording(path)
    assert (recording.rate_hz, recording.notices) == (rate_hz, ())
    np.testing.assert_array_equal(recording.read().samples, theirs.T)
    blocks = np.concatenate([block.copy() for block in recording.blocks(7)])
    np.testing.assert_array_equal(blocks, theirs)  # float32 blocks lose no code
    middle = recording.read(n_samples // 3, n_samples // 2)
    np.testing.assert_array_equal(middle.samples, theirs.T[:, n_samples // 3 : n_samples // 2])
    assert middle.start_s == n_samples // 3 / 96000
    assert middle.samples.flags.c_contiguous


def test_blocks_are_narrow_where_nothing_is_lost_and_wide_where_it_would_be(tmp_path):
    for subtype, dtype in [("PCM_16", "float32"), ("PCM_24", "float32"), ("FLOAT", "float32"), ("PCM_32", "float64"),
                           ("DOUBLE", "float64")]:  # fmt: skip
        path = tmp_path / f"{subtype}.wav"
        soundfile.write(path, np.zeros((10, 2)), 48000, subtype=subtype)
        assert [block.dtype.name for block in open_recording(path).blocks(4)] == [dtype] * 3
