"""Who sees a run and who is asked: the caller, and with a window also whoever watches through it."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from wattproof.capture import Operator
from wattproof.errors import WattproofError
from wattproof.run import Event, RunWindow, StopButton, WindowOperator

if TYPE_CHECKING:
    from wattproof.archive import Archive, Session


class Shown:
    """Joins a caller's ears and a window's.

    Parameters
    ----------
    window : bool
        Whether there is to be a window.
    tell : callable or None
        The caller's; gets every event beside the window, but for the traces.
    operator : Operator or None
        The caller's; where there is none, the window asks.
    button : StopButton or None
        The caller's; it and the window's are one.
    """

    def __init__(
        self,
        *,
        window: bool,
        tell: Callable[[Event], None] | None,
        operator: Operator | None,
        button: StopButton | None,
    ) -> None:
        self.button = button or StopButton()
        self.window = RunWindow(self.button) if window else None
        self.operator: Operator | None = operator
        if operator is None and self.window is not None:
            self.operator = WindowOperator(self.window)
        self._tell = tell

    def tell(self, event: Event) -> None:
        """Tell an event to all."""
        if self.window is not None:
            self.window.tell(event)
        if self._tell is not None and event.event != "traces":
            self._tell(event)

    @contextmanager
    def opened(self, store: "Archive", session: "Session") -> Iterator[None]:
        """Let the window be found for as long as the block lasts, and say there why the run cannot go on."""
        window = self.window
        if window is None:
            yield
            return
        try:
            with store.announced(session, port=window.port, secret=window.secret):
                yield
        except WattproofError as error:
            window.failed(error)
            raise
        finally:
            window.close()
