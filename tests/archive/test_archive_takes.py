"""What is recorded comes back as it went in, whatever the disk does meanwhile; whoever records never waits for it."""

import importlib.util
import os
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from wattproof.archive import Description, take_format, takes
from wattproof.archive.take_format import chosen_form, chunk_bytes, read_chunks, write_audio
from wattproof.errors import ArchiveError
from wattproof.readers import open_recording

_spec = importlib.util.spec_from_file_location("archive_takers", Path(__file__).with_name("takers.py"))
takers = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(takers)


@pytest.fixture
def bench(tmp_path):
    archive, session, _ = takers.faults.prepared(tmp_path)
    return archive, session


def recorded(archive, session, record):
    return open_recording(archive.original_path(session, record))


def test_a_finished_take_is_an_ordinary_capture(bench):
    archive, session = bench
    said = Description(step="ramp 4 ohm", kind="ramp", load="4 ohm", note="warm")
    with takers.begin(archive, session, step=7, description=said) as take:
        take.write(takers.codes(0, 5000).astype(np.float32))
        take.write(takers.codes(5000, 1))
        take.write(takers.codes(5001, 0))
        assert take.n_samples == 5001
        record = take.finish(note="stopped by itself")
    assert (record.number, record.folder, record.file) == (2, "02-ramp-4-ohm", "02-ramp-4-ohm.flac")
    assert record.description == said.model_copy(update={"note": "warm stopped by itself", "reader": "flac"})
    assert (record.live.step, record.live.n_samples, record.live.cut_off) == (7, 5001, False)
    assert record.live.channels == takers.CHANNELS
    assert archive.captures(session)[1] == record
    recording = recorded(archive, session, record)
    assert recording.rate_hz == takers.RATE_HZ
    assert recording.reader == record.description.reader
    assert np.array_equal(recording.read().samples.T, takers.codes(0, 5001))
    assert archive.verify(session) == ()
    assert sorted(p.name for p in (session.folder / "captures").iterdir()) == ["01-a", "02-ramp-4-ohm"]


def test_a_take_is_kept_up_to_a_sample_and_void_if_said(bench):
    archive, session = bench
    with takers.begin(archive, session) as take:
        take.write(takers.codes(0, 5000))
        record = take.finish(void="samples were lost", until=1234)
    assert record.description.void == "samples were lost"
    assert np.array_equal(recorded(archive, session, record).read().samples.T, takers.codes(0, 1234))


def test_an_abandoned_take_is_kept_void_and_an_empty_one_not_at_all(bench):
    archive, session = bench
    with takers.begin(archive, session) as take:
        take.write(takers.codes(0, 5000))
        record = take.abandon("the interface was unplugged")
    assert record.description.void == "the interface was unplugged"
    assert recorded(archive, session, record).n_samples == 5000
    with takers.begin(archive, session) as take:
        assert take.abandon("nothing came") is None
    with takers.begin(archive, session) as take, pytest.raises(ArchiveError, match="Nothing was recorded of step 1"):
        take.finish()
    assert len(archive.captures(session)) == 2
    assert archive.verify(session) == ()
    assert sorted(p.name for p in (session.folder / "captures").iterdir()) == ["01-a", record.folder]


def test_a_take_that_is_over_takes_no_more(bench):
    archive, session = bench
    with takers.begin(archive, session) as take:
        take.write(takers.codes(0, 10))
        with pytest.raises(ValueError, match="4 tracks"):
            take.write(np.zeros((10, 3)))
        take.finish()
        with pytest.raises(ValueError, match="over"):
            take.write(takers.codes(10, 10))
        with pytest.raises(ValueError, match="over"):
            take.finish()


def test_the_writer_keeps_its_own_copy(bench):
    archive, session = bench
    block = takers.codes(0, 4096).astype(np.float32)
    with takers.begin(archive, session) as take:
        take.write(block)
        block[:] = 0.5  # the recorder's buffer, used again
        record = take.finish()
    assert np.array_equal(recorded(archive, session, record).read().samples.T, takers.codes(0, 4096))


def test_a_rate_that_no_file_can_state_is_refused_and_the_hint_cures_it(bench):
    archive, session = bench
    with pytest.raises(ArchiveError, match=r"Cannot record at 96000\.4") as caught:
        takers.begin(archive, session, rate_hz=96000.4)
    takers.begin(archive, session, rate_hz=float(caught.value.hint.split()[4])).close()


