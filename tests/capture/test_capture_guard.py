"""The guard: what fires at which sample, by a calculation of its own; what it counts; what it cannot watch."""

import ast
import re
import signal
import threading
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.bench import Bench, BenchChannel, Limits
from wattproof.capture import Guard, GuardTrack, Trip, closest_limits, guard_tracks
from wattproof.errors import CaptureFailedError
from wattproof.plan import StepLimits
from wattproof.waveform import Channel

ROOT = Path(__file__).parents[2]
RATE_HZ = 48_000.0
STEP = 20_000  # the sample at which something happens
VOLTS = GuardTrack(column=0, role="load_voltage", scale=100.0, full_scale=1.0)
AMPS = GuardTrack(column=1, role="load_current", scale=50.0, full_scale=1.0)
SUPPLY_V = GuardTrack(column=2, role="supply_voltage", scale=20.0, full_scale=1.0)
SUPPLY_A = GuardTrack(column=3, role="supply_current", scale=200.0, full_scale=1.0)
ALL = (VOLTS, AMPS, SUPPLY_V, SUPPLY_A)


def sine(v_rms, tone_hz=47.0, n=96_000):
    return v_rms * np.sqrt(2) * np.sin(2 * np.pi * tone_hz * np.arange(n) / RATE_HZ)


def samples(*, volts=0.0, amps=0.0, supply_v=14.4, supply_a=1.0, n=96_000, tracks=ALL):
    rows = np.broadcast_arrays(*[np.asarray(x, float) for x in (volts, amps, supply_v, supply_a)], np.zeros(n))[:4]
    return np.column_stack([(row - t.offset) / t.scale for row, t in zip(rows, tracks, strict=True)])


def watch(made, *, tracks=ALL, tone_hz=47.0, loads=None, block=480, **limits):
    guard = Guard(tracks=tracks, limits=StepLimits(**limits), rate_hz=RATE_HZ, tone_hz=tone_hz, loads=loads)
    for start in range(0, len(made), block):
        guard.inspect(made[start : start + block])
    return guard


@pytest.mark.parametrize("dc_v", [-40.0, -4.0, 2.0, 10.0])
def test_dc_is_told_the_sooner_the_grosser_it_is(dc_v):
    volts = sine(15.0) + np.where(np.arange(96_000) >= STEP, dc_v, 0.0)
    guard = watch(samples(volts=volts, n=96_000), load_dc_v=1.0, load_voltage_v=80.0)
    # The mean must hold 80 V/(2·47 Hz·1 V) = 0.85 s: 40 cycles. It passes 1 V of |dc| after 1/|dc| of that, sooner or
    # later by what the tone's own part cycle adds, 2·21 V/(2·π·40) of the 1 V at most; then it must last for a cycle.
    cycle = RATE_HZ / 47
    assert guard.tripped.code == "load-dc"
    passed = 40 * cycle / abs(dc_v)
    assert 0.83 * passed + cycle - 1 <= guard.tripped.sample - STEP <= 1.17 * passed + cycle + 1
    assert guard.tripped.value * dc_v > 0


def test_dc_below_the_limit_is_borne():
    assert watch(samples(volts=sine(15.0) + 0.9), load_dc_v=1.0).tripped is None


def test_a_noisy_sample_of_the_supply_is_no_trip_and_a_collapse_is_one_within_its_mean():
    supply_v = np.full(96_000, 14.4)
    supply_v[5000] = 0.0
    assert watch(samples(supply_v=supply_v), supply_voltage_v=(10.5, 16.0)).tripped is None
    supply_v[STEP:] = 7.2
    trip = watch(samples(supply_v=supply_v), supply_voltage_v=(10.5, 16.0)).tripped
    # (14.4 - 10.5)/(14.4 - 7.2) of 96 samples: 52; the next one is past it
    assert trip.code == "supply-voltage"
    assert trip.sample == STEP + 52
    assert trip.limit == 10.5
    assert "lowest" in trip.why


def test_a_mean_that_leaves_its_band_while_every_new_sample_is_inside_is_told():
    supply_v = np.full(96_000, 15.9)
    supply_v[19_152:19_200] = 9.0  # 1 ms, to the end of a block; its mean with 15.9 V is inside
    supply_v[19_200:] = 10.6  # inside too, but not together with the 9 V
    trip = watch(samples(supply_v=supply_v), supply_voltage_v=(10.5, 16.0)).tripped
    # (48·9 + n·10.6 + (48 - n)·15.9)/96 = 10.5 at n = 35.2
    assert trip.sample == 19_200 + 35


