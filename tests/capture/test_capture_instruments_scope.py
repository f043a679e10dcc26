"""An oscilloscope read over a socket becomes a recording in volts, or is refused."""

from contextlib import ExitStack
from pathlib import Path

import numpy as np
import pytest

import wattproof
from wattproof.bench import PartSettings, parse_bench
from wattproof.capture import Driver, Scope, open_scope, parse_instrument
from wattproof.errors import CaptureFailedError, RigError, WireError
from wattproof.measure import lay_on_bench, measure
from wattproof.sim.instruments_parts import ScopeServer
from wattproof.testing import exchange

FILES = Path(wattproof.__file__).parent / "sim" / "boathouse" / "instruments"
RATE_HZ = 50_000.0
TIMES_S = np.arange(20_000) / RATE_HZ
TRACKS = {"1": 28.0 * np.sin(2 * np.pi * 47.0 * TIMES_S), "2": 7.0 * np.cos(2 * np.pi * 47.0 * TIMES_S)}


@pytest.fixture
def made():
    with ExitStack() as stack:
        yield stack


def scope_of(server, made):
    part = PartSettings(kind="scpi", address=server.address, instrument="alder-haze-scope.toml", timeout_s=1.0)
    scope = open_scope(part, folder=FILES)
    made.callback(scope.close)
    return scope


def test_an_acquisition_is_read_in_volts(made):
    server = made.enter_context(ScopeServer(TRACKS, rate_hz=RATE_HZ))
    recording = scope_of(server, made).record()
    assert recording.rate_hz == pytest.approx(RATE_HZ, rel=1e-9)
    assert [channel.name for channel in recording.channels] == ["1", "2"]
    for row, (name, volts) in enumerate(TRACKS.items()):
        assert recording.channels[row].step == pytest.approx(server.step_v(name), rel=1e-9)
        # half a code of eight bits is all that may be lost
        assert np.max(np.abs(recording.read().samples[row] - volts)) <= server.step_v(name) * 0.5001
    assert recording.metadata["instrument"] == "ALDER HAZE,SCOPE 4,0102,3.2"


def test_an_acquisition_in_pieces_is_the_same(made):
    server = made.enter_context(ScopeServer(TRACKS, rate_hz=RATE_HZ))
    scope = scope_of(server, made)
    whole = scope.record().read().samples
    server.misbehaviour.chunk_bytes, server.misbehaviour.late_end_s = 3001, 0.05
    assert np.array_equal(scope.record().read().samples, whole)


def test_it_is_a_capture_like_any_other(made):
    """28 V peak is 19.80 V rms; eight bits leave no more than half a code of doubt on each sample."""
    server = made.enter_context(ScopeServer({"1": TRACKS["1"], "2": TRACKS["2"]}, rate_hz=RATE_HZ))
    bench = parse_bench('[[channels]]\ninput = 1\nrole = "load_voltage"\n', file="bench")
    record, notices = lay_on_bench(scope_of(server, made).record(), bench=bench)
    result = measure(record, notices=notices)
    found = next(figure for figure in result.figures if figure.name == "load_voltage_rms")
    assert found.value == pytest.approx(28.0 / np.sqrt(2), abs=server.step_v("1") / 2)


def test_a_channel_without_points_is_told(made):
    server = made.enter_context(ScopeServer({"1": TRACKS["1"], "2": np.empty(0)}, rate_hz=RATE_HZ))
    with pytest.raises(CaptureFailedError, match="returned no points for channel 2"):
        scope_of(server, made).record()


def test_channels_of_unlike_length_are_no_capture(made):
    server = made.enter_context(ScopeServer({"1": TRACKS["1"], "2": TRACKS["2"][:-1]}, rate_hz=RATE_HZ))
    with pytest.raises(CaptureFailedError, match="do not belong to one acquisition"):
        scope_of(server, made).record()


