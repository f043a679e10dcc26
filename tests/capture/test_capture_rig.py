"""The rig: a trip opens the supply though nobody conducts; a lost supply trips; closing lets go of everything."""

import threading
import time
from pathlib import Path

import pytest

from wattproof.bench import Bench, Load, PartSettings, RigSettings
from wattproof.capture import BenchRig, Guard, PartCheck, Parts, SilentDrive, ToneDrive, guard_tracks, open_rig
from wattproof.errors import RigError, WireError
from wattproof.plan import StepLimits
from wattproof.testing import LoopBench, LoopFault, LoopRecorder

RATE_HZ = 48_000.0
HERE = Path(__file__).parent


class FakeSupply:
    """Keeps what it was told, with the thread that told it."""

    def __init__(self):
        self.said = []
        self.is_off = threading.Event()
        self.is_lost = False

    def on(self, volts, *, limit_a):
        self.said.append(("on", volts, limit_a))

    def off(self):
        self.said.append(("off", threading.current_thread().name))
        self.is_off.set()

    def alive(self):
        self.said.append(("alive",))
        if self.is_lost:
            raise WireError("The supply is silent.", why="No answer within 2 s.", hint="Check its cable.")

    def check(self):
        return PartCheck(part="supply", state="good")

    def close(self):
        self.said.append(("close",))


class FakePart:
    quantity = "temperature"

    def __init__(self, fails=False):
        self.used, self.closed, self._fails = [], 0, fails

    def use(self, load):
        self.used.append(load)

    def read(self):
        return 31.5

    def check(self):
        return PartCheck(part="load", state="doubtful" if self._fails else "good", why="worn")

    def close(self):
        self.closed += 1
        if self._fails:
            raise RigError("The load does not let go.")


def a_rig(*, faults=(), load=None, alive_s=0.02, **recorder):
    loop = LoopRecorder(rate_hz=RATE_HZ, loop=LoopBench(faults=faults), **recorder)
    supply, load = FakeSupply(), load or FakePart()
    parts = Parts(recorder=loop, supply=supply, load=load, meters={"temperature": FakePart()})
    return BenchRig(parts, alive_s=alive_s), loop, supply, load


def a_guard(rig, **limits):
    tracks = guard_tracks(LoopBench().bench(), rig.channels)
    return Guard(tracks=tracks, limits=StepLimits(**limits), rate_hz=RATE_HZ, tone_hz=47.0, loads={"A": 4.0})


def a_tone(seconds=1.0):
    return ToneDrive(level_v_rms=1.0, seconds=seconds, tone_hz=47.0, outputs=("A",), rate_hz=RATE_HZ)


def test_a_trip_opens_the_supply_from_another_thread_though_the_conductor_is_frozen():
    rig, _, supply, _ = a_rig(faults=[LoopFault(what="open_load", sample=4800)], patience_s=0.02)
    with rig:
        rig.supply_on(14.4, limit_a=50.0)
        guard = a_guard(rig)
        with rig.play(a_tone(), guard) as take:
            next(iter(take))
            assert supply.is_off.wait(2.0)  # nobody asks for another block
        assert guard.tripped.code == "open-load"
    assert supply.said[0] == ("on", 14.4, 50.0)
    assert ("off", "wattproof-sentinel") in supply.said


def test_a_play_without_a_trip_leaves_the_supply_on():
    rig, _, supply, _ = a_rig()
    with rig:
        rig.supply_on(14.4)
        with rig.play(a_tone(0.3), a_guard(rig)) as take:
            assert sum(len(block.samples) for block in take) >= 0.25 * RATE_HZ
        assert not supply.is_off.is_set()
    assert supply.is_off.is_set()


def test_a_supply_that_is_on_is_kept_alive_and_one_that_is_off_is_left_alone():
    rig, _, supply, _ = a_rig(alive_s=0.01)
    with rig:
        time.sleep(0.05)
        assert supply.said == []
        rig.supply_on(14.4)
        time.sleep(0.1)
        assert supply.said.count(("alive",)) >= 3
        rig.supply_off()
        told = supply.said.count(("alive",))
        time.sleep(0.05)
        assert supply.said.count(("alive",)) <= told + 1


def test_a_supply_that_is_lost_trips_the_play_and_is_told_to_open():
    rig, _, supply, _ = a_rig(alive_s=0.02)
    with rig:
        rig.supply_on(14.4)
        guard = a_guard(rig)
        with rig.play(a_tone(3.0), guard) as take:
            for block in take:
                time.sleep(0.005)
                supply.is_lost = supply.is_lost or block.start > 4800
        assert take.trip.code == "supply-voltage"
        assert "is silent" in take.trip.message
        assert supply.is_off.is_set()


