"""What the workbench needs of an archive beside the tasks: its place, its secret, who is running."""

import secrets
from collections.abc import Callable, Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from wattproof.tasks.amplifier_papers import AmplifierPapers
from wattproof.tasks.begun import BegunRun, begin
from wattproof.tasks.bench_papers import BenchPapers
from wattproof.tasks.comparisons import Comparisons
from wattproof.tasks.findings import FindingsShelf
from wattproof.tasks.imports import Imports
from wattproof.tasks.overview import Overviews
from wattproof.tasks.run_past import RunPast, need_session, recent_sessions, run_past
from wattproof.tasks.run_sheets import RunSheets
from wattproof.tasks.sample_session import keep_sample
from wattproof.tasks.words_kept import SessionWords

if TYPE_CHECKING:
    from wattproof.archive import Archive, WindowAddress


class Workbench:
    """An archive as the workbench holds it.

    Parameters
    ----------
    archive : Path or None
        Its folder; the usual one when left out.
    """

    def __init__(self, archive: Path | None = None) -> None:
        from wattproof.archive import default_root

        self.archive = archive or default_root()

    def secret(self) -> bytes:
        """Give the archive's secret, which signs the workbench's cookies; made when first asked for."""
        return self._store.workbench_secret(secrets.token_bytes(32))

    def keep_token(self, token: str) -> Path:
        """Leave the token for scripts where this person's programs read it, and give where."""
        return self._store.keep_token(token)

    def running(self) -> "tuple[WindowAddress, ...]":
        """Give where runs that are going on can be watched."""
        return self._store.windows()

    def begin_run(
        self,
        *,
        files: Sequence[Path] = (),
        session: str | None = None,
        sheet: Path | None = None,
        answers: Sequence[str] = (),
        skip: Sequence[int] = (),
        clear_trip: str | None = None,
        note: str = "",
    ) -> BegunRun:
        """Begin a run in a process of its own; the arguments are the task `run`'s; a session by its whole name."""
        if session is not None:
            need_session(self._store, session)
        return begin(
            self._store, files=files, session=session, sheet=sheet, answers=answers, skip=skip,
            clear_trip=clear_trip, note=note,
        )  # fmt: skip

    def past_run(self, session: str) -> RunPast:
        """Say how far a session's run has come, whether it goes on or not."""
        return run_past(self._store, session)

    @cached_property
    def findings(self) -> FindingsShelf:
        """Give what sessions show, drawn."""
        return FindingsShelf(self.archive)

    def recent_sessions(self, most: int) -> tuple[str, ...]:
        """Give the names of the newest sessions, the newest first."""
        return recent_sessions(self._store, most)

    def keep_sample(self, *, tell: Callable[[str], None]) -> str:
        """Keep a made-up bench day as a session, to try everything on; gives its name."""
        return keep_sample(self.archive, tell=tell)

    @cached_property
    def amplifiers(self) -> AmplifierPapers:
        """Give the amplifier papers."""
        return AmplifierPapers(self.archive)

    @cached_property
    def benches(self) -> BenchPapers:
        """Give the bench papers."""
        return BenchPapers(self.archive)

    @cached_property
    def overviews(self) -> Overviews:
        """Give the list of all that were tested."""
        return Overviews(self.archive)

    @cached_property
    def comparisons(self) -> Comparisons:
        """Give the comparisons that were asked for."""
        return Comparisons(self.archive)

    @cached_property
    def imports(self) -> Imports:
        """Take files in."""
        return Imports(self.archive)

    @cached_property
    def words(self) -> SessionWords:
        """Give what people say beside figures."""
        return SessionWords(self.archive)

    @cached_property
    def sheets(self) -> RunSheets:
        """Give the run sheets."""
        return RunSheets(self.archive)

    @cached_property
    def _store(self) -> "Archive":
        from wattproof.archive import Archive

        return Archive(self.archive)
