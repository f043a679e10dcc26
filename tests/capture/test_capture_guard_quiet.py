"""What is no fault trips nothing: ramps into clipping, bursts on DC-coupled channels, deep tones, noise, silence."""

import numpy as np
import pytest
from scipy.signal import lfilter

from wattproof.capture import BurstDrive, Guard, GuardTrack, RampDrive, SilentDrive, ToneDrive, guard_tracks
from wattproof.plan import StepLimits
from wattproof.testing import LoopBench, LoopRecorder

RATE_HZ = 48_000.0
TIGHT = StepLimits(
    load_voltage_v=41.0,
    load_dc_v=0.5,
    load_current_a=10.3,
    supply_current_a=40.0,
    supply_voltage_v=(14.0, 15.0),
    temperature_c=30.0,
    full_power_w=200.0,
    full_power_s=60.0,
    energy_j=10_000.0,
)


def play(drive, *, tone_hz, loop=None, limits=TIGHT, loads=None):
    rig = LoopRecorder(rate_hz=RATE_HZ, block_samples=480, loop=loop or LoopBench())
    tracks = guard_tracks(rig.loop.bench(), rig.channels)
    guard = Guard(tracks=tracks, limits=limits, rate_hz=RATE_HZ, tone_hz=tone_hz, loads=loads or {"A": 4.0})
    with rig.play(drive, guard, on_trip=lambda: None) as take:
        blocks = list(take)
    assert blocks
    assert drive.finished
    return take.trip


def ramp(tone_hz, **changed):
    given = {"start_v_rms": 0.001, "ceiling_v_rms": 4.0, "fast_db_per_s": 40.0, "slow_db_per_s": 20.0}
    return RampDrive(**given | changed, seconds_max=9.0, tone_hz=tone_hz, outputs=("A",), rate_hz=RATE_HZ)


@pytest.mark.parametrize("tone_hz", [20.0, 47.0, 997.0])
def test_a_ramp_deep_into_clipping_trips_nothing(tone_hz):
    assert play(ramp(tone_hz), tone_hz=tone_hz) is None


@pytest.mark.parametrize("cycles", [(1, 4), (3, 8), (8, 47)])
@pytest.mark.parametrize("tone_hz", [20.0, 47.0, 211.0])
def test_a_burst_train_trips_nothing(tone_hz, cycles):
    on, period = cycles
    drive = BurstDrive(
        level_v_rms=1.9, low_db=-26.0, cycles_on=on, cycles_period=period, bursts=2, tone_hz=tone_hz, outputs=("A",),
        rate_hz=RATE_HZ,
    )  # fmt: skip
    assert play(drive, tone_hz=tone_hz) is None


@pytest.mark.parametrize("tone_hz", [20.0, 33.3, 47.0, 6_337.0, 19_997.0])
def test_a_steady_tone_from_silence_trips_nothing(tone_hz):
    drive = ToneDrive(level_v_rms=1.9, seconds=0.8, tone_hz=tone_hz, outputs=("A",), rate_hz=RATE_HZ)
    assert play(drive, tone_hz=tone_hz) is None


def test_nothing_driven_trips_nothing():
    drive = SilentDrive(seconds=1.0, outputs=("A",), rate_hz=RATE_HZ)
    assert play(drive, tone_hz=None, loop=LoopBench(noise_fs=2e-3)) is None


def test_the_recorders_floor_with_everything_off_trips_nothing_but_the_supplys_lower_limit():
    off = LoopBench(supply_v=0.01, idle_a=0.0, efficiency=1.0)
    drive = SilentDrive(seconds=0.5, outputs=("A",), rate_hz=RATE_HZ)
    without = TIGHT.model_copy(update={"supply_voltage_v": None})
    assert play(drive, tone_hz=None, loop=off, limits=without) is None
    again = SilentDrive(seconds=0.5, outputs=("A",), rate_hz=RATE_HZ)
    rig = LoopRecorder(rate_hz=RATE_HZ, loop=off)
    guard = Guard(tracks=guard_tracks(off.bench(), rig.channels), limits=TIGHT, rate_hz=RATE_HZ)
    with rig.play(again, guard, on_trip=lambda: None) as take:
        list(take)
    assert take.trip.code == "supply-voltage"


VOLTS = GuardTrack(column=0, role="load_voltage", scale=100.0, full_scale=1.0)


def watched(volts, *, tone_hz, limits=StepLimits(load_dc_v=0.5), block=441):  # noqa: B008 - frozen
    guard = Guard(tracks=[VOLTS], limits=limits, rate_hz=RATE_HZ, tone_hz=tone_hz)
    for start in range(0, len(volts), block):
        guard.inspect(volts[start : start + block, np.newaxis] / 100.0)
    return guard


@pytest.mark.parametrize("corner_hz", [0.5, 3.0, 10.0])
@pytest.mark.parametrize("tone_hz", [20.0, 47.0])
def test_bursts_through_a_coupling_capacitor_are_no_dc(tone_hz, corner_hz):
    drive = BurstDrive(
        level_v_rms=30.0, low_db=-40.0, cycles_on=3, cycles_period=12, bursts=3, tone_hz=tone_hz, outputs=("A",),
        rate_hz=RATE_HZ,
    )  # fmt: skip
    drive_v = drive.block(round(3.5 * RATE_HZ))[0]
    pole = np.exp(-2 * np.pi * corner_hz / RATE_HZ)
    coupled = lfilter([1.0, -1.0], [1.0, -pole], drive_v)
    limits = StepLimits(load_dc_v=0.5, load_voltage_v=50.0)
    assert watched(coupled, tone_hz=tone_hz, limits=limits).tripped is None


def test_noise_is_no_dc():
    noise = np.random.default_rng(3).standard_normal(round(4 * RATE_HZ))
    assert watched(10.0 * noise, tone_hz=None).tripped is None  # its mean over half a second: 0.065 V r.m.s.
    deep = lfilter([0.01], [1.0, -0.99], noise)  # up to 76 Hz
    assert watched(10.0 * deep, tone_hz=None).tripped is None
