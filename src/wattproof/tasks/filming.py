"""Clips and pictures written whole or not at all: aside first, then under their name."""

import errno
import secrets
import shutil
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

from wattproof.errors import FileMissingError, FilmError
from wattproof.publish import FilmShape, write_film, write_picture


def keep_film(frames: Iterable[Any], to: Path, shape: FilmShape) -> Path:
    """Write a clip; broken off or failed, nothing is left under its name or beside it.

    Raises
    ------
    FileMissingError
        The folder does not exist or may not be written.
    FilmError
        No encoder, a full disk, or the encoder stopped.
    """
    aside = to.with_name(f".{to.name}.part")
    try:
        with aside.open("wb"):
            pass
        write_film(frames, to=aside.absolute(), shape=shape)
        aside.replace(to)
    except OSError as error:
        raise _unwritable(to, error) from error
    finally:
        with suppress(OSError):
            aside.unlink(missing_ok=True)
    return to


def keep_frames(frames: Iterable[Any], to: Path) -> Path:
    """Write every frame as a PNG into a new folder, which appears when all are there.

    Raises
    ------
    FileMissingError
        The folder cannot be made, or is there already.
    FilmError
        The disk is full.
    """
    if to.exists():
        raise FileMissingError(
            f"{to} is there already.", why="the frames get a folder of their own", hint="Name a new folder."
        )
    aside = to.with_name(f".{to.name}.part-{secrets.token_hex(4)}")
    try:
        aside.mkdir()
        for n, frame in enumerate(frames):
            (aside / f"frame-{n:06d}.png").write_bytes(write_picture(frame))
        aside.rename(to)
    except OSError as error:
        raise _unwritable(to, error) from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return to


def _unwritable(to: Path, error: OSError) -> FileMissingError | FilmError:
    if error.errno == errno.ENOSPC:
        return FilmError(
            "The disk is full; nothing was kept.",
            why=error.strerror or str(error),
            hint="Make room, or choose a shorter stretch with --from-s and --to-s.",
        )
    return FileMissingError(
        f"Cannot write {to}.", why=error.strerror or str(error), hint="Name a folder that exists and is yours."
    )
