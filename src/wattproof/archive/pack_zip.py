"""A ZIP from a stranger, read strictly: nothing hidden between its entries, no size that lies, no trick of any kind.

Only what `wattproof pack` writes is understood: plain or deflated files one after the other from the first byte on,
each told alike by its own header and by the directory, then the directory, then the end, and nothing after it.
"""

import os
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from wattproof.archive.pack_names import AS_PUBLISHED, check_names, shown
from wattproof.errors import PackError

MOST_ENTRIES = 10_000
LARGEST_TOTAL_BYTES = 64 << 30
LARGEST_DEFLATED_BYTES = 4 << 30
"""Text is read whole where it is small and line by line where it is not; nobody records hours of it."""
MOST_RATIO = 200
"""Text of figures shrinks some 20 times, a table of zeros 100 times; what shrinks more is built to fill disks."""
SMALL_BYTES = 1 << 20
"""A file up to this size may shrink as much as it likes."""

STAMP = 0x0021
"""The first of January 1980, the earliest day that a ZIP can tell: a pack says no time of day."""

_LOCAL, _CENTRAL = struct.Struct("<4s5H3I2H"), struct.Struct("<4s6H3I5H2I")
_END, _END64, _LOCATOR = struct.Struct("<4s4H2IH"), struct.Struct("<4sQ2H2I4Q"), struct.Struct("<4sIQI")
_EXTRA64, _FULL, _FULL16 = 1, 0xFFFFFFFF, 0xFFFF
_ENCRYPTED, _SIZES_LATER, _UTF8 = 0x2041, 0x8, 0x800
_REGULAR, _TYPES = 0o100000, 0o170000
_STORED, _DEFLATED = 0, 8
_LARGEST_ENTRY_BYTES = 1 << 10
_CHUNK_BYTES = 1 << 20


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One file of a ZIP.

    Attributes
    ----------
    name : str
    deflated : bool
    crc : int
    packed_bytes, size_bytes : int
        In the ZIP, and unpacked.
    at : int
        Where its header begins.
    data_at : int
        Where its bytes begin.
    plain : bool
        Its header is one that `wattproof pack` writes: no time, no rights of its own.
    """

    name: str
    deflated: bool
    crc: int
    packed_bytes: int
    size_bytes: int
    at: int
    data_at: int = 0
    plain: bool = True


def read_entries(file: BinaryIO) -> tuple[Entry, ...]:
    """List what a ZIP holds, in the order of its directory, once every check that needs no unpacking is passed.

    Raises
    ------
    PackError
        It is no ZIP, is cut off, was written by something else, or is built to do harm.
    """
    size = file.seek(0, os.SEEK_END)
    count, at, length = _end(file, size)
    file.seek(at)
    directory = file.read(length)
    entries, here = [], 0
    for _ in range(count):
        entry, here = _entry(directory, here)
        entries.append(entry)
    if here != length:
        raise _broken(f"its directory has {length} bytes, its {count} entries fill {here}")
    check_names(entry.name for entry in entries)
    _check_sizes(entries)
    return _told_alike(file, entries, at)


def _end(file: BinaryIO, size: int) -> tuple[int, int, int]:
    """Read the end of the directory: number of entries, where the directory begins, its length."""
    if size < _END.size or _read(file, 0, 4) not in {b"PK\x03\x04", b"PK\x05\x06"}:
        raise PackError(
            "This is no evidence pack.", why="a pack is a ZIP from its first byte on", hint="Name the pack itself."
        )
    mark, disk, first, here, count, length, at, comment = _END.unpack(_read(file, size - _END.size, _END.size))
    if mark != b"PK\x05\x06" or comment or disk or first or here != count:
        raise _broken("it does not end where its directory ends: it is cut off, or something was added behind it")
    end = size - _END.size
    if end >= _LOCATOR.size and _read(file, end - _LOCATOR.size, 4) == b"PK\x06\x07":
        end, count, at, length = _end64(file, end - _LOCATOR.size, (count, at, length))
    if at + length != end:
        raise _broken(f"its directory fills bytes {at} to {at + length}, its end begins at {end}")
    if count > MOST_ENTRIES or length > count * _LARGEST_ENTRY_BYTES:
        raise _bomb(f"its directory has {length} bytes for {count} files; a pack holds at most {MOST_ENTRIES}")
    return count, at, length


def _end64(file: BinaryIO, locator_at: int, short: tuple[int, int, int]) -> tuple[int, int, int, int]:
    _mark, disk, at64, disks = _LOCATOR.unpack(_read(file, locator_at, _LOCATOR.size))
    if disk or disks != 1 or at64 + _END64.size != locator_at:
        raise _broken("its 64-bit end is not where it says")
    mark, length64, _made, _need, disk, first, here, count, length, at = _END64.unpack(_read(file, at64, _END64.size))
    if mark != b"PK\x06\x06" or length64 != _END64.size - 12 or disk or first or here != count:
        raise _broken("its 64-bit end makes no sense")
    for long, brief, full in zip((count, at, length), short, (_FULL16, _FULL, _FULL), strict=True):
        if brief not in {long, full}:
            raise _broken(f"its 64-bit end says {long} where its plain end says {brief}")
    return at64, count, at, length


def _entry(directory: bytes, here: int) -> tuple[Entry, int]:
    """Read one entry of the directory; give it and where the next begins."""
    if here + _CENTRAL.size > len(directory):
        raise _broken("its directory ends within an entry")
    fields = _CENTRAL.unpack_from(directory, here)
    mark, made, _need, flags, method, time, day, crc, packed, size, n_name, n_extra, n_comment, disk, _, rights, at = (
        fields
    )
    begin = here + _CENTRAL.size
    end = begin + n_name + n_extra + n_comment
    if mark != b"PK\x01\x02" or disk or end > len(directory):
        raise _broken("its directory makes no sense")
    name = _name(directory[begin : begin + n_name], flags)
    _check_kind(name, flags, method, rights, made >> 8)
    size, packed, at = _wide(directory[begin + n_name : begin + n_name + n_extra], (size, packed, at), name)
    entry = Entry(
        name=name, deflated=method == _DEFLATED, crc=crc, packed_bytes=packed, size_bytes=size, at=at,
        plain=(time, day, rights >> 16) == (0, STAMP, _REGULAR | 0o644) and not n_comment,
    )  # fmt: skip
    return entry, end


def _name(raw: bytes, flags: int) -> str:
    try:
        return raw.decode("utf-8" if flags & _UTF8 else "cp437")
    except UnicodeDecodeError as error:
        raise PackError(
            "A name in the pack is no text.", why=f"byte {error.start} of it is no UTF-8", hint=AS_PUBLISHED
        ) from error


def _check_kind(name: str, flags: int, method: int, rights: int, system: int) -> None:
    """Refuse what is no plain file, or is kept in a way that a pack never uses."""
    kind = rights >> 16 & _TYPES
    why = ""
    if flags & _ENCRYPTED:
        why = "it is encrypted, so nobody could check it"
    elif kind not in {0, _REGULAR} or (rights & 0x10 and system in {0, 3}):
        why = "it is a link, a folder or a device, and no plain file"
    elif flags & _SIZES_LATER:
        why = "its header leaves its size open"
    elif method not in {_STORED, _DEFLATED}:
        why = f"it is packed by method {method}; a pack knows stored and deflated"
    if why:
        raise PackError(f"The pack holds {shown(name)} in a form that no pack has.", why=why, hint=AS_PUBLISHED)


def _wide(extra: bytes, short: tuple[int, int, int], name: str) -> tuple[int, int, int]:
    """Put size, packed size and place together from their short forms and the 64-bit ones beside them."""
    wanted = sum(value == _FULL for value in short)
    if not extra and not wanted:
        return short
    form = struct.Struct(f"<2H{wanted}Q")
    if not wanted or len(extra) != form.size or form.unpack(extra)[:2] != (_EXTRA64, 8 * wanted):
        raise _broken(f"{shown(name)} has a note that no pack has, or a 64-bit size where none is wanted")
    values = iter(form.unpack(extra)[2:])
    size, packed, at = (next(values) if value == _FULL else value for value in short)
    return size, packed, at


def _check_sizes(entries: list[Entry]) -> None:
    total = sum(entry.size_bytes for entry in entries)
    if total > LARGEST_TOTAL_BYTES:
        raise _bomb(f"it would unpack to {total / 1e9:.0f} GB; a pack holds at most {LARGEST_TOTAL_BYTES / 1e9:.0f} GB")
    for entry in entries:
        if not entry.deflated and entry.packed_bytes != entry.size_bytes:
            raise _broken(f"{shown(entry.name)} is stored, but has {entry.packed_bytes} and {entry.size_bytes} bytes")
        most = min(LARGEST_DEFLATED_BYTES, max(SMALL_BYTES, MOST_RATIO * entry.packed_bytes))
        if entry.deflated and entry.size_bytes > most:
            raise _bomb(f"{entry.packed_bytes} bytes of {shown(entry.name)} would become {entry.size_bytes}")


def _told_alike(file: BinaryIO, entries: list[Entry], end: int) -> tuple[Entry, ...]:
    """Make sure that entries stand one after the other from byte 0 on, and that their own headers say the same."""
    data_at: dict[int, int] = {}
    expected = 0
    for entry in sorted(entries, key=lambda one: one.at):
        if entry.at != expected:
            raise _broken(f"{shown(entry.name)} begins at byte {entry.at}; byte {expected} follows the one before it")
        data_at[entry.at] = _own_header(file, entry)
        expected = data_at[entry.at] + entry.packed_bytes
    if expected != end:
        raise _broken(f"its files end at byte {expected}, its directory begins at {end}")
    return tuple(Entry(**{**entry.__dict__, "data_at": data_at[entry.at]}) for entry in entries)


def _own_header(file: BinaryIO, entry: Entry) -> int:
    """Compare a file's own header with its entry; give where its bytes begin."""
    mark, _need, flags, method, _time, _day, crc, packed, size, n_name, n_extra = _LOCAL.unpack(
        _read(file, entry.at, _LOCAL.size)
    )
    rest = _read(file, entry.at + _LOCAL.size, n_name + n_extra)
    extra = rest[n_name:]
    if len(extra) == 20 and struct.unpack("<2H2Q", extra)[:2] == (_EXTRA64, 16):
        size, packed = struct.unpack("<2H2Q", extra)[2:]
        extra = b""
    same = (
        mark == b"PK\x03\x04"
        and not extra
        and not flags & (_ENCRYPTED | _SIZES_LATER)
        and (crc, packed, size) == (entry.crc, entry.packed_bytes, entry.size_bytes)
        and method == (_DEFLATED if entry.deflated else _STORED)
        and _name(rest[:n_name], flags) == entry.name
    )
    if not same:
        raise _broken(f"the header of {shown(entry.name)} and the directory do not say the same of it")
    return entry.at + _LOCAL.size + len(rest)


