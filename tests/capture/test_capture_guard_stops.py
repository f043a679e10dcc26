"""Every fault ends the drive within one block and 5 ms of its sample, however the conductor fares."""

import threading
import time

import numpy as np
import pytest

from wattproof.capture import CHECK_IN_S, FADE_S, Guard, ToneDrive, closest_limits, guard_tracks
from wattproof.plan import StepLimits
from wattproof.testing import LoopBench, LoopFault, LoopRecorder

RATE_HZ = 48_000.0
BLOCK = 480
FAULT = 12_345
LIMITS = StepLimits(
    load_voltage_v=60.0,
    load_dc_v=1.0,
    load_current_a=30.0,
    supply_current_a=120.0,
    supply_voltage_v=(10.5, 16.0),
    temperature_c=85.0,
)

FAULTS = {
    "load-voltage": ("over_voltage", {}),
    "load-dc": ("dc", {}),
    "load-current": ("over_current", {}),
    "supply-current": ("supply_over_current", {}),
    "supply-voltage": ("supply_collapse", {}),
    "temperature": ("overheated", {}),
    "clipped-input": ("clipped_input", {"load_current_a": 100.0}),
    "open-load": ("open_load", {}),
    "shorted-load": ("short_load", {}),
    "energy": (None, {"energy_j": 30.0}),
    "full-power": (None, {"full_power_w": 60.0, "full_power_s": 0.21}),
    "person": ("person", {}),
}


class StopsAt(LoopBench):
    """A bench at which somebody presses the button while a given sample is recorded."""

    guard = None

    def tracks(self, drive, start):
        if start <= FAULT < start + len(drive):
            self.guard.stop()
        return super().tracks(drive, start)


def a_play(code=None, **recorder):
    """Begin a play with the fault of that code; without one when left out."""
    what, changed = FAULTS.get(code, (None, {}))
    faults = () if what in {None, "person"} else (LoopFault(what=what, sample=FAULT),)
    loop = StopsAt(faults=faults) if what == "person" else LoopBench(faults=faults)
    rig = LoopRecorder(rate_hz=RATE_HZ, block_samples=BLOCK, loop=loop, **recorder)
    bench = loop.bench()
    guard = Guard(
        tracks=guard_tracks(bench, rig.channels),
        limits=closest_limits(LIMITS.model_copy(update=changed), bench.limits),
        rate_hz=RATE_HZ,
        tone_hz=47.0,
        loads={"A": 4.0},
    )
    loop.guard = guard
    drive = ToneDrive(level_v_rms=1.0, seconds=3.0, tone_hz=47.0, outputs=("A",), rate_hz=RATE_HZ)
    tripped = threading.Event()
    return rig, guard, rig.play(drive, guard, on_trip=tripped.set), tripped


def last_driven(rig):
    return int(np.flatnonzero(rig.played[0].any(axis=1))[-1])


def wait_until_stopped(rig, guard):
    """Sleep as a frozen conductor does, until the stream's thread has left the drive silent."""
    until_s = time.monotonic() + 3.0
    while time.monotonic() < until_s and not (guard.tripped and rig._pump.silent):
        time.sleep(0.005)


def conduct(take):
    for _ in take:
        pass


def conduct_then_freeze(take, rig, guard):
    for block in take:
        if block.start >= FAULT - 2 * BLOCK:
            wait_until_stopped(rig, guard)
            return


def conduct_then_raise(take):
    for block in take:
        if block.start >= FAULT:
            raise RuntimeError("a bug in the conductor")


@pytest.mark.parametrize("code", sorted(FAULTS))
def test_a_fault_ends_the_drive_within_a_block_and_five_milliseconds(code):
    rig, guard, take, tripped = a_play(code)
    with take:
        conduct(take)
    trip = take.trip
    assert trip is not None
    assert trip.code == code
    assert guard.tripped is trip
    assert tripped.is_set()
    assert last_driven(rig) - trip.sample <= BLOCK + FADE_S * RATE_HZ
    assert trip.sample >= FAULT - BLOCK or FAULTS[code][0] is None
    assert trip.at_s == pytest.approx(trip.sample / RATE_HZ)
    assert trip.message.endswith(".")
    assert trip.hint
    if trip.limit is not None:
        assert f"{trip.limit:g}" in trip.why


@pytest.mark.parametrize("code", sorted(FAULTS))
def test_a_fault_ends_the_drive_in_time_with_the_conductor_frozen(code):
    rig, guard, take, tripped = a_play(code, patience_s=0.2)
    with take:
        conduct_then_freeze(take, rig, guard)
    assert guard.tripped.code == code
    assert tripped.is_set()
    assert last_driven(rig) - guard.tripped.sample <= BLOCK + FADE_S * RATE_HZ


