"""Which readers are installed, and which of them knows a file: its first bytes decide, its suffix only breaks a tie."""

import stat
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.metadata import entry_points
from pathlib import Path

import numpy as np

from wattproof.errors import BrokenFileError, FileMissingError, SettingsError, UnknownFormatError
from wattproof.readers.contract import Answers, Reader
from wattproof.waveform import Recording

GROUP = "wattproof.readers"
HEAD_BYTES = 4096
NOTHING_SAID = Answers()

PAGES = b"%PDF-"  # a page starts as plain text does: without this word the text reader would be asked
STRANGERS = {
    b"\x89PNG": "a PNG picture",
    b"\xff\xd8\xff": "a JPEG picture",
    PAGES: "a PDF document",
    b"PK\x03\x04": "a ZIP archive (a spreadsheet or a document, perhaps)",
    b"\x1f\x8b": "a gzip archive",
    b"7z\xbc\xaf": "a 7z archive",
    b"\x7fELF": "a program",
    b"MZ": "a program",
    b"SQLite format 3": "a database",
    b"\x80\x04\x95": "pickled objects, which could run code and are never opened",
    b"OggS": "an Ogg stream, a lossy format as a rule",
    b"ID3": "an MP3 file, a lossy format",
    b"\xff\xfb": "an MP3 file, a lossy format",
}


@dataclass(frozen=True, kw_only=True)
class _Installed:
    readers: Mapping[str, Reader]
    faults: Mapping[str, str]


@cache
def _installed() -> _Installed:
    readers: dict[str, Reader] = {}
    faults: dict[str, str] = {}
    for entry in sorted(entry_points(group=GROUP), key=lambda entry: entry.name):
        try:
            readers[entry.name] = entry.load()()
        except Exception as error:  # noqa: BLE001 - a plug-in is foreign code: its faults must not hide the other readers
            faults[entry.name] = f"{type(error).__name__}: {error}"
    return _Installed(readers=readers, faults=faults)


def installed_readers() -> Mapping[str, Reader]:
    """Give every reader that could be loaded, by name.

    They come from the entry points of the group ``wattproof.readers``; one that cannot be loaded is left out here and
    named in the error when a file finds no reader.
    """
    return _installed().readers


def open_recording(path: Path, answers: Answers = NOTHING_SAID) -> Recording:
    """Open a file that somebody captured, whatever its format.

    Parameters
    ----------
    path : Path
        The file; its first 4096 bytes decide who reads it.
    answers : Answers
        What the file itself does not say.

    Returns
    -------
    Recording
        Its ``notices`` hold all that is doubtful about the file.

    Raises
    ------
    FileMissingError
        No such file, a folder, no permission.
    UnknownFormatError
        No reader knows the first bytes, or the format is known but cannot be used (lossy audio).
    BrokenFileError
        The file is empty, or contradicts itself.
    NotAWaveformError
        The file holds no record in time.
    NeedsAnswerError
        Something is missing that only the person can say.
    """
    if answers.rate_hz is not None and not (np.isfinite(answers.rate_hz) and answers.rate_hz > 0):
        raise SettingsError(
            f"A sampling rate of {answers.rate_hz} Hz makes no sense.",
            why="It must be a number above 0.",
            hint="Give samples a second, for example --rate-hz 48000.",
        )
    head = _head(path)
    reader = _reader_for(path, head)
    try:
        return reader.open(path, answers)
    except OSError as error:
        raise _unreadable(path, error) from error


def _head(path: Path) -> bytes:
    try:
        mode = path.stat().st_mode
        if not stat.S_ISREG(mode):
            raise FileMissingError(
                f"Cannot read {path.name}.",
                why="It is a folder." if stat.S_ISDIR(mode) else "It is not an ordinary file.",
                hint="Name one captured file.",
            )
        with path.open("rb") as file:
            head = file.read(HEAD_BYTES)
    except (OSError, ValueError) as error:  # ValueError: a null character in the name
        raise _unreadable(path, error) from error
    if not head:
        raise BrokenFileError(f"{path.name} is empty.", why="It has 0 bytes.", hint="Copy or export the capture again.")
    return head


def _unreadable(path: Path, error: Exception) -> FileMissingError | BrokenFileError:
    reason = getattr(error, "strerror", None) or str(error)
    if isinstance(error, FileNotFoundError | PermissionError | NotADirectoryError | ValueError):
        return FileMissingError(
            f"Cannot read {path.name}.",
            why=f"{reason}: {path}",
            hint="Check the name and the folder, and that you may read it.",
        )
    return BrokenFileError(
        f"Reading {path.name} failed.", why=f"{reason}.", hint="Copy the file to this machine's disk and try again."
    )


def _reader_for(path: Path, head: bytes) -> Reader:
    known = [reader for reader in installed_readers().values() if reader.sniff(head)]
    if not known or head.startswith(PAGES):
        raise _unknown(path, head)
    return min(known, key=lambda reader: (path.suffix.lower() not in reader.suffixes, reader.name))


def _unknown(path: Path, head: bytes) -> UnknownFormatError:
    stranger = next((what for magic, what in STRANGERS.items() if head.startswith(magic)), None)
    start = " ".join(f"{byte:02x}" for byte in head[:12])
    text = "".join(chr(byte) if 0x20 <= byte < 0x7F else "." for byte in head[:12])
    looks = f"It looks like {stranger}. " if stranger else ""
    faults = "".join(f" Reader {name} could not be loaded ({fault})." for name, fault in _installed().faults.items())
    return UnknownFormatError(
        f"No reader knows {path.name}.",
        why=f"{looks}It starts with {start} ({text}).{faults}",
        hint=f"Export the capture as one of: {', '.join(installed_readers()) or 'nothing: install the package again'}.",
    )
