"""Binary blocks of IEEE 488.2: how many bytes follow is said before them, in one of several forms."""

from typing import Protocol

from wattproof.errors import WireError

_QUIET_S = 0.1
"""After the last byte that was promised, a line end may still come; longer than this it is not waited for."""

_TEXT_BYTES = 4096
"""More text than this before a block is no preamble."""

_MOST_BYTES = 1 << 32
"""A block that promises more is a count misread."""

_HEX_DIGITS = b"ABCDEF"


class ByteSource(Protocol):
    """Where bytes are taken from; both fail at the deadline of the question."""

    def exactly(self, n_bytes: int) -> bytes:
        """Give the next so many bytes."""
        ...

    def coming(self, *, within_s: float) -> bytes:
        """Give the next byte without taking it; empty when the line stays quiet."""
        ...


def read_blocks(source: ByteSource, *, n_blocks: int, where: str, asked: str) -> tuple[tuple[bytes, ...], bool]:
    r"""Give the payloads of an answer's blocks, and whether its line end has come.

    All forms are read: a count of decimal digits (``#15hello``; leading zeros do no harm), a count of ten to fifteen
    digits (``#A0000000005hello``), a count in parentheses (``#(5)hello``), no count (``#0hello\n``: up to a line end
    after which the line stays quiet). Text may stand before the first block; blocks are separated by commas.

    Parameters
    ----------
    source : ByteSource
        The answer.
    n_blocks : int >= 1
        How many blocks it must hold.
    where, asked : str
        The instrument and the question, for messages.

    Raises
    ------
    WireError
        No block, fewer or more blocks, a count that is none, or fewer bytes than promised.
    """
    reader = _Reader(source, where, asked)
    reader.skip_text()
    payloads = [reader.block()]
    while len(payloads) < n_blocks:
        reader.comma(len(payloads), n_blocks)
        payloads.append(reader.block())
    return tuple(payloads), reader.end()


def write_block(payload: bytes, *, n_digits: int | None = None) -> bytes:
    """Put the header before a payload: it counts bytes, whatever the numbers in them are.

    Parameters
    ----------
    payload : bytes
    n_digits : int or None, 1 to 9
        As many digits as the count is padded to with zeros, for instruments that want it so.

    Raises
    ------
    ValueError
        The count has more digits than allowed.

    Examples
    --------
    >>> write_block(b"hello")
    b'#15hello'
    >>> write_block(b"hello", n_digits=8)
    b'#800000005hello'
    """
    digits = str(len(payload)).rjust(n_digits or 1, "0")
    if len(digits) > (n_digits or 9):
        raise ValueError(f"{len(payload)} bytes want more than {n_digits or 9} digits")
    return f"#{len(digits)}{digits}".encode() + payload


class _Reader:
    def __init__(self, source: ByteSource, where: str, asked: str) -> None:
        self._source, self._where, self._asked = source, where, asked
        self._ended = False

    def _wrong(self, why: str) -> WireError:
        return WireError(
            f'{self._where} answered "{self._asked}" with what is no block of samples.',
            why=why,
            hint="Check in its manual that this question gives a binary block, and the commands before it.",
        )

    def skip_text(self) -> None:
        """Pass over text before the block; a ``#`` inside quotation marks is text."""
        passed, quote = bytearray(), b""
        while (byte := self._source.exactly(1)) != b"#" or quote:
            passed += byte
            if byte in {b'"', b"'"} and quote in {b"", byte}:
                quote = b"" if quote else byte
            if (byte == b"\n" and not quote) or len(passed) > _TEXT_BYTES:
                raise self._wrong(f"it sent {bytes(passed[:60])!r} and no # that begins a block")

    def block(self) -> bytes:
        """Read one block whose ``#`` is taken already."""
        form = self._source.exactly(1)
        if form == b"0":
            return self._to_quiet_end()
        if form == b"(":
            return self._source.exactly(self._count(self._digits_in_parentheses()))
        if form.isdigit():
            return self._source.exactly(self._count(self._source.exactly(int(form))))
        if form in {bytes([one]) for one in _HEX_DIGITS}:
            return self._source.exactly(self._count(self._source.exactly(int(form, 16))))
        raise self._wrong(f"after # stands {form!r}, which begins no form of block")

    def _digits_in_parentheses(self) -> bytes:
        digits = bytearray()
        while (byte := self._source.exactly(1)) != b")":
            digits += byte
            if len(digits) > 20:
                raise self._wrong(f"the count in parentheses {bytes(digits)!r} does not end")
        return bytes(digits)

    def _count(self, digits: bytes) -> int:
        if not digits.isdigit():
            raise self._wrong(f"the count of its bytes is {digits!r}, which is no number")
        if int(digits) > _MOST_BYTES:
            raise self._wrong(f"it promises {int(digits)} bytes")
        return int(digits)

    def _to_quiet_end(self) -> bytes:
        payload = bytearray(self._source.exactly(1))
        while payload[-1:] != b"\n" or self._source.coming(within_s=_QUIET_S):
            payload += self._source.exactly(1)
        self._ended = True
        return bytes(payload[:-1])

    def comma(self, n_had: int, n_blocks: int) -> None:
        """Go from one block to the next."""
        while (byte := self._source.exactly(1)) == b" ":
            pass
        if byte != b",":
            raise self._wrong(f"{n_blocks} blocks belong in the answer; after block {n_had} stands {byte!r}")
        while (byte := self._source.exactly(1)) == b" ":
            pass
        if byte != b"#":
            raise self._wrong(f"after the comma behind block {n_had} stands {byte!r} where # belongs")

    def end(self) -> bool:
        """Take the line end, where one comes; say whether it did."""
        while not self._ended and (byte := self._source.coming(within_s=_QUIET_S)):
            if byte not in {b"\r", b"\n", b" "}:
                raise self._wrong(f"bytes that were not promised follow it, first {byte!r}")
            self._ended = self._source.exactly(1) == b"\n"
        return self._ended
