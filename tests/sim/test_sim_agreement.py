"""What is measured through the rig is the simulated amplifier's truth, within the uncertainty that is stated."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from wattproof.bench import parse_bench
from wattproof.capture import RampDrive, SilentDrive, ToneDrive
from wattproof.measure import lay_on_bench, measure
from wattproof.sim.collection import COLLECTION, FOLDER
from wattproof.sim.heat import Rises
from wattproof.sim.known import SMALL_V_RMS, SUPPLY_V, TONE_HZ, held_power, true_loads, truth_of
from wattproof.sim.rig import open_parts
from wattproof.waveform import MemoryRecording, Waveform

CASES = [
    ("bittern-1", "2 ohm"),
    ("dabchick-600", "2 ohm"),
    ("whimbrel-3000", "2 ohm"),
    ("whimbrel-3000", "1 ohm"),
    ("redstart-4", "4 ohm"),
    ("ptarmigan-350", "2 ohm"),
]


class Watch:
    """Lets a ramp slow down where it is told to; sees nothing wrong."""

    tripped = None

    def __init__(self, drive, slow_v_rms):
        self._drive, self._slow_v_rms, self._seen = drive, slow_v_rms, 0

    def inspect(self, block):
        self._seen += len(block)
        if self._slow_v_rms is not None and self._drive.level_v_rms_at(self._seen) > self._slow_v_rms:
            self._drive.slow_down()

    def trip(self, trip):
        raise AssertionError(trip)


@cache
def bench_of(name, rate_hz=48000):
    text = (FOLDER / name / "bench.toml").read_text(encoding="utf-8")
    assert "sample_rate_hz = 48000" in text
    return parse_bench(text.replace("sample_rate_hz = 48000", f"sample_rate_hz = {rate_hz}"), file="bench.toml")


def measured(bench, load, make_drive, *, slow_v_rms=None, kind=None, from_s=0.0, to_s=None, warm=None):
    """A cold amplifier (if not said to be warm), one play, and what the measure room makes of it or of a part of it."""
    parts = open_parts(bench, Path())
    parts.load.use(bench.load(load))
    parts.supply.on(SUPPLY_V, limit_a=None)
    recorder = parts.recorder
    recorder.bench.engine.rises = warm or recorder.bench.engine.rises
    drive = make_drive(outputs=recorder.outputs, rate_hz=recorder.rate_hz)
    with recorder.play(drive, Watch(drive, slow_v_rms), on_trip=lambda: None) as take:
        samples = np.concatenate([block.samples for block in take])
    samples = samples[round(from_s * recorder.rate_hz) : to_s and round(to_s * recorder.rate_hz)]
    wave = Waveform(samples=np.ascontiguousarray(samples.T), rate_hz=recorder.rate_hz, channels=recorder.channels)
    record, _ = lay_on_bench(MemoryRecording(waveform=wave, source="take"), bench=bench, load=bench.load(load))
    return measure(record, kind=kind)


def over_u95(figure, true):
    """How far a figure is from the truth, in halves of its 95 % interval."""
    return (figure.value - true) / (figure.k95 * figure.u)


@pytest.mark.parametrize(("name", "load"), CASES, ids=[f"{name} {load}" for name, load in CASES])
def test_a_ramp_finds_the_true_powers(name, load):
    known = truth_of(name)[load]
    one_v_rms, ten_v_rms = known["drive_v_rms_at_thd_1"], known["drive_v_rms_at_thd_10"]
    found = measured(
        bench_of(name),
        load,
        lambda **where: RampDrive(
            start_v_rms=0.15 * one_v_rms,
            ceiling_v_rms=1.06 * ten_v_rms,
            fast_db_per_s=20.0,
            slow_db_per_s=3.5,
            seconds_max=4.0,
            tone_hz=TONE_HZ,
            **where,
        ),
        slow_v_rms=0.8 * one_v_rms,
        kind="ramp",
    )
    for figure in ("power_at_thd_1", "power_at_thd_10"):
        assert abs(over_u95(found.figure(figure), known[figure])) <= 1, figure


@pytest.mark.parametrize(("name", "load"), CASES, ids=[f"{name} {load}" for name, load in CASES])
def test_a_tone_finds_what_is_true_at_one_percent(name, load):
    known = truth_of(name)[load]
    found = measured(
        bench_of(name),
        load,
        lambda **where: ToneDrive(level_v_rms=known["drive_v_rms_at_thd_1"], seconds=0.5, tone_hz=TONE_HZ, **where),
        kind="steady",
        from_s=0.1,
        to_s=0.45,
    )
    assert abs(over_u95(found.figure("load_power"), known["power_at_thd_1"])) <= 1
    assert found.figure("thd_n").value == pytest.approx(0.01, rel=0.05)
    for figure in ("efficiency", "supply_current", "supply_voltage"):
        assert abs(over_u95(found.figure(figure, None), known[figure])) <= 1, figure


@pytest.mark.parametrize("name", sorted(COLLECTION))
def test_gain_and_idle_current_are_true(name):
    bench = bench_of(name)
    load = bench.loads[0].name
    small = measured(
        bench,
        load,
        lambda **where: ToneDrive(level_v_rms=SMALL_V_RMS, seconds=0.5, tone_hz=TONE_HZ, **where),
        kind="steady",
    )
    assert abs(over_u95(small.figure("gain"), truth_of(name)[load]["gain"])) <= 1
    idle = measured(bench, load, lambda **where: SilentDrive(seconds=0.5, **where), kind="idle")
    assert abs(over_u95(idle.figure("idle_current", None), truth_of(name)["idle"]["idle_current"])) <= 1


def test_a_hold_finds_the_sustained_power_of_one_that_folds_back():
    """Begun warm, so that the protection steps in after some seconds."""
    name, load, seconds = "ptarmigan-350", "2 ohm", 9.0
    warm = Rises(inner_k=27.0, outer_k=18.0)
    level_v_rms = truth_of(name)[load]["drive_v_rms_at_thd_1"]
    found = measured(
        bench_of(name, 12000),
        load,
        lambda **where: ToneDrive(level_v_rms=level_v_rms, seconds=seconds, tone_hz=TONE_HZ, **where),
        kind="hold",
        warm=warm,
    )
    loads = true_loads(name)[load]
    times_s, power_w = held_power(COLLECTION[name], loads, drive_v_rms=level_v_rms, seconds=seconds, began=warm)
    sustained = [figure for figure in found.figures if figure.name == "sustained_power"]
    assert [figure.conditions["at_s"] for figure in sustained][:2] == [1.0, 5.0]
    for figure in sustained:
        second = np.floor(figure.conditions["at_s"])
        true_w = power_w[(times_s >= second) & (times_s < second + 1)].mean()
        assert abs(over_u95(figure, true_w)) <= 1, figure.conditions["at_s"]
    assert power_w[-1] < 0.93 * power_w[0]  # it has folded back within half a minute
    falling = next(point for point in found.curve if point.t_s > seconds - 2)
    # 2 % a second by then: a tenth of a second of the frame's place is 0.2 %, beside 0.44 % of the scales
    true_w = power_w[np.abs(times_s - falling.t_s) < 0.5].mean()
    assert falling.load_power == pytest.approx(true_w, rel=0.007)
