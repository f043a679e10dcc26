"""Papers: the files a person writes for more than one session, kept with every state they were ever in."""

import json
import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal, get_args

from wattproof.archive.disk import explained, write_file, write_new
from wattproof.archive.names import slug
from wattproof.errors import ArchiveError

PaperKind = Literal["amplifier", "bench", "sheet", "words"]
"""What a paper is: an amplifier file, a bench file, a run sheet, what a person says beside the figures."""

FOLDER = "papers"
_SUFFIX = {"amplifier": ".toml", "bench": ".toml", "sheet": ".json", "words": ".toml"}
_STATE = re.compile(r"(\d{4,})-after-(\d{4,})\.(?:toml|json)")
_CURRENT = "current.json"


@dataclass(frozen=True, kw_only=True)
class Paper:
    """A paper as it is now.

    Attributes
    ----------
    kind : PaperKind
    name : str
        What it is called here: small letters, digits, hyphens.
    number : int
        Which of its states this is, counted from 1.
    states : tuple of int
        All its states.
    path : Path
        The file.
    """

    kind: PaperKind
    name: str
    number: int
    states: tuple[int, ...]
    path: Path

    @property
    def text(self) -> str:
        """What it says."""
        with explained("read the paper", self.path):
            return self.path.read_text(encoding="utf-8")


def paper_kind(kind: str) -> PaperKind:
    """Take a word for a kind of paper.

    Raises
    ------
    ArchiveError
        It is none.
    """
    known: tuple[PaperKind, ...] = get_args(PaperKind)
    for one in known:
        if kind == one:
            return one
    raise ArchiveError(
        f'"{kind}" is no kind of paper.', why=f"there are {', '.join(known)}", hint=f"Say for example {known[0]}."
    )


def keep_paper(root: Path, kind: PaperKind, name: str, text: str, *, at: datetime) -> Paper:
    """Keep a paper's new state; one that is as it was makes no new state."""
    called = slug(name, fallback=kind)
    folder = root / FOLDER / kind / called
    now = _read(folder, kind, called) if folder.is_dir() else None
    if now is not None and now.text == text:
        return now
    before = 0 if now is None else now.number
    with explained("keep the paper", folder):
        folder.mkdir(parents=True, exist_ok=True)
        number = max(_states(folder), default=0) + 1
        # who takes the same number at the same moment is refused by the file that is there
        write_new(folder / f"{number:04}-after-{before:04}{_SUFFIX[kind]}", text.encode())
    _point(folder, number, at=at)
    return _need(folder, kind, called)


def paper_back(root: Path, kind: PaperKind, name: str, *, at: datetime) -> Paper:
    """Take back the last change: the state before becomes the one that counts; nothing is deleted.

    Raises
    ------
    ArchiveError
        There is no such paper, or none before it.
    """
    now = find_paper(root, kind, name)
    found = _STATE.fullmatch(now.path.name)
    before = int(found[2]) if found else 0
    if before not in now.states:
        raise ArchiveError(
            f"There is nothing before this state of {now.name}.",
            why=f"it is number {now.number} of {len(now.states)}, made of no other",
            hint="Change it and keep it again.",
        )
    return take_state(root, kind, name, before, at=at)


def take_state(root: Path, kind: PaperKind, name: str, number: int, *, at: datetime) -> Paper:
    """Let a state that was kept be the one that counts.

    Raises
    ------
    ArchiveError
        There is no such paper or state.
    """
    now = find_paper(root, kind, name)
    if number not in now.states:
        raise ArchiveError(
            f"{now.name} has no state {number}.",
            why=f"its states are {', '.join(map(str, now.states))}",
            hint="Choose one of them.",
        )
    _point(now.path.parent, number, at=at)
    return _need(now.path.parent, kind, now.name)


def find_paper(root: Path, kind: PaperKind, name: str, *, number: int | None = None) -> Paper:
    """Find a paper by its name; the state that counts, or another.

    Raises
    ------
    ArchiveError
        There is none.
    """
    called = slug(name, fallback=kind)
    found = _read(root / FOLDER / kind / called, kind, called, number=number)
    if found is None:
        known = [paper.name for paper in list_papers(root, kind)]
        raise ArchiveError(
            f"There is no {kind} paper {called}." if number is None else f"{called} has no state {number}.",
            why=f"kept are {', '.join(known)}" if known else "none is kept yet",
            hint=f"Keep one: wattproof paper keep {kind} FILE",
        )
    return found


def list_papers(root: Path, kind: PaperKind) -> tuple[Paper, ...]:
    """Give all papers of a kind, by name."""
    folders = sorted(folder for folder in (root / FOLDER / kind).glob("*") if folder.is_dir())
    read = (_read(folder, kind, folder.name) for folder in folders)
    return tuple(paper for paper in read if paper is not None)


def _states(folder: Path) -> dict[int, Path]:
    found = ((_STATE.fullmatch(path.name), path) for path in folder.iterdir())
    return {int(match[1]): path for match, path in sorted(found, key=lambda pair: pair[1].name) if match}


def _point(folder: Path, number: int, *, at: datetime) -> None:
    with explained("keep the paper", folder):
        write_file(folder / _CURRENT, json.dumps({"number": number, "at": at.isoformat()}).encode())


def _read(folder: Path, kind: PaperKind, name: str, *, number: int | None = None) -> Paper | None:
    if not folder.is_dir():
        return None
    states = _states(folder)
    chosen = _pointed(folder, states) if number is None else number
    if chosen not in states:
        return None
    return Paper(kind=kind, name=name, number=chosen, states=tuple(states), path=states[chosen])


def _pointed(folder: Path, states: dict[int, Path]) -> int:
    """Say which state counts; the newest where the pointer is lost: no word that was kept is lost with it."""
    try:
        number = int(json.loads((folder / _CURRENT).read_text(encoding="utf-8"))["number"])
    except (OSError, ValueError, KeyError, TypeError):
        number = 0
    return number if number in states else max(states, default=0)


def _need(folder: Path, kind: PaperKind, name: str) -> Paper:
    found = _read(folder, kind, name)
    if found is None:
        raise ArchiveError(
            f"{name} is gone as it was being kept.", why=f"no state of it is in {folder}", hint="Keep it again."
        )
    return found
