"""Supply, load and meter through pyvisa and real sockets: limits before the output, off in time, nothing believed."""

import os
import re
import signal
import subprocess
import sys
import threading
import time
from contextlib import ExitStack
from pathlib import Path

import pytest

import wattproof
from wattproof.bench import PartSettings, parse_bench
from wattproof.capture import make_supply
from wattproof.capture.supply import OFF_S
from wattproof.errors import RigError, WattproofError, WireError
from wattproof.sim.instruments_parts import SupplyServer
from wattproof.testing import PlainTable

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


# supply


def test_limits_and_watchdog_stand_before_the_output_is_on(table, supply_server, made):
    supply = supply_of(supply_server, made, watchdog_s=2)
    supply.on(14.4, limit_a=60.0)
    heard = supply_server.heard
    on = heard.index("OUTPut ON")
    for limit in ("CURRent 60.00", "CURRent:PROTection 60.00", "VOLTage:PROTection 15.84", "SYSTem:WATChdog 2.0"):
        assert heard.index(limit) < on
    assert heard.index("VOLTage 14.400") < on
    assert (table.is_on, table.set_v, table.limit_a, supply_server.watchdog_s) == (True, 14.4, 60.0, 2.0)
    assert set(heard[on + 1 :]) >= {"OUTPut?", "MEASure:VOLTage?"}  # it is seen to be on, and at its voltage


def test_off_reaches_the_bench_and_comes_back_in_time(table, supply_server, made):
    supply = supply_of(supply_server, made)
    supply.on(14.4, limit_a=None)
    began_s = time.monotonic()
    supply.off()
    assert time.monotonic() - began_s < OFF_S
    assert not table.is_on
    assert table.switched_at_s - began_s < OFF_S
    supply.off()
    assert supply.check().state == "doubtful"  # no watchdog_s; off itself was confirmed


def test_a_supply_that_was_left_on_is_switched_off_before_it_is_set(table, supply_server, made):
    table.supply_set(24.0, 10.0)
    supply_server.carry_out("VOLTage 24")
    supply_server.carry_out("OUTPut ON")
    seen = []
    table.supply_set = lambda volts, limit_a: seen.append((table.is_on, volts)) or setattr(table, "set_v", volts)
    supply_of(supply_server, made).on(12.0, limit_a=20.0)
    assert not any(was_on for was_on, _volts in seen)
    assert (table.is_on, table.set_v) == (True, 12.0)


def test_a_supply_that_refuses_a_value_stays_off(table, supply_server, made):
    supply = supply_of(supply_server, made)
    with pytest.raises(WireError) as caught:
        supply.on(48.0, limit_a=20.0)
    assert "-222" in caught.value.why
    assert "OUTPut ON" not in supply_server.heard
    assert not table.is_on


def test_a_supply_that_does_not_switch_is_told(table, supply_server, made):
    supply_server.obeys = False
    supply = supply_of(supply_server, made)
    with pytest.raises(RigError) as caught:
        supply.on(14.4, limit_a=20.0)
    assert "says that it is off" in caught.value.why


@pytest.mark.parametrize("gives", [0.5, 1.3])
def test_a_voltage_that_is_not_there_switches_it_off(table, supply_server, made, gives, monkeypatch):
    monkeypatch.setattr("wattproof.capture.supply._RISE_S", 0.2)
    table.gives = gives
    supply = supply_of(supply_server, made)
    with pytest.raises(RigError) as caught:
        supply.on(14.4, limit_a=20.0)
    assert f"it measures {14.4 * gives:g} V" in caught.value.why
    assert not table.is_on


def test_a_supply_that_opens_by_itself_is_noticed(table, supply_server, made):
    supply = supply_of(supply_server, made)
    supply.alive()  # nothing to feed while it is off
    supply.on(14.4, limit_a=20.0)
    supply.alive()
    supply_server.open_by_itself()
    with pytest.raises(RigError, match="opened its output by itself"):
        supply.alive()


@pytest.mark.parametrize("how", ["silent", "deaf", "cut"])
def test_off_returns_in_time_and_never_raises_whatever_the_supply_does(table, supply_server, made, how):
    supply = supply_of(supply_server, made, timeout_s=0.3)
    supply.on(14.4, limit_a=20.0)
    setattr(supply_server.misbehaviour, how, True)
    began_s = time.monotonic()
    supply.off()
    assert time.monotonic() - began_s < OFF_S + SLACK_S
    if how == "silent":  # it hears and does: only its confirmation is missing
        assert wait_for(lambda: not table.is_on)
    check = supply.check()
    assert check.state == "failed"
    assert check.inside[-1].said == "it was told to open its output and did not confirm it"
    setattr(supply_server.misbehaviour, how, False)
    supply.off()
    assert not table.is_on
    assert supply.check().state == "doubtful"  # it has no watchdog_s; off is confirmed again


def test_off_goes_over_a_new_connection_when_the_old_one_is_cut(table, supply_server, made):
    supply = supply_of(supply_server, made)
    supply.on(14.4, limit_a=20.0)
    supply_server.misbehaviour.cut = True
    with pytest.raises(WireError):
        supply.alive()
    supply_server.misbehaviour.cut = False
    supply.off()
    assert not table.is_on
    assert supply.check().inside[1].said == "off"


