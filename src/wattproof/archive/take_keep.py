"""A take becomes a capture: when it is finished, or later, when whoever recorded it has died."""

import secrets
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from wattproof import __version__
from wattproof.archive.captures import captures_folder, claimed_number, numbered_folders, read_capture, title
from wattproof.archive.disk import (
    discard_folder,
    explained,
    publish_folder,
    sha256_of,
    write_file,
    write_new,
)
from wattproof.archive.documents import encode, read_document
from wattproof.archive.locks import take_lock
from wattproof.archive.model import CaptureRecord, Description, Session, TakeEnd, TakeHead, TakenLive
from wattproof.archive.names import PART, TAKE, capture_folder
from wattproof.archive.take_format import Form, Frames, chosen_form, read_chunks, upto, write_audio
from wattproof.errors import ArchiveError

HEAD, FRAMES, END = "take.json", "frames.part", "end.json"


def take_folders(session: Session) -> list[Path]:
    """List the takes of a session that are being recorded or were cut off."""
    with explained("list the takes", captures_folder(session)):
        return sorted(p for p in captures_folder(session).glob(f"{TAKE}*") if p.is_dir())


def lock_path(folder: Path) -> Path:
    """Give the file whose lock says that a take is alive; beside the folder, so that the folder can be renamed."""
    return folder.with_name(f"{folder.name}.lock")


def make_take(folder: Path, head: TakeHead) -> None:
    """Make the folder of a take, with no samples yet, whole or not at all."""
    aside = folder.with_name(f"{PART}{secrets.token_hex(4)}-take")
    try:
        aside.mkdir(parents=True)
        write_new(aside / HEAD, encode(head))
        write_new(aside / FRAMES, b"")
        publish_folder(aside, folder)
    finally:
        discard_folder(aside)


def read_head(folder: Path) -> TakeHead:
    """Read what a take is of.

    Raises
    ------
    ArchiveError
        That is damaged, or the samples are gone.
    """
    with explained("find the samples", folder):
        (folder / FRAMES).stat()
    return read_document("take", folder / HEAD, TakeHead)


def note_end(folder: Path, end: TakeEnd) -> None:
    """Note that a take came to its end, so that a process killed while keeping it does not make it one cut off."""
    with explained("end the take", folder):
        write_file(folder / END, encode(end))


def discard_take(folder: Path) -> None:
    """Take away a take, in one step as others see it."""
    aside = folder.with_name(f"{PART}{secrets.token_hex(4)}-take")
    with suppress(OSError):
        folder.rename(aside)
        discard_folder(aside)


def recover_takes(session: Session, *, clock: Callable[[], datetime]) -> tuple[CaptureRecord, ...]:
    """Keep the takes whose recorder has died; those of a living one, or that another process is keeping, are let be."""
    kept = []
    with explained("recover a take", captures_folder(session)):
        for lock_file in sorted(
            {*captures_folder(session).glob(f"{TAKE}*.lock"), *map(lock_path, take_folders(session))}
        ):
            lock = take_lock(lock_file)
            if lock is None:
                continue
            folder = lock_file.with_suffix("")
            try:
                record = _recovered(session, folder, added=clock())
            finally:
                lock.release(remove=not folder.exists())
            kept += [record] if record else []
    return tuple(kept)


def _recovered(session: Session, folder: Path, *, added: datetime) -> CaptureRecord | None:
    """Keep one take that is ours now; one of which a capture was made already is only taken away."""
    if not folder.exists():
        return None
    if _has_become(session, folder.name):
        discard_take(folder)
        return None
    try:
        head = read_head(folder)
    except ArchiveError:  # a damaged disk: `verify` tells, and nothing else is held up by it
        return None
    end = None
    with suppress(ArchiveError):  # not there, or damaged: then it counts as cut off
        end = read_document("take", folder / END, TakeEnd)
    return keep_take(session, folder, head, end, added=added)


def _has_become(session: Session, take: str) -> bool:
    """Tell whether a capture was made of a take: a process may die after that and before the take is gone."""
    for folder in numbered_folders(session):
        with suppress(ArchiveError):
            live = read_capture(folder).live
            if live is not None and live.take == take:
                return True
    return False


def keep_take(
    session: Session, folder: Path, head: TakeHead, end: TakeEnd | None, *, added: datetime
) -> CaptureRecord | None:
    """Make a capture of a take and take the take away; None where there is no sample to keep.

    Parameters
    ----------
    session : Session
        Whose take it is.
    folder : Path
        The take.
    head : TakeHead
        What it is of.
    end : TakeEnd or None
        How it ended; None makes it one that was cut off.
    added : datetime
        Now.

    Raises
    ------
    ArchiveError
        The disk refuses; the take is still there.
    """
    n_tracks, until = len(head.channels), None if end is None else end.until

    def chunks() -> Iterator[Frames]:
        found = read_chunks(folder / FRAMES, n_tracks=n_tracks)
        return found if until is None else upto(found, until)

    with explained("keep a take", folder):
        form = chosen_form(chunks(), n_tracks=n_tracks, rate_hz=head.rate_hz)
        record = None
        while form.n_samples and record is None:
            with claimed_number(session) as (number, aside):
                path = aside / f"original{form.suffix}"
                write_audio(path, chunks, form, n_tracks=n_tracks, rate_hz=head.rate_hz)
                built = _record(path, folder, head, end, form, number=number, added=added)
                write_new(aside / "capture.json", encode(built))
                if publish_folder(aside, captures_folder(session) / built.folder):
                    record = built
        discard_take(folder)
    return record


def _record(
    path: Path, take: Path, head: TakeHead, end: TakeEnd | None, form: Form, *, number: int, added: datetime
) -> CaptureRecord:
    name = capture_folder(number, title(head.description, otherwise=f"step {head.step}"))
    return CaptureRecord(
        wattproof=__version__,
        number=number,
        folder=name,
        file=f"{name}{form.suffix}",
        original=path.name,
        sha256=sha256_of(path),
        size_bytes=path.stat().st_size,
        added=added,
        description=_description(head, end, form),
        live=TakenLive(
            take=take.name,
            step=head.step,
            began=head.began,
            rate_hz=head.rate_hz,
            channels=head.channels,
            n_samples=form.n_samples,
            cut_off=end is None,
        ),
    )


def _description(head: TakeHead, end: TakeEnd | None, form: Form) -> Description:
    said, seconds = head.description, form.n_samples / head.rate_hz
    remark = f"Cut off after {seconds:.2f} s: the recording was not brought to its end." if end is None else end.note
    changes = {
        "note": " ".join(filter(None, (said.note, remark))),
        "void": said.void if end is None else end.void or said.void,
        "reader": said.reader or form.suffix.removeprefix("."),
    }
    return said.model_copy(update=changes)
