"""A folder of pages that grows and shrinks with its archive, beside files that are not ours."""

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from wattproof.errors import FileMissingError, SettingsError
from wattproof.tasks.files import write_text


@dataclass(kw_only=True)
class SiteFolder:
    """The pages' folder while they are being written.

    Attributes
    ----------
    out : Path
    archive : Path
        The archive's folder, in which nothing of ours is written.
    listed : mapping of str to str
        SHA-256 of what we wrote before, by path.
    files : dict of str to str
        The same of what is there now.
    """

    out: Path
    archive: Path
    listed: Mapping[str, str]
    files: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse the archive, and make the folder."""
        ours, theirs = self.out.resolve(), self.archive.resolve()
        if ours.is_relative_to(theirs) or theirs.is_relative_to(ours):
            raise SettingsError(
                f"{self.out} lies in the archive, or the archive in it.",
                why="a web host would give out every recording; and nothing but recordings belongs there",
                hint="Name a folder elsewhere.",
            )
        for name in ("index.html", "compare.html") if self.listed else ("index.html", "compare.html", "site.json"):
            if name not in self.listed and (self.out / name).exists():  # before the first page is written
                raise self._in_the_way(name)

    def keeps(self, path: str) -> bool:
        """Keep a page of before if it is there as we wrote it; say whether it is."""
        there = _hash_of(self.out / path)
        if there is None or there != self.listed.get(path):
            return False
        self.files[path] = there
        return True

    def write(self, path: str, page: str) -> None:
        """Write a page, unless it is there already.

        Raises
        ------
        SettingsError
            A file that is not ours, or that someone changed, has its name.
        FileMissingError
            The disk refuses.
        """
        digest, there = hashlib.sha256(page.encode()).hexdigest(), _hash_of(self.out / path)
        self.files[path] = digest
        if there == digest:
            return
        if there is not None and there != self.listed.get(path):
            raise self._in_the_way(path)
        _write(self.out / path, page)

    def _in_the_way(self, path: str) -> SettingsError:
        return SettingsError(
            f"{self.out / path} would be written over.",
            why="it was changed since it was made" if path in self.listed else "it was not made by wattproof site",
            hint="Move it away, or name another folder.",
        )

    def finish(self, index: str, text: Callable[[dict[str, str]], str]) -> list[str]:
        """Write the index, and take away pages of before that are as we wrote them and lead nowhere now."""
        stale = [path for path in self.listed if path not in self.files and path != index]
        removed = [path for path in stale if _hash_of(self.out / path) == self.listed[path]]
        _write(self.out / index, text(dict(sorted(self.files.items()))))
        for path in removed:
            (self.out / path).unlink(missing_ok=True)
        return removed


def _write(path: Path, text: str) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileMissingError(
            f"Cannot write {path}.", why=error.strerror or str(error), hint="Name a folder that exists and is yours."
        ) from error
    write_text(path, text)


def _hash_of(path: Path) -> str | None:
    """SHA-256 of a file; None where there is none."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return None
