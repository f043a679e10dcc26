"""What a page of a session shows: its captures and how they stand, and once measured all that the report tells."""

from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Literal

from wattproof import __version__
from wattproof.errors import WattproofError
from wattproof.fit import BehaviourModel
from wattproof.tasks.foreseen_page import ForeseenShown, Slider, foreseen_shown, sliders_of
from wattproof.tasks.published import published_session
from wattproof.tasks.run_past import need_session

if TYPE_CHECKING:
    from wattproof.archive import Archive, CaptureRecord, Session
    from wattproof.publish import Fragments, PublishedSession
    from wattproof.report import FiguresFragments

MOST_KEPT = 12
"""Sessions whose findings are kept at hand, drawn: a few hundred kilobytes each."""

_OWN = frozenset({"figures", "cautions"})
"""Sections that the page shows in its own way: budgets that open, and cautions on every page."""


@dataclass(frozen=True, kw_only=True)
class CaptureSeen:
    """A capture in the session's list."""

    number: int
    name: str
    file: str
    kind: str
    load: str
    seconds: float | None
    void: str | None
    cut_off: bool


@dataclass(frozen=True, kw_only=True)
class SessionSeen:
    """How a session stands, without measuring anything.

    Attributes
    ----------
    session, amplifier, bench, day, note : str
    captures : tuple of CaptureSeen
    state : "measured", "outdated" or "not measured"
    why : tuple of str
        What has changed since the figures were made.
    mark : str
        Changes with whatever the findings are made of.
    """

    session: str
    amplifier: str
    bench: str
    day: str
    note: str
    captures: tuple[CaptureSeen, ...]
    state: Literal["measured", "outdated", "not measured"]
    why: tuple[str, ...]
    mark: str

    @property
    def to_measure(self) -> bool:
        """Whether there is a capture that counts."""
        return any(capture.void is None for capture in self.captures)


@dataclass(frozen=True, kw_only=True)
class Findings:
    """A session's findings, drawn.

    Attributes
    ----------
    report : Fragments
        The report's lead and those of its sections that the page does not show in its own way.
    figures : FiguresFragments
    pictures : tuple of (name, what it shows)
        What `picture` can draw.
    models : tuple of BehaviourModel
        One for each number of outputs that were driven at once; none where the captures fix none.
    sliders : tuple of Slider
        For the first model.
    """

    report: "Fragments"
    figures: "FiguresFragments"
    pictures: tuple[tuple[str, str], ...]
    models: tuple[BehaviourModel, ...]
    sliders: tuple[Slider, ...]


class FindingsShelf:
    """Makes findings and keeps those looked at last.

    Parameters
    ----------
    archive : Path
        Folder of the archive.
    """

    def __init__(self, archive: Path) -> None:
        self._archive = archive
        self._kept: OrderedDict[str, Findings | WattproofError] = OrderedDict()
        self._lock = Lock()

    def need(self, session: str) -> None:
        """Refuse what is no session's name: what a page is asked for is never taken for a path.

        Raises
        ------
        ArchiveError
            There is no such session.
        """
        need_session(self._store(), session)

    def see(self, session: str) -> SessionSeen:
        """Say how a session stands; nothing is measured.

        Raises
        ------
        ArchiveError
            There is no such session, or a part of it is damaged.
        """
        store = self._store()
        need_session(store, session)
        found = store.open_session(session)
        stored = store.read_figures(found)
        outdated = () if stored is None else tuple(one.message for one in store.outdated(found, stored))
        if stored is not None and stored.wattproof != __version__:
            outdated = (f"The figures are of Wattproof {stored.wattproof}.", *outdated)
        amplifier = found.amplifier
        return SessionSeen(
            session=found.id,
            amplifier=f"{amplifier.maker} {amplifier.model}",
            bench=found.bench.name,
            day=found.record.started.date().isoformat(),
            note=found.record.note,
            captures=tuple(_capture(record) for record in store.captures(found)),
            state="not measured" if stored is None else "outdated" if outdated else "measured",
            why=outdated,
            mark=_mark(found),
        )

    def find(self, seen: SessionSeen) -> Findings | WattproofError | None:
        """Give findings that are at hand, or why they could not be made; None where they are still to be made."""
        with self._lock:
            return self._kept.get(seen.mark)

    def make(self, session: str, *, tell: Callable[[str], None] | None = None) -> Findings:
        """Measure what is to be measured, judge, fit and draw; what was done before is not done again.

        Raises
        ------
        ArchiveError
            There is no such session, or a kept capture is not what its hash says.
        InputError
            A capture cannot be measured.
        """
        store = self._store()
        found = store.open_session(session)
        try:
            inputs = published_session(store, found, tell=tell)
            if tell is not None:
                tell("drawing ...")
            made = _drawn(inputs)
        except WattproofError as error:
            self._keep(_mark(found), error)
            raise
        self._keep(_mark(found), made)
        return made

    def foresee(self, session: str, asked: Mapping[str, float]) -> ForeseenShown:
        """Ask a session's model, by the sliders' names; a refusal is an answer too."""
        return foreseen_shown(self._archive, session, asked)

    def _keep(self, mark: str, made: Findings | WattproofError) -> None:
        with self._lock:
            self._kept[mark] = made
            self._kept.move_to_end(mark)
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)

    def _store(self) -> "Archive":
        from wattproof.archive import Archive

        return Archive(self._archive)


def _capture(record: "CaptureRecord") -> CaptureSeen:
    said = record.description
    live = record.live
    return CaptureSeen(
        number=record.number,
        name=said.step or record.file,
        file=record.file,
        kind=said.kind or "",
        load=said.load or "",
        seconds=None if live is None else live.n_samples / live.rate_hz,
        void=said.void,
        cut_off=live is not None and live.cut_off,
    )


def _mark(session: "Session") -> str:
    """Tell by names, sizes and times whether anything has changed of which findings are made."""
    from hashlib import sha256

    digest = sha256(session.id.encode())
    for path in sorted(_sources(session.folder)):
        known = path.stat()
        digest.update(f"{path.relative_to(session.folder).as_posix()} {known.st_size} {known.st_mtime_ns}".encode())
    return digest.hexdigest()


def _sources(folder: Path) -> Iterator[Path]:
    yield from (path for path in (folder / "session.json", folder / "figures.json") if path.exists())
    yield from folder.glob("captures/*/capture.json")
    yield from folder.glob("remarks/*/remarks.json")


def _drawn(inputs: "PublishedSession") -> Findings:
    from dataclasses import replace

    from wattproof.publish import document_fragments, session_document, session_pictures
    from wattproof.report import figures_fragments

    document = session_document(inputs)
    kept = replace(document, sections=tuple(one for one in document.sections if one.anchor not in _OWN))
    return Findings(
        report=document_fragments(kept),
        figures=figures_fragments(inputs.results),
        pictures=tuple(
            (one.name, ", ".join(filter(None, (one.around.title, one.of)))) for one in session_pictures(inputs)
        ),
        models=inputs.models,
        sliders=tuple(sliders_of(inputs.models[0])) if inputs.models else (),
    )
