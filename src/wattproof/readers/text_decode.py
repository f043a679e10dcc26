"""Bytes of a text file to clean UTF-8 lines, and the word for what was assumed on the way."""

from dataclasses import dataclass

from wattproof.errors import BrokenFileError, Notice

_MARKS = (
    (b"\xff\xfe\x00\x00", "utf-32-le"),
    (b"\x00\x00\xfe\xff", "utf-32-be"),
    (b"\xef\xbb\xbf", "utf-8"),
    (b"\xff\xfe", "utf-16-le"),
    (b"\xfe\xff", "utf-16-be"),
)
# Tab, line ends, form feed and the end-of-file mark of old systems; all other control bytes belong to binary files.
_CONTROL = bytes(set(range(32)) - {9, 10, 12, 13, 26})


@dataclass(frozen=True, kw_only=True)
class Text:
    r"""A text file as UTF-8 bytes with ``\n`` line ends, without byte-order mark and trailing blank lines.

    ``ended`` says whether the last line had its line end, as a file has that was written to its end.
    """

    body: bytes
    encoding: str
    ended: bool = True
    notices: tuple[Notice, ...] = ()


def looks_like_text(head: bytes) -> bool:
    """Say whether bytes are text that holds a digit, whatever its encoding.

    Parameters
    ----------
    head : bytes
        The first bytes of a file, cut anywhere.
    """
    encoding, skip = _encoding(head)
    if encoding.startswith(("utf-16", "utf-32")):
        width = 2 if encoding.startswith("utf-16") else 4
        usable = head[skip : len(head) - (len(head) - skip) % width]
        text = usable.decode(encoding, errors="replace")
        return "\x00" not in text and _readable(text) and any("0" <= letter <= "9" for letter in text)
    plain = head[skip:].rstrip(b"\x00")
    if plain.translate(None, _CONTROL) != plain:
        return False
    return any(0x30 <= byte <= 0x39 for byte in plain)


def decode(raw: bytes, source: str) -> Text:
    """Turn a file's bytes into clean UTF-8 lines.

    A byte-order mark decides; without one UTF-16 shows by its zero bytes, then UTF-8 is tried
    strictly, then Windows-1252.

    Parameters
    ----------
    raw : bytes
        The whole file.
    source : str
        Its name, for messages.

    Raises
    ------
    BrokenFileError
        The bytes are not text in the encoding that they claim.
    """
    encoding, skip = _encoding(raw[:4096])
    notices: tuple[Notice, ...] = ()
    body = raw
    if encoding != "utf-8":
        body = _strict(raw[skip:], encoding, source).encode("utf-8")
    elif skip:
        body = raw[skip:]
    if encoding == "utf-8" and not body.isascii():
        body, encoding, notices = _eight_bit(body)
    ended = body[-64:].rstrip(b"\x00\x1a \t")[-1:] in {b"\n", b"\r"}
    body = body.rstrip(b"\x00\x1a\r\n\t ") if encoding == "utf-8" and body.isascii() else _tidy_tail(body)
    if b"\r" in body:
        body = body.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if b"\x00" in body:
        line = body.count(b"\n", 0, body.index(b"\x00")) + 1
        raise BrokenFileError(
            f"{source} is damaged: it holds zero bytes.",
            why=f"Line {line} holds a byte 0 that no text file has; part of the file was never written.",
            hint="Copy the file again from the instrument, or cut it off before that line.",
        )
    return Text(body=body, encoding=encoding, ended=ended, notices=notices)


def _tidy_tail(body: bytes) -> bytes:
    """Drop trailing blanks, zero bytes, end-of-file marks and a second byte-order mark."""
    mark = "\ufeff".encode()
    while True:
        shorter = body.rstrip(b"\x00\x1a\r\n\t ").removesuffix(mark)
        if shorter == body:
            return body
        body = shorter


def _encoding(head: bytes) -> tuple[str, int]:
    """Tell the encoding by its mark or its zero bytes: the codec's name and how many bytes the mark takes."""
    for mark, encoding in _MARKS:
        if head.startswith(mark):
            return encoding, len(mark)
    sample = head[: len(head) // 2 * 2]
    if len(sample) >= 8:
        even, odd = sample[0::2].count(0), sample[1::2].count(0)
        half = len(sample) // 2
        if odd > 0.8 * half and even == 0:
            return "utf-16-le", 0
        if even > 0.8 * half and odd == 0:
            return "utf-16-be", 0
    return "utf-8", 0


def _readable(text: str) -> bool:
    strange = sum(letter == "\ufffd" or (letter < " " and letter not in "\t\r\n\f\x1a") for letter in text)
    return strange <= len(text) // 100


def _strict(raw: bytes, encoding: str, source: str) -> str:
    width = 2 if encoding.startswith("utf-16") else 4
    try:
        return raw[: len(raw) // width * width].decode(encoding)
    except UnicodeDecodeError as error:
        raise BrokenFileError(
            f"{source} is not the {encoding.upper()} text that its first bytes announce.",
            why=f"The bytes at offset {error.start} are no character in that encoding.",
            hint="Export the file again, or save it as UTF-8 in a text editor.",
        ) from error


def _eight_bit(body: bytes) -> tuple[bytes, str, tuple[Notice, ...]]:
    """Try UTF-8 strictly, then read every byte as Windows-1252 (Latin-1 where that has no letter) and say so."""
    try:
        body.decode("utf-8")
    except UnicodeDecodeError as error:
        line = body.count(b"\n", 0, error.start) + 1
        text = "".join(_WINDOWS_1252[byte] for byte in body) if len(body) < 4096 else _windows(body)
        notice = Notice(
            code="encoding",
            message=f"The file is not UTF-8 (byte 0x{body[error.start]:02X} in line {line}); read as Windows-1252.",
            hint="Check the letters in the names and units; to be certain, save the file as UTF-8.",
            numbers={"line": line},
        )
        return text.encode("utf-8"), "windows-1252", (notice,)
    return body, "utf-8", ()


_WINDOWS_1252 = tuple(
    bytes([byte]).decode("latin-1" if byte in {0x81, 0x8D, 0x8F, 0x90, 0x9D} else "cp1252") for byte in range(256)
)


def _windows(body: bytes) -> str:
    return body.decode("latin-1").translate({byte: _WINDOWS_1252[byte] for byte in range(0x80, 0xA0)})
