"""A capture as it is recorded: written at once, chunk by chunk, so that a killed process loses next to nothing.

Whoever records never waits for the disk: `TakeWriter.write` puts the samples into a queue, one thread writes what is in
it and another brings it down to the disk a few times a second.
"""

import errno
import os
import secrets
import threading
import time
from collections import deque
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import NDArray

from wattproof import __version__
from wattproof.archive.captures import captures_folder, sweep_session, title
from wattproof.archive.disk import explained, need_free
from wattproof.archive.locks import FileLock, take_lock
from wattproof.archive.model import CaptureRecord, Description, Session, TakeEnd, TakeHead
from wattproof.archive.names import TAKE, slug
from wattproof.archive.take_format import Frames, chunk_bytes
from wattproof.archive.take_keep import FRAMES, discard_take, keep_take, lock_path, make_take, note_end
from wattproof.errors import ArchiveError
from wattproof.waveform import Channel

FLUSH_S = 0.25
"""How often what was written is brought to the disk, seconds: what a power cut may cost."""

STUCK_S = 4.0
"""A disk that has taken nothing for so long while samples wait is taken for lost, seconds."""

MOST_WAITING_BYTES = 256 << 20
"""Samples that may wait in memory; a recorder in step with the clock never comes near it within `STUCK_S`."""

RESERVE_BYTES = 64 << 20
"""Space that a take always leaves on the disk, for figures, the journal and the system."""

_CHUNK_BYTES = 1 << 20


class TakeWriter:
    """Takes the samples of one step as they arrive, and makes a capture of them at the end.

    Left without `finish` or `abandon` (also when the process dies), it is kept as cut off by the next recovery.
    """

    def __init__(
        self, session: Session, folder: Path, head: TakeHead, lock: FileLock, *, clock: Callable[[], datetime]
    ) -> None:
        self._session, self._folder, self._head, self._lock, self._clock = session, folder, head, lock, clock
        self._n_tracks, self._n_samples, self._over = len(head.channels), 0, False
        self._waiting: deque[Frames] = deque()
        self._waiting_bytes, self._moved_s = 0, time.monotonic()
        self._fault: OSError | None = None
        self._ending, self._changed = threading.Event(), threading.Condition()
        flags = os.O_WRONLY | os.O_APPEND | getattr(os, "O_BINARY", 0)
        self._descriptor = os.open(folder / FRAMES, flags)
        self._threads = [threading.Thread(target=work, daemon=True) for work in (self._write_on, self._flush_on)]
        for thread in self._threads:
            thread.start()

    @property
    def n_samples(self) -> int:
        """Samples of each track taken so far."""
        return self._n_samples

    def write(self, samples: NDArray[np.float64] | Frames) -> None:
        """Take samples; returns at once, whatever the disk does.

        Parameters
        ----------
        samples : array of shape (n_samples, n_tracks), file units
            Kept as float32, which holds every code of a 24-bit recorder exactly.

        Raises
        ------
        ArchiveError
            The disk is full, refuses, or has been stuck for seconds; what was written before is safe.
        ValueError
            The shape does not fit the channels, or the take is over.
        """
        if self._over or samples.ndim != 2 or samples.shape[1] != self._n_tracks:
            raise ValueError(f"{samples.shape} samples for {self._n_tracks} tracks, take over: {self._over}")
        with np.errstate(over="ignore"):  # beyond float32 is infinite, and is kept as that
            frames = np.array(samples, dtype=np.float32, order="C")
        with self._changed:
            self._refuse_faulty()
            if not self._waiting:
                self._moved_s = time.monotonic()
            elif time.monotonic() - self._moved_s > STUCK_S or self._waiting_bytes > MOST_WAITING_BYTES:
                seconds = time.monotonic() - self._moved_s
                self._fault = OSError(errno.EIO, f"{self._waiting_bytes} bytes wait, for {seconds:.1f} s")
                self._refuse_faulty()
            self._waiting.append(frames)
            self._waiting_bytes += frames.nbytes
            self._n_samples += frames.shape[0]
            self._changed.notify()

    def _refuse_faulty(self) -> None:
        with explained("record", self._folder):
            if self._fault is not None:
                raise OSError(self._fault.errno, self._fault.strerror)

    def finish(self, *, note: str = "", void: str | None = None, until: int | None = None) -> CaptureRecord:
        """Make an ordinary capture of what was taken.

        Parameters
        ----------
        note : str
            Added to the description's note.
        void : str or None
            Why no figure may be made of it.
        until : int or None
            Keep only so many samples; all when left out.

        Raises
        ------
        ArchiveError
            The disk was or is full, or refuses; a later recovery keeps what was written. Or nothing was recorded.
        """
        self._stop()
        try:
            self._refuse_faulty()
            end = TakeEnd(wattproof=self._head.wattproof, note=note, void=void, until=until)
            note_end(self._folder, end)
            record = keep_take(self._session, self._folder, self._head, end, added=self._clock())
        finally:
            self._lock.release(remove=not self._folder.exists())
        if record is None:
            raise ArchiveError(
                f"Nothing was recorded of step {self._head.step}.",
                why=f"{self._n_samples} samples were taken, {until if until is not None else 'all'} were to be kept.",
                hint="Repeat the step.",
            )
        return record

    def abandon(self, why: str) -> CaptureRecord | None:
        """End a take that is no good: kept as void, so that one can see what happened; nothing where nothing was taken.

        Raises
        ------
        ArchiveError
            The disk was or is full, or refuses.
        """
        if self._n_samples:
            return self.finish(void=why)
        self._stop()
        discard_take(self._folder)
        self._lock.release(remove=True)
        return None

    def close(self) -> None:
        """Leave it as it is, for the next recovery to keep as cut off; does nothing after `finish` or `abandon`."""
        if not self._over:
            self._stop()
            self._lock.release()

    def __enter__(self) -> Self:
        """Give itself; leaving the block closes it."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close it."""
        self.close()

    def _stop(self) -> None:
        if self._over:
            raise ValueError("the take is over")
        self._over = True
        with self._changed:
            self._ending.set()
            self._changed.notify()
        for thread in self._threads:
            thread.join()
        try:
            os.fsync(self._descriptor)
        except OSError as error:
            self._fault = self._fault or error
        finally:
            os.close(self._descriptor)

    def _write_on(self) -> None:
        """Write what waits until the take ends; a refusal ends it with what was written whole."""
        first = size = 0
        while (frames := self._next()) is not None:
            try:
                _write_whole(self._descriptor, chunk_bytes(frames, first=first), at=size)
            except OSError as error:
                self._fault = self._fault or error
                return
            first += frames.shape[0]
            size = os.fstat(self._descriptor).st_size
            with self._changed:
                self._moved_s = time.monotonic()

    def _next(self) -> Frames | None:
        """Wait for samples and give about a chunk of them; None once the take has ended and all is written."""
        with self._changed:
            while not self._waiting and not self._ending.is_set():
                self._changed.wait()
            taken, size = [], 0
            while self._waiting and size < _CHUNK_BYTES:
                taken.append(self._waiting.popleft())
                size += taken[-1].nbytes
            self._waiting_bytes -= size
        return np.concatenate(taken) if taken else None

    def _flush_on(self) -> None:
        """Bring what was written to the disk, and see that the disk has room for it twice: once more as a capture."""
        while not self._ending.wait(FLUSH_S):
            try:
                os.fsync(self._descriptor)
                need_room(self._folder, os.fstat(self._descriptor).st_size)
            except OSError as error:
                self._fault = self._fault or error
                return


