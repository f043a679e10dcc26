"""Wires for tests of drivers: a scripted one, and a peer on loopback that answers fixed bytes, however badly."""

import socket
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from typing import Self

Answer = str | bytes | tuple[bytes, ...] | None
Timed = Sequence[tuple[float, bytes]]


class ScriptedWire:
    """A wire that expects certain lines in their order and gives the answers written beside them.

    Parameters
    ----------
    script : sequence of (str, answer)
        What must be said, and what is answered: text to a query, bytes to a question for blocks (a tuple for several)
        or for bare bytes, None to a command.
    """

    where = "the scripted instrument"

    def __init__(self, script: Sequence[tuple[str, Answer]]) -> None:
        self._script = list(script)
        self.is_closed = False

    @property
    def left(self) -> tuple[str, ...]:
        """What has not been said yet."""
        return tuple(line for line, _answer in self._script)

    def _next(self, text: str) -> Answer:
        if not self._script:
            raise AssertionError(f'"{text}" was said after the end of the script')
        line, answer = self._script.pop(0)
        if line != text:
            raise AssertionError(f'"{text}" was said where "{line}" belongs')
        return answer

    def write(self, text: str, *, urgent: bool = False) -> None:  # noqa: ARG002
        """Expect a command."""
        if self._next(text) is not None:
            raise AssertionError(f'"{text}" was said as a command and is answered in the script')

    def query(self, text: str) -> str:
        """Expect a question with one line of answer."""
        answer = self._next(text)
        if isinstance(answer, str):
            return answer
        raise AssertionError(f'"{text}" was asked as a question; the script answers {answer!r}')

    def query_blocks(self, text: str, *, n_blocks: int = 1) -> tuple[bytes, ...]:
        """Expect a question for binary blocks; the script holds their payloads."""
        answer = self._next(text)
        blocks = (answer,) if isinstance(answer, bytes) else answer
        if not isinstance(blocks, tuple) or len(blocks) != n_blocks:
            raise AssertionError(f'"{text}" was asked for {n_blocks} blocks; the script answers {answer!r}')
        return blocks

    def query_bytes(self, text: str, *, n_bytes: int) -> bytes:
        """Expect a question for bare bytes."""
        answer = self._next(text)
        if not isinstance(answer, bytes) or len(answer) != n_bytes:
            raise AssertionError(f'"{text}" was asked for {n_bytes} bytes; the script answers {answer!r}')
        return answer

    def close(self) -> None:
        """Note that it was let go of."""
        self.is_closed = True


@contextmanager
def exchange(script: Sequence[tuple[str, Answer]]) -> Iterator[ScriptedWire]:
    """Give a scripted wire; lines that were not said fail at the end.

    Parameters
    ----------
    script : sequence of (str, answer)
        As `ScriptedWire` takes it.

    Raises
    ------
    AssertionError
        Something else was said than the script has, or less.

    Examples
    --------
    >>> with exchange([("READ?", "31.2"), ("HOLD ON", None)]) as wire:
    ...     reading = wire.query("READ?")
    ...     wire.write("HOLD ON")
    >>> reading
    '31.2'
    """
    wire = ScriptedWire(script)
    yield wire
    if wire.left:
        raise AssertionError(f"never said: {', '.join(wire.left)}")


class Peer:
    r"""A TCP server on 127.0.0.1 that answers fixed bytes to each line it hears; use it in a ``with`` block.

    Parameters
    ----------
    answers : mapping of str to bytes or sequence of (float, bytes)
        By the line without its end: bytes sent at once, or pieces with the seconds to wait before each. A line that
        is not in it is heard and not answered. ``b""`` closes the connection.
    chunk_bytes : int
        Answers are sent in pieces of so many bytes; 0: whole.
    chunk_wait_s : float, s
        Before each such piece.
    """

    def __init__(
        self, answers: Mapping[str, bytes | Timed], *, chunk_bytes: int = 0, chunk_wait_s: float = 0.0
    ) -> None:
        self._answers = dict(answers)
        self._chunk_bytes, self._chunk_wait_s = chunk_bytes, chunk_wait_s
        self.heard: list[bytes] = []
        self.connections = 0
        self._closing = threading.Event()
        self._sockets: list[socket.socket] = []
        self._threads: list[threading.Thread] = []
        self._listener = socket.create_server(("127.0.0.1", 0))

    @property
    def address(self) -> str:
        """Its VISA address."""
        return f"TCPIP::127.0.0.1::{self._listener.getsockname()[1]}::SOCKET"

    def __enter__(self) -> Self:
        self._start(self._accept)
        return self

    def __exit__(self, *_how: object) -> None:
        self._closing.set()
        for one in (self._listener, *self._sockets):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
        for thread in self._threads:
            thread.join(2.0)
        for one in (self._listener, *self._sockets):
            one.close()

    def _start(self, target: Callable[..., None], *words: object) -> None:
        thread = threading.Thread(target=target, args=words, daemon=True)
        self._threads.append(thread)
        thread.start()

    def _accept(self) -> None:
        while not self._closing.is_set():
            try:
                one, _from = self._listener.accept()
            except OSError:
                return
            one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self.connections += 1
            self._sockets.append(one)
            self._start(self._serve, one)

    def _serve(self, one: socket.socket) -> None:
        waiting = b""
        with suppress(OSError):
            while data := one.recv(4096):
                *lines, waiting = (waiting + data).split(b"\n")
                for line in lines:
                    self.heard.append(line)
                    self._answer(one, self._answers.get(line.decode("latin-1").strip()))

    def _answer(self, one: socket.socket, answer: bytes | Timed | None) -> None:
        if answer == b"":
            one.shutdown(socket.SHUT_RDWR)
            return
        pieces = ((0.0, answer),) if isinstance(answer, bytes) else (answer or ())
        for wait_s, piece in pieces:
            time.sleep(wait_s)
            size = self._chunk_bytes or max(1, len(piece))
            for start in range(0, len(piece), size):
                if self._closing.wait(self._chunk_wait_s):
                    return
                one.sendall(piece[start : start + size])
