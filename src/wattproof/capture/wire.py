"""One instrument's wire: lines and blocks under one deadline for a whole question, and a line kept in step."""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Protocol

from wattproof.capture.block import read_blocks
from wattproof.capture.link import OPEN_S, Link, VisaLink
from wattproof.errors import WireError

QUIET_S = 0.1
"""A line that has been silent for this long has nothing more to say, where no end was agreed; seconds."""

_SLICE_S = 0.05
"""Whoever waits looks up this often whether something urgent wants the line, seconds."""

_SHOWN_BYTES = 40
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
    to the next question. So the next question goes over a link opened anew, and whatever stands on the line before
    a question is asked is dropped.

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
        self._line_end, self._answer_end = line_end.encode("latin-1"), answer_end.encode("latin-1")
        self._lock = threading.Lock()
        self._hurry = threading.Event()
        self._buffer = bytearray()
        self._deadline_s = 0.0
        self._asked, self._came, self._n_came = "", b"", 0
        self._in_step, self._owes_end, self._closed = True, False, False
        self._link: Link | None = open_link(min(OPEN_S, timeout_s))

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
            data = self._encoded(text)
            try:
                self._drop_unasked()  # what is said into a cut connection would be lost without a sign
                self._open().send(data)
            except WireError:
                if not urgent:
                    raise
                self._reopen().send(data)
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
            answer = self._line() if self._answer_end else self._until_quiet()
            return self._text(answer)

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
        if not self._buffer:
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
            if not self._in_step:
                self._reopen()
            self._deadline_s, self._asked = time.monotonic() + self.timeout_s, text
            self._drop_unasked()
            self._came, self._n_came = b"", 0
            try:
                self._open().send(self._encoded(text))
                yield
            except WireError:
                self._in_step = False
                raise

    def _drop_unasked(self) -> None:
        link = self._open()
        while link.is_stream and (more := link.receive(4096, end=b"", within_s=0.001)):
            self._buffer += more
        late = bytes(self._buffer).strip()
        if late:
            self.unasked = late[:80].decode("latin-1")
        self._buffer.clear()

    def _encoded(self, text: str) -> bytes:
        return text.encode("latin-1", "replace") + self._line_end

    def _open(self) -> Link:
        return self._reopen() if self._link is None else self._link

    def _say_beside(self, data: bytes) -> None:
        """Say it over a second link too, where the instrument takes one."""
        with suppress(WireError):
            beside = self._open_link(min(OPEN_S, self.timeout_s))
            try:
                beside.send(data)
            finally:
                beside.close()

    def _reopen(self) -> Link:
        self._drop()
        if self._closed:
            raise WireError(f"{self.where} has been let go of.", hint="Open the bench again.")
        link = self._link = self._open_link(min(OPEN_S, self.timeout_s))
        self._in_step, self._owes_end = True, False
        return link

    def _drop(self) -> None:
        if self._link is not None:
            self._link.close()
        self._link = None
        self._buffer.clear()

    def _left_s(self) -> float:
        return self._deadline_s - time.monotonic()

    def _taken(self, n_bytes: int) -> bytes:
        taken = bytes(self._buffer[:n_bytes])
        del self._buffer[:n_bytes]
        return taken

    def _pull(self, n_bytes: int, end: bytes, within_s: float) -> bool:
        """Wait for bytes; say whether any came."""
        link = self._open()
        until = time.monotonic() + within_s
        while (left := until - time.monotonic()) > 0:
            if self._hurry.is_set():
                raise WireError(f"{self.where} was interrupted.", why="something more urgent had to be said to it")
            more = link.receive(n_bytes, end=end[-1:], within_s=min(left, _SLICE_S) if link.is_stream else left)
            self._buffer += more
            if more:
                self._came, self._n_came = (self._came + more)[:_SHOWN_BYTES], self._n_came + len(more)
                return True
        return False

    def _more(self, n_bytes: int, end: bytes = b"") -> None:
        if self._left_s() <= 0 or not self._pull(n_bytes, end, self._left_s()):
            raise self._silent(end)

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

    def _text(self, answer: bytes) -> str:
        try:
            text = answer.decode("utf-8").strip()
        except UnicodeDecodeError:
            text = answer.decode("latin-1").strip()
        if not text:
            raise WireError(
                f'{self.where} answered "{self._asked}" with an empty line.',
                why="an empty answer is no answer",
                hint="Ask it at its own front panel or in its manual whether it knows that question.",
            )
        if not all(sign.isprintable() or sign == "\t" for sign in text):
            raise WireError(
                f'{self.where} answered "{self._asked}" with what is no text.',
                why=f"it sent {answer[:_SHOWN_BYTES]!r}",
                hint="Check that the address is that instrument's, and on a serial line the baud rate.",
            )
        return text

    def _silent(self, end: bytes) -> WireError:
        """Tell that the deadline is over: what came, and the end of a line that did not."""
        asked = f'{self.where} did not answer "{self._asked}" within {self.timeout_s:g} s.'
        if not self._n_came:
            return WireError(
                asked,
                why="nothing came",
                hint="Check that it is on, its cable and its address, and that it knows this question; "
                "if it is only slow, raise timeout_s in the bench file.",
            )
        dots = "..." if self._n_came > len(self._came) else ""
        shown = f"{self._n_came} bytes came, {self._came!r}{dots}"
        if end:
            name = {b"\n": "LF", b"\r": "CR", b"\r\n": "CR LF"}.get(end, repr(end))
            return WireError(
                asked,
                why=f"{shown}, but not the end of a line ({name})",
                hint='Write answer_end = "" in the instrument\'s file if it ends its answers with nothing, '
                "or what it does end them with; if it is only slow, raise timeout_s in the bench file.",
            )
        return WireError(asked, why=f"{shown}, and no more", hint="Raise timeout_s in the bench file if it is slow.")


def open_wire(address: str, *, name: str, timeout_s: float, line_end: str = "\n", answer_end: str = "\n") -> LinkWire:
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

    Raises
    ------
    WireError
        It cannot be opened. A closed port shows itself at the first question only, so ask one at once.
    """
    return LinkWire(
        lambda within_s: VisaLink(address, name=name, within_s=within_s),
        where=f"{name} at {address}",
        timeout_s=timeout_s,
        line_end=line_end,
        answer_end=answer_end,
    )
