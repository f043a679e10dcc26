"""Captures out of the archive: samples in a common form, and a sidecar that tells what they are."""

import shutil
from collections.abc import Callable
from math import log2
from pathlib import Path
from typing import TYPE_CHECKING

from wattproof.bench import Bench
from wattproof.errors import MeasureError, WattproofError
from wattproof.measure import BenchRecord, Track, lay_on_bench
from wattproof.tasks.export_audio import BITS, audio_form, write_audio
from wattproof.tasks.export_folder import sha256_of
from wattproof.tasks.export_forms import ExportedCapture, OriginalFile, SamplesFile, TrackFacts
from wattproof.tasks.files import write_text
from wattproof.tasks.measuring import Item, is_readings, opened
from wattproof.tasks.quick import channels_said, chosen_load, quick_bench
from wattproof.tasks.sessions import item_of
from wattproof.waveform import Recording

if TYPE_CHECKING:
    from wattproof.archive import Archive, CaptureRecord, Session
    from wattproof.report import Cell

UNITS = {"voltage": "V", "current": "A", "temperature": "K or °C"}
"""Unit of a channel, by the last word of its role; nothing says to which of two a thermometer was scaled."""


def export_capture(
    store: "Archive",
    session: "Session",
    record: "CaptureRecord",
    folder: Path | None,
    *,
    tell: Callable[[str], None] | None,
) -> ExportedCapture:
    """Write a capture's samples and its sidecar.

    Parameters
    ----------
    store, session, record
        The capture.
    folder : Path or None
        Where the two files go; None writes neither and only tells what is known of it.
    tell : callable or None
        Gets a line before a recording is written.

    Raises
    ------
    ArchiveError
        The kept capture is not what its hash says.
    OSError
        The disk refuses.
    """
    item = item_of(store, session, record)
    if tell is not None and folder is not None:
        tell(f"writing {session.id} {record.folder} ...")
    try:
        facts = _typed(session, record) if is_readings(item.path) else _recorded(session, record, item)
        written = None if folder is None else _samples(item, record, folder)
    except WattproofError as error:
        facts = _facts(session, record) | {"problem": f"{error.message} {error.why}".strip()}
        written = (
            None if folder is None else _as_it_came(item.path, folder / f"{record.folder}.original{item.path.suffix}")
        )
    told = ExportedCapture.model_validate(facts | {"samples_file": written})
    if folder is not None:
        write_text(folder / f"{record.folder}.json", told.model_dump_json(by_alias=True, indent=2) + "\n")
    return told


def _facts(session: "Session", record: "CaptureRecord") -> dict[str, object]:
    said = record.description
    return {
        "session": session.id,
        "maker": session.amplifier.maker,
        "model": session.amplifier.model,
        "capture": record.number,
        "step": said.step,
        "kind": said.kind,
        "load": said.load,
        "load_ohm": None,
        "void": said.void,
        "note": said.note,
        "began": None if record.live is None else record.live.began,
        "start_s": None,
        "sample_rate_hz": None,
        "samples": None,
        "duration_s": None,
        "clock_u": session.bench.clock_u,
        "channels": (),
        "original": OriginalFile(
            file=record.file, reader=said.reader, sha256=record.sha256, size_bytes=record.size_bytes
        ),
    }


def _typed(session: "Session", record: "CaptureRecord") -> dict[str, object]:
    return _facts(session, record) | {"kind": "readings"}


def _recorded(session: "Session", record: "CaptureRecord", item: Item) -> dict[str, object]:
    recording = opened(item)
    table = quick_bench(
        recording,
        session.bench,
        channels=channels_said(item.wishes.channel),
        volts_per_unit=item.wishes.volts_per_unit,
    )
    load = chosen_load(table, load=item.wishes.load, load_ohm=item.wishes.load_ohm)
    laid = _laid(recording, table)
    return _facts(session, record) | {
        "kind": item.wishes.kind or record.description.kind,
        "load": load.name if load is not None else record.description.load,
        "load_ohm": load.resistance_ohm if load is not None else None,
        "start_s": recording.start_s,
        "sample_rate_hz": recording.rate_hz,
        "samples": recording.n_samples,
        "duration_s": laid.duration_s,
        "channels": _channels(laid),
    }


