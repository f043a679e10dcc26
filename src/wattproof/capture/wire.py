"""One instrument's wire: lines and blocks under one deadline for a whole question, and a line kept in step."""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Protocol

from wattproof.capture.answers import SHOWN_BYTES, silence, text_of
from wattproof.capture.block import read_blocks
from wattproof.capture.link import OPEN_S, Link, SerialLine, VisaLink
from wattproof.errors import WireError

QUIET_S = 0.1
"""A line that has been silent for this long has nothing more to say, where no end was agreed; seconds."""

_SLICE_S = 0.05
"""Whoever waits looks up this often whether something urgent wants the line, seconds."""

_LINE_BYTES = 1 << 16
_CHUNK_BYTES = 1 << 20


class Wire(Protocol):
    """What a driver says and hears."""

    @property
    def where(self) -> str:
        """Name and address, for messages."""
        ...

    def write(self, text: str, *, urgent: bool = False) -> None: ...  # noqa: D102
    def query(self, text: str) -> str: ...  # noqa: D102
    def query_blocks(self, text: str, *, n_blocks: int = 1) -> tuple[bytes, ...]: ...  # noqa: D102
    def query_bytes(self, text: str, *, n_bytes: int) -> bytes: ...  # noqa: D102
    def close(self) -> None: ...  # noqa: D102


