"""An SQL index over all sessions, for questions that cross them. It knows nothing that the folders do not say.

This file is imported only when a question is asked: SQLAlchemy takes 0.4 s to import.
"""

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from wattproof.archive.model import CaptureRecord, FiguresFile, FoundFigure, Session
from wattproof.errors import ArchiveError

LAYOUT = 2
"""Number of the tables below; an index of another number is made anew."""

WAIT_MS = 5000
"""How long an SQLite index waits for another process to finish its writing."""

_KEY_LENGTH = 255
_KEY = sa.String(_KEY_LENGTH)  # some databases want a length for what they index
_TABLES = sa.MetaData()
_LAYOUT = sa.Table("wattproof_layout", _TABLES, sa.Column("number", sa.Integer, primary_key=True))
SESSIONS = sa.Table(
    "wattproof_sessions",
    _TABLES,
    sa.Column("session", _KEY, primary_key=True),
    sa.Column("stamp", sa.String(64), nullable=False, comment="changes when the session's files do"),
    sa.Column("started", sa.String(40), nullable=False, comment="ISO 8601 with its offset from UTC"),
    sa.Column("maker", sa.Text, nullable=False),
    sa.Column("model", sa.Text, nullable=False),
    sa.Column("maker_key", _KEY, nullable=False, index=True, comment="case folded"),
    sa.Column("model_key", _KEY, nullable=False, index=True, comment="case folded"),
    sa.Column("bench", sa.Text, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
)
CAPTURES = sa.Table(
    "wattproof_captures",
    _TABLES,
    sa.Column("session", sa.ForeignKey("wattproof_sessions.session"), primary_key=True),
    sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("file", sa.Text, nullable=False),
    sa.Column("sha256", sa.String(64), nullable=False, index=True),
    sa.Column("size_bytes", sa.BigInteger, nullable=False),
    sa.Column("step", sa.Text),
    sa.Column("kind", sa.Text),
    sa.Column("load", sa.Text),
    sa.Column("reader", sa.Text),
)
FIGURES = sa.Table(
    "wattproof_figures",
    _TABLES,
    sa.Column("session", sa.ForeignKey("wattproof_sessions.session"), primary_key=True),
    sa.Column("position", sa.Integer, primary_key=True, autoincrement=False, comment="order in figures.json"),
    sa.Column("capture", sa.Integer, nullable=False),
    sa.Column("name", _KEY, nullable=False, index=True),
    sa.Column("output", _KEY),
    sa.Column("value", sa.Double, nullable=False),
    sa.Column("u", sa.Double, nullable=False),
    sa.Column("unit", sa.Text, nullable=False),
    sa.Column("k95", sa.Double, nullable=False),
    sa.Column("conditions", sa.JSON, nullable=False),
    sa.Column("origin", sa.Text, nullable=False),
)
OVERVIEW = sa.Table(
    "wattproof_overview",
    _TABLES,
    sa.Column("session", sa.ForeignKey("wattproof_sessions.session"), primary_key=True),
    sa.Column("form", sa.String(64), nullable=False, comment="version and layout of what is told"),
    sa.Column("told", sa.Text, nullable=False, comment="JSON: a line of a list of all that was tested"),
)

DatabaseRefusal = sa.exc.DBAPIError
"""What any database raises when it is locked, damaged, unreachable or read-only."""


def is_damage(error: sa.exc.DBAPIError) -> bool:
    """Tell a database file that is damaged, or none at all, from one that is locked or may not be written."""
    return type(error) is sa.exc.DatabaseError


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One session as the index needs it."""

    stamp: str
    session: Session
    captures: Sequence[CaptureRecord]
    figures: FiguresFile | None


class Index:
    """The tables behind one database address.

    Parameters
    ----------
    url : str
        Any address that SQLAlchemy takes; ``sqlite://`` is a passing one in memory.

    Raises
    ------
    ArchiveError
        The address makes no sense, or the driver for it is not installed.
    """

    def __init__(self, url: str) -> None:
        try:
            address = sa.make_url(url)
            self.shown = address.render_as_string(hide_password=True)
            self._engine = sa.create_engine(address, poolclass=_pool(address))
        except (sa.exc.ArgumentError, ImportError, ValueError) as error:
            raise ArchiveError(
                "Cannot use the database address that was given for the index.",
                why=f"{type(error).__name__}: no such kind of database here, or the address is malformed.",
                hint="Leave the address out to use the archive's own index.sqlite, or install the database's driver.",
            ) from error
        if self._engine.dialect.name == "sqlite":
            sa.event.listen(self._engine, "connect", _prepare_sqlite)

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def prepare(self, *, anew: bool = False) -> None:
        """Make the tables; those of another layout, or all if `anew`, are dropped first."""
        with self._engine.begin() as connection:
            if anew or self._layout(connection) != LAYOUT:
                _TABLES.drop_all(connection)
                _TABLES.create_all(connection)
                connection.execute(_LAYOUT.insert().values(number=LAYOUT))

    def _layout(self, connection: sa.Connection) -> int | None:
        if not sa.inspect(connection).has_table(_LAYOUT.name):
            return None
        number: int | None = connection.execute(sa.select(_LAYOUT.c.number)).scalar()
        return number

    def stamps(self) -> dict[str, str]:
        """Give the stamp of each session in the index."""
        with self._engine.connect() as connection:
            rows = connection.execute(sa.select(SESSIONS.c.session, SESSIONS.c.stamp))
            return {row.session: row.stamp for row in rows}

    def put(self, entry: Entry) -> None:
        """Write a session in place of what was known of it."""
        with self._engine.begin() as connection:
            _drop(connection, entry.session.id)
            for table, rows in _rows(entry).items():
                if rows:
                    connection.execute(table.insert(), rows)

    def drop(self, names: Iterable[str]) -> None:
        """Forget sessions that are gone."""
        with self._engine.begin() as connection:
            for name in names:
                _drop(connection, name)

    def overviews(self, form: str) -> dict[str, str]:
        """Give what is told of each session in that form."""
        with self._engine.connect() as connection:
            rows = connection.execute(sa.select(OVERVIEW.c.session, OVERVIEW.c.told).where(OVERVIEW.c.form == form))
            return {row.session: row.told for row in rows}

    def put_overview(self, name: str, form: str, told: str) -> None:
        """Write what is told of a session in place of what was told before."""
        with self._engine.begin() as connection:
            connection.execute(OVERVIEW.delete().where(OVERVIEW.c.session == name))
            connection.execute(OVERVIEW.insert().values(session=name, form=form, told=told))

    def dump(self) -> dict[str, list[dict[str, Any]]]:
        """Give all rows of all tables in a fixed order, to compare one index with another."""
        with self._engine.connect() as connection:
            tables = (SESSIONS, CAPTURES, FIGURES)
            return {t.name: [dict(r) for r in connection.execute(_ordered(t)).mappings()] for t in tables}

    def find(
        self, *, name: str | None, maker: str | None, model: str | None, output: str | None
    ) -> tuple[FoundFigure, ...]:
        """Find figures by name, maker and model (in any case) and output; None takes all."""
        columns = [SESSIONS.c.maker, SESSIONS.c.model, *(c for c in FIGURES.c if c.name != "position")]
        query = sa.select(*columns).join_from(FIGURES, SESSIONS).order_by(FIGURES.c.session, FIGURES.c.position)
        wanted: Mapping[Any, str | None] = {
            FIGURES.c.name: name,
            FIGURES.c.output: output,
            SESSIONS.c.maker_key: None if maker is None else _key(maker),
            SESSIONS.c.model_key: None if model is None else _key(model),
        }
        for column, value in wanted.items():
            query = query if value is None else query.where(column == value)
        with self._engine.connect() as connection:
            return tuple(FoundFigure.model_validate(dict(row)) for row in connection.execute(query).mappings())


def sqlite_url(path: Path) -> str:
    """Give the address of an SQLite file, whatever characters its path holds."""
    return sa.URL.create("sqlite", database=str(path)).render_as_string(hide_password=False)


def _pool(address: sa.URL) -> type[sa.Pool] | None:
    """Keep the one connection that holds a database in memory; close any other at once, so that no file stays open."""
    in_memory = address.get_backend_name() == "sqlite" and address.database in {None, "", ":memory:"}
    return sa.StaticPool if in_memory else sa.NullPool


def _prepare_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    cursor = connection.cursor()
    for pragma in (f"busy_timeout={WAIT_MS}", "journal_mode=WAL", "synchronous=NORMAL", "foreign_keys=ON"):
        cursor.execute(f"pragma {pragma}")
    cursor.close()


def _key(name: str) -> str:
    """Write a name so that capital and small letters compare as equal, and never longer than its column."""
    return name.casefold()[:_KEY_LENGTH]


def _ordered(table: sa.Table) -> sa.Select[Any]:
    return sa.select(table).order_by(*table.primary_key.columns)


def _drop(connection: sa.Connection, name: str) -> None:
    for table in (OVERVIEW, FIGURES, CAPTURES, SESSIONS):
        connection.execute(table.delete().where(table.c.session == name))


def _rows(entry: Entry) -> dict[sa.Table, list[dict[str, Any]]]:
    return {SESSIONS: [_session_row(entry)], CAPTURES: _capture_rows(entry), FIGURES: _figure_rows(entry)}


def _session_row(entry: Entry) -> dict[str, Any]:
    session = entry.session
    return {
        "session": session.id,
        "stamp": entry.stamp,
        "started": session.record.started.isoformat(),
        "maker": session.amplifier.maker,
        "model": session.amplifier.model,
        "maker_key": _key(session.amplifier.maker),
        "model_key": _key(session.amplifier.model),
        "bench": session.bench.name,
        "note": session.record.note,
    }


def _capture_rows(entry: Entry) -> list[dict[str, Any]]:
    shared = {"file", "number", "sha256", "size_bytes"}
    described = {"step", "kind", "load", "reader"}
    return [
        {
            "session": entry.session.id,
            **capture.model_dump(include=shared),
            **capture.description.model_dump(include=described),
        }
        for capture in entry.captures
    ]


def _figure_rows(entry: Entry) -> list[dict[str, Any]]:
    void = {capture.number for capture in entry.captures if capture.description.void is not None}
    measured = [c for c in entry.figures.captures if c.number not in void] if entry.figures else []
    found = [(c.number, figure) for c in measured for result in c.results for figure in result.figures]
    kept = {"name", "output", "value", "u", "unit", "k95", "conditions", "origin"}
    return [
        {
            "session": entry.session.id,
            "position": position,
            "capture": number,
            **figure.model_dump(mode="json", include=kept),
        }
        for position, (number, figure) in enumerate(found)
    ]
