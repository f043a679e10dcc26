"""Files that a person hands over: what each was taken to be, then measured, or kept in a session."""

import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Literal, get_args

from wattproof.amplifier import Amplifier, parse_amplifier
from wattproof.bench import Bench, Role, parse_bench, parse_readings
from wattproof.errors import SettingsError, WattproofError
from wattproof.readers import FileSummary, summarize
from wattproof.tasks.files import text_of, write_text
from wattproof.tasks.measured import Measured
from wattproof.tasks.measuring import Item, Wishes, is_readings, measure_items, opened
from wattproof.tasks.quick import channels_said, chosen_load
from wattproof.tasks.run_past import need_session
from wattproof.tasks.said import FileAnswers
from wattproof.tasks.sessions import keep_item, reader_of, session_new

if TYPE_CHECKING:
    from wattproof.archive import Archive

ROLES: tuple[str, ...] = get_args(Role)
"""What a channel can be of."""

Taken = Literal["recording", "readings", "amplifier", "bench", "unknown"]


@dataclass(frozen=True, kw_only=True)
class GivenFile:
    """A file that was handed over.

    Attributes
    ----------
    key : str
        Its name among those handed over with it.
    name : str
        What it was called where it came from; never a path here.
    path : Path
        Where it lies.
    size_bytes : int
    """

    key: str
    name: str
    path: Path
    size_bytes: int


@dataclass(frozen=True, kw_only=True)
class FileSeen:
    """What a file was taken to be.

    Attributes
    ----------
    taken : Taken
    told : str
        The same in words.
    summary : FileSummary or None
        Of a recording.
    fault : WattproofError or None
        Why it cannot be used, or what it leaves open.
    """

    taken: Taken
    told: str = ""
    summary: FileSummary | None = None
    fault: WattproofError | None = None

    @property
    def is_capture(self) -> bool:
        """Whether figures may come of it, now or once a question is answered."""
        return self.taken in {"recording", "readings"}


@dataclass(frozen=True, kw_only=True)
class FileSaid:
    """What a person says of a file."""

    wishes: Wishes = field(default_factory=Wishes)
    answers: FileAnswers = field(default_factory=FileAnswers)
    step: str = ""


Files = Sequence[tuple[GivenFile, FileSaid]]


