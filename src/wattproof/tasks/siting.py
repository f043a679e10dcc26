"""`site`: the whole archive as a folder of pages that any web host can serve."""

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from wattproof import __version__
from wattproof.errors import ArchiveError, FileMissingError, WattproofError
from wattproof.publish import SiteSession
from wattproof.tasks.site_folder import SiteFolder
from wattproof.tasks.site_session import site_session

if TYPE_CHECKING:
    from wattproof.archive import Archive, Session

Tell = Callable[[str], None] | None
KEPT = "site.json"


class SiteKept(BaseModel):
    """A session as it was published last."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    made_from: str = Field(description="SHA-256 over all that its pages were made from")
    told: SiteSession


class SiteIndex(BaseModel):
    """``site.json``: what the pages were made from, so that what has not changed is not made again."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    wattproof: str = Field(default=__version__, description="version that wrote it")
    schema_: Literal[1] = Field(default=1, alias="schema", description="version of this form")
    holds: Literal["a site of measurements"] = "a site of measurements"
    sessions: tuple[SiteKept, ...] = Field(default=(), description="in the archive's order")
    files: dict[str, str] = Field(default_factory=dict, description="SHA-256 of every file we wrote, by its path")


class SiteMade(BaseModel):
    """What `wattproof site` answers."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    folder: Path = Field(description="where the pages are")
    start: Path = Field(description="the page to begin with")
    amplifiers: int = Field(description="amplifiers with a page")
    made: tuple[str, ...] = Field(description="sessions whose report was made")
    unchanged: int = Field(description="sessions that were as before")
    removed: tuple[str, ...] = Field(default=(), description="pages of before that lead nowhere now")
    problems: tuple[str, ...] = Field(default=(), description="what could not be published, and why")

    def text(self) -> str:
        """Tell what was made and where to begin."""
        lines = [
            f"Written: {self.start}",
            f"  amplifiers: {self.amplifiers}; reports made: {len(self.made)}, as before: {self.unchanged}",
        ]
        lines += [f"  removed {one}" for one in self.removed]
        return "\n".join([*lines, *[f"! {problem}" for problem in self.problems]])


def site(
    out: Path, *, archive: Path | None = None, title: str = "", leave_out: tuple[str, ...] = (), tell: Tell = None
) -> SiteMade:
    """Write the whole archive as a folder of pages: a list, a table side by side, a page an amplifier, all reports.

    Nothing in it asks the network for anything, so that it works from a disk as well. Sessions that have not changed
    are not made again; files of yours in the folder are let be.

    Parameters
    ----------
    out : Path
        The folder; made where it is not there.
    archive : Path or None
        Folder of the archive.
    title : str
        What the site is called.
    leave_out : tuple of str
        Sessions that are not published: the name of each, or a part of it that no other session has.
    tell : callable or None
        Gets a line for what takes a while.

    Raises
    ------
    ArchiveError
        No session is there to be published, or none of a name that is to be left out.
    SettingsError
        A page would be written over a file that is not ours, or that someone has changed; or it is the archive.
    FileMissingError
        The folder cannot be written.
    """
    from wattproof.archive import Archive, default_root
    from wattproof.publish import amplifier_pages, site_pages

    store = Archive(archive or default_root())
    listing = store.list_sessions()
    hidden = {store.open_session(name).id for name in leave_out}
    sessions = [session for session in listing.sessions if session.id not in hidden]
    if not sessions:
        raise _nothing(store.root, left_out=len(hidden))
    problems = [f"{notice.message} {notice.hint}" for notice in listing.notices]
    before = _before(out)
    folder = SiteFolder(out=out, archive=store.root, listed=before.files)
    known = {one.told.session: one for one in before.sessions} if before.wattproof == __version__ else {}
    kept, made = [], []
    for session in sessions:
        try:
            one, fresh = _published(store, session, known.get(session.id), folder, tell)
        except FileMissingError:
            raise
        except WattproofError as error:
            problems.append(f"{session.id} is left out. {error.message} {error.why}".strip())
            continue
        kept.append(one)
        made += [session.id] if fresh else []
    told = [one.told for one in kept]
    for path, page in site_pages(told, program=f"wattproof {__version__}", title=title).items():
        folder.write(path, page)
    removed = folder.finish(KEPT, lambda files: _index_text(SiteIndex(sessions=tuple(kept), files=files)))
    return SiteMade(
        folder=out.absolute(),
        start=out.absolute() / "index.html",
        amplifiers=len(amplifier_pages(told)),
        made=tuple(made),
        unchanged=len(kept) - len(made),
        removed=tuple(removed),
        problems=tuple(problems),
    )


def _nothing(root: Path, *, left_out: int) -> ArchiveError:
    """Refuse rather than take all pages away: an archive's name with a slip in it is no archive that was emptied."""
    return ArchiveError(
        f"There is no session to be published in {root}.",
        why=f"all that are there, {left_out}, are left out" if left_out else "it holds none that can be read",
        hint="Leave fewer out." if left_out else "Name the folder of the archive: --archive FOLDER",
    )


def _published(
    store: "Archive", session: "Session", known: SiteKept | None, folder: SiteFolder, tell: Tell
) -> tuple[SiteKept, bool]:
    """Make a session's report, or keep the one of before where all it was made from is as it was."""
    report = f"sessions/{session.id}.html"
    if known is not None and known.made_from == _made_from(session) and folder.keeps(report):
        return known, False
    if tell is not None:
        tell(f"report of {session.id} ...")
    told, page = site_session(store, session, tell)
    folder.write(report, page)
    # only now, for measuring, fitting and judging may have written into the session
    return SiteKept(made_from=_made_from(session), told=told), True


def _made_from(session: "Session") -> str:
    """Fingerprint a session's documents, words and photographs; its recordings stand in them by their hashes."""
    found = hashlib.sha256(__version__.encode())
    for path in sorted(session.folder.rglob("*")):
        if path.suffix in {".json", ".toml", ".jpg", ".jpeg", ".csv"} and not _passing(path, session.folder):
            found.update(path.relative_to(session.folder).as_posix().encode() + b"\0")
            found.update(hashlib.sha256(path.read_bytes()).digest())
    return found.hexdigest()


def _passing(path: Path, session: Path) -> bool:
    """Tell what no page is made from: the history, and what is being written."""
    parts = path.relative_to(session).parts
    return parts[0] == "history" or any(part.startswith(".") for part in parts)


def _before(out: Path) -> SiteIndex:
    try:
        return SiteIndex.model_validate_json((out / KEPT).read_bytes())
    except (OSError, ValidationError):
        return SiteIndex(wattproof="")


def _index_text(index: SiteIndex) -> str:
    return json.dumps(index.model_dump(mode="json", by_alias=True), indent=1, ensure_ascii=False) + "\n"