def test_a_supply_that_is_too_high_is_told_with_its_upper_limit():
    supply_v = np.where(np.arange(96_000) < STEP, 14.4, 18.0)
    trip = watch(samples(supply_v=supply_v), supply_voltage_v=(10.5, 16.0)).tripped
    assert (trip.limit, trip.code) == (16.0, "supply-voltage")
    assert "highest" in trip.why


def test_supply_current_is_judged_by_its_mean_over_half_cycles():
    pulses = 100.0 * np.sin(2 * np.pi * 47.0 * np.arange(96_000) / RATE_HZ) ** 2  # mean 50 A, peak 100 A
    assert watch(samples(supply_a=pulses), supply_current_a=55.0).tripped is None
    assert watch(samples(supply_a=pulses), supply_current_a=45.0).tripped.code == "supply-current"
    reversed_clamp = watch(samples(supply_a=-pulses), supply_current_a=45.0)
    assert reversed_clamp.tripped.code == "supply-current"


@pytest.mark.parametrize("sign", [1, -1])
def test_a_peak_is_told_at_its_very_sample(sign):
    volts = sine(15.0)
    volts[STEP] = sign * 50.0
    trip = watch(samples(volts=volts), load_voltage_v=40.0).tripped
    assert (trip.code, trip.sample, trip.unit, trip.output) == ("load-voltage", STEP, "V", "A")
    assert trip.value == pytest.approx(sign * 50.0)


def test_a_channel_of_negative_scale_and_an_offset_is_read_right():
    track = GuardTrack(column=0, role="load_voltage", scale=-80.0, offset=3.0, full_scale=1.0)
    tracks = (track, AMPS, SUPPLY_V, SUPPLY_A)
    volts = np.where(np.arange(96_000) < STEP, 0.0, 45.0)
    made = samples(volts=volts, tracks=tracks)
    assert watch(made, tracks=tracks, load_voltage_v=46.0).tripped is None
    assert watch(made, tracks=tracks, load_voltage_v=44.0).tripped.value == pytest.approx(45.0)


def test_an_open_load_is_told_within_a_half_cycle():
    volts = sine(20.0)
    amps = np.where(np.arange(96_000) < STEP, volts / 4, 0.0)
    trip = watch(samples(volts=volts, amps=amps), loads={"A": 4.0}).tripped
    # The current's mean square is below a quarter of its due at three quarters of the half cycle, and 1 ms later.
    half_cycle = RATE_HZ / 47 / 2
    assert trip.code == "open-load"
    assert 0 < trip.sample - STEP <= half_cycle + 0.001 * RATE_HZ
    assert trip.limit == 8.0
    assert trip.unit == "ohm"


def test_a_short_is_told_within_a_half_cycle():
    volts = sine(20.0)
    late = np.arange(96_000) >= STEP
    trip = watch(samples(volts=np.where(late, volts / 10, volts), amps=volts / 4), loads={"A": 4.0}).tripped
    assert trip.code == "shorted-load"
    assert 0 < trip.sample - STEP <= RATE_HZ / 47 / 2 + 0.001 * RATE_HZ
    assert trip.limit == 2.0


@pytest.mark.parametrize("ohm", [2.1, 7.9])
def test_a_load_within_a_factor_of_two_is_the_load(ohm):
    volts = sine(20.0)
    assert watch(samples(volts=volts, amps=volts / ohm), loads={"A": 4.0}).tripped is None


def test_a_load_is_not_judged_where_voltage_or_current_cannot_be_read():
    # 1 % of full scale: 1 V and 0.5 A; twice 0.5 A in 4 ohm is 4 V
    volts = sine(3.9)
    assert watch(samples(volts=volts, amps=0.0), loads={"A": 4.0}).tripped is None
    assert watch(samples(volts=sine(4.1), amps=0.0), loads={"A": 4.0}).tripped.code == "open-load"
    assert watch(samples(volts=0.0, amps=sine(0.4)), loads={"A": 4.0}).tripped is None
    assert watch(samples(volts=0.0, amps=sine(0.6)), loads={"A": 4.0}).tripped.code == "shorted-load"