def test_a_scope_is_checked_and_another_kind_is_refused(made):
    server = made.enter_context(ScopeServer(TRACKS, rate_hz=RATE_HZ))
    check = scope_of(server, made).check()
    assert (check.part, check.state) == ("scope", "good")
    part = PartSettings(kind="scpi", address=server.address, instrument="sedge-mist-relays.toml")
    with pytest.raises(RigError, match="is no scope"):
        open_scope(part, folder=FILES)


SINGLE = """\
name = "Single"
kind = "scope"
identity = ""
[scope]
channels = ["1"]
data = "D?"
increment_s = { ask = "X?" }
"""


def scope_on(wire, more=""):
    words = parse_instrument(SINGLE + more, file="x.toml")
    return Scope(Driver(wire, words), words.scope)


NUMBERS = [
    ("int8", "big", "b"),
    ("uint8", "little", "B"),
    ("int16", "big", ">h"),
    ("int16", "little", "<h"),
    ("uint16", "big", ">u2"),
    ("int32", "little", "<i4"),
    ("float32", "big", ">f4"),
    ("float64", "little", "<f8"),
]


@pytest.mark.parametrize(("numbers", "order", "kind"), NUMBERS)
def test_every_kind_of_number_is_read(numbers, order, kind):
    values = np.array([0, 1, 2, 100, 127])
    more = f'numbers = "{numbers}"\nbyte_order = "{order}"\n'
    with exchange([("X?", "1e-4"), ("D?", values.astype(kind).tobytes())]) as wire:
        recording = scope_on(wire, more).record()
    assert np.array_equal(recording.read().samples, [values])
    assert recording.rate_hz == pytest.approx(1e4)
    assert (recording.channels[0].step is None) == numbers.startswith("float")


def test_codes_become_volts():
    more = (
        'y_increment_v = { ask = "YI?" }\ny_reference = { ask = "YR?" }\ny_offset_v = { ask = "YO?", scale = 0.001 }\n'
    )
    script = [("X?", "1e-4"), ("YI?", "0.25"), ("YR?", "3"), ("YO?", "500"), ("D?", bytes([3, 5]))]
    with exchange(script) as wire:
        assert scope_on(wire, more).record().read().samples.tolist() == [[0.5, 1.0]]


def test_bare_bytes_are_counted_by_the_points():
    more = 'header = "none"\nnumbers = "int16"\npoints = { ask = "P?" }\n'
    with exchange([("X?", "1e-4"), ("P?", "3"), ("D?", bytes([0, 1, 0, 2, 0, 3]))]) as wire:
        assert scope_on(wire, more).record().read().samples.tolist() == [[1, 2, 3]]
    with exchange([("X?", "1e-4"), ("P?", "0")]) as wire, pytest.raises(CaptureFailedError, match="no points"):
        scope_on(wire, more).record()


@pytest.mark.parametrize(
    ("script", "more", "error", "words"),
    [
        ([("X?", "1e-4"), ("D?", bytes(5))], 'numbers = "int16"\n', CaptureFailedError, "5 bytes came; a sample has 2"),
        ([("X?", "1e-4"), ("P?", "4"), ("D?", bytes(3))], 'points = { ask = "P?" }\n', CaptureFailedError, "4 samples"),
        ([("X?", "0"), ("D?", bytes(3))], "", WireError, "no sampling interval"),
        ([("X?", "-1e-4"), ("D?", bytes(3))], "", WireError, "no sampling interval"),
    ],
)
def test_what_is_not_whole_is_refused(script, more, error, words):
    with exchange(script) as wire, pytest.raises(error) as caught:
        scope_on(wire, more).record()
    assert words in caught.value.why
    assert caught.value.hint


def test_an_acquisition_that_never_ends_is_given_up():
    more = 'done = { ask = "DONE?", yes = "1" }\ndone_within_s = 0.1\n'
    with exchange([("DONE?", "0")] * 3) as wire, pytest.raises(CaptureFailedError, match="did not complete"):
        scope_on(wire, more).record()
