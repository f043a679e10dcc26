"""`export`: a session, or all of them, as tables, objects and recordings for other programs."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import BaseModel, ConfigDict, Field

from wattproof.errors import ArchiveError, SettingsError
from wattproof.tasks.export_folder import files_below, folder_in_place
from wattproof.tasks.export_writing import Writing

if TYPE_CHECKING:
    from wattproof.archive import Archive, Session

Tell = Callable[[str], None] | None


class TableMade(BaseModel):
    """A table that was written."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str = Field(description="what it is called")
    rows: int = Field(description="how many rows it has")
    files: tuple[str, ...] = Field(description="its files, relative to the folder")


class Exported(BaseModel):
    """What `wattproof export` answers."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    folder: Path = Field(description="where everything was written")
    sessions: tuple[str, ...] = Field(description="what was exported")
    tables: tuple[TableMade, ...] = Field(description="every table")
    recordings: int = Field(description="captures whose samples were written")
    size_bytes: int = Field(description="of all files, bytes")
    problems: tuple[str, ...] = Field(default=(), description="what could not be exported, and why")

    def text(self) -> str:
        """Tell what was written and what was not."""
        lines = [f"Written: {self.folder}", f"  sessions    {len(self.sessions)}"]
        lines += [f"  {table.name:<10}  {table.rows:>7} rows   {', '.join(table.files)}" for table in self.tables]
        lines += [f"  recordings  {self.recordings}", f"  in all      {self.size_bytes / 1e6:.1f} MB"]
        lines += ["  README.txt says how to read them; index.json describes every column."]
        return "\n".join([*lines, *[f"! {problem}" for problem in self.problems]])


def export(
    session: str | None = None,
    *,
    out: Path | None = None,
    all: bool = False,
    tables_only: bool = False,
    archive: Path | None = None,
    tell: Tell = None,
) -> Exported:
    """Write a session, or the whole archive, as tables, objects and recordings for other programs.

    Tables are written as CSV and as Parquet, objects as JSON, recordings as FLAC or WAV with a JSON beside each. Equal
    inputs give equal bytes.

    Parameters
    ----------
    session : str or None
        Name of the session, or a part of it that no other session has.
    out : Path or None
        Folder to make; SESSION-data, or archive-data, here when left out. An earlier export in it is replaced.
    all : bool
        Every session of the archive, in one set of tables.
    tables_only : bool
        Leave the recordings out.
    archive : Path or None
        Folder of the archive.
    tell : callable or None
        Gets a line before each capture that is measured or written.

    Raises
    ------
    SettingsError
        Neither or both of a session and all are asked for; or the folder holds something else.
    ArchiveError
        There is no such session, or a kept capture is not what its hash says.
    FileMissingError
        The folder cannot be written.
    """
    from wattproof.archive import Archive, default_root

    store = Archive(archive or default_root())
    chosen, problems = _chosen(store, session, every=all)
    target = out or Path("archive-data" if all else f"{chosen[0].id}-data")
    with folder_in_place(target, archive=store.root) as folder:
        writing = Writing(folder=folder, store=store, samples=not tables_only, tell=tell, problems=problems)
        for one in chosen:
            if all:
                writing.add_if_sound(one)
            else:
                writing.add(one)
        index = writing.finish()
        size = sum((folder / name).stat().st_size for name in files_below(folder))
    return Exported(
        folder=target.absolute(),
        sessions=tuple(one.session for one in index.sessions),
        tables=tuple(TableMade(name=table.name, rows=table.rows, files=table.files) for table in index.tables),
        recordings=writing.recordings,
        size_bytes=size,
        problems=index.problems,
    )


def _chosen(store: "Archive", session: str | None, *, every: bool) -> tuple[list["Session"], list[str]]:
    if (session is None) is not every:
        raise SettingsError(
            "What is to be exported?" if session is None else "One session, or all of them?",
            why="no session was named" if session is None else f"{session} was named, and --all given",
            hint="Name a session (wattproof session list shows them), or give --all for the whole archive.",
        )
    if session is not None:
        return [store.open_session(session)], []
    listing = store.list_sessions()
    if not listing.sessions:
        raise ArchiveError(
            f"There is no session in {store.root}.",
            why="an archive without sessions has no figures",
            hint="Name the archive's folder with --archive, or begin a session: wattproof session new",
        )
    return list(listing.sessions), [f"{notice.message} {notice.hint}" for notice in listing.notices]
