"""The conductor on a small bench in memory: every kind of step, what it learns, and how it goes on after faults."""

import os
import signal
import threading

import numpy as np
import pytest

from wattproof.archive import TakeWriter
from wattproof.errors import ArchiveError, CaptureFailedError, GuardTripError, RigError
from wattproof.run import Event, StopButton, carry_out
from wattproof.run.stopping import ASKS_TO_STOP

CLIP_AT_1 = 1.0293
"""Drive over the clipping point at which a hard-clipped sine has 1 % THD (0.25 dB)."""


class Person:
    """Answers from a list; says what it was asked."""

    def __init__(self, *answers):
        self.answers, self.asked = list(answers), []

    def choose(self, what, choices):
        self.asked.append(what)
        return self.answers.pop(0)


@pytest.fixture
def run(small_rig, archive, session, no_figures):
    told = []

    def go(sheet, **settings):
        told.clear()
        settings = {"figures": no_figures, "tell": told.append, **settings}
        return carry_out(sheet, small_rig, archive, session, **settings)

    go.told = told
    return go


def named(told, word):
    return [event for event in told if event.event == word]


def states(told):
    return [(event.number, event.state) for event in named(told, "step-ended")]


def sound(archive, session):
    return [c for c in archive.captures(session) if c.description.void is None]


def silent_at_the_end(rig):
    _number, _, last = rig.driven_v[-1]
    return np.abs(last).max() == 0.0


def test_a_whole_sheet_is_carried_out_in_order(run, short_sheet, archive, session, small_rig):
    carried = run(short_sheet)
    assert (carried.state, carried.done, carried.left) == ("complete", 6, 0)
    assert states(run.told) == [(n, "done") for n in range(1, 7)]
    captures = archive.captures(session)
    assert [c.description.step for c in captures] == [s.name for s in short_sheet.steps]
    assert all(c.description.void is None for c in captures)
    assert small_rig.said[-2:] == ["mute", "off"]
    assert not small_rig.on


def test_the_floor_is_recorded_before_the_supply_is_on_and_a_load_by_hand_is_moved_with_it_off(
    run, make_sheet, make_step, small_rig
):
    run(make_sheet(make_step(1, "floor"), make_step(2, "gain", load="8 ohm", ohm=8.0), make_step(3, "gain")))
    said = [word for word in small_rig.said if not word.startswith("pass")]
    assert said[0] == "play 1"
    first, second = said.index("load 8 ohm"), said.index("load 4 ohm")
    assert said[first + 1] == "on 14.4"
    assert said[second - 2 : second + 2] == ["mute", "off", "load 4 ohm", "on 14.4"]


def test_gain_and_knee_are_found_where_they_are(run, short_sheet, archive, session):
    run(short_sheet)
    line = [line for line in archive.journal(session) if line["did"] == "step-ended"][-1]
    assert line["knowledge"]["gains"]["A"] == pytest.approx(20.0, rel=1e-3)
    lower, upper = line["knowledge"]["ramps"][0]["levels"]
    knee_drive_v_rms = 40.0 / np.sqrt(2) / 20.0
    # frames of 41 ms on a ramp of 4 dB a second, and a straight line between them
    assert lower["drive_v_rms"] == pytest.approx(knee_drive_v_rms * CLIP_AT_1, rel=0.01)
    assert upper["drive_v_rms"] == pytest.approx(knee_drive_v_rms * 10 ** (2.17 / 20), rel=0.01)
    notes = {c.description.step: c.description.note for c in archive.captures(session)}
    assert f"{lower['drive_v_rms']:.4g} V" in notes["hold 4 ohm"]
    assert f"{upper['drive_v_rms']:.4g} V" in notes["burst 4 ohm"]


def test_a_ramp_slows_down_below_the_knee_and_ends_past_the_last_limit(run, short_sheet):
    run(short_sheet)
    ramp = [event for event in named(run.told, "live") if event.number == 4]
    first_slow = next(event for event in ramp if event.slow)
    last_fast = [event for event in ramp if not event.slow][-1]
    assert first_slow.output_v_rms < 28.28 / np.sqrt(2) < 1.4 * last_fast.output_v_rms
    assert 0.11 < ramp[-1].thd_n < 0.14
    ended = next(event for event in named(run.told, "step-ended") if event.number == 4)
    assert ended.full_power_s < 3.0
    # from half power to 12 % are about 5.6 dB: as many tenths of a decibel, a second each
    assert ended.stepping_full_power_s == pytest.approx(56, abs=4)
    assert ended.stepping_energy_j > 8 * ended.energy_j


