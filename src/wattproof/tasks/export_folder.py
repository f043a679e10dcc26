"""A folder written whole or not at all, in place of an earlier one that nobody has touched, and of nothing else."""

import hashlib
import json
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from wattproof.errors import FileMissingError, SettingsError
from wattproof.tasks.files import shown_name

INDEX = "index.json"
MOST_NAMED = 3


def sha256_of(path: Path) -> str:
    """SHA-256 of a file's bytes, as hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def files_below(folder: Path) -> list[str]:
    """List the files below a folder, by paths relative to it with forward slashes, in their order."""
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir())


@contextmanager
def folder_in_place(out: Path, *, archive: Path) -> Iterator[Path]:
    """Hand out a folder beside `out` to write into, and put it in place once all is written.

    An earlier export is replaced if every file in it is as it was written; whatever else stands there is let be.

    Parameters
    ----------
    out : Path
        The folder wanted; the one it lies in must exist.
    archive : Path
        The archive's folder, in which nothing of ours may be written.

    Raises
    ------
    SettingsError
        Something stands there that is no earlier export, or that someone has changed; or it is the archive.
    FileMissingError
        The disk refuses.
    """
    out = out.resolve() if out.name in {"", ".."} else out.parent.resolve() / out.name
    with _explained(out):
        _refuse_archive(out, archive)
        _refuse_foreign(out)
        aside = out.with_name(f".{out.name}.part-{secrets.token_hex(4)}")
        try:
            aside.mkdir()
            yield aside
            _refuse_foreign(out)  # writing may have taken long
            _swap(aside, out)
        finally:
            shutil.rmtree(aside, ignore_errors=True)


@contextmanager
def _explained(out: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise FileMissingError(
            f"Cannot write {out}.", why=error.strerror or str(error), hint="Name a folder that exists and is yours."
        ) from error


def _swap(aside: Path, out: Path) -> None:
    before = aside.with_name(f"{aside.name}-before")
    try:
        if out.exists():
            out.rename(before)
        aside.rename(out)
    except BaseException:  # Ctrl-C too: the earlier export goes back to its place
        if before.exists() and not out.exists():
            before.rename(out)
        raise
    finally:
        if out.exists():
            shutil.rmtree(before, ignore_errors=True)


def _refuse_archive(out: Path, archive: Path) -> None:
    ours, theirs = out.resolve(), archive.resolve()
    if ours.is_relative_to(theirs) or theirs.is_relative_to(ours):
        raise SettingsError(
            f"{shown_name(out)} lies in the archive, or the archive in it.",
            why="the archive holds what was recorded, and nothing else is written there",
            hint="Give --out a folder elsewhere.",
        )


def _refuse_foreign(out: Path) -> None:
    """Refuse to replace what we did not write, or what has been changed since."""
    if not out.exists() and not out.is_symlink():
        return
    if not out.is_dir() or out.is_symlink():
        raise _not_replaced(out, "it is no plain folder")
    if not any(out.iterdir()):
        return
    listed = _listed(out)
    if listed is None:
        raise _not_replaced(out, "it is no folder that wattproof exported")
    there = files_below(out)
    foreign = [name for name in there if name not in listed and name != INDEX]
    if foreign:
        raise _not_replaced(out, f"not exported: {_names(foreign)}")
    changed = [name for name in there if name != INDEX and sha256_of(out / name) != listed[name]]
    if changed:
        raise _not_replaced(out, f"changed since it was exported: {_names(changed)}")


def _listed(out: Path) -> dict[str, str] | None:
    """Give the files of an earlier export with their hashes; None where there is none."""
    try:
        index = json.loads((out / INDEX).read_bytes())
        if index["holds"] != "exported measurements":
            return None
        return {str(file["path"]): str(file["sha256"]) for file in index["files"]}
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _names(names: list[str]) -> str:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return ", ".join(names[:MOST_NAMED]) + more


def _not_replaced(out: Path, why: str) -> SettingsError:
    return SettingsError(
        f"{shown_name(out)} would be written over.",
        why=why,
        hint="Give --out another folder, or move what is there away.",
    )