def begin_take(
    session: Session,
    *,
    step: int,
    description: Description,
    channels: tuple[Channel, ...],
    rate_hz: float,
    seconds: float | None,
    clock: Callable[[], datetime],
) -> TakeWriter:
    """Make the folder of a take and begin to write; `Archive.begin_take` says what it takes."""
    if not rate_hz.is_integer():
        raise ArchiveError(
            f"Cannot record at {rate_hz!r} samples a second.",
            why="WAV and FLAC files state a whole number of them.",
            hint=f"Set the recorder to {round(rate_hz)} samples a second.",
        )
    head = TakeHead(
        wattproof=__version__,
        step=step,
        description=description,
        channels=channels,
        rate_hz=int(rate_hz),
        began=clock(),
        pid=os.getpid(),
    )
    home = captures_folder(session)
    name = f"{TAKE}{step:02d}-{slug(title(description, otherwise='take'), fallback='take')}-"
    with explained("record", home):
        home.mkdir(exist_ok=True)
        sweep_session(session)
        need_room(home, room_for(seconds or 0.0, n_tracks=len(channels), rate_hz=rate_hz))
        lock = None
        while lock is None:
            folder = home / f"{name}{secrets.token_hex(4)}"
            lock = take_lock(lock_path(folder))
        try:
            make_take(folder, head)
            return TakeWriter(session, folder, head, lock, clock=clock)
        except BaseException:
            discard_take(folder)
            lock.release(remove=True)
            raise


def _write_whole(descriptor: int, data: bytes, *, at: int) -> None:
    """Append all of `data`, or nothing: what a full disk took of it is cut off again."""
    left = memoryview(data)
    try:
        while left:
            left = left[os.write(descriptor, left) :]
    except OSError:
        os.ftruncate(descriptor, at)
        raise


def need_room(folder: Path, wanted_bytes: int) -> None:
    """Refuse where less is free than is wanted and the reserve.

    Raises
    ------
    OSError
        There is not, with the numbers.
    """
    need_free(folder, wanted_bytes + RESERVE_BYTES)


def room_for(seconds: float, *, n_tracks: int, rate_hz: float) -> int:
    """Give the bytes that a take of that length needs at most: as it grows, and again as the capture it becomes."""
    return 2 * int(np.ceil(seconds * rate_hz)) * n_tracks * 4 + (1 << 20)
