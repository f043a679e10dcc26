"""The simulated bench as a rig: parts as the bench file says, a play that ends, faults that the guard's stream sees."""

import time
from importlib.metadata import entry_points
from pathlib import Path

import numpy as np
import pytest

from wattproof.amplifier import parse_amplifier
from wattproof.bench import parse_bench
from wattproof.capture import SilentDrive, ToneDrive
from wattproof.errors import RigError
from wattproof.sim.collection import COLLECTION, FOLDER
from wattproof.sim.rig import open_parts

TONE_HZ = 94.0


class Open:
    """A watch that sees nothing wrong."""

    tripped = None

    def inspect(self, block):
        return None

    def trip(self, trip):
        self.tripped = trip


def bench_of(name="bittern-1", extra="", **replaced):
    text = (FOLDER / name / "bench.toml").read_text(encoding="utf-8") + extra
    for old, new in replaced.values():
        assert old in text
        text = text.replace(old, new)
    return parse_bench(text, file="bench.toml")


def opened(bench, load="4 ohm", volts=14.4):
    parts = open_parts(bench, Path())
    parts.load.use(bench.load(load))
    parts.supply.on(volts, limit_a=None)
    return parts


def played(parts, drive, watch=None):
    with parts.recorder.play(drive, watch or Open(), on_trip=lambda: None) as take:
        return np.concatenate([block.samples for block in take])


def tone(parts, *, level_v_rms=0.5, seconds=0.2):
    recorder = parts.recorder
    return ToneDrive(
        level_v_rms=level_v_rms, seconds=seconds, tone_hz=TONE_HZ, outputs=recorder.outputs, rate_hz=recorder.rate_hz
    )


def engineering(bench, samples):
    return {
        (channel.role, channel.output): channel.engineering(samples[:, channel.input - 1]) for channel in bench.channels
    }


def test_it_is_reached_as_a_plug_in():
    (found,) = entry_points(group="wattproof.rigs", name="simulated")
    assert found.load() is open_parts


@pytest.mark.parametrize("name", sorted(COLLECTION))
def test_every_amplifier_has_its_files_and_plays(name):
    bench = bench_of(name)
    amplifier = parse_amplifier((FOLDER / name / "amplifier.toml").read_text(encoding="utf-8"), file="amplifier.toml")
    assert amplifier.outputs == COLLECTION[name].outputs
    assert any(rating.quantity == "power" for rating in amplifier.ratings)
    parts = opened(bench)
    seen = engineering(bench, played(parts, tone(parts)))
    for output in amplifier.outputs:
        volts, amps = seen["load_voltage", output], seen["load_current", output]
        assert 3 < np.sqrt(np.mean(volts[3000:7000] ** 2)) < 15
        assert np.mean(volts * amps) > 0
    assert np.mean(seen["supply_current", "A"]) > COLLECTION[name].idle_a
    assert 14.0 < np.mean(seen["supply_voltage", "A"]) < 14.45
    assert 20 < np.mean(seen["temperature", "A"]) < 30


def test_the_supply_off_is_silence():
    bench = bench_of()
    parts = opened(bench)
    parts.supply.off()
    parts.recorder.pass_time(60)
    seen = engineering(bench, played(parts, tone(parts)))
    assert np.abs(seen["load_voltage", "A"]).max() < 1
    assert np.abs(seen["supply_current", "A"]).max() < 0.2


def test_without_a_load_no_current_flows():
    bench = bench_of()
    parts = opened(bench)
    parts.load.use(None)
    seen = engineering(bench, played(parts, tone(parts)))
    assert np.abs(seen["load_voltage", "A"]).max() > 10
    assert np.abs(seen["load_current", "A"]).max() < 0.05


def test_parts_said_to_be_elsewhere_are_left_out():
    bench = bench_of(
        extra='\n[rig.supply]\nkind = "manual"\n[[rig.meters]]\nkind = "manual"\nquantity = "temperature"\n'
    )
    parts = open_parts(bench, Path())
    assert (parts.supply, dict(parts.meters)) == (None, {})
    assert parts.load is not None
    assert all(part.check().state == "good" for part in (parts.recorder, parts.load))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('amplifier = "bittern-1"', 'amplifier = "bittern-9"', "bittern-1"),
        ('output = "A"\nscale = 40.0', 'output = "Q"\nscale = 40.0', 'output = "A"'),
        ("skew_s = 4.2e-6", "skew_s = 0.3", "skew_s"),
        ("seed = 1", 'seed = 1\nloudspeaker = "horn"', "sealed"),
    ],
)
def test_what_is_not_there_is_refused_with_a_cure(old, new, words):
    with pytest.raises(RigError) as caught:
        open_parts(bench_of(change=(old, new)), Path())
    assert words in caught.value.hint