def test_the_sentinel_outlives_a_drivers_bugs():
    class Buggy(FakeSupply):
        def alive(self):
            raise ZeroDivisionError("a bug in a driver")

        def off(self):
            super().off()
            if threading.current_thread().name == "wattproof-sentinel":
                raise OSError("no such device")

    supply = Buggy()
    loop = LoopRecorder(rate_hz=RATE_HZ)
    with BenchRig(Parts(recorder=loop, supply=supply, load=FakePart()), alive_s=0.02) as rig:
        guard = a_guard(rig)
        with rig.play(a_tone(3.0), guard) as take:
            for block in take:
                time.sleep(0.005)
                if block.start == 4800:
                    rig.supply_on(14.4)
        assert "driver failed" in guard.tripped.message
        assert "ZeroDivisionError" in guard.tripped.why
        supply.is_off.clear()
        guard = a_guard(rig)
        with rig.play(a_tone(3.0), guard) as take:
            for block in take:
                if block.start == 4800:
                    guard.stop()
        assert supply.is_off.wait(1.0)  # told again, from the sentinel that still lives
        check = rig.check()
        assert check.state == "failed"
        assert "by hand" in check.inside[-1].hint


def test_a_load_is_changed_with_the_drive_muted():
    rig, loop, _, load = a_rig()
    four = Load(name="4 ohm", resistance_ohm=4.0)
    with rig:
        take = rig.play(a_tone(), a_guard(rig))
        next(iter(take))
        rig.use_load(four)
        with take:
            for _ in take:
                pass
        rig.use_load(None)
    assert load.used == [four, None]
    assert not loop.played[0][-1].any()
    assert len(loop.played[0]) < 0.1 * RATE_HZ


def test_closing_twice_and_with_a_part_that_fails_lets_go_of_the_others():
    rig, loop, supply, load = a_rig(load=FakePart(fails=True))
    rig.supply_on(14.4)
    with pytest.raises(RigError, match="does not let go"):
        rig.close()
    rig.close()
    assert loop.closed
    assert load.closed == 1
    assert ("close",) in supply.said
    assert supply.is_off.is_set()


def test_an_exception_leaves_everything_off():
    rig, loop, supply, _ = a_rig()
    rig.supply_on(14.4)
    with pytest.raises(KeyError), rig:
        raise KeyError("a bug")
    assert supply.is_off.is_set()
    assert loop.closed


def test_meters_are_read_and_checks_put_together():
    rig, loop, _, _ = a_rig(load=FakePart(fails=True))
    assert rig.read_meter("temperature") == 31.5
    assert rig.read_meter("load_voltage") is None
    check = rig.check()
    assert check.state == "doubtful"
    assert len(check.inside) == 4
    rig.pass_time(7.0)
    assert loop.passed_s == 7.0
    with pytest.raises(RigError, match="let go"):
        rig.close()


def test_a_rig_without_a_supply_says_so():
    with BenchRig(Parts(recorder=LoopRecorder())) as rig:
        with pytest.raises(RigError, match="no supply"):
            rig.supply_on(12.0)
        with pytest.raises(RigError, match="no load"):
            rig.use_load(None)
        drive = SilentDrive(seconds=0.1, outputs=("A",), rate_hz=RATE_HZ)
        with rig.play(drive, a_guard(rig)) as take:
            assert list(take)


def test_a_bench_without_a_rig_is_told_what_to_write():
    with pytest.raises(RigError) as told:
        open_rig(Bench(name="Quay"), operator=None, folder=HERE)
    assert "[rig]" in told.value.hint
    # Following the hint cures it: the lines make a rig's settings.
    import tomllib

    lines = told.value.hint.split("\n", 1)[1]
    assert RigSettings(**tomllib.loads(lines)["rig"]).kind == "audio"


def test_an_unknown_kind_names_those_there_are():
    with pytest.raises(RigError) as told:
        open_rig(Bench(rig=RigSettings(kind="tin-can")), operator=None, folder=HERE)
    assert "audio" in told.value.why
    assert "simulated" in told.value.why


def test_parts_that_cannot_be_opened_all_fail_the_check_and_are_told_when_used():
    settings = RigSettings(
        kind="simulated",
        supply=PartSettings(kind="scpi"),
        load=PartSettings(kind="scpi", address="TCPIP::127.0.0.1::9::SOCKET", instrument="absent.toml"),
        meters=(PartSettings(kind="manual", name="handheld"),),
    )
    with open_rig(Bench(rig=settings), operator=None, folder=HERE) as rig:
        check = rig.check()
        states = {one.part: one.state for one in check.inside}
        assert check.state == "failed"
        assert states["recorder"] == "good"
        assert [states[part] for part in ("supply", "load", "meter handheld")] == ["failed"] * 3
        assert all(one.hint for one in check.inside if one.state == "failed")
        with pytest.raises(RigError, match="does not say how to speak"):
            rig.supply_on(14.4)
