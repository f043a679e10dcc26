"""Loads and meters through pyvisa and real sockets, and what the bench file may lack for any part."""

import time
from contextlib import ExitStack
from pathlib import Path

import pytest

import wattproof
from wattproof.bench import Load, PartSettings, parse_bench
from wattproof.capture import Driver, make_load, make_meter, make_supply, read_instrument
from wattproof.capture.load import WiredLoad
from wattproof.errors import FileMissingError, RigError, WireError
from wattproof.sim.instruments_parts import LoadServer, MeterServer, SupplyServer
from wattproof.testing import PlainTable, exchange

FILES = Path(wattproof.__file__).parent / "sim" / "boathouse" / "instruments"
BENCH = parse_bench(
    '[[loads]]\nname = "4 ohm"\nresistance_ohm = 4.03\n[[loads]]\nname = "2 ohm"\nresistance_ohm = 2.01\n', file="bench"
)
SLACK_S = 1.0
"""A loaded machine's own delay."""


@pytest.fixture
def table():
    return PlainTable()


@pytest.fixture
def made():
    with ExitStack() as stack:
        yield stack


def settings(server, file, **more):
    return PartSettings(
        kind="scpi", address=server.address, instrument=file, timeout_s=more.pop("timeout_s", 1.0), **more
    )


@pytest.fixture
def supply_server(table, made):
    return made.enter_context(SupplyServer(table))


def supply_of(server, made, **more):
    supply = make_supply(settings(server, "hazel-drift-supply.toml", **more), operator=None, folder=FILES)
    made.callback(supply.close)
    return supply


def wait_for(condition, *, within_s=2.0):
    until_s = time.monotonic() + within_s
    while not condition() and time.monotonic() < until_s:
        time.sleep(0.005)
    return condition()


# load


@pytest.fixture
def load_server(table, made):
    return made.enter_context(LoadServer(table, names=("4 ohm", "2 ohm")))


def load_of(server, made, bench=BENCH, **more):
    load = make_load(settings(server, "sedge-mist-relays.toml", **more), bench, operator=None, folder=FILES)
    made.callback(load.close)
    return load


def test_a_load_is_disconnected_before_another_is_connected(table, load_server, made):
    load = load_of(load_server, made)
    load.use(BENCH.load("4 ohm"))
    load.use(BENCH.load("2 ohm"))
    load.use(None)
    assert table.loads == [None, "4 ohm", None, "2 ohm", None]


def test_a_welded_contact_is_told_and_nothing_else_connected(table, load_server, made):
    load = load_of(load_server, made)
    load_server.welded = 1
    with pytest.raises(RigError) as caught:
        load.use(BENCH.load("2 ohm"))
    assert 'should answer "0,0" and says "1,0"' in caught.value.why
    assert "ROUTe:CLOSe (@2)" not in load_server.heard


def test_a_load_that_has_no_relay_is_told_before_anything_moves(table, load_server, made):
    bench = parse_bench('[[loads]]\nname = "8 ohm"\nresistance_ohm = 8.1\n', file="bench")
    load = load_of(load_server, made, bench)
    with pytest.raises(RigError) as caught:
        load.use(bench.load("8 ohm"))
    assert '"4 ohm", "2 ohm"' in caught.value.why
    assert table.loads == []
    check = load.check()
    assert check.state == "failed"
    assert check.inside[-1].part == 'load "8 ohm"'


ELECTRONIC = [("*IDN?", "MOSS THAW,1"), ("*CLS", None), ("FUNCtion RESistance", None), ("SYSTem:ERRor?", "0")]


def electronic(wire):
    words = read_instrument(FILES / "moss-thaw-load.toml").model_copy(update={"settle_s": 0.0})
    return WiredLoad(Driver(wire, words), words.load, BENCH.loads)


def test_an_electronic_load_is_told_its_resistance():
    said = [
        *[("INPut OFF", None), ("SYSTem:ERRor?", "0"), ("INPut?", "0")],
        *[("RESistance 4.030", None), ("INPut ON", None), ("SYSTem:ERRor?", "0"), ("RESistance?", "4.0312")],
    ]
    with exchange([*ELECTRONIC, *said]) as wire:
        electronic(wire).use(BENCH.load("4 ohm"))


