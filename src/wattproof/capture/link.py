"""The edge to pyvisa: bytes out, bytes in, and every foreign error told as a `WireError`."""

import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, Protocol

from wattproof.errors import WireError

if TYPE_CHECKING:
    from pyvisa import ResourceManager
    from pyvisa.resources import MessageBasedResource

BACKEND = "@py"
"""What pyvisa speaks through where the environment variable ``PYVISA_LIBRARY`` names nothing else."""

_QUIET_S = 0.1

OPEN_S = 2.0
"""An address that does not let itself be opened within this long is given up, seconds."""


class Link(Protocol):
    """An open way to one instrument that knows bytes only."""

    @property
    def is_stream(self) -> bool:
        """Whether bytes come one after the other with no end of message: sockets and serial lines."""
        ...

    @property
    def can_be_doubled(self) -> bool:
        """Whether a second link to the same instrument does no harm."""
        ...

    def recover(self) -> bool:
        """Bring it in step after an answer that did not come in time; False where only a new link does."""
        ...

    def send(self, data: bytes) -> None:
        """Send all of it.

        Raises
        ------
        WireError
            The instrument is gone.
        """
        ...

    def receive(self, n_bytes: int, *, end: bytes, within_s: float) -> bytes:
        """Give what comes, at most `n_bytes`, up to and including `end` (none when empty); nothing if nothing came.

        It loses no byte: what comes after the time is there at the next call.

        Raises
        ------
        WireError
            The instrument is gone.
        """
        ...

    def close(self) -> None: ...  # noqa: D102


@dataclass(frozen=True, kw_only=True)
class SerialLine:
    """How a serial line is set.

    Attributes
    ----------
    baud_rate : int
    data_bits : int, 5 to 8
    parity : "none", "even" or "odd"
    stop_bits : int, 1 or 2
    """

    baud_rate: int = 9600
    data_bits: int = 8
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: Literal[1, 2] = 1


