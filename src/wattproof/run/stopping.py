"""A person's stop: Ctrl-C, a key, a button; it trips the guard, so that the drive fades like after any other trip."""

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

from wattproof.capture import Guard

ASKS_TO_STOP = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
"""Ctrl-C; a polite kill, as at shutdown; a terminal that is closed or a line that is lost."""


class StopButton:
    """Stops the drive that is playing; from any thread, and from a signal handler."""

    def __init__(self) -> None:
        self._pressed = threading.Event()
        self._guard: Guard | None = None

    @property
    def pressed(self) -> bool:
        """Whether somebody wants the run to stop."""
        return self._pressed.is_set()

    def press(self) -> None:
        """Stop: the drive fades out within 5 ms of the next block."""
        self._pressed.set()
        guard = self._guard
        if guard is not None:
            guard.stop()

    def release(self) -> None:
        """Make it ready again, once the person has said how to go on."""
        self._pressed.clear()

    @contextmanager
    def over(self, guard: Guard) -> Iterator[None]:
        """Let the button, and Ctrl-C or a kill, stop this guard's drive while it plays; a second one ends at once."""
        self._guard = guard
        if self.pressed:
            self.press()
        try:
            with _signals(self):
                yield
        finally:
            self._guard = None


@contextmanager
def ended_by_signals() -> Iterator[None]:
    """Let a kill or a closed terminal end a run as Ctrl-C does: with the drive muted and the supply opened."""
    with _handled(signal.default_int_handler, but=signal.SIGINT):
        yield


@contextmanager
def _signals(button: StopButton) -> Iterator[None]:
    """Turn the first signal into a press; the next one raises where the program stands."""

    def pressed(_number: int, _frame: FrameType | None) -> None:
        for number in ASKS_TO_STOP:
            signal.signal(number, signal.default_int_handler)
        button.press()

    with _handled(pressed):
        yield


@contextmanager
def _handled(handler: Callable[[int, FrameType | None], None], *, but: int | None = None) -> Iterator[None]:
    """Handle the signals that ask to stop; only the main thread of a process hears them."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {number: signal.signal(number, handler) for number in ASKS_TO_STOP if number != but}
    try:
        yield
    finally:
        for number, old in before.items():
            signal.signal(number, old)