def test_a_knee_below_the_expected_one_slows_the_ramp_early(run, make_sheet, make_step, archive, session):
    step = make_step(1, "ramp", knee_v_rms=28.28 * 10 ** (2 / 20), fast_db_per_s=12.0)
    run(make_sheet(step))
    # it expected to be fast until 1 dB below the true knee, and knew better within a frame or two
    assert states(run.told) == [(1, "done")]
    assert any(event.slow for event in named(run.told, "live"))
    assert len(sound(archive, session)) == 1


def test_a_ramp_that_met_its_limit_while_fast_is_repeated_once_with_the_knee_known(
    run, make_sheet, make_step, archive, session
):
    run(make_sheet(make_step(1, "ramp", knee_v_rms=56.0, to_v_rms=90.0, fast_db_per_s=24.0)))
    assert [event.code for event in named(run.told, "told")] == ["ramp-repeated"]
    first, second = archive.captures(session)
    assert "still fast" in first.description.void
    assert second.description.void is None
    assert "knee expected at 2" in second.description.note  # 28 V, not 56
    assert [event.state for event in named(run.told, "step-ended")] == ["done"]


def test_the_next_load_expects_the_knee_where_the_last_one_moved_it(run, make_sheet, make_step, archive, session):
    steps = [
        make_step(1, "ramp", load="8 ohm", ohm=8.0, knee_v_rms=35.0, to_v_rms=60.0, fast_db_per_s=12.0),
        make_step(2, "ramp", knee_v_rms=34.0, to_v_rms=60.0),
    ]
    run(make_sheet(*steps))
    last = archive.captures(session)[-1]
    found = 28.28 * 1.0235  # r.m.s. of the clipped sine at 1 %
    expected = float(last.description.note.split("expected at ")[1].split(" V")[0])
    assert expected == pytest.approx(34.0 * found / 35.0, rel=0.02)


@pytest.mark.parametrize("kind", ["burst", "hold"])
def test_a_step_whose_level_no_ramp_found_fails_and_the_run_goes_on(run, make_sheet, make_step, kind):
    carried = run(make_sheet(make_step(1, kind), make_step(2, "gain")))
    assert states(run.told) == [(1, "failed"), (2, "done")]
    assert "no level" in named(run.told, "step-ended")[0].why
    assert (carried.done, carried.left) == (1, 1)


def test_an_output_that_does_not_follow_ends_the_run_with_the_reason(run, make_sheet, make_step, small_rig):
    small_rig.limit_v = 0.01
    with pytest.raises(RigError, match="does not follow"):
        run(make_sheet(make_step(1, "gain")))
    assert small_rig.said[-2:] == ["mute", "off"]


def test_lost_samples_are_recorded_again_and_the_void_take_is_kept(
    run, make_sheet, make_step, small_rig, archive, session
):
    small_rig.fails = {1, 2}
    run(make_sheet(make_step(1, "idle")))
    captures = archive.captures(session)
    assert [c.description.void is None for c in captures] == [False, False, True]
    assert [event.attempt for event in named(run.told, "step-begun")] == [1, 2, 3]
    assert [event.code for event in named(run.told, "told")] == ["capture-repeated"] * 2


def test_what_fails_three_times_is_left_out_or_asked_about(run, make_sheet, make_step, small_rig):
    small_rig.fails = {1, 2, 3}
    carried = run(make_sheet(make_step(1, "idle"), make_step(2, "gain")))
    assert states(run.told) == [(1, "failed"), (2, "done")]
    assert carried.left == 1
    small_rig.fails = set(range(small_rig.plays + 1, small_rig.plays + 4))
    person = Person("repeat")
    run(make_sheet(make_step(1, "idle"), make_step(2, "gain")), operator=person)
    assert states(run.told) == [(1, "done")]
    assert len(person.asked) == 1


def test_a_person_may_skip_or_end_at_a_failed_step(run, make_sheet, make_step, archive, session):
    sheet = make_sheet(make_step(1, "hold"), make_step(2, "gain"))
    assert run(sheet, operator=Person("skip")).state == "complete"
    assert states(run.told) == [(1, "skipped"), (2, "done")]
    sheet = make_sheet(make_step(3, "hold"), make_step(4, "gain"))
    ended = run(sheet, operator=Person("end"))
    assert (ended.state, ended.left) == ("interrupted", 2)


