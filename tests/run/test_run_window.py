"""A run's window: who knows the secret sees all of it, early or late, and may answer and stop; nobody else may."""

import json
import socket
import threading
import time
from itertools import pairwise

import pytest

from wattproof.errors import GuardTripError
from wattproof.run import Live, RunBegun, RunWindow, StepBegun, StopButton, Told, Traces, WindowOperator
from wattproof.run.memory import MOST_COURSE, RunMemory
from wattproof.run.window import MOST_WAITING


@pytest.fixture
def window():
    opened = RunWindow(StopButton())
    yield opened
    opened.close()


class Watcher:
    def __init__(self, window, secret=None):
        self._socket = socket.create_connection(("127.0.0.1", window.port), timeout=5)
        self._lines = self._socket.makefile("rb")
        self.say(secret=window.secret if secret is None else secret)

    def say(self, **message):
        self._socket.sendall(json.dumps(message).encode() + b"\n")

    def hear(self, *events):
        while line := self._lines.readline():
            message = json.loads(line)
            if not events or message["event"] in events:
                return message
        return None

    def close(self):
        self._lines.close()
        self._socket.close()


@pytest.fixture
def watch():
    opened = []

    def new(window, secret=None):
        opened.append(Watcher(window, secret))
        return opened[-1]

    yield new
    for watcher in opened:
        watcher.close()


def begun():
    return RunBegun(session="2031-05-14-bittern-1-a3f9", amplifier="Bittern 1", steps=5, done_before=0)


def live(t_s):
    return Live(number=1, t_s=t_s, drive_v_rms=0.1, output_w=t_s)


def step():
    return StepBegun(
        number=1, name="ramp, 4 ohm", kind="ramp", load="4 ohm", seconds=5, expected_w=100, expected_supply_w=120
    )


def test_a_stranger_sees_and_stops_nothing(window, watch):
    window.tell(begun())
    stranger = watch(window, "guessed")
    assert stranger.hear() is None
    assert not window.button.pressed


def test_who_comes_late_gets_what_was_before_and_then_what_comes(window, watch):
    for event in (begun(), step(), live(0.1), live(0.2)):
        window.tell(event)
    watcher = watch(window)
    far = watcher.hear()
    assert far["event"] == "so-far"
    assert far["last"]["run-begun"]["steps"] == 5
    assert [point["t_s"] for point in far["course"]] == [0.1, 0.2]
    window.tell(live(0.3))
    assert watcher.hear("live")["t_s"] == 0.3


def test_two_watch_at_once_and_one_leaves(window, watch):
    first, second = watch(window), watch(window)
    assert first.hear()["event"] == second.hear()["event"] == "so-far"
    first.close()
    window.tell(begun())
    assert second.hear("run-begun")


def test_a_watcher_stops_the_run(window, watch):
    watch(window).say(do="stop")
    for _ in range(100):
        if window.button.pressed:
            break
        time.sleep(0.02)
    assert window.button.pressed


def test_what_is_no_message_loses_its_sender_alone(window, watch):
    bad = watch(window)
    bad.hear()
    bad._socket.sendall(b"{nonsense\n")
    assert bad.hear() is None
    assert watch(window).hear()["event"] == "so-far"


def in_thread(call):
    found = []

    def caught():
        try:
            found.append(call())
        except (KeyboardInterrupt, GuardTripError) as error:
            found.append(error)

    thread = threading.Thread(target=caught)
    thread.start()
    return thread, found


def test_questions_are_answered_through_the_window_and_asked_again_where_the_answer_is_none(window, watch):
    thread, found = in_thread(lambda: WindowOperator(window).number("the supply's ammeter", unit="A"))
    watcher = watch(window)
    far = watcher.hear()
    asked = far["last"].get("asked") or watcher.hear("asked")
    assert (asked["kind"], asked["unit"]) == ("number", "A")
    watcher.say(do="answer", id=asked["id"] + 7, text="1.0")  # an answer to another question
    watcher.say(do="answer", id=asked["id"], text="about two")
    again = watcher.hear("asked")
    assert "is no number" in again["hint"]
    watcher.say(do="answer", id=again["id"], text="2,5")
    thread.join(5)
    assert found == [2.5]
    assert watcher.hear("answered")["id"] == again["id"]