values = st.one_of(
    st.integers(-(1 << 23), (1 << 23) - 1).map(lambda code: code / (1 << 23)),
    st.floats(width=32, allow_nan=False),
    st.sampled_from([1.0, -1.0, 1.0 + 2**-23, 2.0**-24, 0.0]),
)


@settings(max_examples=50, deadline=None)
@given(
    frames=hnp.arrays(np.float32, st.tuples(st.integers(1, 40), st.integers(1, 10)), elements=values),
    rate_hz=st.sampled_from([8000, 44_100, 96_000, 100_001, 655_350, 768_000]),
    cut=st.integers(0, 40),
)
@example(frames=takers.codes(0, 40).astype(np.float32), rate_hz=100_001, cut=3)
@example(frames=np.ones((2, 1), np.float32), rate_hz=96_000, cut=0)
def test_every_sample_comes_back_from_the_audio_file(tmp_path_factory, frames, rate_hz, cut):
    path = tmp_path_factory.mktemp("audio")
    parts = [part for part in (frames[:cut], frames[cut:]) if len(part)]
    form = chosen_form(parts, n_tracks=frames.shape[1], rate_hz=rate_hz)
    write_audio(path / f"a{form.suffix}", lambda: parts, form, n_tracks=frames.shape[1], rate_hz=rate_hz)
    recording = open_recording(path / f"a{form.suffix}")
    assert np.array_equal(recording.read().samples.T.astype(np.float32), frames)
    assert (recording.rate_hz, recording.n_samples) == (rate_hz, len(frames))
    scaled = frames.astype(np.float64) * (1 << 23)
    codes = np.all((scaled == np.rint(scaled)) & (scaled >= -(1 << 23)) & (scaled < 1 << 23))
    files_can = frames.shape[1] <= 8 and rate_hz in {8000, 44_100, 96_000, 655_350}
    assert (form.container == "FLAC") == (codes and files_can)


def test_codes_make_a_flac_and_anything_else_a_float_file():
    codes = takers.codes(0, 100).astype(np.float32)
    assert chosen_form([codes], n_tracks=4, rate_hz=96_000).container == "FLAC"
    for other in (
        codes + np.float32(2**-25),
        codes * np.float32(1.01),
        codes + np.float32(1),
        codes * np.float32("nan"),
    ):
        assert chosen_form([codes, other], n_tracks=4, rate_hz=96_000).coding == "FLOAT"
    nine = takers.codes(0, 100, n_tracks=9).astype(np.float32)
    assert chosen_form([nine], n_tracks=9, rate_hz=96_000).container == "WAV"


def test_past_four_gigabytes_the_file_counts_in_64_bits(bench, monkeypatch):
    monkeypatch.setattr(take_format, "WAV_BYTES", 4 * 4 * 1000)
    archive, session = bench
    frames = (takers.codes(0, 1000) / 3).astype(np.float32)
    kept = []
    for n_samples in (999, 1000):
        with takers.begin(archive, session) as take:
            take.write(frames[:n_samples])
            kept.append(take.finish())
    heads = [archive.original_path(session, record).read_bytes()[:4] for record in kept]
    assert heads == [b"RIFF", b"RF64"]
    assert np.array_equal(recorded(archive, session, kept[1]).read().samples.T.astype(np.float32), frames)


def chunked(path, lengths):
    first, starts = 0, []
    with path.open("wb") as file:
        for length in lengths:
            starts.append(file.tell())
            file.write(chunk_bytes(takers.codes(first, length).astype(np.float32), first=first))
            first += length
    return starts


def read_back(path):
    parts = list(read_chunks(path, n_tracks=4))
    return np.concatenate(parts) if parts else np.empty((0, 4), np.float32)


def test_a_torn_end_is_told_at_every_byte(tmp_path):
    path = tmp_path / "frames"
    chunked(path, [10, 5])
    data = path.read_bytes()
    whole = takers.codes(0, 15)
    first_ends = len(data) - 24 - 5 * 16
    for end in range(len(data) + 1):
        path.write_bytes(data[:end])
        kept = 15 if end == len(data) else 10 if end >= first_ends else 0
        assert np.array_equal(read_back(path), whole[:kept])
        path.write_bytes(data[:end] + bytes(len(data) - end))  # a disk that gave the length and not the bytes
        assert np.array_equal(read_back(path), whole[: len(read_back(path))])
        assert len(read_back(path)) >= kept