class VisaLink:
    """A link through pyvisa to a VISA address: a socket, a serial line, USB, or a network instrument.

    Parameters
    ----------
    address : str
        As in ``TCPIP::192.168.1.20::5025::SOCKET``.
    name : str
        What the person calls the instrument, for messages.
    within_s : float, s > 0
        Time for opening.
    serial : SerialLine or None
        How a serial line is set; as most are when left out.

    Raises
    ------
    WireError
        No such address, or what speaks there is not installed. A closed port shows itself only when it is
        first written to.
    """

    def __init__(self, address: str, *, name: str, within_s: float = OPEN_S, serial: SerialLine | None = None) -> None:
        self._name, self._address = name, address
        self._resource = self._open(within_s)
        self._is_serial = address.upper().startswith("ASRL")
        self.can_be_doubled = self._resource.resource_class == "SOCKET"
        self.is_stream = self.can_be_doubled or self._is_serial
        try:
            with _told(name, address, "set up"):
                self._set_up(serial or SerialLine())
        except WireError:
            self.close()
            raise

    def _set_up(self, serial: SerialLine) -> None:
        from pyvisa.constants import Parity, ResourceAttribute, StopBits

        if self.is_stream:
            # a read ends when the line falls quiet: at its time-out a backend would drop what had come so far
            self._resource.set_visa_attribute(ResourceAttribute.suppress_end_enabled, state=False)
        if self._is_serial:
            stop_bits = StopBits.one if serial.stop_bits == 1 else StopBits.two
            self._resource.set_visa_attribute(ResourceAttribute.asrl_baud_rate, state=serial.baud_rate)
            self._resource.set_visa_attribute(ResourceAttribute.asrl_data_bits, state=serial.data_bits)
            self._resource.set_visa_attribute(ResourceAttribute.asrl_parity, state=Parity[serial.parity])
            self._resource.set_visa_attribute(ResourceAttribute.asrl_stop_bits, state=stop_bits)
        if (inner := self._socket()) is not None:
            # else a command is held back until the one before is confirmed, and off waits 40 ms
            inner.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def _open(self, within_s: float) -> "MessageBasedResource":
        from pyvisa.resources import MessageBasedResource

        manager = _manager()
        with _told(self._name, self._address, "open"):
            resource = manager.open_resource(self._address, open_timeout=max(1, round(within_s * 1e3)))
        if not isinstance(resource, MessageBasedResource):
            resource.close()
            raise WireError(
                f"{self._name} at {self._address} cannot be spoken to.",
                why="the address is of a kind that exchanges no messages",
                hint="Write an address that ends in SOCKET or INSTR.",
            )
        return resource

    def send(self, data: bytes) -> None:
        """Send all of it."""
        with _told(self._name, self._address, "reach"):
            self._resource.write_raw(data)

    def receive(self, n_bytes: int, *, end: bytes, within_s: float) -> bytes:
        """Give what comes, at most `n_bytes`, up to and including `end`; nothing if nothing came."""
        from pyvisa.constants import StatusCode
        from pyvisa.errors import VisaIOError

        with _told(self._name, self._address, "reach"):
            self._resource.timeout = max(1, round(within_s * 1e3))
            wanted = end.decode("latin-1") or None
            if self._resource.read_termination != wanted:
                self._resource.read_termination = wanted
            n_bytes = 1 if self._is_serial else n_bytes  # of a serial line a backend drops what it has at a time-out
            try:
                return self._resource.read_bytes(n_bytes, chunk_size=n_bytes, break_on_termchar=True)
            except VisaIOError as error:
                if error.error_code != StatusCode.error_timeout:
                    raise
        if self._hung_up():
            raise WireError(
                f"{self._name} at {self._address} has cut the connection.",
                why="the other end closed it; nothing more can come",
                hint="See whether it was switched off, or whether another program speaks to it, then try again.",
            )
        return b""

    def recover(self) -> bool:
        """Wait until a serial line is quiet, clear a message link; a socket must be opened anew."""
        if self.can_be_doubled:
            return False
        if self._is_serial:
            while self.receive(1, end=b"", within_s=_QUIET_S):
                pass
            return True
        with _told(self._name, self._address, "clear"):
            self._resource.clear()
        return True

    def _socket(self) -> socket.socket | None:
        """Give the socket inside, where there is one and the backend shows it; VISA has no words for what it tells."""
        sessions = getattr(self._resource.visalib, "sessions", {})
        inner = getattr(sessions.get(self._resource.session), "interface", None)
        return inner if isinstance(inner, socket.socket) else None

    def _hung_up(self) -> bool:
        """Say whether the peer has closed a socket; a backend that hides its socket leaves that to the time-out."""
        inner = self._socket()
        if inner is None:
            return False
        flags = socket.MSG_PEEK | getattr(socket, "MSG_DONTWAIT", 0)
        if not flags & ~socket.MSG_PEEK:
            return False  # without such a flag a look would wait
        try:
            return inner.recv(1, flags) == b""
        except BlockingIOError:
            return False
        except OSError:
            return True

    def close(self) -> None:
        """Let go of it; may be called twice."""
        import pyvisa

        with suppress(pyvisa.errors.Error, OSError, AttributeError):
            self._resource.close()


def _manager() -> "ResourceManager":
    library = os.environ.get("PYVISA_LIBRARY") or BACKEND
    try:
        import pyvisa

        return pyvisa.ResourceManager(library)
    except Exception as error:
        raise WireError(
            f'The VISA library "{library}" cannot be loaded.',
            why=" ".join(str(error).split()),
            hint="Install it, or correct or unset the environment variable PYVISA_LIBRARY.",
        ) from error


@contextmanager
def _told(name: str, address: str, doing: str) -> Iterator[None]:
    """Tell whatever a backend raises as one kind of error: backends raise anything, plain `Exception` too."""
    try:
        yield
    except WireError:
        raise
    except Exception as error:
        why, hint = _reason(error)
        raise WireError(f"Cannot {doing} {name} at {address}.", why=why, hint=hint) from error


def _reason(error: Exception) -> tuple[str, str]:
    words = " ".join(str(error).split()) or type(error).__name__
    if isinstance(error, ConnectionRefusedError):
        return "nothing listens at that port", (
            "Check that it is on, that its network remote control is switched on, and the port in the address."
        )
    if isinstance(error, ConnectionError):
        return words, "See whether it was switched off or its cable pulled, then try again."
    lacking = next((package for package in ("PySerial", "PyUSB") if package in words), None)
    if lacking is not None:
        return f"the Python package {lacking.lower()} is not installed", f"Run: pip install {lacking.lower()}"
    if "VI_ERROR_INV_RSRC_NAME" in words or "VI_ERROR_RSRC_NFOUND" in words or isinstance(error, ValueError):
        return words, (
            "Write the address as in TCPIP::192.168.1.20::5025::SOCKET, TCPIP::192.168.1.20::INSTR, "
            "ASRL/dev/ttyUSB0::INSTR or USB0::0x1234::0x5678::SERIAL::INSTR."
        )
    return words, "Check that it is on, its cable, and the address."
