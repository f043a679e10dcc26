"""`bench_floor`: a recorder of known noise and distortion is found to have just these, channel by channel."""

import json
import threading
from math import sqrt

import numpy as np
import pytest

from wattproof.capture import Block, Pump, QueueTake
from wattproof.errors import CaptureFailedError, GuardTripError, RefusedError, SettingsError
from wattproof.tasks import flooring
from wattproof.tasks.flooring import bench_floor
from wattproof.waveform import Channel

RATE_HZ = 48000.0
NOISE_FS = 1e-4
SECOND = 2e-3
"""The loop-back's second harmonic over its fundamental."""
SCALES = {"load_voltage": 42.0, "drive_voltage": 2.0, "supply_current": 100.0}
LOOP = {"load_voltage": 0.5, "drive_voltage": 1.0, "supply_current": 0.0}
"""Volts read for a volt driven."""

BENCH = """\
name = "Net loft bench"
[[channels]]
input = 1
role = "load_voltage"
scale = 42.0
[[channels]]
input = 2
role = "drive_voltage"
scale = 2.0
[[channels]]
input = 3
role = "supply_current"
scale = 100.0
[limits]
load_voltage_v = 40
[rig]
kind = "audio"
sample_rate_hz = 48000
drive_v_full_scale = 2.0
"""


class LoopedBack:
    """A rig whose generator and inputs add noise and a second harmonic that are known."""

    rate_hz = RATE_HZ
    outputs = ("A",)
    channels = tuple(Channel(name=str(n), unit="FS", full_scale=1.0) for n in (1, 2, 3))

    def __init__(self, *, loop=1.0, losses=0):
        self.plays, self.loop, self.losses = 0, loop, losses
        self.noise = np.random.default_rng(7)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        return None

    def play(self, drive, watch):
        self.plays += 1
        pump = Pump(drive, watch, rate_hz=RATE_HZ)
        take = QueueTake(pump)
        threading.Thread(target=self._run, args=(pump, take), daemon=True).start()
        return take

    def _run(self, pump, take):
        recorded, start = np.empty((0, 3)), 0
        while not pump.done:
            volts = pump.turn(recorded, n_samples=960)[:, 0]
            recorded = self._recorded(volts)
            take.put(Block(samples=recorded, start=start))
            start += 960
            take.wait_until_asked(2.0)
            if self.plays <= self.losses:
                take.fail(CaptureFailedError("Samples were lost."))
                return
        take.end()

    def _recorded(self, volts):
        peak = 1.0  # of the tone; sin**2 about its mean is half a second harmonic
        bent = volts - 2 * SECOND * (volts**2 / peak - 0.5 * (np.abs(volts).max() > 0))
        tracks = [self.loop * LOOP[role] * bent / scale for role, scale in SCALES.items()]
        return np.column_stack(tracks) + NOISE_FS * self.noise.standard_normal((len(volts), 3))


@pytest.fixture
def bench(tmp_path):
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")
    return tmp_path / "bench.toml"


@pytest.fixture
def looped(monkeypatch):
    def put(**how):
        rig = LoopedBack(**how)
        monkeypatch.setattr(flooring, "open_rig", lambda *_, **__: rig)
        return rig

    return put


def floor_of(bench, **how):
    return bench_floor(bench, seconds=2.0, level_v_rms=1 / sqrt(2), wired=True, **how)


