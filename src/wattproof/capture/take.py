"""A play in progress: blocks pass from the stream's thread to the conductor's, and its asking is its sign of life."""

import time
from collections import deque
from collections.abc import Callable, Iterator
from threading import Condition, Thread
from types import TracebackType
from typing import Self

from wattproof.capture.contract import Block, Trip
from wattproof.capture.pump import Pump

CHECK_S = 0.02
"""Waiting for a block, the conductor checks in this often, seconds."""

STALL_S = 0.5
"""A stream that has brought no block for this long has stalled, seconds on the wall."""

BEHIND_S = 2.0
"""A conductor with this much of recorded time before it, unread, has fallen behind, seconds of stream time."""


class QueueTake:
    """A take over a queue that the stream's thread fills.

    The stream's thread calls `put` for each block, then `end`, or `fail` with what went wrong. The conductor
    iterates, in a ``with`` block. A thread of the take's own looks whether blocks keep coming: a stalled stream is
    told by nobody else.

    Parameters
    ----------
    pump : Pump
        Where the drive is made: it is checked in to, and muted.
    on_trip : callable
        Called, from the take's own thread, when the stream has stalled; must not wait.
    close : callable
        Called once when the ``with`` block is left, after the drive was told to be mute: stops the stream.
    stall_s : float, s
        As `STALL_S`.
    """

    def __init__(
        self,
        pump: Pump,
        *,
        on_trip: Callable[[], None] = lambda: None,
        close: Callable[[], None] = lambda: None,
        stall_s: float = STALL_S,
    ) -> None:
        self._pump = pump
        self._on_trip = on_trip
        self._close = close
        self._stall_s = stall_s
        self._blocks: deque[Block] = deque()
        self._news = Condition()
        self._put_samples = 0
        self._taken_samples = 0
        self._asked = False
        self._ended = False
        self._left = False
        self._error: Exception | None = None
        self._heard_s = time.monotonic()
        Thread(target=self._watch_stream, name="wattproof-stall", daemon=True).start()

    @property
    def trip(self) -> Trip | None:
        """Why it was stopped, if it was."""
        return self._pump.watch.tripped

    @property
    def left(self) -> bool:
        """Whether the conductor has left the ``with`` block, so that nobody takes blocks any more."""
        return self._left

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._pump.mute()
        with self._news:
            first, self._left = not self._left, True
            self._blocks.clear()
            self._news.notify_all()
        if first:
            self._close()

    def __iter__(self) -> Iterator[Block]:
        while (block := self._next()) is not None:
            yield block

    def _next(self) -> Block | None:
        """Wait for the next block, checking in; None at the end."""
        self._pump.check_in()
        with self._news:
            self._asked = True
            self._news.notify_all()
            while not self._blocks and not self._ended:
                self._news.wait(CHECK_S)
                self._pump.check_in()
            self._asked = False
            if self._blocks:
                block = self._blocks.popleft()
                self._taken_samples += len(block.samples)
                return block
        error = self._error or self._pump.error
        if error is not None:
            raise error
        return None

    @property
    def _queued(self) -> int:
        return self._put_samples - self._taken_samples

    def put(self, block: Block) -> None:
        """Hand over a recorded block; from the stream's thread, which never waits here."""
        self._heard_s = time.monotonic()
        if self._left:
            return
        self._blocks.append(block)
        self._put_samples += len(block.samples)
        self._wake()
        if self._queued > BEHIND_S * self._pump.rate_hz and self.trip is None:
            self._pump.watch.trip(self._behind(block))

    def end(self) -> None:
        """Say that no more blocks will come; from the stream's thread, which never waits here."""
        self._ended = True
        self._wake()

    def _wake(self) -> None:
        """Tell whoever waits; whoever holds the lock meanwhile looks again within 20 ms of itself."""
        if self._news.acquire(blocking=False):
            self._news.notify_all()
            self._news.release()

    def fail(self, error: Exception) -> None:
        """Mute, and let the iteration raise `error` after the blocks that are here; from the stream's thread."""
        self._pump.mute()
        self._error = self._error or error
        self.end()

    def wait_until_asked(self, seconds: float) -> bool:
        """Wait until the conductor has taken all blocks and asks for the next; from the stream's thread.

        Parameters
        ----------
        seconds : float, s
            At most this long, on the wall.

        Returns
        -------
        bool
            Whether it asked; True also once nobody will ask again, because the ``with`` block was left.
        """
        with self._news:
            return self._news.wait_for(lambda: self._left or (self._asked and not self._blocks), seconds)

    def _watch_stream(self) -> None:
        with self._news:
            while not (self._ended or self._left):
                self._news.wait(self._stall_s / 5)
                silent_s = time.monotonic() - self._heard_s
                if silent_s > self._stall_s and not self._ended:
                    break
            else:
                return
        self._pump.watch.trip(self._stalled(silent_s))
        self._pump.mute()
        try:
            self._on_trip()
        finally:
            self.end()

    def _stalled(self, silent_s: float) -> Trip:
        given = self._pump.given
        return Trip(
            code="stream-stalled",
            message=f"The recorder's stream stalled: no block came for {silent_s:.2f} s.",
            why=f"A block is due every few milliseconds; after {self._stall_s:g} s the amplifier is unwatched.",
            hint="Look whether the interface is still plugged in and awake, then repeat the step.",
            sample=given,
            at_s=given / self._pump.rate_hz,
            value=silent_s,
            limit=self._stall_s,
            unit="s",
        )

    def _behind(self, block: Block) -> Trip:
        behind_s = self._queued / self._pump.rate_hz
        return Trip(
            code="conductor-silent",
            message=f"The drive was stopped: {behind_s:.1f} s of recorded blocks wait for whoever conducts.",
            why=f"No more than {BEHIND_S:g} s may wait; what is seen later than that cannot steer a drive.",
            hint="Close what else keeps this machine busy, see that the disk is not full or slow, and repeat the step.",
            sample=block.start,
            at_s=block.start / self._pump.rate_hz,
            value=behind_s,
            limit=BEHIND_S,
            unit="s",
        )
