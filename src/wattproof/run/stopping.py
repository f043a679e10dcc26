"""A person's stop: Ctrl-C, a key, a button; it trips the guard, so that the drive fades like after any other trip."""

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

from wattproof.capture import Guard


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
        """Let the button, and Ctrl-C, stop this guard's drive as long as it plays; a second Ctrl-C ends at once."""
        self._guard = guard
        if self.pressed:
            self.press()
        try:
            with _ctrl_c(self):
                yield
        finally:
            self._guard = None


@contextmanager
def _ctrl_c(button: StopButton) -> Iterator[None]:
    """Turn the first Ctrl-C into a press; only the main thread of a process hears signals."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def pressed(_number: int, _frame: FrameType | None) -> None:
        signal.signal(signal.SIGINT, before)
        button.press()

    before = signal.signal(signal.SIGINT, pressed)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
