"""A folder of tables, objects and recordings being written, session by session."""

import json
import shutil
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from wattproof import __version__
from wattproof.errors import ArchiveError, WattproofError
from wattproof.measure import CaptureResult
from wattproof.tasks.export_captures import capture_cells, export_capture
from wattproof.tasks.export_folder import INDEX, files_below, sha256_of
from wattproof.tasks.export_forms import ExportIndex, IndexColumn, IndexFile, IndexSession, IndexTable
from wattproof.tasks.files import write_text
from wattproof.tasks.judging import JudgedSession, judge
from wattproof.tasks.measured import Measured
from wattproof.tasks.sessions import session_figures

if TYPE_CHECKING:
    from wattproof.archive import Archive, Session
    from wattproof.report import Cell, TableForm, TableRow, Whose
    from wattproof.tasks.export_forms import ExportedCapture

Tell = Callable[[str], None] | None
Numbered = Sequence[tuple[int, CaptureResult]]

PARTS = ".parts"
"""Where a table's sessions wait to become one Parquet file: an archive's tables may not fit into memory."""


@dataclass(kw_only=True)
class Writing:
    """A folder being written, session by session."""

    folder: Path
    store: "Archive"
    samples: bool
    tell: Tell
    problems: list[str]
    sessions: list[IndexSession] = field(default_factory=list)
    rows: dict[str, int] = field(default_factory=dict)
    schemas: dict[str, str] = field(default_factory=dict)
    recordings: int = 0

    def add_if_sound(self, session: "Session") -> None:
        """Add a session; one that cannot be exported is told of and left out, and the others are not held up by it."""
        try:
            self.add(session)
        except WattproofError as error:
            home = f"sessions/{session.id}/"
            shutil.rmtree(self.folder / home, ignore_errors=True)
            self.schemas = {name: one for name, one in self.schemas.items() if not name.startswith(home)}
            self.problems.append(f"{session.id} is left out. {error.message} {error.why}".strip())

    def add(self, session: "Session") -> None:
        """Write a session's objects and recordings, and put its rows to the tables."""
        from wattproof.report import Whose

        numbered = self._figures(session)
        verdicts = self._verdicts(session)
        captures = self._captures(session)
        whose = Whose(session=session.id, maker=session.amplifier.maker, model=session.amplifier.model)
        kinds = {number: result.kind for number, result in numbered}
        started = session.record.started.isoformat()
        facts = [
            capture_cells(told, started=started, kind=kinds.get(told.capture), stem=stem) for stem, told in captures
        ]
        self._append_all(whose, numbered, verdicts, facts)
        self.recordings += sum(told.samples_file is not None for _, told in captures)
        self.sessions.append(
            IndexSession(
                session=session.id,
                maker=session.amplifier.maker,
                model=session.amplifier.model,
                started=session.record.started,
                note=session.record.note,
                captures=len(captures),
                figures=sum(len(result.figures) for _, result in numbered),
            )
        )

    def finish(self) -> ExportIndex:
        """Bring the tables into their last form, and write README.txt and the index."""
        from wattproof.report import FORMS, tables_readme

        for form in FORMS:
            if form.name not in self.rows:  # no session could be exported
                self._append(form, ())
            self._join(form)
        shutil.rmtree(self.folder / PARTS)
        program = f"wattproof {__version__}"
        names = [one.session for one in self.sessions]
        write_text(self.folder / "README.txt", tables_readme(names, self.rows, samples=self.samples, program=program))
        index = ExportIndex(
            sessions=tuple(self.sessions),
            tables=tuple(index_table(form, self.rows[form.name]) for form in FORMS),
            files=tuple(self._file(name) for name in files_below(self.folder)),
            problems=tuple(self.problems),
        )
        write_text(self.folder / INDEX, index.model_dump_json(by_alias=True, indent=2) + "\n")
        return index

    def _file(self, name: str) -> IndexFile:
        path = self.folder / name
        return IndexFile(
            path=name, schema_=self.schemas.get(name), sha256=sha256_of(path), size_bytes=path.stat().st_size
        )

    def _figures(self, session: "Session") -> list[tuple[int, CaptureResult]]:
        session_figures(str(session.folder), archive=self.store.root, tell=self.tell)
        stored = self.store.read_figures(session)
        if stored is None:
            raise ArchiveError(f"The figures of {session.id} are gone.", hint="Export it again.")
        self._object(session, "figures.json", Measured(captures=stored.results).to_json(), schema="measure")
        return [(capture.number, result) for capture in stored.captures for result in capture.results]

    def _verdicts(self, session: "Session") -> JudgedSession | None:
        try:
            judged = judge(str(session.folder), archive=self.store.root, tell=self.tell)
        except WattproofError as error:
            self.problems.append(f"{session.id} has no verdicts. {error.message} {error.why}".strip())
            return None
        self._object(session, "verdicts.json", judged.to_json(), schema="judge")
        return judged

    def _captures(self, session: "Session") -> "list[tuple[str, ExportedCapture]]":
        home = self.folder / "sessions" / session.id / "captures" if self.samples else None
        if home is not None:
            home.mkdir(parents=True)
        told = []
        for record in self.store.captures(session):
            one = export_capture(self.store, session, record, home, tell=self.tell)
            told.append((record.folder, one))
            if home is not None:
                self.schemas[(home / f"{record.folder}.json").relative_to(self.folder).as_posix()] = "export-capture"
            if one.problem is not None:
                self.problems.append(f"{session.id} {record.folder} is kept as it came. {one.problem}")
        return told

    def _object(self, session: "Session", name: str, text: str, *, schema: str) -> None:
        path = self.folder / "sessions" / session.id / name
        path.parent.mkdir(parents=True, exist_ok=True)
        write_text(path, text + "\n")
        self.schemas[path.relative_to(self.folder).as_posix()] = schema

    def _append_all(
        self, whose: "Whose", numbered: Numbered, verdicts: JudgedSession | None, facts: "list[dict[str, Cell]]"
    ) -> None:
        from wattproof import report

        for form, rows in (
            (report.FIGURES, report.figure_rows(whose, numbered)),
            (report.BUDGETS, report.budget_rows(whose, numbered)),
            (report.CURVES, report.curve_rows(whose, numbered)),
            (report.VERDICTS, report.verdict_rows(whose, verdicts.judged) if verdicts else ()),
            (report.CAPTURES, report.capture_rows(whose, facts)),
            (report.NOTICES, report.notice_rows(whose, numbered)),
        ):
            self._append(form, rows)

    def _append(self, form: "TableForm", rows: Iterable["TableRow"]) -> None:
        from wattproof.report import table_csv, table_frame

        known, cells = self.rows.get(form.name), list(rows)
        with (self.folder / f"{form.name}.csv").open("a", encoding="utf-8", newline="") as file:
            file.write(table_csv(form, cells, head=known is None))
        parts = self.folder / PARTS / form.name
        parts.mkdir(parents=True, exist_ok=True)
        table_frame(form, cells).write_parquet(parts / f"{len(list(parts.iterdir())):06d}.parquet")
        self.rows[form.name] = (known or 0) + len(cells)

    def _join(self, form: "TableForm") -> None:
        """Make one Parquet file of a table's parts, a part at a time, with the dictionary of columns inside."""
        import polars

        columns = json.dumps([column.model_dump() for column in index_table(form, 0).columns], ensure_ascii=False)
        parts = sorted((self.folder / PARTS / form.name).iterdir())
        polars.scan_parquet(parts, glob=False).sink_parquet(  # a folder's name may hold a star
            self.folder / f"{form.name}.parquet", metadata={"columns": columns}
        )


def index_table(form: "TableForm", rows: int) -> IndexTable:
    """Describe a table and its columns for the index."""
    return IndexTable(
        name=form.name,
        row=form.row,
        rows=rows,
        key=form.key,
        files=(f"{form.name}.csv", f"{form.name}.parquet"),
        columns=tuple(
            IndexColumn(
                name=column.name,
                type=column.type,
                unit=column.unit or None,
                unit_in=column.unit_in or None,
                description=column.about,
            )
            for column in form.columns
        ),
    )
