"""A recording laid on the bench: which track is what, and whose doubts are whose."""

import numpy as np
import pytest

from wattproof.bench import Bench, BenchChannel
from wattproof.errors import MissingChannelError
from wattproof.measure import lay_on_bench
from wattproof.quantity import Ledger
from wattproof.testing import Recorder, steady_tone, wire
from wattproof.waveform import Channel, MemoryRecording, Waveform


def recording(*names, n=16):
    channels = tuple(Channel(name=name) for name in names)
    samples = np.arange(float(len(names) * n)).reshape(len(names), n)
    return MemoryRecording(waveform=Waveform(samples=samples, rate_hz=1_000.0, channels=channels), source="made")


def test_tracks_are_found_by_header_name_before_place():
    bench = Bench(channels=(
        BenchChannel(input="CH2", role="load_voltage"), BenchChannel(input=1, role="load_current"),
        BenchChannel(input=3, role="supply_voltage"),
    ))  # fmt: skip
    record, notices = lay_on_bench(recording("CH1", "CH2", "1"), bench=bench)
    assert {track.role: track.index for track in record.tracks} == {
        "load_voltage": 1, "load_current": 2, "supply_voltage": 2,
    }  # fmt: skip
    assert notices == ()


def test_a_track_that_is_not_there_is_told_and_left_out():
    bench = Bench(channels=wire("load_voltage", "load_current"))
    record, notices = lay_on_bench(recording("1"), bench=bench)
    assert [track.role for track in record.tracks] == ["load_voltage"]
    assert [notice.code for notice in notices] == ["channel-absent"]


def test_without_a_bench_each_track_is_an_output_of_its_own():
    record, notices = lay_on_bench(recording("left", "right"), bench=None)
    assert record.outputs == ("left", "right")
    assert {track.role for track in record.tracks} == {"unassigned"}
    assert [notice.code for notice in notices] == ["no-bench"]
    assert record.voltage("right").index == 1


def test_an_output_without_a_voltage_is_missed_by_name():
    record, _ = lay_on_bench(recording("1"), bench=Bench(channels=wire("load_voltage")))
    with pytest.raises(MissingChannelError, match="Output B") as missed:
        record.voltage("B")
    assert "--channel" in missed.value.hint


def test_scale_offset_and_full_scale_come_from_the_bench_file_first():
    channel = BenchChannel(input=1, role="load_voltage", scale=-2.0, offset=1.0, full_scale=10.0)
    record, _ = lay_on_bench(recording("1"), bench=Bench(channels=(channel,)))
    (track,) = record.tracks
    np.testing.assert_array_equal(record.values(track, np.array([[0.0, 3.0]])), [1.0, -5.0])
    assert track.full_scale == 10.0


def test_the_doubt_of_a_scale_acts_on_what_was_read_and_not_on_the_offset():
    channel = BenchChannel(input=1, role="supply_voltage", scale=2.0, offset=12.0, scale_u=0.01, offset_u=0.003)
    record, _ = lay_on_bench(recording("1"), bench=Bench(channels=(channel,)))
    number = record.reading(record.tracks[0], 14.0, u=0.004, dof=7, label="scatter")
    quantity = record.ledger.quantity(number, unit="V")
    parts = {line.label: line.u for line in quantity.budget}
    assert parts == pytest.approx(
        {"scale of supply_voltage": 0.02, "offset of supply_voltage": 0.003, "scatter of supply_voltage": 0.004}
    )


def test_a_calibration_is_one_source_in_every_capture_and_another_once_it_changes():
    ledger = Ledger()
    numbers = []
    for scale in (2.0, 2.0, 2.1):
        bench = Bench(name="boathouse", channels=wire("load_voltage", scale=scale, scale_u=0.01))
        record, _ = lay_on_bench(recording("1"), bench=bench, ledger=ledger)
        numbers.append(record.gain_factor(record.tracks[0]))
    assert ledger.quantity(numbers[0] - numbers[1], unit="1").u == 0.0
    assert ledger.quantity(numbers[0] - numbers[2], unit="1").u == pytest.approx(0.01 * 2**0.5)


def test_captures_of_equal_name_are_told_apart_by_their_samples():
    places = set()
    for seed in (1, 2):
        capture = steady_tone(recorder=Recorder(seconds=0.01, seed=seed, noise_rms={"load_voltage": 0.1}))
        record, _ = lay_on_bench(capture.recording, bench=capture.bench)
        places.add(record.place)
        again, _ = lay_on_bench(capture.recording, bench=None)
        assert again.place == record.place
    assert len(places) == 2
    assert all(place.startswith("steady ") for place in places)