def test_the_same_seed_gives_the_same_samples_and_another_gives_others():
    first, second, third = (
        played(parts, tone(parts)) for parts in (opened(bench_of(s=("seed = 1", f"seed = {n}"))) for n in (1, 1, 2))
    )
    assert np.array_equal(first, second)
    assert not np.array_equal(first, third)


def fault(what, at_s=0.1):
    return f'\n[[rig.simulated.faults]]\nwhat = "{what}"\nat_s = {at_s}\n'


@pytest.mark.parametrize(
    ("what", "role", "before", "after"),
    [
        ("open_load", "load_current", (1.0, 5.0), (0.0, 0.05)),
        ("short_load", "load_voltage", (4.0, 20.0), (0.0, 1.0)),
        ("dc", "load_voltage", (4.0, 20.0), (20.0, 30.0)),
        ("supply_collapse", "supply_voltage", (14.0, 14.5), (5.0, 13.5)),
        ("supply_surge", "supply_voltage", (14.0, 14.5), (17.5, 19.0)),
        ("overheated", "temperature", (20.0, 23.0), (100.0, 120.0)),
        ("clipped_input", "load_voltage", (4.0, 20.0), (63.0, 65.0)),
    ],
)
def test_a_scripted_fault_happens_at_its_time_and_is_mended_for_the_next_play(what, role, before, after):
    bench = bench_of(extra=fault(what))
    parts = opened(bench)
    values = engineering(bench, played(parts, tone(parts, level_v_rms=0.7)))[role, "A"]
    at = round(0.1 * parts.recorder.rate_hz)
    extreme = np.max if role != "supply_voltage" or what == "supply_surge" else np.min
    assert before[0] < extreme(np.abs(values[: at - 40])) < before[1]
    assert after[0] <= extreme(np.abs(values[at + 1000 : at + 3500])) < after[1]
    again = engineering(bench, played(parts, tone(parts, level_v_rms=0.7)))[role, "A"]
    if what != "overheated":  # heat stays
        assert before[0] < extreme(np.abs(again[3000:-500])) < before[1]


def test_what_is_recorded_lies_where_it_was_driven():
    bench = bench_of()
    parts = opened(bench)
    drive, again = tone(parts), tone(parts)
    given = again.block(7000)[0]
    seen = engineering(bench, played(parts, drive))["drive_voltage", "A"][:7000]
    assert np.abs(seen - given).max() < 2e-3 * np.abs(given).max()
    late = np.abs(seen - np.roll(given, 1))[1000:6000]
    assert late.max() > 5e-3 * np.abs(given).max()  # a sample too late would be seen


def test_a_load_that_stays_stays_warm_and_another_is_cold():
    bench = bench_of()
    parts = opened(bench)
    played(parts, tone(parts, level_v_rms=1.4, seconds=0.3))
    warm_k = parts.recorder.bench.engine.load_rises[0].inner_k
    assert warm_k > 0.2
    parts.load.use(bench.load("4 ohm"))
    assert parts.recorder.bench.engine.load_rises[0].inner_k == warm_k
    parts.recorder.pass_time(30.0)
    assert 0 < parts.recorder.bench.engine.load_rises[0].inner_k < warm_k
    parts.load.use(bench.load("2 ohm"))
    assert parts.recorder.bench.engine.load_rises[0].inner_k == 0


def test_two_faults_may_come_at_once():
    parts = opened(bench_of(extra=fault("dc") + fault("open_load")))
    assert len(played(parts, tone(parts))) > 9000


def test_paced_it_takes_its_time():
    parts = opened(bench_of(s=("seed = 1", "seed = 1\npaced = true")))
    began_s = time.monotonic()
    played(parts, SilentDrive(seconds=0.2, outputs=("A",), rate_hz=parts.recorder.rate_hz))
    parts.recorder.pass_time(0.1)
    assert time.monotonic() - began_s > 0.28


def test_a_pulled_plug_ends_the_play_with_its_reason():
    parts = opened(bench_of(extra=fault("unplugged")))
    with pytest.raises(RigError, match="gone"):
        played(parts, tone(parts))


def test_a_stalled_stream_trips_and_lets_go():
    parts, watch = opened(bench_of(extra=fault("stall", 0.03))), Open()
    drive = SilentDrive(seconds=0.1, outputs=("A",), rate_hz=parts.recorder.rate_hz)
    with parts.recorder.play(drive, watch, on_trip=parts.recorder.mute) as take:
        blocks = list(take)
    assert watch.tripped.code == "stream-stalled"
    assert len(blocks) <= 5  # the one that was late still comes