class LinkWire:
    """A wire over a link that can be opened again.

    After a question that was not answered in time the answer may still come; it must not be taken for the answer
    to the next question. So the next question goes over a link that has been brought in step again (a socket is
    opened anew), and whatever stands on the line before a question is asked is dropped.

    Parameters
    ----------
    open_link : callable
        Takes the time allowed in seconds and gives an open link.
    where : str
        Name and address, for messages.
    timeout_s : float, s > 0
        For one whole answer, however many pieces it comes in.
    line_end : str
        Ends each command.
    answer_end : str
        Ends each answer; empty: an answer is over when the line has been quiet for `QUIET_S`.
    """

    def __init__(
        self,
        open_link: Callable[[float], Link],
        *,
        where: str,
        timeout_s: float,
        line_end: str = "\n",
        answer_end: str = "\n",
    ) -> None:
        self.where = where
        self.timeout_s = timeout_s
        self.unasked = ""
        self._open_link = open_link
        self._line_end, self._answer_end = line_end.encode(), answer_end.encode()
        self._lock = threading.Lock()
        self._hurry = threading.Event()
        self._buffer = bytearray()
        self._deadline_s = 0.0
        self._asked, self._came, self._n_came = "", b"", 0
        self._in_step, self._owes_end, self._closed = True, False, False
        self._link: Link | None = None
        self._open()

    def write(self, text: str, *, urgent: bool = False) -> None:
        """Say something that is not answered.

        Parameters
        ----------
        text : str
            One command without its end.
        urgent : bool
            Break off whatever question is waiting for its answer on another thread. If the link is broken, say it
            over a new one; if it may be stuck, for a question on it was not answered, say it over both. So what is
            urgent must do no harm when it is heard twice.

        Raises
        ------
        WireError
            The instrument is gone.
        """
        with self._held(urgent=urgent):
            data = text.encode() + self._line_end
            self._deadline_s = time.monotonic() + self.timeout_s
            try:
                self._drop_unasked()  # what is said into a cut connection would be lost without a sign
                self._send(data)
            except WireError:
                if not urgent:
                    raise
                self._drop()
                self._send(data)
            if urgent and not self._in_step:
                self._say_beside(data)

    def query(self, text: str) -> str:
        """Ask and give the answer's line without its end and without spaces around it.

        Parameters
        ----------
        text : str
            One question without its end.

        Raises
        ------
        WireError
            No answer, an empty one, one without its end, or none that is text, within `timeout_s`.
        """
        with self._question(text):
            return text_of(self._answer(), where=self.where, asked=text)

    def query_blocks(self, text: str, *, n_blocks: int = 1) -> tuple[bytes, ...]:
        """Ask and give the payloads of the binary blocks of IEEE 488.2 in the answer.

        Parameters
        ----------
        text : str
            One question without its end.
        n_blocks : int >= 1
            How many blocks, separated by commas, the answer must hold.

        Raises
        ------
        WireError
            No answer, no block, fewer or more blocks, or a block cut off, within `timeout_s`.
        """
        with self._question(text):
            payloads, ended = read_blocks(self, n_blocks=n_blocks, where=self.where, asked=text)
            self._owes_end = not ended
            return payloads

    def query_bytes(self, text: str, *, n_bytes: int) -> bytes:
        """Ask and give so many bytes of an answer that has no header: only the count can say where it ends.

        Parameters
        ----------
        text : str
            One question without its end.
        n_bytes : int >= 1
            As the instrument was told or has said beforehand.

        Raises
        ------
        WireError
            Fewer bytes within `timeout_s`.
        """
        with self._question(text):
            payload = self.exactly(n_bytes)
            self._owes_end = True
            return payload

    def close(self) -> None:
        """Let go of the instrument; may be called twice."""
        with self._lock:
            self._closed = True
            self._drop()

    # what a reader of blocks takes bytes from

    def exactly(self, n_bytes: int) -> bytes:
        """Give the next so many bytes, or fail at the deadline."""
        while len(self._buffer) < n_bytes:
            self._more(min(n_bytes - len(self._buffer), _CHUNK_BYTES))
        return self._taken(n_bytes)

    def coming(self, *, within_s: float) -> bytes:
        """Give the next byte without taking it; empty when the line stays quiet."""
        if not self._buffer and self._open().is_stream:  # a message is read whole: after it nothing comes
            self._pull(1, b"", min(within_s, self._left_s()))
        return bytes(self._buffer[:1])

    # inside

    @contextmanager
    def _held(self, *, urgent: bool) -> Iterator[None]:
        if urgent:
            self._hurry.set()
        taken = self._lock.acquire(timeout=self.timeout_s)
        if urgent:
            self._hurry.clear()
        if not taken:
            raise WireError(
                f"{self.where} is busy.",
                why=f"another question kept it for {self.timeout_s:g} s",
                hint="Wait until it has answered, or raise timeout_s in the bench file.",
            )
        try:
            yield
        finally:
            self._lock.release()

    @contextmanager
    def _question(self, text: str) -> Iterator[None]:
        with self._held(urgent=False):
            self._deadline_s = time.monotonic() + self.timeout_s
            self._asked, self._came, self._n_came = text, b"", 0
            try:
                self._get_in_step()
                self._drop_unasked()
                self._send(text.encode() + self._line_end)
                yield
            except WireError:
                self._in_step = self._link is None  # a new one is
                raise

    def _get_in_step(self) -> None:
        """Make sure that the late answer to a question given up is not taken for the next one's."""
        if not self._in_step and not self._open().recover():
            self._drop()
            self._deadline_s = time.monotonic() + self.timeout_s
        self._in_step = True

    def _drop_unasked(self) -> None:
        """Drop what stands on the line; a babbler is told instead of being listened to for ever."""
        while self._open().is_stream and (more := self._receive(4096, b"", 0.001)):
            self._buffer += more
            if self._left_s() < 0 or len(self._buffer) > _LINE_BYTES:
                self._drop()
                raise WireError(
                    f"{self.where} does not stop talking.",
                    why=f"{len(more)} bytes and more came without a question, the last {more[-SHOWN_BYTES:]!r}",
                    hint="Switch off what it sends by itself: echo, continuous readings, a menu for people.",
                )
        late = bytes(self._buffer).strip()
        if late:
            self.unasked = late[:80].decode("latin-1")
        self._buffer.clear()

    def _open(self) -> Link:
        if self._closed:
            raise WireError(f"{self.where} has been let go of.", hint="Open the bench again.")
        if self._link is None:
            self._link = self._open_link(min(OPEN_S, self.timeout_s))
            self._owes_end = False
        return self._link

    def _send(self, data: bytes) -> None:
        with self._dropped_when_broken():
            self._open().send(data)

    def _receive(self, n_bytes: int, end: bytes, within_s: float) -> bytes:
        with self._dropped_when_broken():
            return self._open().receive(n_bytes, end=end, within_s=within_s)

    @contextmanager
    def _dropped_when_broken(self) -> Iterator[None]:
        try:
            yield
        except WireError:
            self._drop()
            raise

    def _drop(self) -> None:
        if self._link is not None:
            self._link.close()
        self._link = None
        self._buffer.clear()

    def _say_beside(self, data: bytes) -> None:
        """Say it over a second link too, where the instrument takes one."""
        if not self._open().can_be_doubled:
            return
        with suppress(WireError):
            beside = self._open_link(min(OPEN_S, self.timeout_s))
            try:
                beside.send(data)
            finally:
                beside.close()

    def _left_s(self) -> float:
        return self._deadline_s - time.monotonic()

    def _taken(self, n_bytes: int) -> bytes:
        taken = bytes(self._buffer[:n_bytes])
        del self._buffer[:n_bytes]
        return taken

    def _pull(self, n_bytes: int, end: bytes, within_s: float) -> bool:
        """Wait for bytes; say whether any came."""
        is_stream = self._open().is_stream
        until = time.monotonic() + within_s
        while (left := until - time.monotonic()) > 0:
            if self._hurry.is_set():
                raise WireError(
                    f"{self.where} was interrupted.",
                    why="something more urgent had to be said to it",
                    hint="See why the bench was stopped, then ask again.",
                )
            if is_stream:
                more = self._receive(n_bytes, end[-1:], min(left, _SLICE_S))
            else:
                more = self._receive(_CHUNK_BYTES, b"", left)
            self._buffer += more
            if more:
                self._came, self._n_came = (self._came + more)[:SHOWN_BYTES], self._n_came + len(more)
                return True
        return False

    def _more(self, n_bytes: int, end: bytes = b"") -> None:
        if self._left_s() <= 0 or not self._pull(n_bytes, end, self._left_s()):
            raise self._silent(end)

    def _answer(self) -> bytes:
        if not self._open().is_stream:
            self._more(_CHUNK_BYTES)
            return self._taken(len(self._buffer))
        return self._line() if self._answer_end else self._until_quiet()

    def _line(self) -> bytes:
        while True:
            if self._owes_end:
                self._skip_late_end()
            at = self._buffer.find(self._answer_end)
            if at >= 0:
                return self._taken(at + len(self._answer_end))
            if len(self._buffer) > _LINE_BYTES:
                raise self._silent(self._answer_end)
            self._more(4096, self._answer_end)

    def _skip_late_end(self) -> None:
        """Drop a line end before an answer: a block's own may come when it is no longer waited for."""
        begun = self._buffer.lstrip(b"\r\n")
        self._owes_end = not begun
        self._buffer[:] = begun

    def _until_quiet(self) -> bytes:
        self._more(4096)
        while self._pull(4096, b"", min(QUIET_S, max(0.0, self._left_s()))):
            pass
        if self._left_s() <= 0:
            raise self._silent(b"")
        return self._taken(len(self._buffer))

    def _silent(self, end: bytes) -> WireError:
        return silence(
            where=self.where, asked=self._asked, timeout_s=self.timeout_s, n_came=self._n_came, came=self._came, end=end
        )


def open_wire(
    address: str,
    *,
    name: str,
    timeout_s: float,
    line_end: str = "\n",
    answer_end: str = "\n",
    serial: SerialLine | None = None,
) -> LinkWire:
    """Open the wire to a VISA address.

    Parameters
    ----------
    address : str
        As in ``TCPIP::192.168.1.20::5025::SOCKET``.
    name : str
        What the person calls the instrument, for messages.
    timeout_s : float, s > 0
        For one whole answer.
    line_end, answer_end : str
        As `LinkWire` takes them.
    serial : SerialLine or None
        How a serial line is set; as most are when left out.

    Raises
    ------
    WireError
        It cannot be opened. A closed port shows itself at the first question only, so ask one at once.
    """
    return LinkWire(
        lambda within_s: VisaLink(address, name=name, within_s=within_s, serial=serial),
        where=f"{name} at {address}",
        timeout_s=timeout_s,
        line_end=line_end,
        answer_end=answer_end,
    )