class Imports:
    """Takes files in.

    Parameters
    ----------
    archive : Path
        Folder of the archive.
    """

    def __init__(self, archive: Path) -> None:
        self._archive = archive
        self._seen: dict[tuple[Path, str], FileSeen] = {}

    def see(self, given: GivenFile, answers: FileAnswers | None = None) -> FileSeen:
        """Say what a file was taken to be; what cannot be used is said too, not raised."""
        known = (given.path, repr(answers))
        if known not in self._seen:
            if len(self._seen) > 2000:
                self._seen.clear()
            self._seen[known] = _seen(given, answers or FileAnswers())
        return self._seen[known]

    def loads(self, bench: GivenFile) -> tuple[str, ...]:
        """Name the loads of a bench file."""
        table = _bench(bench)
        return () if table is None else tuple(load.name for load in table.loads)

    def measure(
        self,
        files: Files,
        *,
        bench: GivenFile | None,
        amplifier: GivenFile | None,
        out: Path,
        tell: Callable[[str], None],
    ) -> tuple[Path, ...]:
        """Measure files without keeping them, and write their figures into a folder: page, table and object."""
        table, thing = _bench(bench), _amplifier(amplifier)
        groups = measure_items([_item(*one) for one in files], bench=table, amplifier=thing, tell=tell)
        found = Measured(captures=tuple(result for group in groups for result in group))
        page, sheet, plain = (out / f"figures.{suffix}" for suffix in ("html", "csv", "json"))
        title = "Measured captures" if thing is None else f"{thing.maker} {thing.model}"
        found.write(html=page, csv=sheet, bench=table, amplifier=thing, title=title)
        write_text(plain, found.to_json())
        return page, sheet, plain

    def begin(self, *, amplifier: GivenFile, bench: GivenFile, started: date | None, note: str) -> str:
        """Begin a session of an amplifier file and a bench file, and give its name."""
        _amplifier(amplifier)
        _bench(bench)
        return session_new(amplifier.path, bench.path, archive=self._archive, started=started, note=note).session

    def refuse(self, files: Files, *, bench: GivenFile | None = None, session: str = "") -> None:
        """Refuse what could not be kept, before anything is begun.

        Raises
        ------
        InputError
            A file cannot be used, leaves a question open, or is said to be into a load that the bench has not.
        """
        if session:
            need_session(self._store(), session)  # a page's word is never taken for a path
        table = self._store().open_session(session).bench if session else _bench(bench)
        if not files:
            raise SettingsError(
                "There is no capture to take.", why="no recording and no typed readings are among the files",
                hint="Add a recording, or untick that it is left out.",
            )  # fmt: skip
        for given, said in files:
            chosen_load(table, load=said.wishes.load, load_ohm=said.wishes.load_ohm)
            channels_said(said.wishes.channel)
            reader_of(_item(given, said))

    def keep(self, session: str, files: Files) -> str:
        """Keep files in a session, byte for byte, each with what was said of it; gives the session's name.

        Raises
        ------
        InputError
            A file cannot be used; none is kept then.
        ArchiveError
            There is no such session, or the disk refuses.
        """
        self.refuse(files, session=session)
        store = self._store()
        found = store.open_session(session)
        store.recover(found)
        for given, said in files:
            item = _item(given, said)
            keep_item(store, found, item, reader_of(item), said.step or None, name=given.name)
        return found.id

    def _store(self) -> "Archive":
        from wattproof.archive import Archive

        return Archive(self._archive)


def _item(given: GivenFile, said: FileSaid) -> Item:
    return Item(path=given.path, name=given.name, wishes=said.wishes, answers=said.answers)


def _bench(given: GivenFile | None) -> Bench | None:
    return None if given is None else parse_bench(text_of(given.path), file=given.name)


def _amplifier(given: GivenFile | None) -> Amplifier | None:
    return None if given is None else parse_amplifier(text_of(given.path), file=given.name)


def _seen(given: GivenFile, answers: FileAnswers) -> FileSeen:
    taken: Taken = "unknown"
    try:
        if given.path.suffix == ".toml":
            taken = _kind_of_toml(text_of(given.path))
            return FileSeen(taken=taken, told=_told_of_toml(taken, given))
        if is_readings(given.path):
            taken = "readings"
            rows = parse_readings(text_of(given.path), file=given.name)
            return FileSeen(taken=taken, told=f"typed readings, {len(rows)} row{'' if len(rows) == 1 else 's'}")
        taken = "recording"
        found = summarize(opened(Item(path=given.path, name=given.name, wishes=Wishes(), answers=answers)))
    except WattproofError as error:
        return FileSeen(taken="unknown" if error.code == "unknown-format" else taken, fault=error)
    channels = len(found.channels)
    told = (
        f"a recording, {channels} channel{'' if channels == 1 else 's'}, {found.duration_s:.4g} s at "
        f"{found.sample_rate_hz:.6g} samples a second, read as {found.reader}"
    )
    return FileSeen(taken="recording", told=told, summary=found)


def _kind_of_toml(text: str) -> Literal["amplifier", "bench"]:
    """Tell the two files apart by what only one of them holds; what is no TOML is told by the one that reads it."""
    try:
        known = set(tomllib.loads(text))
    except tomllib.TOMLDecodeError:
        known = set()
    return "amplifier" if known & {"maker", "model", "ratings", "outputs"} else "bench"


def _told_of_toml(taken: Taken, given: GivenFile) -> str:
    if taken == "amplifier":
        thing = _amplifier(given)
        return "" if thing is None else f"an amplifier file: {thing.maker} {thing.model}"
    table = _bench(given)
    return "" if table is None else f"a bench file: {table.name}, {len(table.channels)} channels"