@settings(max_examples=50, deadline=None)
@given(place=st.integers(0, 24 * 3 + 16 * 30 - 1), bit=st.integers(0, 7))
def test_no_changed_bit_is_taken_for_a_sample(tmp_path_factory, place, bit):
    path = tmp_path_factory.mktemp("bits") / "frames"
    starts = chunked(path, [10, 10, 10])
    data = bytearray(path.read_bytes())
    data[place] ^= 1 << bit
    path.write_bytes(bytes(data))
    kept, spare = read_back(path), any(start + 20 <= place < start + 24 for start in starts)
    assert len(kept) == (30 if spare else 10 * (sum(start <= place for start in starts) - 1))
    assert np.array_equal(kept, takers.codes(0, len(kept)))


class StuckDisk:
    """A disk that takes nothing until it is let go."""

    def __init__(self, monkeypatch):
        self.let_go, self.asked = threading.Event(), threading.Event()
        genuine = os.write

        def write(descriptor, data):
            if len(data) > 1000:
                self.asked.set()
                assert self.let_go.wait(30)
            return genuine(descriptor, data)

        monkeypatch.setattr(os, "write", write)


def test_a_stuck_disk_does_not_hold_up_the_recorder_and_nothing_is_lost(bench, monkeypatch):
    archive, session = bench
    disk = StuckDisk(monkeypatch)
    waits_s = []
    with takers.begin(archive, session) as take:
        for first in range(0, 96_000, 1024):
            block = takers.codes(first, 1024)
            began = time.perf_counter()
            take.write(block)
            waits_s.append(time.perf_counter() - began)
        assert disk.asked.wait(5)
        disk.let_go.set()
        record = take.finish()
    assert np.quantile(waits_s, 0.9) < 0.01  # a tenth of what the conductor has between two check-ins
    kept = recorded(archive, session, record).read().samples.T
    assert np.array_equal(kept, takers.codes(0, take.n_samples))


@pytest.mark.parametrize(("limit", "value"), [("STUCK_S", 0.05), ("MOST_WAITING_BYTES", 100_000)])
def test_a_disk_stuck_for_good_ends_the_take(bench, monkeypatch, limit, value):
    archive, session = bench
    monkeypatch.setattr(takes, limit, value)
    with takers.begin(archive, session) as take:
        take.write(takers.codes(0, 2000))
        while _on_disk(session) < 2000 * 16:
            time.sleep(0.01)
        disk = StuckDisk(monkeypatch)
        with pytest.raises(ArchiveError, match="Could not record") as caught:
            takers.write_on(take, first=2000)
        assert "bytes wait, for" in caught.value.why
        with pytest.raises(ArchiveError, match="Could not record"):
            take.write(takers.codes(0, 1))
        disk.let_go.set()
        with pytest.raises(ArchiveError, match="Could not record"):
            take.finish()
    (record,) = archive.recover(session)
    kept = recorded(archive, session, record).read().samples.T
    assert len(kept) >= 2000
    assert np.array_equal(kept, takers.codes(0, len(kept)))


def _on_disk(session):
    (path,) = (session.folder / "captures").glob(".take-*/frames.part")
    return path.stat().st_size


def test_what_is_written_is_brought_to_the_disk_several_times_a_second(bench, monkeypatch):
    archive, session = bench
    synced = []

    def fsync(descriptor):
        synced.append((time.monotonic(), os.fstat(descriptor).st_size))

    with takers.begin(archive, session) as take:
        monkeypatch.setattr(os, "fsync", fsync)
        began = time.monotonic()
        for first in range(0, 96_000, 960):
            take.write(takers.codes(first, 960))
            time.sleep(max(0.0, began + (first + 960) / 96_000 - time.monotonic()))
        in_time = [(at, size) for at, size in synced if at < began + 1.0]
        take.close()
    assert len(in_time) >= 2
    for at, size in in_time:
        assert size >= (at - began - 0.5) * 96_000 * 16  # all but the last half second is down
    assert archive.recover(session)[0].live.n_samples == 96_000


def test_room_is_reckoned_for_the_take_and_the_capture_it_becomes(bench):
    archive, session = bench
    seconds, n_tracks = 1800.0, 8
    grown = 1800 * 96_000 * n_tracks * 4
    needed = archive.room_for(seconds, n_tracks=n_tracks, rate_hz=96_000.0)
    assert 2 * grown < needed < 2.1 * grown + takes.RESERVE_BYTES
    assert archive.free_bytes() > 0
    with pytest.raises(ArchiveError, match="Could not record") as caught:
        takers.begin(archive, session, seconds=1e9)
    assert "are free" in caught.value.why
    assert "Free some space" in caught.value.hint
    assert archive.verify(session) == ()