def _laid(recording: Recording, bench: Bench | None) -> BenchRecord:
    """Lay a recording on the bench as measuring does; where the bench fits no track, its tracks stay unnamed."""
    try:
        return lay_on_bench(recording, bench=bench)[0]
    except MeasureError:
        return lay_on_bench(recording, bench=None)[0]


def _channels(laid: BenchRecord) -> tuple[TrackFacts, ...]:
    """Tell what each track is: those the bench names, for each use of them, and those it does not."""
    named = [_named(track) for track in laid.tracks if track.calibrated]
    used = {track.track for track in named}
    others = [
        _unnamed(place, channel.name, channel.unit, channel.full_scale)
        for place, channel in enumerate(laid.recording.channels, 1)
        if place not in used
    ]
    return tuple(sorted([*named, *others], key=lambda track: track.track))


def _named(track: Track) -> TrackFacts:
    used = track.calibration
    return TrackFacts(
        track=track.index + 1,
        name=track.channel.name,
        role=track.role,
        output=track.output,
        unit=UNITS[track.role.rsplit("_", 1)[-1]],
        factor=used.scale,
        offset=used.offset,
        factor_u=used.scale_u,
        offset_u=used.offset_u,
        skew_s=used.skew_s,
        skew_u_s=used.skew_u_s,
        full_scale=track.full_scale,
        calibrated=used.calibrated,
    )


def _unnamed(place: int, name: str, unit: str | None, full_scale: float | None) -> TrackFacts:
    return TrackFacts(
        track=place, name=name, role=None, output=None, unit=None if unit == "FS" else unit, factor=None, offset=None,
        factor_u=None, offset_u=None, skew_s=None, skew_u_s=None, full_scale=full_scale, calibrated=None,
    )  # fmt: skip


def _samples(item: Item, record: "CaptureRecord", folder: Path) -> SamplesFile:
    if is_readings(item.path):
        return _copied(item.path, folder / f"{record.folder}.csv", container="CSV")
    recording = opened(item)
    bits = _bits(recording)
    if recording.reader == "flac" and not recording.notices and bits in {16, 24}:
        # a sound FLAC is what we would write: its own bytes prove more than ours
        return _copied(item.path, folder / f"{record.folder}.flac", container="FLAC", bits=bits)
    form = audio_form(recording)
    path = folder / f"{record.folder}{form.suffix}"
    write_audio(recording, path, form)
    codes = BITS[form.coding] if form.container == "FLAC" else None
    return _described(path, container=form.container, coding=form.coding, bits=codes)


def _bits(recording: Recording) -> int | None:
    """Tell of how many bits the recorder's codes are; None where nobody says."""
    step = recording.channels[0].step
    return None if step is None else 1 - round(log2(step))


def _copied(source: Path, target: Path, *, container: str, bits: int | None = None) -> SamplesFile:
    shutil.copyfile(source, target)
    return _described(target, container=container, coding=None if bits is None else f"PCM_{bits}", bits=bits)


def _as_it_came(source: Path, target: Path) -> SamplesFile:
    return _copied(source, target, container="original")


def _described(path: Path, *, container: str, coding: str | None, bits: int | None) -> SamplesFile:
    return SamplesFile(
        file=path.name,
        container=container,
        coding=coding,
        full_scale_code=None if bits is None else 1 << (bits - 1),
        sha256=sha256_of(path),
        size_bytes=path.stat().st_size,
    )


def capture_cells(told: ExportedCapture, *, started: str, kind: str | None, stem: str) -> "dict[str, Cell]":
    """Give what is known of a capture as cells of the table of captures.

    Parameters
    ----------
    told : ExportedCapture
        Its sidecar.
    started : str
        When its session began.
    kind : str or None
        What it was measured as.
    stem : str
        Name of its sidecar without ``.json``.
    """
    home = f"sessions/{told.session}/captures"
    written = told.samples_file
    return {
        "started": started,
        "capture": told.capture,
        "step": told.step,
        "kind": kind or told.kind,
        "load": told.load,
        "file": told.original.file,
        "reader": told.original.reader,
        "began": None if told.began is None else told.began.isoformat(),
        "sample_rate_hz": told.sample_rate_hz,
        "samples": told.samples,
        "duration_s": told.duration_s,
        "sha256": told.original.sha256,
        "size_bytes": told.original.size_bytes,
        "void": told.void,
        "note": told.note or None,
        "samples_file": None if written is None else f"{home}/{written.file}",
        "sidecar_file": None if written is None else f"{home}/{stem}.json",
    }
