"""`paper ...`: amplifier files, bench files and run sheets kept in the archive, with every state they were in."""

from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict

from wattproof.amplifier import parse_amplifier
from wattproof.bench import parse_bench
from wattproof.tasks.files import text_of

if TYPE_CHECKING:
    from wattproof.archive import Archive, Paper


class PaperShown(BaseModel):
    """A paper and one of its states."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    kind: str
    name: str
    number: int
    states: tuple[int, ...]
    file: Path
    text: str


class PaperLine(BaseModel):
    """A paper in a list."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    kind: str
    name: str
    number: int
    states: int
    file: Path


class PapersListed(BaseModel):
    """What `wattproof paper list` answers."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    papers: tuple[PaperLine, ...]

    def text(self) -> str:
        """Write a line a paper."""
        lines = [f"{one.kind:<10} {one.name:<30} state {one.number} of {one.states}" for one in self.papers]
        return "\n".join(lines) or "No paper is kept yet: wattproof paper keep amplifier amplifier.toml"


KINDS = ("amplifier", "bench", "sheet", "words")


def paper_keep(kind: str, file: Path, *, name: str | None = None, archive: Path | None = None) -> PaperShown:
    """Keep an amplifier file, a bench file or a run sheet in the archive; its states before are kept too.

    Parameters
    ----------
    kind : str
        "amplifier", "bench", "sheet" or "words".
    file : Path
        The file as it is now.
    name : str or None
        What to call it; told from what it says when left out.
    archive : Path or None
        Folder of the archive.

    Raises
    ------
    InputError
        The file is missing, or does not say what such a file must.
    ArchiveError
        No such kind, or the disk refuses.
    """
    text = text_of(file)
    return _shown(_store(archive).keep_paper(kind, name or _called(kind, text, file), text))


def paper_list(*, archive: Path | None = None) -> PapersListed:
    """List the papers kept in the archive.

    Parameters
    ----------
    archive : Path or None
        Folder of the archive.
    """
    store = _store(archive)
    return PapersListed(
        papers=tuple(
            PaperLine(kind=kind, name=one.name, number=one.number, states=len(one.states), file=one.path)
            for kind in KINDS
            for one in store.papers(kind)
        )
    )


def paper_show(kind: str, name: str, *, number: int | None = None, archive: Path | None = None) -> PaperShown:
    """Show what a paper says: now, or in one of its states before.

    Parameters
    ----------
    kind : str
        "amplifier", "bench", "sheet" or "words".
    name : str
        What it is called.
    number : int or None
        Which state; the one that counts when left out.
    archive : Path or None
        Folder of the archive.

    Raises
    ------
    ArchiveError
        There is no such paper or state.
    """
    return _shown(_store(archive).paper(kind, name, number=number))


def paper_back(kind: str, name: str, *, to: int | None = None, archive: Path | None = None) -> PaperShown:
    """Take back a paper's last change, or go to any of its states; nothing is deleted.

    Parameters
    ----------
    kind : str
        "amplifier", "bench", "sheet" or "words".
    name : str
        What it is called.
    to : int or None
        Which state is to count; the one before the present one when left out.
    archive : Path or None
        Folder of the archive.

    Raises
    ------
    ArchiveError
        There is no such paper, or no such state.
    """
    store = _store(archive)
    return _shown(store.paper_back(kind, name) if to is None else store.take_paper_state(kind, name, to))


def _called(kind: str, text: str, file: Path) -> str:
    """Name a paper by what it is about; a file that is wrong is refused here."""
    if kind == "amplifier":
        amplifier = parse_amplifier(text, file=file.name)
        return f"{amplifier.maker} {amplifier.model}"
    if kind == "bench":
        return parse_bench(text, file=file.name).name
    return file.stem


def _store(archive: Path | None) -> "Archive":
    from wattproof.archive import Archive, default_root

    return Archive(archive or default_root())


def _shown(paper: "Paper") -> PaperShown:
    return PaperShown(
        kind=paper.kind, name=paper.name, number=paper.number, states=paper.states, file=paper.path, text=paper.text
    )
