"""A run's window: local programs that know its secret watch the run, answer its questions and stop it."""

import hmac
import json
import secrets
import socket
import threading
from collections import deque
from collections.abc import Mapping
from contextlib import suppress
from time import monotonic
from typing import Any

from wattproof.errors import GuardTripError, WattproofError
from wattproof.run.events import Event, Told
from wattproof.run.memory import RunMemory
from wattproof.run.stopping import StopButton

MOST_WAITING = 2000
"""Lines that may wait for one watcher; who is slower than that is let go, and may come back."""

LONGEST_LINE = 65_536
"""Bytes of one line that a watcher may send."""

GREET_S = 5.0
"""A watcher must say the secret within this, seconds."""

CHECK_S = 0.2
STOP = "stop"


class RunWindow:
    """Listens on loopback; a line of JSON is a message, both ways.

    The first line of a watcher is ``{"secret": "..."}``. It gets a line with what has happened so far, then one for
    each event. It may send ``{"do": "stop"}``, ``{"do": "answer", "id": 3, "text": "yes"}``, ``{"do": "seen"}`` for as
    long as somebody looks on, and ``{"do": "leave", "seconds": 10}``: stop the drive when nobody was seen for so long.

    Parameters
    ----------
    button : StopButton
        Pressed by a watcher's stop.

    Attributes
    ----------
    port : int
    secret : str
    """

    def __init__(self, button: StopButton) -> None:
        self.secret = secrets.token_urlsafe(24)
        self.button = button
        self._memory = RunMemory()
        self._lock = threading.Lock()
        self._news = threading.Condition(self._lock)
        self._watchers: list[_Watcher] = []
        self._answers: dict[int, str] = {}
        self._asked = 0
        self._leave_after_s: float | None = None
        self._seen_s = monotonic()
        self._closed = threading.Event()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        for target in (self._welcome, self._look_out):
            threading.Thread(target=target, name="wattproof-window", daemon=True).start()

    def tell(self, event: Event) -> None:
        """Show an event to all who watch; never waits for them."""
        self._send(event.model_dump(mode="json"))

    def failed(self, error: WattproofError) -> None:
        """Say why the run cannot go on."""
        said = {name: getattr(error, name) for name in ("code", "message", "why", "hint")}
        self._send({"event": "failed", "error": said})

    def ask(self, question: Mapping[str, Any]) -> str:
        """Ask whoever watches, and wait for the answer.

        Raises
        ------
        KeyboardInterrupt
            Somebody pressed the stop button instead.
        """
        with self._lock:
            self._asked += 1
            number = self._asked
        self._send({"event": "asked", "id": number, **question})
        with self._news:
            while number not in self._answers and not self.button.pressed:
                self._news.wait(CHECK_S)
            text = self._answers.pop(number, None)
        self._send({"event": "answered", "id": number})
        if text is None:
            raise KeyboardInterrupt
        return text

    def close(self) -> None:
        """Let all watchers go, once they have got what waits for them."""
        with self._lock:
            self._closed.set()
            watchers = list(self._watchers)
        with suppress(OSError):
            self._listener.close()
        for watcher in watchers:
            watcher.end()

    def _send(self, message: dict[str, Any]) -> None:
        with self._lock:
            self._memory.take(message)
            for watcher in self._watchers:
                watcher.put(message)

    def _welcome(self) -> None:
        while not self._closed.is_set():
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            threading.Thread(target=self._serve, args=(connection,), name="wattproof-watcher", daemon=True).start()

    def _serve(self, connection: socket.socket) -> None:
        with (
            connection,
            suppress(OSError, ValueError, TypeError, RecursionError),
        ):  # what is no message loses its sender
            connection.settimeout(GREET_S)
            lines = connection.makefile("rb")
            hello = _message(lines.readline(LONGEST_LINE))
            if not hmac.compare_digest(str(hello.get("secret", "")).encode(), self.secret.encode()):
                return
            connection.settimeout(None)
            watcher = _Watcher(connection)
            with self._lock:
                if self._closed.is_set():
                    return
                watcher.put(self._memory.so_far())
                self._watchers.append(watcher)
            try:
                while line := lines.readline(LONGEST_LINE):
                    self._do(_message(line))
            finally:
                with self._lock:
                    self._watchers.remove(watcher)
                watcher.end()

    def _do(self, message: Mapping[str, Any]) -> None:
        match message.get("do"):
            case "stop":
                self.button.press()
            case "answer":
                with self._news:
                    question = self._memory.question
                    if question is not None and question["id"] == message.get("id"):
                        self._answers[question["id"]] = str(message.get("text", ""))
                        self._news.notify_all()
            case "seen":
                self._seen_s = monotonic()
            case "leave":
                seconds = message.get("seconds")
                self._seen_s = monotonic()
                self._leave_after_s = None if seconds is None else max(1.0, float(seconds))
                self._send({"event": "leaving", "seconds": self._leave_after_s})

    def _look_out(self) -> None:
        """Stop the drive when the last who watched is gone, if that was chosen; a dead page server counts as gone."""
        while not self._closed.wait(CHECK_S):
            wait_s = self._leave_after_s
            if wait_s is None or monotonic() - self._seen_s < wait_s or self.button.pressed:
                continue
            self._leave_after_s = None
            self.button.press()
            self.tell(
                Told(
                    code="nobody-watching",
                    message=f"Nobody has been watching for {wait_s:g} s: the drive is stopped, as was chosen.",
                    hint="Look at the bench, then go on with the session.",
                )
            )


