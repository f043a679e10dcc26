"""The real drivers, through pyvisa and real sockets, switch the simulated bench."""

from contextlib import ExitStack
from pathlib import Path

import numpy as np
import pytest

import wattproof
from wattproof.bench import PartSettings, parse_bench
from wattproof.capture import make_load, make_meter, make_supply
from wattproof.sim.instruments_parts import LoadServer, MeterServer, SupplyServer
from wattproof.sim.simulated_bench import SimulatedBench

FILES = Path(wattproof.__file__).parent / "sim" / "boathouse" / "instruments"
BENCH = parse_bench(
    """
[[channels]]
input = 1
role = "load_voltage"
scale = 42.0
full_scale = 1.0

[[channels]]
input = 2
role = "supply_voltage"
scale = 20.0
full_scale = 1.0

[[loads]]
name = "4 ohm"
resistance_ohm = 4.03

[[loads]]
name = "2 ohm"
resistance_ohm = 2.01

[supply]
max_current_a = 150

[rig]
kind = "simulated"
sample_rate_hz = 48000
""",
    file="bench",
)


@pytest.fixture
def made():
    with ExitStack() as stack:
        yield stack


def part(server, file, **more):
    return PartSettings(kind="scpi", address=server.address, instrument=file, **more)


def played(bench, *, tone_v=0.2):
    """Give the rms of the two tracks in volts, after the amplifier has settled."""
    times_s = np.arange(24_000) / bench.rate_hz
    tracks = bench.turn(tone_v * np.sin(2 * np.pi * 997 * times_s)[np.newaxis])[12_000:]
    return np.sqrt(np.mean(tracks**2, axis=0)) * (42.0, 20.0)


def test_supply_load_and_meter_reach_the_simulated_bench(made):
    bench = SimulatedBench(BENCH)
    servers = (SupplyServer(bench), LoadServer(bench, names=("4 ohm", "2 ohm")), MeterServer(bench))
    supplies, loads, meters = (made.enter_context(server) for server in servers)
    supply = make_supply(part(supplies, "hazel-drift-supply.toml", watchdog_s=5), operator=None, folder=FILES)
    load = make_load(part(loads, "sedge-mist-relays.toml"), BENCH, operator=None, folder=FILES)
    meter = make_meter(
        part(meters, "rowan-squall-thermometer.toml", quantity="temperature"), operator=None, folder=FILES
    )
    for one in (meter, load, supply):
        made.callback(one.close)

    load.use(BENCH.load("4 ohm"))
    dead_v, _none_v = played(bench)
    supply.on(14.4, limit_a=100.0)
    loud_v, fed_v = played(bench)
    assert loud_v > 1.0 > 100 * dead_v
    assert fed_v == pytest.approx(14.4, rel=0.02)  # the recorder's gains are off by a little, as the real ones are
    assert meter.read() == pytest.approx(bench.read_temperature_c(), abs=0.01)
    supply.off()
    _dead_v, none_v = played(bench)
    assert none_v < 0.5
    assert supply.check().inside[1].said == "off"
