"""The pump and the queue: fades, columns, ends; what breaks is muted and told; memory stays bounded."""

import threading
import time

import numpy as np
import pytest

from wattproof.capture import FADE_S, Block, Guard, Pump, QueueTake, SilentDrive, ToneDrive, Trip
from wattproof.capture.take import BEHIND_S
from wattproof.errors import InternalFaultError, RigError
from wattproof.plan import StepLimits

RATE_HZ = 48_000.0
BLOCK = 480


class Steady:
    """A drive of one volt for ever, so that a fade stands alone."""

    outputs = ("A",)
    finished = False

    def block(self, n_samples):
        return np.ones((1, n_samples))


class Silent:
    """A watch that sees nothing."""

    tripped = None

    def inspect(self, block):
        return self.tripped

    def trip(self, trip):
        self.tripped = self.tripped or trip


def turned(pump, blocks, n=BLOCK):
    made = []
    for _ in range(blocks):
        made.append(pump.turn(np.zeros((n, 1))))
        pump.check_in()
    return np.concatenate(made)[:, 0]


@pytest.mark.parametrize("block", [1, 7, 64, 480, 4800])
def test_a_fade_is_a_raised_cosine_of_five_milliseconds_whatever_the_block(block):
    pump = Pump(Steady(), Silent(), rate_hz=RATE_HZ)
    before = turned(pump, 3, block)
    pump.mute()
    after = turned(pump, -(-600 // block), block)
    assert (before == 1.0).all()
    length = round(FADE_S * RATE_HZ)
    assert not after[length - 1 :].any()
    assert (np.diff(after[: length - 1]) < 0).all()
    assert np.abs(np.diff(np.concatenate([before, after]))).max() < np.pi / 2 / (length - 1) * 1.01
    assert pump.silent
    assert pump.done


def test_silence_lasts_whatever_the_drive_gives():
    pump = Pump(Steady(), Silent(), rate_hz=RATE_HZ)
    turned(pump, 1)
    pump.watch.trip(Trip(code="person", message="Stop."))
    turned(pump, 1)
    assert not turned(pump, 200).any()


def test_a_trip_is_told_once_and_at_its_block():
    told = []
    pump = Pump(Steady(), Silent(), rate_hz=RATE_HZ, on_trip=lambda: told.append(pump.given))
    turned(pump, 3)
    pump.watch.trip(Trip(code="person", message="Stop."))
    turned(pump, 5)
    assert told == [3 * BLOCK]


def test_a_teller_that_raises_does_not_keep_the_drive_on():
    def fails():
        raise RuntimeError("nobody listens")

    pump = Pump(Steady(), Silent(), rate_hz=RATE_HZ, on_trip=fails)
    pump.watch.trip(Trip(code="person", message="Stop."))
    turned(pump, 1)
    assert not turned(pump, 3).any()
    assert str(pump.error) == "nobody listens"


class Breaks(Steady):
    def __init__(self, how):
        self.how, self.calls = how, 0

    def block(self, n_samples):
        self.calls += 1
        if self.calls > 2:
            if self.how == "raises":
                raise ZeroDivisionError("a bug in a drive")
            return np.full((1, n_samples), np.nan)
        return super().block(n_samples)


@pytest.mark.parametrize(("how", "error"), [("raises", ZeroDivisionError), ("nan", InternalFaultError)])
def test_a_drive_that_breaks_fades_from_its_last_sample(how, error):
    told = threading.Event()
    pump = Pump(Breaks(how), Silent(), rate_hz=RATE_HZ, on_trip=told.set)
    made = turned(pump, 10)
    assert np.isfinite(made).all()
    assert (made[: 2 * BLOCK] == 1.0).all()
    assert not made[2 * BLOCK + round(FADE_S * RATE_HZ) :].any()
    assert np.abs(np.diff(made)).max() < 0.01
    assert isinstance(pump.error, error)
    assert told.is_set()


class BlindWatch(Silent):
    def inspect(self, block):
        raise ValueError("a bug in a guard")


def test_a_guard_that_breaks_mutes_and_the_take_raises_its_error():
    pump = Pump(Steady(), BlindWatch(), rate_hz=RATE_HZ)
    with QueueTake(pump) as take:
        assert not turned(pump, 3)[round(FADE_S * RATE_HZ) :].any()
        take.put(Block(samples=np.zeros((BLOCK, 1)), start=0))
        take.end()
        blocks = iter(take)
        assert next(blocks).start == 0
        with pytest.raises(ValueError, match="in a guard"):
            next(blocks)


def test_an_output_stands_in_its_own_column_and_the_others_are_silent():
    drive = ToneDrive(level_v_rms=1.0, seconds=1.0, tone_hz=997.0, outputs=("B",), rate_hz=RATE_HZ)
    pump = Pump(drive, Silent(), rate_hz=RATE_HZ, outputs=("A", "B"))
    volts = pump.turn(np.zeros((BLOCK, 3)))
    assert volts.shape == (BLOCK, 2)
    assert not volts[:, 0].any()
    assert volts[:, 1].any()


def test_an_output_that_is_not_there_is_refused():
    drive = SilentDrive(seconds=1.0, outputs=("C",), rate_hz=RATE_HZ)
    with pytest.raises(RigError, match="C cannot be driven") as told:
        Pump(drive, Silent(), rate_hz=RATE_HZ, outputs=("A", "B"))
    assert "A, B" in told.value.why


@pytest.mark.parametrize("tail", [0, 1000])
def test_a_play_is_over_when_the_drives_last_sample_has_been_seen(tail):
    drive = SilentDrive(seconds=0.1, outputs=("A",), rate_hz=RATE_HZ)
    pump = Pump(drive, Silent(), rate_hz=RATE_HZ, tail_samples=tail)
    recorded = np.zeros((0, 1))
    seen = 0
    while not pump.done:
        seen += len(recorded)
        recorded = pump.turn(recorded, n_samples=BLOCK)
        pump.check_in()
    assert seen >= 4800 + tail
    assert pump.given <= 4800 + tail + 2 * BLOCK


def test_a_guard_and_a_pump_take_blocks_of_any_size():
    guard = Guard(tracks=(), limits=StepLimits(), rate_hz=RATE_HZ)
    pump = Pump(Steady(), guard, rate_hz=RATE_HZ)
    for n in (0, 1, 5000, 3):
        assert len(pump.turn(np.zeros((n, 2)))) == n
        pump.check_in()
    assert guard.seen == 5004


def test_a_reader_that_falls_behind_is_stopped_and_memory_stays_bounded():
    guard = Guard(tracks=(), limits=StepLimits(), rate_hz=RATE_HZ)
    pump = Pump(Steady(), guard, rate_hz=RATE_HZ)
    take = QueueTake(pump)
    start = 0
    while not pump.done:  # alive, for it checks in, but it takes nothing
        take.put(Block(samples=pump.turn(np.zeros((BLOCK, 1))), start=start))
        pump.check_in()
        start += BLOCK
        assert start < 4 * BEHIND_S * RATE_HZ
    take.end()
    assert guard.tripped.code == "conductor-silent"
    assert guard.tripped.value == pytest.approx(BEHIND_S, abs=0.02)
    assert start <= (BEHIND_S + 0.25) * RATE_HZ + 3 * BLOCK
    with take:
        assert sum(len(block.samples) for block in take) == start


@pytest.mark.parametrize(("every", "trip"), [(10, None), (11, "conductor-silent")])
def test_checking_in_every_tenth_of_a_second_is_often_enough(every, trip):
    pump = Pump(Steady(), Silent(), rate_hz=RATE_HZ)
    for n in range(1, 100):  # blocks of 10 ms
        pump.turn(np.zeros((BLOCK, 1)))
        if n % every == 0:
            pump.check_in()
    assert (pump.watch.tripped and pump.watch.tripped.code) == trip


def test_waiting_for_a_block_is_checking_in():
    pump = Pump(Steady(), Silent(), rate_hz=RATE_HZ)
    take = QueueTake(pump, stall_s=5.0)
    got = []

    def conduct():
        with take:
            got.extend(block.start for block in take)

    conductor = threading.Thread(target=conduct)
    conductor.start()
    for _ in range(8):  # 0.1 s of stream time each, and the conductor has nothing to take
        time.sleep(0.06)
        pump.turn(np.zeros((round(0.08 * RATE_HZ), 1)))
    assert pump.watch.tripped is None
    take.put(Block(samples=np.zeros((BLOCK, 1)), start=0))
    take.end()
    conductor.join(2.0)
    assert got == [0]
    assert not conductor.is_alive()


def test_the_streams_thread_never_waits_for_a_conductor_that_holds_the_queue():
    take = QueueTake(Pump(Steady(), Silent(), rate_hz=RATE_HZ), stall_s=9.0)
    block = Block(samples=np.zeros((BLOCK, 1)), start=0)
    stream = threading.Thread(target=lambda: (take.put(block), take.end()))
    with take._news:  # a conductor that froze at the worst moment
        stream.start()
        stream.join(2.0)
        assert not stream.is_alive()
    with take:
        assert [one.start for one in take] == [0]


def test_what_is_put_after_the_conductor_left_is_dropped():
    take = QueueTake(Pump(Steady(), Silent(), rate_hz=RATE_HZ))
    with take:
        pass
    take.put(Block(samples=np.zeros((BLOCK, 1)), start=0))
    assert take.wait_until_asked(0.0)
    take.end()
    assert list(take) == []