def over_voltage(rows, start):
    rows = rows.copy()
    if start > 4800:
        rows[:, 0] += 100.0
    return rows


def test_a_trip_latches_with_its_samples_and_ends_a_run_that_asks_nobody(
    run, make_sheet, make_step, small_rig, archive, session
):
    small_rig.faults = {1: over_voltage}
    with pytest.raises(GuardTripError) as caught:
        run(make_sheet(make_step(1, "idle"), make_step(2, "gain")))
    assert session.id in caught.value.hint
    assert named(run.told, "run-ended")[0].state == "tripped"
    latched = archive.latched(session)
    assert latched["code"] == "load-voltage"
    assert latched["step"] == 1
    [trip] = archive.trips(session)
    assert trip.samples is not None
    assert not sound(archive, session)
    assert "on 14.4" not in small_rig.said[small_rig.said.index("tripped") :]


def test_a_person_clears_a_trip_with_words_and_repeats(run, make_sheet, make_step, small_rig, archive, session):
    small_rig.faults = {1: over_voltage}
    person = Person("repeat", "a loose probe, fastened")
    carried = run(make_sheet(make_step(1, "idle")), operator=person)
    assert carried.state == "complete"
    assert archive.latched(session) is None
    assert archive.trips(session)[0].cleared_by == "a loose probe, fastened"
    assert [event.attempt for event in named(run.told, "step-begun")] == [1, 2]
    after = small_rig.said[small_rig.said.index("tripped") :]
    assert "on 14.4" in after


def test_a_ramp_that_the_guard_stopped_is_kept_as_far_as_it_came(run, make_sheet, make_step, archive, session):
    limits = make_step(1, "ramp").limits.model_copy(update={"load_voltage_v": 36.0})
    person = Person("skip", "the limit was meant")
    run(make_sheet(make_step(1, "ramp", limits=limits)), operator=person)
    assert states(run.told) == [(1, "stopped")]
    [capture] = sound(archive, session)
    assert "The guard stopped it" in capture.description.note


def test_the_drive_is_silent_after_a_trip(run, make_sheet, make_step, small_rig):
    limits = make_step(1, "ramp").limits.model_copy(update={"load_voltage_v": 36.0})
    with pytest.raises(GuardTripError):
        run(make_sheet(make_step(1, "ramp", limits=limits)))
    assert silent_at_the_end(small_rig)
    last = small_rig.plays
    played = np.concatenate([volts for number, _, volts in small_rig.driven_v if number == last])
    over = np.flatnonzero(np.abs(20 * played) > 36.0)[0]
    # the block that showed it, and 5 ms
    assert np.abs(played[over + 480 + 480 + 240 :]).max() == 0.0


@pytest.mark.parametrize("number", ASKS_TO_STOP)
def test_control_c_or_a_kill_fades_the_drive_and_is_told_as_an_interruption(
    number, run, make_sheet, make_step, small_rig, archive, session
):
    def interrupt(rows, start):
        if start == 9600:
            os.kill(os.getpid(), number)
        return rows

    small_rig.faults = {1: interrupt}
    before = [signal.getsignal(one) for one in ASKS_TO_STOP]
    with pytest.raises(KeyboardInterrupt):
        run(make_sheet(make_step(1, "idle", seconds=5.0), make_step(2, "gain")))
    assert [signal.getsignal(one) for one in ASKS_TO_STOP] == before
    assert archive.latched(session)["code"] == "person"
    assert "stopped by" in archive.captures(session)[0].description.void
    assert named(run.told, "run-ended")[0].left == 2
    assert silent_at_the_end(small_rig)


def test_a_button_stops_a_play_from_another_thread_and_a_rest(run, make_sheet, make_step, small_rig, archive, session):
    button = StopButton()

    def press(rows, start):
        if start == 4800:
            threading.Thread(target=button.press).start()
        return rows

    small_rig.faults = {1: press}
    with pytest.raises(KeyboardInterrupt):
        run(make_sheet(make_step(1, "idle", seconds=5.0)), button=button)
    archive.clear_trip(session, "tested")
    small_rig.faults = {}
    with pytest.raises(KeyboardInterrupt):
        run(make_sheet(make_step(1, "idle")), button=button)
    assert states(run.told) == []
    button.release()
    assert run(make_sheet(make_step(1, "idle")), button=button).state == "complete"


