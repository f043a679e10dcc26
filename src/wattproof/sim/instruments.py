"""Instruments on loopback that speak over a real socket, and misbehave on demand."""

import re
import socket
import threading
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Protocol, Self

Answer = Callable[[str], "str | bytes | None"]


class BenchSide(Protocol):
    """What simulated instruments act upon: the supply, the loads and the heat of a simulated bench."""

    def supply_set(self, volts: float, limit_a: float) -> None:
        """Set what the supply gives once it is switched on."""
        ...

    def supply_switch(self, on: bool) -> None:
        """Close or open the supply's output."""
        ...

    def supply_reading(self) -> tuple[float, float]:
        """Give volts and amperes at the supply's output."""
        ...

    def use_load(self, name: str | None) -> None:
        """Connect one load; None disconnects all."""
        ...

    def read_temperature_c(self) -> float:
        """Give the amplifier's temperature."""
        ...


@dataclass(kw_only=True)
class Misbehaviour:
    """How an instrument answers wrongly; may be changed while it is spoken to.

    Attributes
    ----------
    wait_s : float
        Before each answer.
    silent : bool
        It hears and does, and answers nothing.
    deaf : bool
        It neither answers nor does anything.
    chunk_bytes : int
        An answer comes in pieces of so many bytes; 0: whole.
    chunk_wait_s : float
        Between the pieces.
    garbage : bytes
        Said in the place of every answer, where it is not empty.
    late_end_s : float
        The line end comes so much later than the rest.
    cut : bool
        It closes the connection at the next thing it hears.
    """

    wait_s: float = 0.0
    silent: bool = False
    deaf: bool = False
    chunk_bytes: int = 0
    chunk_wait_s: float = 0.0
    garbage: bytes = b""
    late_end_s: float = 0.0
    cut: bool = False


class InstrumentServer:
    """One instrument on a port of 127.0.0.1; use it in a ``with`` block.

    Parameters
    ----------
    identity : str
        Its answer to ``*IDN?``.
    commands : dict of str to callable
        By header in long form, capitals being its short form, with ``?`` for questions; each takes the words after
        the header and gives the answer, or None.
    """

    def __init__(self, *, identity: str, commands: dict[str, Answer]) -> None:
        self.misbehaviour = Misbehaviour()
        self.heard: list[str] = []
        self.errors: deque[str] = deque(maxlen=30)
        self._lock = threading.RLock()
        known: dict[str, Answer] = {
            "*IDN?": lambda _words: identity,
            "*CLS": lambda _words: self.errors.clear(),
            "SYSTem:ERRor?": lambda _words: self.errors.popleft() if self.errors else '0,"No error"',
        }
        self._commands = [(_header(header), action) for header, action in (known | commands).items()]
        self._closed = False
        self._open_sockets: set[socket.socket] = set()
        self._socket = socket.create_server(("127.0.0.1", 0))
        self._thread = threading.Thread(target=self._accept, name=f"{identity} listening", daemon=True)
        self._thread.start()

    @property
    def port(self) -> int:
        """The port it listens at."""
        return int(self._socket.getsockname()[1])

    @property
    def address(self) -> str:
        """Its VISA address."""
        return f"TCPIP::127.0.0.1::{self.port}::SOCKET"

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_how: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the port and every connection."""
        self._closed = True
        with suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
        self._thread.join(2.0)
        for one in list(self._open_sockets):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)

    def _accept(self) -> None:
        while not self._closed:
            try:
                one, _peer = self._socket.accept()
            except OSError:
                return
            one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._open_sockets.add(one)
            threading.Thread(target=self._serve, args=(one,), daemon=True).start()

    def _serve(self, one: socket.socket) -> None:
        buffer = b""
        with one, suppress(OSError):
            while data := one.recv(4096):
                *lines, buffer = (buffer + data).split(b"\n")
                for line in lines:
                    if self.misbehaviour.cut:
                        return
                    self._respond(one, line.decode("latin-1").strip())
        self._open_sockets.discard(one)

    def _respond(self, one: socket.socket, line: str) -> None:
        odd = replace(self.misbehaviour)  # as it is now: a test may change it in the middle of an answer
        if odd.deaf or not line:
            return
        with self._lock:
            self.heard.append(line)
            answer = self.carry_out(line)
        if answer is None or odd.silent:
            return
        time.sleep(odd.wait_s)
        body = odd.garbage or (answer if isinstance(answer, bytes) else answer.encode("latin-1"))
        self._send(one, body if odd.late_end_s else body + b"\n", odd)
        if odd.late_end_s:
            time.sleep(odd.late_end_s)
            one.sendall(b"\n")

    def _send(self, one: socket.socket, data: bytes, odd: Misbehaviour) -> None:
        size = odd.chunk_bytes or len(data)
        for start in range(0, len(data), size):
            one.sendall(data[start : start + size])
            if odd.chunk_bytes:
                time.sleep(odd.chunk_wait_s)

    def carry_out(self, line: str) -> str | bytes | None:
        """Do one command, as if it had come over the socket; what is not understood goes into the error queue."""
        header, _space, words = line.partition(" ")
        action = next((action for looks, action in self._commands if looks.fullmatch(header)), None)
        if action is None:
            self.errors.append(f'-113,"Undefined header; {header}"')
            return None
        try:
            return action(words.strip())
        except ValueError as error:
            self.errors.append(f'-222,"Data out of range; {error}"')
            return None


def _header(long_form: str) -> re.Pattern[str]:
    """Make the pattern of a header that may be said long or short, in capitals or not."""
    pattern = re.sub(r"([A-Z*]+)([a-z]*)", lambda found: _either(found[1], found[2]), long_form.replace("?", r"\?"))
    return re.compile(pattern, re.IGNORECASE)


def _either(short: str, rest: str) -> str:
    return re.escape(short) + (f"(?:{rest})?" if rest else "")