def test_noise_distortion_and_gain_are_those_of_the_loop(bench, looped):
    looped()
    found = {channel.role: channel for channel in floor_of(bench).channels}
    for role, channel in found.items():
        inside = sqrt((20e3 - 20) / (RATE_HZ / 2))  # white noise fills the band evenly
        noise = NOISE_FS * SCALES[role] * inside
        assert abs(channel.noise.value - noise) < 4 * channel.noise.u + 1e-3 * noise
        assert channel.noise.unit == ("A" if role == "supply_current" else "V")
        assert channel.noise_re_full_scale == pytest.approx(NOISE_FS * inside * sqrt(2), rel=0.02)
    for role in ("load_voltage", "drive_voltage"):
        channel = found[role]
        assert channel.hears
        assert channel.gain == pytest.approx(LOOP[role], rel=1e-3)
        level = LOOP[role] / sqrt(2)
        noise = channel.noise.value / level
        assert channel.thd.value == pytest.approx(SECOND, abs=4 * channel.thd.u + 1e-3 * SECOND)
        assert channel.thd_n.value == pytest.approx(sqrt(SECOND**2 + noise**2), rel=0.03)
    assert not found["supply_current"].hears
    assert found["supply_current"].thd_n is None


def test_the_reach_is_noise_over_level_with_the_loops_own_distortion(bench, looped):
    looped()
    found = floor_of(bench)
    (volts,) = [channel for channel in found.channels if channel.role == "load_voltage"]
    assert [reach.level_v_rms for reach in found.reach] == pytest.approx([42 / sqrt(2) / 10**n for n in range(4)])
    for reach in found.reach:
        assert reach.thd_n == pytest.approx(sqrt((volts.noise.value / reach.level_v_rms) ** 2 + SECOND**2), rel=0.02)


def test_text_and_json_say_the_same(bench, looped):
    looped()
    found = floor_of(bench)
    text, data = found.table(), json.loads(found.to_json())
    assert "load voltage A (input 1)" in text
    assert text.count("the looped-back tone is not heard here") == 1
    assert f"{20 * np.log10(found.channels[0].noise_re_full_scale):.1f} dB re a sine at full scale" in text
    assert [channel["thd_n"] is None for channel in data["channels"]] == [False, False, True]
    assert data["schema"] == 1


def test_a_capture_that_lost_samples_is_taken_again_but_not_for_ever(bench, looped):
    rig = looped(losses=2)
    floor_of(bench)
    assert rig.plays == 4
    rig = looped(losses=3)
    with pytest.raises(CaptureFailedError):
        floor_of(bench)
    assert rig.plays == 3


def test_an_input_that_is_driven_too_far_stops_it(bench, looped):
    looped(loop=90.0)
    with pytest.raises(GuardTripError) as caught:
        floor_of(bench)
    assert caught.value.why
    assert caught.value.hint


class Person:
    def __init__(self):
        self.asked = []

    def do(self, what, *, hint=""):
        self.asked.append(what)


def test_nothing_is_driven_before_somebody_says_that_it_is_wired(bench, looped):
    rig = looped()
    with pytest.raises(RefusedError) as caught:
        bench_floor(bench, seconds=2.0)
    assert rig.plays == 0
    assert "--wired" in caught.value.hint
    assert "amplifier switched off" in caught.value.why
    person, told = Person(), []
    bench_floor(bench, seconds=2.0, operator=person, tell=told.append)
    assert rig.plays == 2
    assert len(person.asked) == 1
    assert "bridged" in person.asked[0]
    assert "Cautions" in told[0]


@pytest.mark.parametrize("wrong", [{"seconds": 0.1}, {"seconds": 1e4}, {"tone_hz": 0.0}, {"level_v_rms": -1.0}])
def test_numbers_without_sense_are_refused(bench, looped, wrong):
    rig = looped()
    with pytest.raises(SettingsError):
        bench_floor(bench, wired=True, **wrong)
    assert rig.plays == 0


def test_the_simulated_bench_has_a_floor_too(tmp_path):
    text = BENCH.replace('kind = "audio"', 'kind = "simulated"').replace("[limits]\nload_voltage_v = 40\n", "")
    (tmp_path / "bench.toml").write_text(text, encoding="utf-8")
    found = bench_floor(tmp_path / "bench.toml", seconds=0.5)
    heard = {channel.role for channel in found.channels if channel.hears}
    assert heard == {"drive_voltage"}  # its amplifier has no supply
    assert all(channel.noise.value > 0 for channel in found.channels)