class WindowOperator:
    """The person at the page, as far as the rig needs one."""

    def __init__(self, window: RunWindow) -> None:
        self._window = window

    def do(self, what: str, *, hint: str = "") -> None:
        """Ask for something to be done by hand, and wait until it is.

        Raises
        ------
        GuardTripError
            The person would rather stop.
        """
        said = self._window.ask({"kind": "do", "what": what, "hint": hint, "unit": "", "choices": ["done", STOP]})
        if said.strip().lower() == STOP:
            raise GuardTripError(
                "The run was stopped at the bench.", why=f"asked to: {what}", hint="Go on when you are ready."
            )

    def number(self, what: str, *, unit: str) -> float:
        """Ask for a reading until it is a number."""
        hint = ""
        while True:
            said = self._window.ask({"kind": "number", "what": what, "hint": hint, "unit": unit, "choices": []})
            try:
                return float(said.replace(",", "."))
            except ValueError:
                hint = f'"{said[:40]}" is no number: a point before the decimals, no unit.'

    def choose(self, what: str, choices: tuple[str, ...]) -> str:
        """Ask for one of several answers, or for any words where there are no choices."""
        hint = ""
        while True:
            said = self._window.ask(
                {"kind": "choose", "what": what, "hint": hint, "unit": "", "choices": list(choices)}
            ).strip()
            if said and (not choices or said in choices):
                return said
            hint = f'"{said[:40]}" is none of the answers.' if said else "Say it in a few words."


class _Watcher:
    """One who watches: lines wait for it in a thread of their own; of what is live only the newest waits."""

    def __init__(self, connection: socket.socket) -> None:
        self._connection = connection
        self._waiting: deque[dict[str, Any]] = deque()
        self._news = threading.Condition()
        self._ended = False
        self._thread = threading.Thread(target=self._write, name="wattproof-watcher", daemon=True)
        self._thread.start()

    def put(self, message: dict[str, Any]) -> None:
        with self._news:
            if message["event"] == "traces":  # only the newest is worth drawing
                self._waiting = deque(one for one in self._waiting if one["event"] != "traces")
            self._waiting.append(message)
            if len(self._waiting) > MOST_WAITING:
                self._ended = True
                self._waiting.clear()
                self._hang_up()  # its thread may be waiting for it to listen
            self._news.notify()

    def end(self) -> None:
        with self._news:
            self._ended = True
            self._news.notify()
        if threading.current_thread() is not self._thread:
            self._thread.join(1.0)

    def _write(self) -> None:
        while True:
            with self._news:
                while not self._waiting and not self._ended:
                    self._news.wait()
                if not self._waiting:
                    break
                message = self._waiting.popleft()
            try:
                self._connection.sendall(json.dumps(message).encode() + b"\n")
            except OSError:
                break
        self._hang_up()

    def _hang_up(self) -> None:
        with suppress(OSError):
            self._connection.shutdown(socket.SHUT_RDWR)


def _message(line: bytes) -> Mapping[str, Any]:
    found = json.loads(line)
    return found if isinstance(found, dict) else {}
