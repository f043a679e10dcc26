"""Any bytes: an answer or a refusal in our own words, in finite time; never a traceback."""

import io
import struct

import numpy as np
import pytest
import scipy.io
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wattproof.errors import InputError
from wattproof.readers import Answers, open_recording, summarize

QUICK = settings(deadline=5000, max_examples=120, suppress_health_check=[HealthCheck.function_scoped_fixture])


def audio(form, subtype="PCM_16"):
    out = io.BytesIO()
    soundfile.write(out, np.random.default_rng(1).uniform(-1, 1, (64, 2)), 48000, format=form, subtype=subtype)
    return out.getvalue()


def saved(save):
    out = io.BytesIO()
    save(out)
    return out.getvalue()


TRACKS = np.random.default_rng(2).normal(size=(40, 2))
TABLE = np.zeros(40, dtype=[("time", "f8"), ("v", "f4")])
VALID = [
    audio("WAV"), audio("WAVEX", "PCM_24"), audio("RF64"), audio("W64"), audio("AIFF"), audio("FLAC"),
    saved(lambda out: np.save(out, TRACKS)), saved(lambda out: np.save(out, TABLE)),
    saved(lambda out: np.savez(out, v=TRACKS, fs=10.0)), saved(lambda out: np.savez_compressed(out, v=TRACKS, fs=10.0)),
    saved(lambda out: scipy.io.savemat(out, {"v": TRACKS, "fs": 10.0})),
    saved(lambda out: scipy.io.savemat(out, {"v": TRACKS, "fs": 10.0}, do_compression=True)),
]  # fmt: skip
MAGICS = [
    b"RIFF\0\0\0\0WAVE", b"RIFX\xff\xff\xff\xffWAVE", b"RF64\xff\xff\xff\xffWAVE", b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0",
    audio("W64")[:40], b"FORM\0\0\0\0AIFF", b"FORM\0\0\0\0AIFCCOMM\0\0\0\x12", b"fLaC\0\0\0\x22", b"\x93NUMPY\x01\0",
    b"\x93NUMPY\x02\0", b"PK\x03\x04" + bytes(22) + b"\x05\0\0\0v.npy", b"MATLAB 5.0".ljust(124) + b"\0\x01IM",
    b"MATLAB 5.0".ljust(124) + b"\x01\0MI", b"\x89HDF\r\n\x1a\n",
]  # fmt: skip


def answer_or_refuse(path, content):
    path.write_bytes(content)
    refusal = None
    try:
        recording = open_recording(path, Answers(rate_hz=48000.0))
        summary = summarize(recording)
    except InputError as error:
        refusal = error
    if refusal is not None:
        assert all((refusal.message, refusal.why, refusal.hint))
        return
    assert summary.samples == recording.n_samples > 0
    assert np.isfinite(summary.sample_rate_hz)
    assert summary.sample_rate_hz > 0
    assert summary.samples * len(summary.channels) <= 8 * len(content) * 1100
    summary.model_dump_json()


@given(magic=st.sampled_from(MAGICS), rest=st.binary(max_size=400))
@QUICK
def test_any_bytes_after_a_magic(tmp_path, magic, rest):
    answer_or_refuse(tmp_path / "petrel.bin", magic + rest)


@given(
    content=st.sampled_from(VALID),
    changes=st.lists(st.tuples(st.integers(0, 2000), st.binary(min_size=1, max_size=8)), max_size=4),
    kept=st.one_of(st.none(), st.integers(1, 2000)),
)
@QUICK
def test_any_damage_to_a_good_file(tmp_path, content, changes, kept):
    broken = bytearray(content)
    for at, with_what in changes:
        at %= len(broken)
        broken[at : at + len(with_what)] = with_what
    answer_or_refuse(tmp_path / "petrel.bin", bytes(broken[:kept]))


EDGES = st.sampled_from([0, 1, 2, 3, 7, 16, 24, 0x7FFF, 0xFFFE, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF])


@given(
    fields=st.tuples(*[EDGES] * 6),
    sizes=st.tuples(EDGES, EDGES, EDGES),
    extra=st.binary(max_size=40),
    data=st.binary(max_size=64),
)
@QUICK
def test_a_wav_header_of_edges(tmp_path, fields, sizes, extra, data):
    tag, n_channels, rate, byte_rate, align, bits = fields
    words = struct.pack("<HHIIHH", tag & 0xFFFF, n_channels & 0xFFFF, rate, byte_rate, align & 0xFFFF, bits & 0xFFFF)
    content = b"RIFF" + struct.pack("<I", sizes[0]) + b"WAVEfmt " + struct.pack("<I", sizes[1] % 64) + words + extra
    answer_or_refuse(tmp_path / "petrel.wav", content + b"data" + struct.pack("<I", sizes[2]) + data)


@pytest.mark.parametrize("content", VALID, ids=range(len(VALID)))
def test_every_length_of_a_cut_is_survived(tmp_path, content):
    for kept in range(1, len(content), max(1, len(content) // 60)):
        answer_or_refuse(tmp_path / "petrel.bin", content[:kept])
