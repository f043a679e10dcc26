"""The guard on the simulated bench, through the rig a bench file opens: faults end drive and supply, work does not."""

import time
from pathlib import Path

import numpy as np
import pytest

from wattproof.bench import parse_bench
from wattproof.capture import (
    FADE_S,
    BurstDrive,
    Guard,
    RampDrive,
    ToneDrive,
    closest_limits,
    guard_tracks,
    open_rig,
)
from wattproof.plan import StepLimits
from wattproof.sim.collection import FOLDER

TONE_HZ = 47.0
LIMITS = StepLimits(
    load_voltage_v=60.0, load_dc_v=1.0, load_current_a=40.0, supply_current_a=120.0, supply_voltage_v=(10.5, 16.0),
    temperature_c=85.0,
)  # fmt: skip
FAULTS = {  # what, level at the amplifier's input, what may tell it first
    "open_load": (0.5, {"open-load"}),
    "short_load": (0.5, {"shorted-load", "load-current"}),
    "dc": (0.5, {"load-dc"}),
    "supply_collapse": (1.4, {"supply-voltage"}),
    "supply_surge": (0.5, {"supply-voltage", "supply-current", "clipped-input"}),
    "overheated": (0.5, {"temperature"}),
    "clipped_input": (0.5, {"clipped-input", "load-voltage"}),
}
AT_S = 0.25


def bench_of(fault=None):
    text = (FOLDER / "bittern-1" / "bench.toml").read_text(encoding="utf-8")
    extra = f'\n[[rig.simulated.faults]]\nwhat = "{fault}"\nat_s = {AT_S}\n' if fault else ""
    return parse_bench(text + extra, file="bench.toml")


def play(bench, made, *, load="4 ohm"):
    """Play what `made` makes; give the trip, the samples, a block's length, the rate and what the supply says."""
    with open_rig(bench, operator=None, folder=Path()) as rig:
        rig.use_load(bench.load(load))
        rig.supply_on(14.4)
        rig.pass_time(0.5)
        ohms = {"A": bench.load(load).resistance_ohm}
        tracks = guard_tracks(bench, rig.channels)
        limits = closest_limits(LIMITS, bench.limits)
        guard = Guard(tracks=tracks, limits=limits, rate_hz=rig.rate_hz, tone_hz=TONE_HZ, loads=ohms)
        blocks = []
        with rig.play(made(rig.rate_hz), guard) as take:
            for block in take:
                blocks.append(block.samples)
        until_s = time.monotonic() + 1.0
        while take.trip and "0.00 V" not in supply_said(rig) and time.monotonic() < until_s:
            time.sleep(0.005)
        return take.trip, np.concatenate(blocks), len(blocks[0]), rig.rate_hz, supply_said(rig)


def supply_said(rig):
    return next(part.said for part in rig.check().inside if part.part == "supply")


def tone(level_v_rms):
    return lambda rate_hz: ToneDrive(
        level_v_rms=level_v_rms, seconds=2.0, tone_hz=TONE_HZ, outputs=("A",), rate_hz=rate_hz
    )


@pytest.mark.parametrize("what", sorted(FAULTS))
def test_a_scripted_fault_ends_drive_and_supply(what):
    level_v_rms, codes = FAULTS[what]
    bench = bench_of(what)
    load = "2 ohm" if what == "supply_collapse" else "4 ohm"
    trip, samples, block, rate_hz, supply = play(bench, tone(level_v_rms), load=load)
    assert trip is not None
    assert trip.code in codes
    assert trip.sample >= AT_S * rate_hz - 1
    drive = bench.channel_for("drive_voltage")
    driven = np.abs(samples[:, drive.input - 1] * drive.scale)
    silent_from = trip.sample + block + round(FADE_S * rate_hz)
    assert driven[trip.sample - 5000 : trip.sample].max() > 0.9 * level_v_rms
    settled = round(1e-3 * rate_hz)  # of the recorder's filters, through which the drive is seen here
    assert driven[silent_from + settled :].max() < 0.01 * level_v_rms
    assert "0.00 V" in supply


def test_a_ramp_into_clipping_and_a_burst_train_trip_nothing():
    def ramp(rate_hz):
        return RampDrive(
            start_v_rms=0.01, ceiling_v_rms=1.4, fast_db_per_s=30.0, slow_db_per_s=10.0, seconds_max=8.0,
            tone_hz=TONE_HZ, outputs=("A",), rate_hz=rate_hz,
        )  # fmt: skip

    def bursts(rate_hz):
        return BurstDrive(
            level_v_rms=1.2, low_db=-20.0, cycles_on=4, cycles_period=20, bursts=2, tone_hz=TONE_HZ, outputs=("A",),
            rate_hz=rate_hz,
        )  # fmt: skip

    for made in (ramp, bursts):
        trip, samples, _, rate_hz, supply = play(bench_of(), made)
        assert trip is None
        assert len(samples) > 0.8 * rate_hz
        assert "0.00 V" not in supply