def test_a_conductor_that_raises_leaves_the_drive_mute():
    rig, _, take, _ = a_play()
    with pytest.raises(RuntimeError, match="a bug"), take:
        conduct_then_raise(take)
    assert rig._pump.silent
    assert last_driven(rig) <= FAULT + 3 * BLOCK + FADE_S * RATE_HZ
    assert take.trip is None


def test_a_conductor_that_raises_before_it_looks_leaves_the_drive_mute():
    rig, _, take, _ = a_play()
    with pytest.raises(RuntimeError, match="at once"), take:
        raise RuntimeError("at once")
    assert rig._pump.silent
    assert not rig.played[0][-1].any()


def test_a_conductor_that_freezes_is_left_without_drive_in_time():
    rig, guard, take, tripped = a_play(patience_s=0.2)
    frozen_at = None
    with take:
        for block in take:
            if block.start >= 9600:
                frozen_at = block.start + BLOCK  # handed out so far, at least
                wait_until_stopped(rig, guard)
                break
    assert guard.tripped.code == "conductor-silent"
    assert tripped.is_set()
    assert last_driven(rig) - frozen_at <= (CHECK_IN_S + FADE_S) * RATE_HZ + BLOCK
    assert "100 ms" in guard.tripped.why


def test_a_conductor_that_never_looks_is_left_without_drive_in_time():
    rig, guard, take, tripped = a_play(patience_s=0.02)
    wait_until_stopped(rig, guard)
    assert guard.tripped.code == "conductor-silent"
    assert last_driven(rig) <= (CHECK_IN_S + FADE_S) * RATE_HZ
    assert tripped.is_set()
    with take:
        conduct(take)  # what was recorded is still there, and the iteration ends
    assert not rig.played[0][-1].any()


class Stalls(LoopBench):
    """A bench whose stream comes to a halt."""

    release = None

    def tracks(self, drive, start):
        if start >= FAULT:
            self.release.wait(5.0)
        return super().tracks(drive, start)


@pytest.mark.parametrize("alive", [True, False])
def test_a_stalled_stream_is_told_and_muted_even_with_the_conductor_frozen(alive):
    loop = Stalls()
    loop.release = threading.Event()
    rig = LoopRecorder(rate_hz=RATE_HZ, block_samples=BLOCK, loop=loop, patience_s=0.05, stall_s=0.1)
    guard = Guard(tracks=guard_tracks(loop.bench(), rig.channels), limits=LIMITS, rate_hz=RATE_HZ, tone_hz=47.0)
    drive = ToneDrive(level_v_rms=1.0, seconds=3.0, tone_hz=47.0, outputs=("A",), rate_hz=RATE_HZ)
    tripped = threading.Event()
    take = rig.play(drive, guard, on_trip=tripped.set)
    with take:
        for block in take:
            if not alive and block.start >= FAULT - 2 * BLOCK:
                assert tripped.wait(2.0)
                break
        assert tripped.wait(2.0)
        loop.release.set()
    assert guard.tripped.code == "stream-stalled"
    assert rig._pump.silent
    assert last_driven(rig) - guard.tripped.sample <= BLOCK + FADE_S * RATE_HZ


@pytest.mark.parametrize("what", ["not_a_number", "broken"])
def test_a_recorder_that_breaks_mutes_and_is_told_to_the_conductor(what):
    loop = LoopBench(faults=[LoopFault(what=what, sample=FAULT)])
    rig = LoopRecorder(rate_hz=RATE_HZ, block_samples=BLOCK, loop=loop)
    guard = Guard(tracks=guard_tracks(loop.bench(), rig.channels), limits=LIMITS, rate_hz=RATE_HZ, tone_hz=47.0)
    drive = ToneDrive(level_v_rms=1.0, seconds=3.0, tone_hz=47.0, outputs=("A",), rate_hz=RATE_HZ)
    take = rig.play(drive, guard, on_trip=lambda: None)
    with pytest.raises(Exception, match=r"no number|went away") as told, take:
        conduct(take)
    assert last_driven(rig) - FAULT <= BLOCK + FADE_S * RATE_HZ
    assert not isinstance(told.value, AssertionError)


def test_the_samples_around_a_trip_are_kept():
    _, guard, take, _ = a_play("open-load")
    with take:
        recorded = list(take)
    kept = guard.around()
    whole = np.concatenate([block.samples for block in recorded])
    assert kept.start <= max(0, guard.tripped.sample - 0.4 * RATE_HZ)
    assert kept.start + len(kept.samples) >= guard.tripped.sample + 0.2 * RATE_HZ
    assert np.array_equal(kept.samples, whole[kept.start : kept.start + len(kept.samples)])


def test_the_take_ends_a_quarter_second_after_the_trip():
    _, guard, take, _ = a_play("supply-voltage")
    with take:
        recorded = list(take)
    end = recorded[-1].start + BLOCK
    assert 0.25 * RATE_HZ <= end - guard.tripped.sample <= 0.25 * RATE_HZ + 3 * BLOCK
