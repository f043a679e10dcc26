"""The archive as the other rooms see it."""

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pydantic import JsonValue

from wattproof.amplifier import Amplifier
from wattproof.archive import captures, figures, models, overview, search, sessions, verdicts, verify
from wattproof.archive.day import BenchDay
from wattproof.archive.model import (
    CaptureRecord,
    Change,
    Description,
    FigureListing,
    FiguresFile,
    HistoryEvent,
    Listing,
    OverviewListing,
    Session,
)
from wattproof.archive.papers import Paper, find_paper, keep_paper, list_papers, paper_back, paper_kind, take_state
from wattproof.archive.remarks import KeptRemarks, keep_remarks, read_remarks
from wattproof.bench import Bench
from wattproof.errors import Notice
from wattproof.fit import BehaviourModel
from wattproof.judge import Judged
from wattproof.measure import CaptureResult


def _now() -> datetime:
    return datetime.now(UTC)


class Archive(BenchDay):
    """A folder of sessions, and the only one who writes there.

    Parameters
    ----------
    root : Path
        The archive's folder; made when the first session begins.
    index_url : str or None
        Database for questions across sessions, as SQLAlchemy writes addresses; None keeps ``index.sqlite`` in `root`.
        One database serves one archive.
    clock : callable
        Gives the time for "added" and for the history, with its offset from UTC.
    """

    def __init__(self, root: Path, index_url: str | None = None, *, clock: Callable[[], datetime] = _now) -> None:
        super().__init__(root, clock=clock)
        self._index_url = index_url

    def new_session(
        self,
        *,
        amplifier: Amplifier,
        bench: Bench,
        amplifier_toml: bytes | None,
        bench_toml: bytes | None,
        started: datetime,
        note: str = "",
    ) -> Session:
        """Begin a session in a folder of its own, named by date, model and four random digits.

        Parameters
        ----------
        amplifier, bench
            What the two files say, parsed.
        amplifier_toml, bench_toml : bytes or None
            The files themselves, kept byte for byte; None where the person has none.
        started : datetime
            When; without an offset from UTC it is taken as this machine's local time.
        note : str
            Anything worth remembering.

        Raises
        ------
        ArchiveError
            The disk is full or refuses; then nothing is left behind.
        """
        given = {"amplifier.toml": amplifier_toml, "bench.toml": bench_toml}
        return sessions.new_session(
            self.root,
            amplifier=amplifier,
            bench=bench,
            files={name: data for name, data in given.items() if data is not None},
            started=started if started.tzinfo else started.astimezone(),
            note=note,
        )

    def open_session(self, name: str | Path) -> Session:
        """Open a session by path, by name, or by any part of a name that only one session has.

        Raises
        ------
        ArchiveError
            None or several are meant; or its ``session.json`` is damaged, or newer than this version.
        """
        return sessions.find_session(self.root, str(name))

    def list_sessions(self) -> Listing:
        """List all sessions, oldest first; those that cannot be opened become notices."""
        return sessions.list_sessions(self.root)

    def add_capture(
        self, session: Session, original: Path, description: Description, *, name: str | None = None
    ) -> CaptureRecord:
        """Keep a file byte for byte, with what it was taken for; whole or not at all.

        Adding the same bytes again with the same description gives the capture that is there. `name` is what the file
        was called where it came from; its own name when left out.

        Raises
        ------
        FileMissingError
            The original is no file, or cannot be read.
        ArchiveError
            The disk refuses, or these bytes are here under another description.
        """
        return captures.add_capture(session, original, description, added=self._clock(), name=name)

    def describe_capture(self, session: Session, number: int, description: Description) -> CaptureRecord:
        """Correct what a capture was taken for; the description before goes into the history.

        Raises
        ------
        ArchiveError
            There is no such capture, or the disk refuses.
        """
        before = captures.find_capture(session, number).description
        record = captures.describe_capture(session, number, description)
        details: dict[str, JsonValue] = {"capture": number, "before": before.model_dump(mode="json")}
        figures.write_event(session, "described", details, at=self._clock())
        return record

    def void_capture(self, session: Session, number: int, why: str) -> CaptureRecord:
        """Say that no figure may be made of a capture, and why; it is kept, and the history tells.

        Raises
        ------
        ArchiveError
            There is no such capture, no reason is given, or the disk refuses.
        """
        record = captures.void_capture(session, number, why)
        figures.write_event(session, "voided", {"capture": number, "why": why}, at=self._clock())
        return record

    def captures(self, session: Session) -> tuple[CaptureRecord, ...]:
        """List what the session holds now, by number."""
        return captures.read_captures(session)

    def original_path(self, session: Session, record: CaptureRecord, *, check: bool = True) -> Path:
        """Give the kept original to read from, after making sure that its bytes are those that were added.

        Raises
        ------
        ArchiveError
            It is missing, or its bytes have changed.
        """
        return captures.original_path(session, record, check=check)

    def write_figures(
        self,
        session: Session,
        results: Mapping[int, Sequence[CaptureResult]],
        *,
        settings: Mapping[str, JsonValue] | None = None,
    ) -> FiguresFile:
        """Store the figures of a session in place of those before, whole or not at all.

        Equal results from equal captures give a ``figures.json`` of equal bytes: the time goes into the history.

        Parameters
        ----------
        session : Session
            Whose figures.
        results : mapping of capture number to results
            What was measured from each capture: one result, or one a row for typed readings.
        settings : mapping or None
            The options of the measurement that change figures.

        Raises
        ------
        ArchiveError
            A number is not one of the captures, a figure is not finite, or the disk refuses.
        """
        return figures.write_figures(session, results, settings=settings or {}, at=self._clock())

    def read_figures(self, session: Session, *, with_views: bool = False) -> FiguresFile | None:
        """Read the figures, None before the first measurement; with what pages draw, if asked.

        Raises
        ------
        ArchiveError
            The file is damaged, or newer than this version.
        """
        return figures.read_figures(session, with_views=with_views)

    def outdated(self, session: Session, stored: FiguresFile) -> tuple[Notice, ...]:
        """Say which captures were added or described anew since the figures were made."""
        return figures.outdated(session, stored)

    def write_model(self, session: Session, model: BehaviourModel) -> None:
        """Store a model fitted to the figures that stand, in place of the one for the same output.

        Raises
        ------
        ArchiveError
            There are no figures, or the disk refuses.
        """
        models.write_model(session, model, at=self._clock())

    def read_model(self, session: Session, *, output: str | None = None) -> BehaviourModel | None:
        """Read the model of an output; None where none was fitted to the figures that stand.

        Parameters
        ----------
        session : Session
            Whose model.
        output : str or None
            Output of the amplifier; None for the model of all outputs alike.

        Raises
        ------
        ArchiveError
            The file is damaged, or newer than this version.
        """
        return models.read_model(session, output=output)

    def write_verdicts(self, session: Session, judged: Judged, *, models: Sequence[BehaviourModel] = ()) -> None:
        """Store the verdicts reached from the figures that stand, in place of those before.

        Parameters
        ----------
        session : Session
            Whose verdicts.
        judged : Judged
            By the bench's rule.
        models : sequence of BehaviourModel
            What carried figures to the rated conditions; their hashes are kept.

        Raises
        ------
        ArchiveError
            There are no figures, or the disk refuses.
        """
        verdicts.write_verdicts(session, judged, models=models, at=self._clock())

    def read_verdicts(self, session: Session) -> Judged | None:
        """Read the verdicts; None where none were reached from the figures that stand, by the rule of the bench.

        Raises
        ------
        ArchiveError
            The file is damaged, or newer than this version.
        """
        return verdicts.read_verdicts(session)

    def keep_remarks(self, session: Session, words: str, photos: Mapping[str, bytes]) -> None:
        """Keep what a person says beside the figures, with photographs; what was kept before stays beside it.

        Parameters
        ----------
        session : Session
            Of which it speaks.
        words : str
            The words file as it was typed.
        photos : mapping of str to bytes
            JPEG by the name that the words call it.

        Raises
        ------
        ArchiveError
            The disk refuses.
        """
        keep_remarks(session, words, photos, at=self._clock())

    def remarks(self, session: Session) -> KeptRemarks | None:
        """Read what was said last beside the figures; None where nothing was.

        Raises
        ------
        ArchiveError
            A file of it is missing, or is not what was kept.
        """
        return read_remarks(session)

    def keep_paper(self, kind: str, name: str, text: str) -> Paper:
        """Keep the new state of a file that a person writes for more than one session; the states before stay.

        Parameters
        ----------
        kind : str
            "amplifier", "bench", "sheet" or "words".
        name : str
            What to call it; it becomes small letters, digits and hyphens.
        text : str
            The file.

        Raises
        ------
        ArchiveError
            No such kind, or the disk refuses.
        """
        return keep_paper(self.root, paper_kind(kind), name, text, at=self._clock())

    def paper(self, kind: str, name: str, *, number: int | None = None) -> Paper:
        """Find a paper: the state that counts, or the one of that number."""
        return find_paper(self.root, paper_kind(kind), name, number=number)

    def papers(self, kind: str) -> tuple[Paper, ...]:
        """Give all papers of a kind, by name."""
        return list_papers(self.root, paper_kind(kind))

    def paper_back(self, kind: str, name: str) -> Paper:
        """Take back a paper's last change; what was taken back is still among its states."""
        return paper_back(self.root, paper_kind(kind), name, at=self._clock())

    def take_paper_state(self, kind: str, name: str, number: int) -> Paper:
        """Let a state that was kept be the one that counts."""
        return take_state(self.root, paper_kind(kind), name, number, at=self._clock())

    def history(self, session: Session) -> tuple[HistoryEvent, ...]:
        """List what was done to the session and succeeded, oldest first."""
        return figures.read_history(session)

    def verify(self, session: Session) -> tuple[Change, ...]:
        """Hash everything and list what is not as it was written; nothing means that all is."""
        return verify.changes(session)

    def find_figures(
        self,
        *,
        name: str | None = None,
        maker: str | None = None,
        model: str | None = None,
        output: str | None = None,
        between: Mapping[str, tuple[float, float]] | None = None,
    ) -> FigureListing:
        """Find figures across all sessions.

        Parameters
        ----------
        name : str or None
            Name of the figure, ``power_at_thd_1``; None takes every one.
        maker, model : str or None
            The amplifier's, in capital or small letters.
        output : str or None
            Output of the amplifier.
        between : mapping of condition to (lowest, highest)
            ``{"load_ohm": (3.8, 4.2)}`` keeps the figures that state this condition within these bounds.
        """
        found, notices = search.find_figures(
            self.root, self._index_url, name=name, maker=maker, model=model, output=output, between=between or {}
        )
        return FigureListing(figures=found, notices=notices)

    def overview(
        self,
        say: Callable[[Session], str],
        *,
        form: str,
        most: int | None = None,
        tell: Callable[[str], None] | None = None,
    ) -> OverviewListing:
        """Give a line a session for a list of all that was tested, from the index.

        Parameters
        ----------
        say : callable
            Tells of a session, as JSON; asked only of those that are new or have changed.
        form : str
            Version and layout of what it tells.
        most : int or None
            Where more sessions would have to be read, none is.
        tell : callable or None
            Gets a line before each session that is asked of.
        """
        return overview.overview(self.root, self._index_url, say, form=form, most=most, tell=tell)

    def rebuild_index(self) -> FigureListing:
        """Make the index anew from the session folders, and list all figures that it holds now."""
        found, notices = search.ask(
            self.root,
            self._index_url,
            lambda index: index.find(name=None, maker=None, model=None, output=None),
            anew=True,
        )
        return FigureListing(figures=found, notices=notices)

    def index_rows(self) -> dict[str, list[dict[str, Any]]]:
        """Give every row of the index by table, once it is up to date: to look into it, or to copy it elsewhere."""
        rows, _notices = search.ask(self.root, self._index_url, lambda index: index.dump())
        return rows