def stream(file: BinaryIO, entry: Entry) -> Iterator[bytes]:
    """Unpack one file in pieces, never more of it than was said, and check it at its end.

    Raises
    ------
    PackError
        It unpacks to more or less than was said, or to other bytes.
    """
    inflate = zlib.decompressobj(-zlib.MAX_WBITS) if entry.deflated else None
    left, given, crc = entry.packed_bytes, 0, 0
    file.seek(entry.data_at)
    for piece in _pieces(file, left, inflate, entry):
        given += len(piece)
        if given > entry.size_bytes:
            raise _bomb(f"{shown(entry.name)} unpacks to more than the {entry.size_bytes} bytes it states")
        crc = zlib.crc32(piece, crc)
        yield piece
    ended = inflate is None or (inflate.eof and not inflate.unused_data)
    if given != entry.size_bytes or crc != entry.crc or not ended:
        raise _broken(f"{shown(entry.name)} unpacks to {given} bytes that are not those it states")


def _pieces(file: BinaryIO, left: int, inflate: "zlib._Decompress | None", entry: Entry) -> Iterator[bytes]:
    while left:
        block = file.read(min(left, _CHUNK_BYTES))
        if not block:
            raise _broken(f"it ends within {shown(entry.name)}")
        left -= len(block)
        if inflate is None:
            yield block
        else:
            yield from _inflated(inflate, block, entry)


def _inflated(inflate: "zlib._Decompress", block: bytes, entry: Entry) -> Iterator[bytes]:
    """Inflate a block in pieces of a bounded size, to the last byte that it gives."""
    if inflate.eof:
        raise _broken(f"{shown(entry.name)} goes on behind its own end")
    piece = b"-"
    try:
        while (block or piece) and not inflate.eof:
            piece = inflate.decompress(block, _CHUNK_BYTES)
            block = inflate.unconsumed_tail
            yield piece
    except zlib.error as error:
        raise _broken(f"{shown(entry.name)} cannot be unpacked ({error})") from error


def _read(file: BinaryIO, at: int, length: int) -> bytes:
    file.seek(at)
    data = file.read(length)
    if len(data) != length:
        raise _broken(f"it ends at byte {at + len(data)}, {length - len(data)} bytes too early")
    return data


def _broken(why: str) -> PackError:
    return PackError("The pack is broken, or was not written by wattproof pack.", why=why, hint=AS_PUBLISHED)


def _bomb(why: str) -> PackError:
    return PackError("The pack is larger than a pack can be.", why=why, hint=AS_PUBLISHED)