def test_a_loudspeaker_is_judged_by_its_range():
    volts = sine(20.0)
    at_resonance = samples(volts=volts, amps=volts / 30)
    assert watch(at_resonance, loads={"A": (3.2, 28.0)}).tripped is None
    assert watch(at_resonance, loads={"A": 4.0}).tripped.code == "open-load"


def test_eight_samples_at_full_scale_are_borne_and_the_ninth_is_not():
    made = samples()
    made[1000:9000:1000, 1] = 1.0
    assert watch(made).tripped is None
    made[STEP, 1] = -1.0
    trip = watch(made).tripped
    assert (trip.code, trip.sample) == ("clipped-input", STEP)
    assert "load current of output A (input 2)" in trip.message


def test_energy_and_seconds_at_full_power_are_those_of_the_formula():
    volts = sine(20.0)  # 100 W into 4 ohm
    guard = watch(
        samples(volts=volts, amps=volts / 4, supply_a=10.0), full_power_w=60.0, full_power_s=5.0, energy_j=1e4
    )
    assert guard.tripped is None
    assert guard.energy_j == pytest.approx(14.4 * 10.0 * 2.0, rel=1e-6)
    # The mean over the first cycle passes 60 of 100 W at about 0.6 of it.
    assert guard.full_power_s == pytest.approx(2.0 - 0.6 / 47, abs=0.1 / 47)


def test_a_step_that_uses_more_than_planned_ends():
    trip = watch(samples(supply_a=10.0), energy_j=72.0).tripped
    assert trip.code == "energy"
    assert trip.sample == pytest.approx(0.5 * RATE_HZ, abs=2)  # 144 W
    volts = sine(20.0)
    trip = watch(samples(volts=volts, amps=volts / 4), full_power_w=60.0, full_power_s=0.5).tripped
    assert trip.code == "full-power"
    assert trip.sample == pytest.approx((0.5 + 0.6 / 47) * RATE_HZ, abs=0.1 / 47 * RATE_HZ)


def test_power_is_had_from_the_load_where_no_current_is_recorded():
    made = samples(volts=sine(20.0))[:, :1]
    guard = watch(made, tracks=[VOLTS], loads={"A": 4.0}, energy_j=1e5, full_power_w=60.0, full_power_s=9.0)
    assert guard.energy_j == pytest.approx(200.0, rel=1e-3)
    assert guard.full_power_s > 1.9
    assert guard.notices == ()


def test_an_output_recorded_twice_has_its_power_once():
    finer = GuardTrack(column=4, role="load_voltage", scale=10.0)
    volts = sine(20.0)
    made = np.column_stack([samples(volts=volts, amps=volts / 4), volts / 10.0])
    guard = watch(made, tracks=(*ALL, finer), full_power_w=120.0, full_power_s=9.0)
    assert guard.full_power_s == 0.0  # 100 W, not 200 W


def test_what_no_channel_shows_is_told():
    guard = Guard(
        tracks=[VOLTS],
        limits=StepLimits(load_voltage_v=40.0, supply_current_a=30.0, temperature_c=80.0, energy_j=10.0),
        rate_hz=RATE_HZ,
    )
    assert {notice.code for notice in guard.notices} == {"guard-blind"}
    assert [notice.message.split()[4].rstrip(":") for notice in guard.notices] == [
        "supply_current_a",
        "temperature_c",
        "energy_j",
    ]


def test_the_first_trip_stays_and_the_earlier_of_two_in_a_block_is_told():
    volts, supply_v = sine(15.0), np.full(96_000, 14.4)
    volts[STEP + 100] = 70.0
    supply_v[STEP:] = 0.0
    guard = watch(
        samples(volts=volts, supply_v=supply_v), block=4800, load_voltage_v=60.0, supply_voltage_v=(10.5, 16.0)
    )
    assert guard.tripped.code == "supply-voltage"
    first = guard.tripped
    guard.trip(Trip(code="person", message="Stop."))
    guard.stop()
    assert guard.tripped is first
    assert guard.inspect(samples(n=100)) is first


FAULTY = np.where(np.arange(30_000)[:, np.newaxis] < STEP, samples(volts=sine(20.0), amps=sine(5.0))[:30_000], 0.4)


