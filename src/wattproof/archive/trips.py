"""Trips of the guard, each in a folder of its own with the samples around it; it latches until a person clears it."""

import re
import secrets
from collections.abc import Iterator, Mapping
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pydantic import JsonValue

from wattproof import __version__
from wattproof.archive.disk import discard_folder, explained, publish_folder, sha256_of, write_file, write_new
from wattproof.archive.documents import encode, plain, read_document
from wattproof.archive.model import Change, ClearedFile, KeptTrip, Session, TripRecord
from wattproof.archive.names import PART, slug, storable
from wattproof.archive.take_format import Frames, chosen_form, write_audio
from wattproof.errors import ArchiveError
from wattproof.waveform import Channel

_FOLDER = re.compile(r"(\d{2,6})-[a-z0-9-]+")


def trips_folder(session: Session) -> Path:
    """Give the folder that holds a session's trips."""
    return session.folder / "trips"


def trip_folders(session: Session) -> list[tuple[int, Path]]:
    """List the trips' numbers and folders, in order."""
    home = trips_folder(session)
    with explained("list the trips", home):
        entries = list(home.iterdir()) if home.is_dir() else []
    found = ((_FOLDER.fullmatch(entry.name), entry) for entry in entries)
    return sorted((int(match[1]), entry) for match, entry in found if match)


def keep_trip(
    session: Session,
    trip: Mapping[str, JsonValue],
    *,
    samples: NDArray[np.float64] | Frames,
    channels: tuple[Channel, ...],
    rate_hz: float,
    at: datetime,
) -> KeptTrip:
    """Keep a trip with the samples around it, whole or not at all; it latches.

    Raises
    ------
    ArchiveError
        The disk is full or refuses.
    """
    home = trips_folder(session)
    with explained("keep a trip", home):
        home.mkdir(exist_ok=True)
        aside = home / f"{PART}{secrets.token_hex(4)}"
        try:
            aside.mkdir()
            name = _write_samples(aside, np.asarray(samples, dtype=np.float32), rate_hz=rate_hz)
            record = TripRecord(
                wattproof=__version__,
                at=at,
                trip={storable(key): plain(value) for key, value in trip.items()},
                channels=channels,
                rate_hz=rate_hz,
                n_samples=samples.shape[0],
                samples=name,
                sha256=sha256_of(aside / name) if name else None,
            )
            write_new(aside / "trip.json", encode(record))
            while True:
                number = max((number for number, _folder in trip_folders(session)), default=0) + 1
                folder = home / f"{number:02d}-{slug(str(trip.get('code', 'trip')), fallback='trip')}"
                if publish_folder(aside, folder):
                    return _kept(number, folder)
        finally:
            discard_folder(aside)


def _write_samples(folder: Path, frames: Frames, *, rate_hz: float) -> str | None:
    """Write the samples as a recording, its name given back; None where there are none or the disk will not have it."""
    if not frames.size:
        return None
    n_tracks, rate = frames.shape[1], round(rate_hz)
    form = chosen_form([frames], n_tracks=n_tracks, rate_hz=rate)
    path = folder / f"samples{form.suffix}"
    try:
        write_audio(path, lambda: [frames], form, n_tracks=n_tracks, rate_hz=rate)
    except OSError:  # that it latches matters more than what was seen
        path.unlink(missing_ok=True)
        return None
    return path.name


def read_trips(session: Session) -> tuple[KeptTrip, ...]:
    """Read all trips, oldest first.

    Raises
    ------
    ArchiveError
        A document of one is damaged.
    """
    return tuple(_kept(number, folder) for number, folder in trip_folders(session))


def _kept(number: int, folder: Path) -> KeptTrip:
    record = read_document("trip", folder / "trip.json", TripRecord)
    cleared = folder / "cleared.json"
    return KeptTrip(
        number=number,
        at=record.at,
        trip=record.trip,
        samples=folder / record.samples if record.samples else None,
        rate_hz=record.rate_hz,
        channels=record.channels,
        cleared_by=read_document("cleared", cleared, ClearedFile).who if cleared.exists() else None,
    )


def clear_trips(session: Session, who: str, *, at: datetime) -> tuple[KeptTrip, ...]:
    """Clear all that is latched; gives what was.

    Raises
    ------
    ArchiveError
        The disk refuses, or nothing was said.
    """
    if not who.strip():
        raise ArchiveError(
            "A trip is cleared by a person.",
            why="Nothing was said.",
            hint="Say who looked at the bench, and what was found.",
        )
    folders = dict(trip_folders(session))
    latched = tuple(trip for trip in read_trips(session) if trip.cleared_by is None)
    for trip in latched:
        path = folders[trip.number] / "cleared.json"
        with explained("clear a trip", path):
            write_file(path, encode(ClearedFile(wattproof=__version__, at=at, who=who.strip())))
    return latched


def changed_trips(session: Session) -> Iterator[Change]:
    """List the trips that are not as they were written."""
    for _number, folder in trip_folders(session):
        name = folder.relative_to(session.folder).as_posix()
        try:
            record = read_document("trip", folder / "trip.json", TripRecord)
            if (folder / "cleared.json").exists():
                read_document("cleared", folder / "cleared.json", ClearedFile)
        except ArchiveError as error:
            yield Change(path=name, what="damaged", detail=f"{error.message} {error.why}")
            continue
        if record.samples is None:
            continue
        path = folder / record.samples
        if not path.is_file():
            yield Change(path=f"{name}/{record.samples}", what="missing", detail=f"{record.n_samples} samples.")
        elif (found := sha256_of(path)) != record.sha256:
            detail = f"SHA-256 {found[:12]}..., not {(record.sha256 or '')[:12]}..."
            yield Change(path=f"{name}/{record.samples}", what="changed", detail=detail)
