"""The archive during a bench day: takes as they are recorded, trips, the journal and the papers of a run."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import JsonValue

from wattproof.archive import journal, runs, take_keep, takes, trips, windows
from wattproof.archive.disk import free_bytes
from wattproof.archive.figures import write_event
from wattproof.archive.model import CaptureRecord, Description, KeptTrip, Session
from wattproof.archive.take_format import Frames
from wattproof.archive.takes import TakeWriter
from wattproof.plan import RunSheet
from wattproof.waveform import Channel


class BenchDay:
    """What `Archive` does while the bench is running.

    Parameters
    ----------
    root : Path
        The archive's folder.
    clock : callable
        Gives the time.
    """

    def __init__(self, root: Path, *, clock: Callable[[], datetime]) -> None:
        self.root = root
        self._clock = clock

    def begin_take(
        self,
        session: Session,
        *,
        step: int,
        description: Description,
        channels: tuple[Channel, ...],
        rate_hz: float,
        seconds: float | None = None,
    ) -> TakeWriter:
        """Begin to record a step; what is written is safe within a second, also if this process is killed.

        Parameters
        ----------
        session : Session
            Where the capture goes.
        step : int >= 1
            Number of the step in the run sheet.
        description : Description
            What the capture is taken for.
        channels : tuple of Channel
            The recorder's tracks, in the order of the samples' columns.
        rate_hz : float, Hz, a whole number
            Samples a second.
        seconds : float or None, s
            How long it may become: refused here if the disk has no room for so much.

        Raises
        ------
        ArchiveError
            The disk is too full, or refuses.
        """
        return takes.begin_take(
            session,
            step=step,
            description=description,
            channels=channels,
            rate_hz=rate_hz,
            seconds=seconds,
            clock=self._clock,
        )

    def announced(self, session: Session, *, port: int, secret: str) -> AbstractContextManager[None]:
        """Leave the address of a run's window for this person's other programs, for as long as the block lasts."""
        return windows.announced(self.root, session, port=port, secret=secret)

    def workbench_secret(self, fresh: bytes) -> bytes:
        """Give the secret that the workbench signs with; `fresh` becomes it where there is none yet."""
        return windows.workbench_secret(self.root, fresh)

    def keep_token(self, token: str) -> Path:
        """Leave the token for scripts beside the sessions, and give where."""
        return windows.keep_token(self.root, token)

    def windows(self) -> tuple[windows.WindowAddress, ...]:
        """Give the addresses of runs that are going on; one whose process was killed may be among them."""
        return windows.window_addresses(self.root)

    def free_bytes(self) -> int:
        """Give the space left on the archive's disk."""
        return free_bytes(self.root)

    def room_for(self, seconds: float, *, n_tracks: int, rate_hz: float) -> int:
        """Give the bytes that must be free for a take of that length, with the reserve that is never used up.

        Parameters
        ----------
        seconds : float, s
            Length of the take.
        n_tracks : int >= 1
            Its tracks.
        rate_hz : float, Hz
            Samples a second.
        """
        return takes.room_for(seconds, n_tracks=n_tracks, rate_hz=rate_hz) + takes.RESERVE_BYTES

    def recover(self, session: Session) -> tuple[CaptureRecord, ...]:
        """Keep what was being recorded when a process died: as captures, marked in note and record as cut off.

        A take that was finished, but not yet kept, becomes what it was to be. One that is being recorded is let be. May
        be called at any time and by several processes at once.

        Raises
        ------
        ArchiveError
            The disk is full or refuses; the takes are still there.
        """
        return take_keep.recover_takes(session, clock=self._clock)

    def keep_run_sheet(self, session: Session, sheet: RunSheet) -> None:
        """Store the run sheet in place of the one before, which goes into the history.

        Raises
        ------
        ArchiveError
            The disk refuses.
        """
        runs.keep_run_sheet(session, sheet, at=self._clock())

    def run_sheet(self, session: Session) -> RunSheet | None:
        """Read the run sheet; None where there is none.

        Raises
        ------
        ArchiveError
            The file is damaged, or newer than this version.
        """
        return runs.read_run_sheet(session)

    def keep_answers(self, session: Session, answers: Mapping[str, str]) -> None:
        """Store what a person answered, by the code of the question; earlier answers to others stay.

        Raises
        ------
        ArchiveError
            The disk refuses.
        """
        runs.keep_answers(session, answers, at=self._clock())

    def answers(self, session: Session) -> dict[str, str]:
        """Read the latest answer to each question.

        Raises
        ------
        ArchiveError
            The file is damaged, or newer than this version.
        """
        return runs.read_answers(session)

    def log(self, session: Session, event: Mapping[str, JsonValue]) -> None:
        """Add an event to the journal, with the time as ``at`` unless it has one; waits until it is on the disk.

        Numbers that are not finite are noted by their names.

        Raises
        ------
        ArchiveError
            The disk refuses.
        """
        journal.add_line(session, event, at=self._clock())

    def journal(self, session: Session) -> tuple[dict[str, Any], ...]:
        """Read the journal, oldest event first.

        Raises
        ------
        ArchiveError
            It may not be read.
        """
        return journal.read_lines(session)

    def keep_trip(
        self,
        session: Session,
        trip: Mapping[str, JsonValue],
        *,
        samples: NDArray[np.float64] | Frames,
        channels: tuple[Channel, ...],
        rate_hz: float,
    ) -> KeptTrip:
        """Keep why the guard stopped the drive; it latches until a person clears it.

        Parameters
        ----------
        session : Session
            In which it happened.
        trip : mapping
            What the guard said; its ``code`` names the folder.
        samples : array of shape (n_samples, n_tracks), file units
            The samples around it; none at all will do. A disk that has no room for them keeps the trip without them.
        channels : tuple of Channel
            Their tracks.
        rate_hz : float, Hz
            Samples a second.

        Raises
        ------
        ArchiveError
            The disk is full or refuses.
        """
        return trips.keep_trip(session, trip, samples=samples, channels=channels, rate_hz=rate_hz, at=self._clock())

    def trips(self, session: Session) -> tuple[KeptTrip, ...]:
        """List the trips, oldest first.

        Raises
        ------
        ArchiveError
            A file is damaged.
        """
        return trips.read_trips(session)

    def latched(self, session: Session) -> dict[str, Any] | None:
        """Give what the guard said at the last trip that nobody has cleared; None where nothing is latched.

        Raises
        ------
        ArchiveError
            A file is damaged: then it is not known, and nothing may be driven.
        """
        waiting = [trip for trip in trips.read_trips(session) if trip.cleared_by is None]
        return {**waiting[-1].trip, "number": waiting[-1].number} if waiting else None

    def clear_trip(self, session: Session, who_says: str) -> None:
        """Clear what is latched, in the words of the person who looked at the bench.

        Raises
        ------
        ArchiveError
            Nothing was said, or the disk refuses.
        """
        at = self._clock()
        for trip in trips.clear_trips(session, who_says, at=at):
            details: dict[str, JsonValue] = {"trip": trip.number, "who": who_says.strip()}
            write_event(session, "cleared", details, at=at)

    @contextmanager
    def conducting(self, session: Session) -> Iterator[tuple[CaptureRecord, ...]]:
        """Hold a session for one run, and recover what an earlier one left; gives what was recovered.

        Raises
        ------
        ArchiveError
            Another process runs it now, or the disk refuses the recovery.
        """
        with runs.conducting(session):
            yield self.recover(session)
