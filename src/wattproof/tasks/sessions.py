"""`session_new`, `session_add`, `session_figures`, `session_list`, `archive_index`: an amplifier's captures, kept."""

import hashlib
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from pydantic import BaseModel, ConfigDict, TypeAdapter

from wattproof import __version__
from wattproof.amplifier import parse_amplifier
from wattproof.bench import parse_bench, parse_readings
from wattproof.errors import WattproofError
from wattproof.measure import CaptureResult
from wattproof.tasks.doubtful import (
    in_place_of_void,
    measured_as_far_as_it_goes,
    recover_if_it_can_be,
    was_cut_off,
)
from wattproof.tasks.files import refuse_overwriting, shown_name, text_of
from wattproof.tasks.measured import Measured
from wattproof.tasks.measuring import Item, Wishes, is_readings, measure_items, opened
from wattproof.tasks.quick import channels_said, chosen_load
from wattproof.tasks.said import FileAnswers

if TYPE_CHECKING:
    from wattproof.archive import Archive, CaptureRecord, Session


class _Answer(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class SessionMade(_Answer):
    """What `wattproof session new` answers."""

    session: str
    folder: Path


class CaptureKept(_Answer):
    """One capture that `wattproof session add` kept."""

    number: int
    file: str
    folder: str
    sha256: str
    reader: str
    status: Literal["kept", "there already", "described anew"]


class CapturesKept(_Answer):
    """What `wattproof session add` answers."""

    session: str
    captures: tuple[CaptureKept, ...]

    def lines(self) -> tuple[str, ...]:
        """Give one line a capture."""
        return tuple(
            f"{c.folder}  {c.file}  {c.status} ({c.reader}, SHA-256 {c.sha256[:12]}...)" for c in self.captures
        )


class SessionLine(_Answer):
    """One session in a list."""

    session: str
    amplifier: str
    captures: int
    figures: int
    void: int = 0


class SessionsListed(_Answer):
    """What `wattproof session list` answers."""

    folder: Path
    sessions: tuple[SessionLine, ...]
    problems: tuple[str, ...] = ()


class IndexMade(_Answer):
    """What `wattproof archive index` answers."""

    folder: Path
    sessions: int
    figures: int
    problems: tuple[str, ...] = ()


def _archive(archive: Path | None) -> "Archive":
    from wattproof.archive import Archive, default_root

    return Archive(archive or default_root())


def session_new(
    amplifier: Path, bench: Path, *, archive: Path | None = None, started: date | None = None, note: str = ""
) -> SessionMade:
    """Begin a session: the amplifier and the bench are kept as they are now.

    Parameters
    ----------
    amplifier, bench : Path
        amplifier.toml and bench.toml; checked, and kept byte for byte.
    archive : Path or None
        Folder of the archive; $WATTPROOF_ARCHIVE or wattproof-archive in the home folder when left out.
    started : date or None
        Day of the captures; today when left out.
    note : str
        A line to remember it by.

    Raises
    ------
    SettingsError
        One of the two files is wrong; nothing is begun.
    ArchiveError
        The disk refuses; nothing is left behind.
    """
    thing = parse_amplifier(text_of(amplifier), file=amplifier.name)
    table = parse_bench(text_of(bench), file=bench.name)
    now = datetime.now().astimezone()
    begun = now if started is None else datetime.combine(started, time(12), tzinfo=now.tzinfo)
    session = _archive(archive).new_session(
        amplifier=thing,
        bench=table,
        amplifier_toml=amplifier.read_bytes(),
        bench_toml=bench.read_bytes(),
        started=begun,
        note=note,
    )
    return SessionMade(session=session.id, folder=session.folder)


def session_add(
    session: str,
    files: Sequence[Path],
    *,
    archive: Path | None = None,
    step: str | None = None,
    wishes: Wishes | None = None,
    answers: FileAnswers | None = None,
) -> CapturesKept:
    """Keep captures in a session, byte for byte, with what they were taken to be.

    Adding the same bytes again changes nothing; with other words about them, the words are corrected.

    Parameters
    ----------
    session : str
        Name of the session, or a part of it that no other session has.
    files : sequence of Path
        Recordings or typed readings; all are looked at before the first is kept.
    archive : Path or None
        Folder of the archive.
    step : str or None
        What the captures are of, in a few words.
    wishes : Wishes or None
        How they are to be measured.
    answers : FileAnswers or None
        What the files do not say themselves.

    Raises
    ------
    InputError
        A file cannot be used; none is kept then.
    ArchiveError
        There is no such session, or the disk refuses.
    """
    store = _archive(archive)
    found = store.open_session(session)
    store.recover(found)
    wishes, answers = wishes or Wishes(), answers or FileAnswers()
    chosen_load(found.bench, load=wishes.load, load_ohm=wishes.load_ohm)
    channels_said(wishes.channel)
    items = [Item(path=path, name=shown_name(path), wishes=wishes, answers=answers) for path in files]
    readers = [reader_of(item) for item in items]
    kept = [keep_item(store, found, item, reader, step) for item, reader in zip(items, readers, strict=True)]
    return CapturesKept(session=found.id, captures=tuple(kept))


def reader_of(item: Item) -> str:
    """Name the reader that knows a file; "readings" of a typed table. A file that cannot be used is refused here."""
    if is_readings(item.path):
        parse_readings(text_of(item.path), file=item.name)
        return "readings"
    return opened(item).reader


def keep_item(
    store: "Archive", session: "Session", item: Item, reader: str, step: str | None, *, name: str | None = None
) -> CaptureKept:
    """Keep one file, under the name that it was called where it came from; its path's when left out."""
    from wattproof.archive import Description

    said = {"wishes": _plain(item.wishes), "answers": _plain(item.answers)}
    description = Description(
        step=step,
        kind=item.wishes.kind,
        load=item.wishes.load,
        reader=reader,
        answers={k: v for k, v in said.items() if v},
    )
    twin = _twin(store, session, item.path)
    if twin is not None:  # what was noted of it, and whether it is void, is not said here and so stays
        kept = {"note": twin.description.note, "void": twin.description.void}
        description = description.model_copy(update=kept)
    status: Literal["kept", "there already", "described anew"] = "kept"
    if twin is None:
        record = store.add_capture(session, item.path, description, name=name)
    elif twin.description == description:
        record, status = twin, "there already"
    else:
        # the same bytes under other words: the words are corrected, those before go into the history
        record, status = store.describe_capture(session, twin.number, description), "described anew"
    return CaptureKept(
        number=record.number,
        file=record.file,
        folder=record.folder,
        sha256=record.sha256,
        reader=reader,
        status=status,
    )


def _twin(store: "Archive", session: "Session", path: Path) -> "CaptureRecord | None":
    """Find the capture that holds these very bytes."""
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return next((record for record in store.captures(session) if record.sha256 == digest), None)


def _plain(words: Wishes | FileAnswers) -> dict[str, Any]:
    """Give what differs from the defaults, as JSON holds it."""
    defaults = asdict(type(words)())
    said = {key: value for key, value in asdict(words).items() if value != defaults[key]}
    plain: dict[str, Any] = TypeAdapter(dict[str, Any]).dump_python(said, mode="json")
    return plain


def session_figures(
    session: str,
    *,
    archive: Path | None = None,
    again: bool = False,
    html: Path | None = None,
    csv: Path | None = None,
    tell: Callable[[str], None] | None = None,
) -> Measured:
    """Measure a session's captures and give the figures; what was measured before is given again unless it is outdated.

    Parameters
    ----------
    session : str
        Name of the session, or a part of it that no other session has.
    archive : Path or None
        Folder of the archive.
    again : bool
        Measure again, even if nothing has changed.
    html, csv : Path or None
        Also write a page with charts, or a table for a spreadsheet.
    tell : callable or None
        Gets a line before each capture that is measured.

    Raises
    ------
    ArchiveError
        There is no such session, or a kept capture is not what its hash says.
    InputError
        A capture cannot be measured.
    """
    refuse_overwriting((html, csv), given=())
    store = _archive(archive)
    found = store.open_session(session)
    recover_if_it_can_be(store, found, tell)
    stored = store.read_figures(found, with_views=True)
    fresh = stored is not None and stored.wattproof == __version__ and not store.outdated(found, stored)
    if again or stored is None or not fresh:
        stored = measure_session(store, found, tell)
    answer = Measured(captures=tuple(stored.results))
    title = f"{found.amplifier.maker} {found.amplifier.model}"
    answer.write(html=html, csv=csv, bench=found.bench, amplifier=found.amplifier, title=title)
    return answer


def measure_session(
    store: "Archive",
    session: "Session",
    tell: Callable[[str], None] | None,
    *,
    known: Mapping[int, CaptureResult] | None = None,
) -> Any:  # noqa: ANN401  (FiguresFile, imported lazily)
    """Measure a session's captures, but for those whose results are `known`, and keep the figures of all."""
    known, records = known or {}, store.captures(session)
    sound = [record for record in records if record.description.void is None]
    fresh = [record for record in sound if record.number not in known]
    whole = [record for record in fresh if not was_cut_off(record)]
    results: dict[int, tuple[CaptureResult, ...]] = {
        record.number: (known[record.number],) for record in sound if record.number in known
    }

    def measured(some: Sequence["CaptureRecord"]) -> list[tuple[CaptureResult, ...]]:
        items = [item_of(store, session, record) for record in some]
        beside = tuple(result for group in results.values() for result in group)
        return measure_items(items, bench=session.bench, amplifier=session.amplifier, tell=tell, beside=beside)

    results |= {record.number: group for record, group in zip(whole, measured(whole), strict=True)}
    for record in fresh:
        if was_cut_off(record):  # by itself, for too little of it may be there to be measured
            results[record.number] = measured_as_far_as_it_goes(record, measured, tell)
    void = {record.number: in_place_of_void(record, tell) for record in records if record.description.void is not None}
    return store.write_figures(session, {**results, **void})


def item_of(store: "Archive", session: "Session", record: "CaptureRecord") -> Item:
    """Give a kept capture as something to be measured, under its own name or, where others share it, its folder's."""
    names = Counter(other.file for other in store.captures(session))
    said = record.description.answers
    known = record.description.model_dump(include={"kind", "load"}) if record.live else {}
    wished: Any = said.get("wishes", {})
    wishes = TypeAdapter(Wishes).validate_python({**known, **wished})
    if wishes.captured_on is None:
        wishes = _dated(wishes, session.record.started.date())
    return Item(
        path=store.original_path(session, record),
        name=f"{record.folder}/{record.file}" if names[record.file] > 1 else record.file,
        wishes=wishes,
        answers=TypeAdapter(FileAnswers).validate_python(said.get("answers", {})),
    )


def _dated(wishes: Wishes, day: date) -> Wishes:
    from dataclasses import replace

    return replace(wishes, captured_on=day)


def session_list(*, archive: Path | None = None) -> SessionsListed:
    """List the sessions of the archive, oldest first.

    Parameters
    ----------
    archive : Path or None
        Folder of the archive.
    """
    store = _archive(archive)
    listing = store.list_sessions()
    lines = []
    problems = [f"{notice.message} {notice.hint}" for notice in listing.notices]
    for session in listing.sessions:
        try:
            stored = store.read_figures(session)
            captures = store.captures(session)
        except WattproofError as error:
            problems.append(str(error))
            continue
        figures = 0 if stored is None else sum(len(result.figures) for result in stored.results)
        name = f"{session.amplifier.maker} {session.amplifier.model}"
        void = sum(record.description.void is not None for record in captures)
        lines.append(
            SessionLine(session=session.id, amplifier=name, captures=len(captures), figures=figures, void=void)
        )
    return SessionsListed(folder=store.root, sessions=tuple(lines), problems=tuple(problems))


def archive_index(*, archive: Path | None = None) -> IndexMade:
    """Make the archive's index again from its folders: the folders are the truth, the index only speeds up searching.

    Parameters
    ----------
    archive : Path or None
        Folder of the archive.
    """
    store = _archive(archive)
    listing = store.rebuild_index()
    return IndexMade(
        folder=store.root,
        sessions=len(store.list_sessions().sessions),
        figures=len(listing.figures),
        problems=tuple(f"{notice.message} {notice.hint}" for notice in listing.notices),
    )