def test_a_deed_may_be_declined_and_a_stop_ends_the_asking(window, watch):
    thread, found = in_thread(lambda: WindowOperator(window).do("Connect the 4 ohm load."))
    watcher = watch(window)
    asked = watcher.hear()["last"].get("asked") or watcher.hear("asked")
    watcher.say(do="answer", id=asked["id"], text="stop")
    thread.join(5)
    assert isinstance(found[0], GuardTripError)
    thread, found = in_thread(lambda: WindowOperator(window).choose("How to go on?", ("repeat", "end")))
    watcher.hear("asked")
    watcher.say(do="stop")
    thread.join(5)
    assert isinstance(found[0], KeyboardInterrupt)


def test_the_drive_stops_when_the_last_watcher_is_gone_if_that_was_chosen(window, watch):
    watcher = watch(window)
    watcher.say(do="leave", seconds=1)
    assert watcher.hear("leaving")["seconds"] == 1.0
    for _ in range(6):  # for longer than the second, seen all the while
        watcher.say(do="seen")
        time.sleep(0.25)
    assert not window.button.pressed
    assert "1 s" in watcher.hear("told")["message"]
    assert window.button.pressed


def test_without_that_choice_nobody_needs_to_watch(window):
    time.sleep(0.6)
    assert not window.button.pressed


def test_who_does_not_listen_delays_nobody_and_is_let_go(window, watch):
    deaf = watch(window)
    deaf.hear()  # it is let in, and listens no more
    long = Told(code="guard-blind", message="x" * 2000)
    before = time.monotonic()
    for _ in range(5000):
        window.tell(long)
    assert time.monotonic() - before < 5
    heard = 0
    while deaf.hear() is not None:  # what was on its way arrives, then the line is closed
        heard += 1
    assert heard < MOST_WAITING + 1000
    assert watch(window).hear()["event"] == "so-far"  # it may come back


def test_of_pictures_only_the_newest_waits_for_who_is_slow(window, watch):
    deaf = watch(window)
    deaf.hear()  # it is let in, and listens no more
    long = Told(code="guard-blind", message="x" * 4_000_000)  # more than the line holds: what follows waits
    window.tell(long)
    for number in range(1, 51):
        window.tell(live(number / 10))
        window.tell(
            Traces(
                number=number, t_s=0.0, waveform_v=(0.0,), waveform_s=1.0, spectrum_db=(0.0,), spectrum_hz=(20.0, 2e4)
            )
        )
    deaf.hear("told")
    heard = [deaf.hear() for _ in range(51)]
    assert [one["t_s"] for one in heard if one["event"] == "live"] == [n / 10 for n in range(1, 51)]
    assert [one["number"] for one in heard if one["event"] == "traces"] == [50]


@pytest.mark.parametrize("line", [b"[" * 60_000, b'{"do": "leave", "seconds": []}', b"3", b"\xff\xfe"])
def test_no_line_brings_a_run_down(window, watch, line):
    odd = watch(window)
    odd.hear()
    odd._socket.sendall(line + b"\n")
    assert watch(window).hear()["event"] == "so-far"
    assert not window.button.pressed


def test_the_memory_of_a_long_step_stays_small_and_keeps_its_ends():
    memory = RunMemory()
    memory.take(step().model_dump(mode="json"))
    for n in range(20_000):
        memory.take(live(n / 10).model_dump(mode="json"))
    course = memory.so_far()["course"]
    assert MOST_COURSE / 2 <= len(course) <= MOST_COURSE
    assert course[0]["t_s"] == 0.0
    assert course[-1]["t_s"] > 1990
    spaces = {round(b["t_s"] - a["t_s"], 6) for a, b in pairwise(course)}
    assert len(spaces) == 1
