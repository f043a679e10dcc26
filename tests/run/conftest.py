"""A small bench in memory: a hard-clipping amplifier, over the real pump, guard and take."""

from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np
import pytest

from wattproof.amplifier import Amplifier
from wattproof.archive import Archive
from wattproof.bench import Bench, Limits, Load, RigSettings, Supply
from wattproof.capture import PartCheck, Pump, start_stream
from wattproof.errors import CaptureFailedError
from wattproof.measure import CaptureResult
from wattproof.plan import BurstPattern, Expected, RunSheet, Step, StepLimits
from wattproof.testing import wire
from wattproof.waveform import Channel

RATE_HZ = 48000.0
GAIN, LIMIT_V, IDLE_A = 20.0, 40.0, 1.0
ROLES = ("load_voltage", "load_current", "supply_voltage", "supply_current")


@dataclass
class SmallRig:
    """Says what was asked of it; `fails` plays lose samples, `faults` change what the bench gives."""

    bench: Bench
    said: list = field(default_factory=list)
    fails: set = field(default_factory=set)
    faults: dict = field(default_factory=dict)
    limit_v: float = LIMIT_V
    load_ohm: float = 4.0
    on: bool = False
    plays: int = 0
    driven_v: list = field(default_factory=list)
    outputs: tuple = ("A",)
    rate_hz: float = RATE_HZ

    @property
    def channels(self):
        return tuple(Channel(name=str(n + 1), unit="FS", full_scale=1e6) for n in range(len(ROLES)))

    def use_load(self, load):
        self.said.append(f"load {load.name if load else None}")
        self.load_ohm = load.resistance_ohm if load else 1e9

    def supply_on(self, volts, *, limit_a=None):
        self.said.append(f"on {volts:g}")
        self.on = True

    def supply_off(self):
        self.said.append("off")
        self.on = False

    def play(self, drive, watch):
        self.plays += 1
        number = self.plays
        self.said.append(f"play {number}")
        played = [0]

        def turn(volts):
            start = played[0]
            played[0] += len(volts)
            self.driven_v.append((number, start, volts[:, 0].copy()))
            if number in self.fails and start > RATE_HZ / 10:
                raise CaptureFailedError("Samples were lost.", why="for the test", hint="Repeat it.")
            rows = self.recorded(volts[:, 0])
            return self.faults[number](rows, start) if number in self.faults else rows

        def on_trip():
            self.on = False
            self.said.append("tripped")

        pump = Pump(drive, watch, rate_hz=RATE_HZ, outputs=self.outputs, on_trip=on_trip)
        return start_stream(pump, turn, block_samples=480, n_tracks=len(ROLES), on_trip=on_trip)

    def recorded(self, drive_v):
        noise = np.random.default_rng(len(self.driven_v)).normal(0, 1e-4, (3, drive_v.size))
        load_v = np.clip(GAIN * drive_v, -self.limit_v, self.limit_v) * self.on + noise[0]
        load_a = load_v / self.load_ohm
        supply_a = self.on * (IDLE_A + np.abs(load_v * load_a) / 0.8 / 14.4) + noise[2]
        return np.column_stack([load_v, load_a, self.on * 14.4 + noise[1], supply_a])

    def pass_time(self, seconds):
        self.said.append(f"pass {seconds:g}")

    def read_meter(self, quantity):
        return None

    def mute(self):
        self.said.append("mute")

    def check(self):
        return PartCheck(part="rig", state="good")

    def close(self):
        self.said.append("close")


def a_small_bench():
    return Bench(
        name="small",
        channels=wire(*ROLES, scale_u=0.001),
        loads=(Load(name="8 ohm", resistance_ohm=8.0), Load(name="4 ohm", resistance_ohm=4.0)),
        supply=Supply(nominal_v=14.4, max_current_a=100),
        limits=Limits(load_voltage_v=90, load_dc_v=5, supply_voltage_v=(10, 16), supply_current_a=100),
        rig=RigSettings(kind="simulated", sample_rate_hz=RATE_HZ, drive_v_full_scale=5.0),
    )


def new_session(archive, bench):
    amplifier = Amplifier(maker="Saltmarsh & Daughter", model="Small 1")
    return archive.new_session(
        amplifier=amplifier, bench=bench, amplifier_toml=None, bench_toml=None, started=datetime.now(UTC)
    )


@pytest.fixture
def small_bench():
    return a_small_bench()


@pytest.fixture
def small_rig(small_bench):
    return SmallRig(bench=small_bench)


@pytest.fixture
def archive(tmp_path):
    return Archive(tmp_path / "archive")


@pytest.fixture
def session(archive, small_bench):
    return new_session(archive, small_bench)


EXPECTED = {
    "power_w": 200.0, "load_voltage_v_rms": 28.0, "load_current_a_rms": 7.0, "efficiency": 0.8,
    "supply_current_a": 18.0, "supply_power_w": 250.0, "full_power_s": 2.0, "energy_j": 800.0, "load_heat_j": 400.0,
    "load_rise_k": None, "amplifier_heat_j": 50.0,
}  # fmt: skip


def step(number, kind, *, load="4 ohm", ohm=4.0, rest_s=2.0, **changes):
    quiet = kind in {"floor", "idle"}
    settings = {
        "number": number, "name": f"{kind} {load}" if not quiet else kind, "kind": kind, "seconds": 0.5,
        "load": None if quiet else load, "load_ohm": None if quiet else ohm, "outputs": () if quiet else ("A",),
        "tone_hz": None if quiet else 97.0, "expected": Expected(**EXPECTED), "rest_s": rest_s,
        "limits": StepLimits(full_power_s=20.0),
    }  # fmt: skip
    kinds = {
        "gain": {"to_v_rms": 2.8},
        "ramp": {
            "from_v_rms": 0.5, "to_v_rms": 45.0, "knee_v_rms": 28.28, "fast_db_per_s": 24.0, "slow_db_per_s": 4.0,
            "stop_thd_n": 0.12, "seconds": 6.0,
        },
        "burst": {
            "level_from": f"ramp {load}", "seconds": 2.0,
            "burst": BurstPattern(tone_hz=97.0, cycles_on=8, cycles_period=40, low_db=-20.0, bursts=3),
        },
        "hold": {"level_from": f"ramp {load}", "seconds": 1.0},
    }  # fmt: skip
    return Step(**{**settings, **kinds.get(kind, {}), **changes})


def sheet_of(*steps):
    return RunSheet(
        amplifier="Small 1", bench="small", supply_v=14.4, steps=steps, seconds=60, full_power_s=5, energy_j=1000
    )


@pytest.fixture
def make_step():
    return step


@pytest.fixture
def make_sheet():
    return sheet_of


@pytest.fixture
def short_sheet():
    kinds = ("floor", "idle", "gain", "ramp", "burst", "hold")
    return sheet_of(*(step(number, kind) for number, kind in enumerate(kinds, start=1)))


@pytest.fixture
def no_figures():
    """Stands in for measuring, where a test is about something else."""
    return lambda _session, record: CaptureResult(file=record.file, kind="steady")
