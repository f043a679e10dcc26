"""The journal of a session's runs: one event a line, added to and never rewritten.

One file with a line an event, not a file an event as in the history: a run says thousands of things, and a person wants
to read them in order. Adding is one write to the end of the file, brought to the disk; a process killed within it
leaves a torn last line, which is passed over, and the next event begins on a line of its own.
"""

import json
import os
from collections.abc import Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from pydantic import JsonValue

from wattproof.archive.disk import explained
from wattproof.archive.documents import plain
from wattproof.archive.model import Session


def journal_path(session: Session) -> Path:
    """Give the place of a session's journal."""
    return session.folder / "journal.jsonl"


def add_line(session: Session, event: Mapping[str, JsonValue], *, at: datetime) -> None:
    """Add an event with its time, down to the disk.

    Raises
    ------
    ArchiveError
        The disk refuses.
    """
    line = json.dumps(plain({"at": at.isoformat(), **event}), ensure_ascii=False).encode("utf-8") + b"\n"
    path = journal_path(session)
    with explained("note in the journal", path):
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0), 0o666)
        try:
            _append(descriptor, line)
        finally:
            os.close(descriptor)


def _append(descriptor: int, line: bytes) -> None:
    """Add a line in one write; a torn one before it, or what a full disk took of this one, is closed off."""
    size = os.lseek(descriptor, 0, os.SEEK_END)
    torn = size > 0 and _last_byte(descriptor, size) != b"\n"
    data = b"\n" + line if torn else line
    if os.write(descriptor, data) != len(data):
        os.ftruncate(descriptor, size)
        os.write(descriptor, data)  # says why it cannot
    os.fsync(descriptor)


def _last_byte(descriptor: int, size: int) -> bytes:
    os.lseek(descriptor, size - 1, os.SEEK_SET)
    return os.read(descriptor, 1)


def read_lines(session: Session) -> tuple[dict[str, Any], ...]:
    """Read all events, oldest first; torn lines are passed over, and `verify` names them."""
    return tuple(event for _number, event in _lines(session) if event is not None)


def torn_lines(session: Session) -> list[int]:
    """Give the numbers of the lines that are no event, counted from 1."""
    return [number for number, event in _lines(session) if event is None]


def _lines(session: Session) -> Iterator[tuple[int, dict[str, Any] | None]]:
    path = journal_path(session)
    with explained("read the journal", path):
        data = path.read_bytes() if path.exists() else b""
    for number, line in enumerate(data.split(b"\n"), start=1):
        if line:
            yield number, _event(line)


def _event(line: bytes) -> dict[str, Any] | None:
    try:
        event = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return event if isinstance(event, dict) else None
