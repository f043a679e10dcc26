"""Files that a person names: read kindly, or refused with the reason."""

import os
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from wattproof.amplifier import Amplifier, parse_amplifier
from wattproof.bench import Bench, parse_bench
from wattproof.errors import FileMissingError, SettingsError

LARGEST_TEXT_BYTES = 20_000_000


def shown_name(path: Path) -> str:
    r"""Give a file's name as text that every output can carry: bytes that are no UTF-8 spelled out, as in ``\xff``."""
    return os.fsencode(path.name).decode("utf-8", "backslashreplace")


def refuse_overwriting(written: Iterable[Path | None], *, given: Iterable[Path | None]) -> None:
    """Refuse to write over a file that was given to be read, or two answers into one file.

    Raises
    ------
    SettingsError
        A name is used twice.
    """
    taken = {path.resolve() for path in given if path is not None}
    for path in written:
        if path is None:
            continue
        if path.resolve() in taken:
            raise SettingsError(
                f"{shown_name(path)} would be written over.",
                why="the same file is given to be read, or for another answer",
                hint="Give another name to write to.",
            )
        taken.add(path.resolve())


def text_of(path: Path) -> str:
    """Give the text of a file that a person wrote.

    Raises
    ------
    FileMissingError
        No such file, or it may not be read.
    SettingsError
        It is no UTF-8 text, or far too large to be a settings file.
    """
    try:
        size = path.stat().st_size
        data = path.read_bytes() if size <= LARGEST_TEXT_BYTES and path.is_file() else None
    except OSError as error:
        raise FileMissingError(
            f"Cannot read {path}.", why=error.strerror or str(error), hint="Check the name and the folder."
        ) from error
    if data is None:
        raise SettingsError(
            f"{path} is no text file that a person wrote.",
            why="it is a folder" if path.is_dir() else f"it has {size} bytes",
            hint="Name the TOML or CSV file itself.",
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise SettingsError(
            f"{path.name} is not UTF-8 text.",
            why=f"byte {error.start} cannot be part of it",
            hint="Save it again as UTF-8 (plain text).",
        ) from error


def bench_of(path: Path | None) -> Bench | None:
    """Give the bench of a file; None without one."""
    return None if path is None else parse_bench(text_of(path), file=path.name)


def amplifier_of(path: Path | None) -> Amplifier | None:
    """Give the amplifier of a file; None without one."""
    return None if path is None else parse_amplifier(text_of(path), file=path.name)


def write_text(path: Path, text: str) -> None:
    """Write a file whole or not at all: aside first, then renamed over.

    Raises
    ------
    FileMissingError
        The folder does not exist or may not be written.
    """
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write a file whole or not at all, as `write_text` does.

    Raises
    ------
    FileMissingError
        The folder does not exist or may not be written.
    """
    aside = path.with_name(f".{path.name}.part")
    try:
        aside.write_bytes(data)
        aside.replace(path)
    except OSError as error:
        raise FileMissingError(
            f"Cannot write {path}.", why=error.strerror or str(error), hint="Name a folder that exists and is yours."
        ) from error
    finally:  # Ctrl-C too leaves nothing behind
        with suppress(OSError):
            aside.unlink(missing_ok=True)