def test_off_from_another_thread_does_not_wait_for_a_question_in_progress(table, supply_server, made):
    supply = supply_of(supply_server, made, timeout_s=5.0)
    supply.on(14.4, limit_a=20.0)
    supply_server.misbehaviour.wait_s = 2.5  # it hears the next line of this connection only after that
    raised = []

    def feed():
        try:
            supply.alive()
        except WattproofError as error:
            raised.append(error)

    feeding = threading.Thread(target=feed)
    feeding.start()
    time.sleep(0.1)
    began_s = time.monotonic()
    supply.off()
    assert time.monotonic() - began_s < OFF_S + SLACK_S
    assert not table.is_on
    supply_server.misbehaviour.wait_s = 0.0
    feeding.join(5.0)
    assert raised == []


def test_off_while_it_is_being_switched_on_wins(table, supply_server, made):
    supply = supply_of(supply_server, made)
    supply_server.misbehaviour.wait_s = 0.05
    told = []

    def switch_on():
        try:
            supply.on(14.4, limit_a=20.0)
        except WattproofError as error:
            told.append(error)

    switching = threading.Thread(target=switch_on)
    switching.start()
    assert wait_for(lambda: "VOLTage 14.400" in supply_server.heard)
    supply.off()
    switching.join(5.0)
    assert len(told) == 1
    assert wait_for(lambda: not table.is_on)
    time.sleep(0.1)
    assert not table.is_on


def test_off_just_before_the_output_is_closed_keeps_it_open(table, supply_server, made, monkeypatch):
    supply = supply_of(supply_server, made)
    prepare = supply._prepare

    def prepare_and_be_stopped(*words):
        prepare(*words)
        supply.off()

    monkeypatch.setattr(supply, "_prepare", prepare_and_be_stopped)
    with pytest.raises(RigError, match="told to switch off while"):
        supply.on(14.4, limit_a=20.0)
    assert "OUTPut ON" not in supply_server.heard
    assert not table.is_on


def test_the_watchdog_opens_the_output_when_the_program_is_killed(table, supply_server):
    """The program is killed without a chance to say anything: its supply must open within its watchdog's time."""
    code = f"""
import sys, time
from pathlib import Path
from wattproof.bench import PartSettings
from wattproof.capture import make_supply
supply = make_supply(
    PartSettings(kind="scpi", address={supply_server.address!r}, instrument="hazel-drift-supply.toml", watchdog_s=1.1),
    operator=None, folder=Path({str(FILES)!r}),
)
supply.on(14.4, limit_a=20.0)
print("on", flush=True)
while True:
    supply.alive()
    time.sleep(0.4)
"""
    program = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    try:
        assert program.stdout.readline() == "on\n"
        time.sleep(1.5)
        assert table.is_on  # fed, it outlives its watchdog's time
        os.kill(program.pid, signal.SIGKILL)
        killed_at_s = time.monotonic()
        assert wait_for(lambda: not table.is_on, within_s=3.0)
        assert table.switched_at_s - killed_at_s < 1.1 + SLACK_S
    finally:
        program.kill()
        program.wait(5.0)
        program.stdout.close()


def test_a_useless_watchdog_is_refused(supply_server, made, tmp_path):
    with pytest.raises(RigError) as caught:
        supply_of(supply_server, made, watchdog_s=1)
    assert "twice a second" in caught.value.why
    hinted = float(re.search(r"watchdog_s = ([\d.]+)", caught.value.hint)[1])
    supply_of(supply_server, made, watchdog_s=hinted)
    text = (FILES / "hazel-drift-supply.toml").read_text(encoding="utf-8")
    (tmp_path / "dull.toml").write_text(re.sub(r"(?m)^watchdog.*$", "", text), encoding="utf-8")
    with pytest.raises(RigError, match="has no watchdog"):
        make_supply(settings(supply_server, "dull.toml", watchdog_s=2), operator=None, folder=tmp_path)


def test_the_check_of_a_supply_says_what_would_not_stop_it(supply_server, made):
    good = supply_of(supply_server, made, watchdog_s=2).check()
    assert (good.state, good.said) == ("good", "Hazel Drift supply")
    assert [one.part for one in good.inside] == ["identity", "output", "reading", "own limits"]
    doubtful = supply_of(supply_server, made).check()
    assert doubtful.state == "doubtful"
    assert "watchdog" in doubtful.inside[3].why


@pytest.mark.parametrize("chunk", [1, 3])
def test_a_supply_that_answers_in_pieces_is_no_fault(table, supply_server, made, chunk):
    supply_server.misbehaviour.chunk_bytes, supply_server.misbehaviour.chunk_wait_s = chunk, 0.001
    supply = supply_of(supply_server, made)
    supply.on(14.4, limit_a=20.0)
    assert table.is_on
    supply.off()


@pytest.mark.parametrize("garbage", [b"\x00\x01\x02", b"?", b"7"])
def test_garbage_never_switches_anything_on(table, supply_server, made, garbage):
    supply = supply_of(supply_server, made)
    supply_server.misbehaviour.garbage = garbage
    with pytest.raises(WattproofError):
        supply.on(14.4, limit_a=20.0)
    assert wait_for(lambda: not table.is_on)
