"""Amplifier files and bench files as a person works on them: as a form, as text, one state after the other."""

import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from wattproof.amplifier import Amplifier
from wattproof.bench import Bench
from wattproof.errors import ArchiveError, SettingsError, WattproofError
from wattproof.settings import edited_toml
from wattproof.tasks.paper_fields import FormPart, FormTyped, merged, shown

if TYPE_CHECKING:
    from wattproof.archive import Archive

Thing = TypeVar("Thing", Amplifier, Bench)


@dataclass(frozen=True, kw_only=True)
class PaperSeen:
    """A paper as a page shows it.

    Attributes
    ----------
    name : str
    called : str
        What the thing itself is called; the paper's name where the file cannot be read.
    number : int
        Which of its states this is.
    counting : int
        Which of its states counts.
    states : tuple of int
    text : str
        The file.
    typed : FormTyped or None
        What the form's fields show; None where the file is no TOML.
    fault : WattproofError or None
        What is wrong with the file.
    """

    name: str
    called: str
    number: int
    counting: int
    states: tuple[int, ...]
    text: str
    typed: FormTyped | None
    fault: WattproofError | None


@dataclass(frozen=True, kw_only=True)
class FormKept:
    """What became of a form.

    Attributes
    ----------
    name : str or None
        Of the paper that holds it now; None where something is wrong.
    text : str
        The file that it makes; empty where fields are wrong.
    wrong : mapping of str to str
        What is wrong with fields, by "part.row.key".
    fault : WattproofError or None
        What is wrong besides.
    """

    name: str | None = None
    text: str = ""
    wrong: Mapping[str, str] = field(default_factory=dict)
    fault: WattproofError | None = None


class PaperDesk(Generic[Thing]):
    """The papers of one kind.

    Parameters
    ----------
    archive : Path
        Folder of the archive.
    kind : str
        "amplifier" or "bench".
    parts : sequence of FormPart
        The form.
    parse : callable
        Reads the file.
    """

    def __init__(self, archive: Path, *, kind: str, parts: Sequence[FormPart], parse: Callable[..., Thing]) -> None:
        self._root, self._kind, self.parts = archive, kind, tuple(parts)
        self._parse: Callable[..., Thing] = parse

    @property
    def names(self) -> tuple[str, ...]:
        """All of them."""
        return tuple(paper.name for paper in self._store.papers(self._kind))

    @property
    def called(self) -> dict[str, str]:
        """What each thing is called, by its paper's name."""
        return {name: self.see(name).called for name in self.names}

    def blank(self) -> FormTyped:
        """Give what the fields of a new one show: an empty row of each kind."""
        rows = {part.key: [self.row(part)] for part in self.parts}
        return FormTyped(rows=rows)

    @staticmethod
    def row(part: FormPart) -> dict[str, str]:
        """Give an empty row."""
        return {"was": "", **{one.key: one.usual for one in part.fields}}

    def see(self, name: str, *, number: int | None = None) -> PaperSeen:
        """Show a paper, or one of its states.

        Raises
        ------
        ArchiveError
            There is no such paper or state.
        """
        paper = self._store.paper(self._kind, name, number=number)
        counting = paper.number if number is None else self._store.paper(self._kind, name).number
        said, called, fault = _said(paper.text), paper.name, None
        try:
            called = self._called(self._parse(paper.text, file=paper.name))
        except WattproofError as error:
            fault = error
        return PaperSeen(
            name=paper.name, called=called, number=paper.number, counting=counting, states=paper.states,
            text=paper.text, typed=None if said is None else shown(self.parts, said), fault=fault,
        )  # fmt: skip

    def thing(self, name: str) -> Thing:
        """Read what a paper says.

        Raises
        ------
        ArchiveError, SettingsError
            There is no such paper, or it is wrong.
        """
        paper = self._store.paper(self._kind, name)
        thing: Thing = self._parse(paper.text, file=paper.name)
        return thing

    def file(self, name: str) -> Path:
        """Give the file of the state that counts."""
        path: Path = self._store.paper(self._kind, name).path
        return path

    def made(self, typed: FormTyped, *, name: str = "", number: int | None = None) -> FormKept:
        """Write the file that a form stands for, without keeping it; comments of the state before stay.

        Parameters
        ----------
        typed : FormTyped
        name : str
            Of the paper that was shown; empty for a new one.
        number : int or None
            Which of its states was shown.
        """
        before = self._store.paper(self._kind, name, number=number).text if name else ""
        said, wrong = merged(self.parts, _said(before) or {}, typed)
        if wrong:
            return FormKept(wrong=wrong)
        text = edited_toml(before, said)
        if not before:  # air before the tables of a file that nobody has laid out yet
            text = re.sub(r"(?<=[^\n])\n(?=\[)", "\n\n", text)
        try:
            self._parse(text, file="what you typed")
        except WattproofError as error:
            return FormKept(text=text, fault=error)
        return FormKept(text=text)

    def keep_form(self, typed: FormTyped, *, name: str = "", number: int | None = None) -> FormKept:
        """Keep what was typed as the paper's new state.

        Raises
        ------
        ArchiveError
            There is no such paper, or the disk refuses.
        """
        made = self.made(typed, name=name, number=number)
        if made.wrong or made.fault is not None:
            return made
        try:
            return FormKept(name=self.keep_text(made.text, name=name), text=made.text)
        except SettingsError as error:
            return FormKept(text=made.text, fault=error)

    def keep_text(self, text: str, *, name: str = "") -> str:
        """Keep a file as the paper's new state, or as a new paper named by what it says; gives its name.

        Raises
        ------
        SettingsError
            The file is wrong, each fault with its line; or a new paper would take another's name.
        ArchiveError
            The disk refuses.
        """
        text = text.replace("\r\n", "\n")
        thing = self._parse(text, file=name or "what you typed")
        if not name:
            self._refuse_taken(self._called(thing))
        kept: str = self._store.keep_paper(self._kind, name or self._called(thing), text).name
        return kept

    def back(self, name: str, *, to: int | None = None) -> None:
        """Take the last change back, or let another state be the one that counts.

        Raises
        ------
        ArchiveError
            There is no such paper or state.
        """
        if to is None:
            self._store.paper_back(self._kind, name)
        else:
            self._store.take_paper_state(self._kind, name, to)

    def _refuse_taken(self, name: str) -> None:
        with suppress(ArchiveError):
            taken = self._store.paper(self._kind, name).name
            raise SettingsError(
                f"There is a paper {taken} already.",
                why="its states would be mixed with this one's",
                hint="Open that one and change it, or give this one another name.",
            )

    @staticmethod
    def _called(thing: Amplifier | Bench) -> str:
        return f"{thing.maker} {thing.model}" if isinstance(thing, Amplifier) else thing.name

    @property
    def _store(self) -> "Archive":
        from wattproof.archive import Archive

        return Archive(self._root)


def _said(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None