@pytest.mark.parametrize("at", [1, 2, 3, 4, 5, 6])
def test_a_run_that_broke_within_a_step_is_taken_up_there(run, short_sheet, archive, session, small_rig, at):
    class BrokenError(Exception):
        pass

    def tell(event):
        if event.event == "live" and event.number == at:
            raise BrokenError

    with pytest.raises(BrokenError):
        run(short_sheet, tell=tell)
    assert small_rig.said[-1] in {"mute", "off"}
    recovered = archive.recover(session)
    assert [record.live.step for record in recovered] == ([at] if recovered else [])
    carried = run(short_sheet)
    assert carried.state == "complete"
    assert named(run.told, "run-begun")[0].done_before == at - 1
    assert [event.number for event in named(run.told, "step-ended")] == list(range(at, 7))
    assert sorted(c.live.step for c in sound(archive, session)) == [1, 2, 3, 4, 5, 6]


def test_a_run_that_broke_between_keeping_and_noting_repeats_the_step_and_voids_the_double(
    run, make_sheet, make_step, archive, session
):
    def broken(_session, _record):
        raise RuntimeError("the disk")

    with pytest.raises(RuntimeError):
        run(make_sheet(make_step(1, "idle")), figures=broken)
    run(make_sheet(make_step(1, "idle")))
    assert [c.description.void is None for c in archive.captures(session)] == [False, True]


def test_a_complete_run_has_nothing_left_to_do(run, make_sheet, make_step, small_rig):
    sheet = make_sheet(make_step(1, "idle"))
    run(sheet)
    plays = small_rig.plays
    assert run(sheet).state == "complete"
    assert small_rig.plays == plays


def test_rests_are_counted_down_and_steps_to_skip_are_told(run, make_sheet, make_step, small_rig):
    sheet = make_sheet(make_step(1, "idle", rest_s=2.5), make_step(2, "gain"), make_step(3, "idle", name="idle again"))
    run(sheet, skip=(2,))
    assert [event.left_s for event in named(run.told, "resting")] == [2.5, 1.5, 0.5]
    assert states(run.told) == [(1, "done"), (2, "skipped"), (3, "done")]
    assert small_rig.said.count("pass 1") == 2


def test_every_event_is_one_line_of_json_and_comes_back(run, short_sheet):
    from pydantic import TypeAdapter

    run(short_sheet)
    adapter = TypeAdapter(Event)
    for event in run.told:
        assert adapter.validate_json(event.model_dump_json()) == event
    assert {event.event for event in run.told} >= {
        "run-begun",
        "step-begun",
        "live",
        "step-ended",
        "resting",
        "run-ended",
    }


def test_a_failed_take_is_no_reason_to_forget_the_guard(run, make_sheet, make_step, small_rig):
    small_rig.fails = {1}
    small_rig.faults = {2: over_voltage}
    with pytest.raises(GuardTripError):
        run(make_sheet(make_step(1, "idle")))
    assert small_rig.plays == 2
    assert CaptureFailedError.code == "capture-failed"


def test_a_kill_between_two_plays_ends_the_run_with_the_supply_open(run, make_sheet, make_step, small_rig):
    def killed(event):
        if event.event == "step-ended":
            os.kill(os.getpid(), signal.SIGTERM)

    with pytest.raises(KeyboardInterrupt):
        run(make_sheet(make_step(1, "idle"), make_step(2, "idle")), tell=killed)
    assert silent_at_the_end(small_rig)


def test_a_trip_latches_also_where_the_disk_takes_no_capture(
    run, make_sheet, make_step, small_rig, archive, session, monkeypatch
):
    def refuses(self, **_said):
        raise ArchiveError("Could not keep the capture.", why="No space left on device", hint="Free some space.")

    monkeypatch.setattr(TakeWriter, "finish", refuses)
    limits = make_step(1, "ramp").limits.model_copy(update={"load_voltage_v": 36.0})
    with pytest.raises(GuardTripError):
        run(make_sheet(make_step(1, "ramp", limits=limits)))
    assert archive.latched(session)["code"] == "load-voltage"
    assert "capture-not-kept" in [event.code for event in named(run.told, "told")]