@given(sizes=st.lists(st.integers(37, 6000), min_size=1, max_size=4))
@settings(max_examples=15, deadline=None)
def test_a_split_into_blocks_changes_no_trip(sizes):
    limits = StepLimits(supply_voltage_v=(10.5, 16.0), load_dc_v=1.0, energy_j=1e4)
    guard = Guard(tracks=ALL, limits=limits, rate_hz=RATE_HZ, tone_hz=47.0, loads={"A": 4.0})
    start = turn = 0
    while start < len(FAULTY):
        guard.inspect(FAULTY[start : start + sizes[turn % len(sizes)]])
        start, turn = start + sizes[turn % len(sizes)], turn + 1
    whole = Guard(tracks=ALL, limits=limits, rate_hz=RATE_HZ, tone_hz=47.0, loads={"A": 4.0})
    whole.inspect(FAULTY)
    assert guard.tripped.code == whole.tripped.code
    assert guard.tripped.sample == whole.tripped.sample


def test_a_meters_reading_trips_above_its_limit_only():
    guard = Guard(tracks=(), limits=StepLimits(temperature_c=85.0), rate_hz=RATE_HZ)
    guard.note_temperature_c(85.0)
    assert guard.tripped is None
    guard.note_temperature_c(85.5)
    assert guard.tripped.code == "temperature"
    assert guard.tripped.sample is None


def test_a_signals_handler_may_stop_it():
    guard = Guard(tracks=(), limits=StepLimits(), rate_hz=RATE_HZ)
    before = signal.signal(signal.SIGINT, lambda *_: guard.stop("Ctrl-C"))
    try:
        with guard._lock:  # the handler may come while this very thread latches a trip
            signal.raise_signal(signal.SIGINT)
    finally:
        signal.signal(signal.SIGINT, before)
    assert guard.tripped.code == "person"
    assert "Ctrl-C" in guard.tripped.message


def test_of_many_threads_one_trip_wins():
    guard = Guard(tracks=(), limits=StepLimits(), rate_hz=RATE_HZ)
    trips = [Trip(code="person", message=str(n)) for n in range(8)]
    threads = [threading.Thread(target=guard.trip, args=(trip,)) for trip in trips]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert any(guard.tripped is trip for trip in trips)


def test_a_sample_that_is_no_number_is_refused():
    made = samples(n=480)
    made[77, 2] = np.nan
    guard = Guard(tracks=ALL, limits=StepLimits(), rate_hz=RATE_HZ)
    with pytest.raises(CaptureFailedError, match="no number"):
        guard.inspect(made)


def test_tracks_are_found_by_number_and_by_name_and_others_are_left_out():
    bench = Bench(
        channels=(
            BenchChannel(input=2, role="load_voltage", output="B", scale=42.0),
            BenchChannel(input="sense", role="supply_voltage", scale=20.0, full_scale=0.8),
            BenchChannel(input=9, role="temperature"),
        )
    )
    found = guard_tracks(bench, [Channel(name="sense"), Channel(name="2", full_scale=1.0)])
    assert [(track.role, track.column, track.full_scale) for track in found] == [
        ("load_voltage", 1, 1.0),
        ("supply_voltage", 0, 0.8),
    ]
    assert found[0].output == "B"
    assert found[0].range == 42.0


def test_the_closer_limit_wins():
    step = StepLimits(load_voltage_v=30.0, supply_voltage_v=(9.0, 15.0), energy_j=5.0)
    bench = Limits(load_voltage_v=90.0, load_dc_v=1.0, supply_voltage_v=(10.5, 16.0), full_power_s=6.0)
    closest = closest_limits(step, bench)
    assert closest.load_voltage_v == 30.0
    assert closest.load_dc_v == 1.0
    assert closest.supply_voltage_v == (10.5, 15.0)
    assert (closest.energy_j, closest.full_power_s, closest.temperature_c) == (5.0, 6.0, None)


def test_every_trip_has_its_place_on_the_guards_page():
    page = (ROOT / "docs" / "explanations" / "guard.md").read_text(encoding="utf-8")
    table = "\n".join(line.split("|")[1] for line in page.splitlines() if line.startswith("| `"))
    told = set(re.findall(r"`([a-z-]+)`", table))
    meant = set(re.findall(r"``([a-z-]+)``", Trip.__doc__.split("code : str")[1].split("message")[0]))
    given = set()
    for path in (ROOT / "src" / "wattproof" / "capture").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("Trip"):
                given |= {k.value.value for k in node.keywords if k.arg == "code" and isinstance(k.value, ast.Constant)}
    assert {"clipped-input", "energy", "person"} <= given <= meant
    assert told == meant