def test_an_electronic_load_that_is_another_resistance_is_disconnected():
    said = [
        *[("INPut OFF", None), ("SYSTem:ERRor?", "0"), ("INPut?", "0")],
        *[("RESistance 4.030", None), ("INPut ON", None), ("SYSTem:ERRor?", "0"), ("RESistance?", "40.3")],
        *[("INPut OFF", None), ("SYSTem:ERRor?", "0")],
    ]
    with exchange([*ELECTRONIC, *said]) as wire, pytest.raises(RigError, match="has not switched"):
        electronic(wire).use(BENCH.load("4 ohm"))


def test_a_load_that_falls_silent_is_disconnected_as_far_as_it_hears(table, load_server, made):
    load = load_of(load_server, made, timeout_s=0.2)
    load_server.carry_out_before = load_server.carry_out

    def fall_silent(line):
        load_server.misbehaviour.silent = "CLOSe (" in line
        return load_server.carry_out_before(line)

    load_server.carry_out = fall_silent
    with pytest.raises(WireError):
        load.use(BENCH.load("2 ohm"))
    assert table.loads[-2:] == ["2 ohm", None]


def test_an_electronic_load_is_not_asked_for_what_it_cannot_be():
    with exchange(ELECTRONIC) as wire, pytest.raises(RigError) as caught:
        electronic(wire).use(Load(name="short", resistance_ohm=0.2))
    assert "[0.5, 200]" in caught.value.why


# meter, and what is common to all


def test_a_meter_is_read(table, made):
    server = made.enter_context(MeterServer(table))
    meter = make_meter(
        settings(server, "rowan-squall-thermometer.toml", quantity="temperature"), operator=None, folder=FILES
    )
    made.callback(meter.close)
    assert (meter.read(), meter.quantity) == (31.2, "temperature")
    check = meter.check()
    assert (check.part, check.state, check.inside[1].said) == ("meter temperature", "good", "31.2 °C")
    assert check.said == "Rowan Squall thermometer"
    server.misbehaviour.garbage = b"TEMP +9.9E37 C"
    assert meter.check().state == "failed"


def make(table, made, **changed):
    server = made.enter_context(MeterServer(table))
    chosen = {"quantity": "temperature", **changed}
    return make_meter(
        settings(server, chosen.pop("file", "rowan-squall-thermometer.toml"), **chosen), operator=None, folder=FILES
    )


def test_a_part_goes_by_the_name_in_the_bench_file(table, made):
    meter = make(table, made, name="the sink's thermometer")
    assert meter.check().said == "the sink's thermometer"
    meter.close()


def test_what_the_bench_file_lacks_is_told(table, made):
    with pytest.raises(RigError) as caught:
        make(table, made, quantity=None)
    assert 'quantity = "temperature"' in caught.value.hint
    with pytest.raises(FileMissingError, match="elsewhere"):
        make(table, made, file="elsewhere.toml")
    with pytest.raises(RigError) as caught:
        make(table, made, file="hazel-drift-supply.toml")
    assert 'kind = "supply"' in caught.value.why
    for lacking in ("address", "instrument"):
        given = {"address": "TCPIP::127.0.0.1::1::SOCKET", "instrument": "x.toml", lacking: None}
        with pytest.raises(RigError) as caught:
            make_supply(PartSettings(kind="scpi", **given), operator=None, folder=FILES)
        assert f"Add {lacking} = " in caught.value.hint


def test_simulated_parts_come_from_the_rig(made):
    for make_part in (
        lambda part: make_supply(part, operator=None, folder=FILES),
        lambda part: make_load(part, BENCH, operator=None, folder=FILES),
        lambda part: make_meter(part.model_copy(update={"quantity": "temperature"}), operator=None, folder=FILES),
    ):
        with pytest.raises(RigError, match="belongs to a simulated rig"):
            make_part(PartSettings(kind="simulated"))


def test_an_instrument_that_is_switched_off_is_told(table, made):
    with SupplyServer(table) as server:
        address = server.address
    part = PartSettings(kind="scpi", address=address, instrument="hazel-drift-supply.toml")
    with pytest.raises(WireError) as caught:
        make_supply(part, operator=None, folder=FILES)
    assert "nothing listens" in caught.value.why
