"""Do the parts of an unpacked session fit each other? What is told twice must be told alike."""

import json
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from wattproof.amplifier import parse_amplifier
from wattproof.archive.captures import numbered_folders, read_capture
from wattproof.archive.disk import sha256_of
from wattproof.archive.figures import figures_path, history_files, read_event, read_figures
from wattproof.archive.model import CaptureRecord, FiguresFile, Session
from wattproof.archive.models import model_path, need_models
from wattproof.archive.names import slug
from wattproof.archive.pack_differ import leaves
from wattproof.archive.pack_model import HOME, Finding, Manifest
from wattproof.archive.pack_names import shown
from wattproof.archive.verdicts import need_verdicts, verdicts_path
from wattproof.archive.verify import changes
from wattproof.bench import parse_bench
from wattproof.errors import ArchiveError, WattproofError

_SETTINGS = frozenset({"amplifier.toml", "bench.toml"})


def disagreements(session: Session, manifest: Manifest) -> tuple[Finding, ...]:
    """Find every place of an unpacked session that is not what another place says it is.

    The archive's own hashes are checked first (captures against their descriptions, the figures against the history),
    then what stands in two places: the bench and the amplifier in their files and in ``session.json``, the captures
    that the figures were made of, the versions, the figures that the verdicts and the model are of.
    """
    strange = sorted(session.record.files.keys() - _SETTINGS)
    if strange:  # their names would be followed as paths
        detail = f"it names {shown(strange[0])} as a settings file; there are amplifier.toml and bench.toml"
        return (Finding(where=f"{HOME}session.json", what="damaged", detail=detail),)
    own = (*_own(session), *_double_keys(session))
    damaged = {finding.where for finding in own if finding.what == "damaged"}
    more = (*_began(session), *_settings(session), *_versions(session, manifest))
    if f"{HOME}figures.json" in damaged:
        return (*own, *more)
    return (*own, *more, *_figures(session), *_derived(session, damaged))


def _own(session: Session) -> Iterator[Finding]:
    for change in changes(session):
        where = HOME.rstrip("/") if change.path == "." else f"{HOME}{change.path}"
        if change.what == "renamed":
            yield Finding(
                where=f"{HOME}session.json",
                what="contradicts",
                detail=f"{change.detail} The pack names it {session.id}.",
            )
        elif change.what != "half-written":  # a line that a killed run left is as it was packed
            yield Finding(where=where, what=change.what, detail=change.detail)


def _double_keys(session: Session) -> Iterator[Finding]:
    """Find documents that tell one thing twice: of two values a program sees the last, a person the first."""
    for path in sorted(session.folder.rglob("*.json")):
        twice: list[str] = []
        with suppress(ValueError, RecursionError):  # what is no JSON is told already
            json.loads(path.read_bytes(), object_pairs_hook=partial(_noted, twice))
        if twice:
            where = HOME + path.relative_to(session.folder).as_posix()
            yield Finding(where=where, what="damaged", detail=f"it tells {shown(twice[0])} twice")


def _noted(twice: list[str], pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    counted = Counter(key for key, _ in pairs)
    twice += [key for key, count in counted.items() if count > 1]
    return dict(pairs)


def _began(session: Session) -> Iterator[Finding]:
    """Compare the day and the model with the name that they gave the session when it began."""
    record = session.record
    stem = f"{record.started:%Y-%m-%d}-{slug(record.amplifier.model, fallback='amplifier')}-"
    if not record.id.startswith(stem):
        detail = f"a session of that day and model is named {stem}..., not {record.id}"
        yield Finding(where=f"{HOME}session.json", what="contradicts", detail=detail)


def _settings(session: Session) -> Iterator[Finding]:
    """Compare the two files that a person wrote with what session.json says they said."""
    given: tuple[tuple[str, Callable[..., BaseModel], BaseModel], ...] = (
        ("bench.toml", parse_bench, session.bench),
        ("amplifier.toml", parse_amplifier, session.amplifier),
    )
    for name, parse, kept in given:
        path = session.folder / name
        if name not in session.record.files:
            if path.exists():
                detail = "session.json knows no such file"
                yield Finding(where=HOME + name, what="added", detail=detail)
        elif path.exists():
            yield from _file_against(HOME + name, path, parse, kept)


def _file_against(where: str, path: Path, parse: Callable[..., BaseModel], kept: BaseModel) -> Iterator[Finding]:
    try:
        said = parse(path.read_text(encoding="utf-8-sig"), file=path.name)
    except (WattproofError, UnicodeDecodeError) as error:
        yield Finding(where=where, what="damaged", detail=f"it cannot be read: {str(error).splitlines()[0]}")
        return
    for leaf in leaves(_plain(said), _plain(kept), relative=0.0):
        yield Finding(where=where, what="contradicts", detail=leaf.words("here", "in session.json"))


def _plain(document: BaseModel) -> Any:  # noqa: ANN401  (any JSON)
    return document.model_dump(mode="json", by_alias=True)


def _versions(session: Session, manifest: Manifest) -> Iterator[Finding]:
    figures = _readable(session)
    if figures is not None and figures.wattproof != manifest.wattproof:
        detail = (
            f"the manifest says they were measured by {shown(manifest.wattproof)}, they say {shown(figures.wattproof)}"
        )
        yield Finding(where=f"{HOME}figures.json", what="contradicts", detail=detail)


def _readable(session: Session) -> FiguresFile | None:
    try:
        return read_figures(session)
    except ArchiveError:
        return None


def _figures(session: Session) -> Iterator[Finding]:
    """Compare what the figures say they were made of with what is there."""
    where = f"{HOME}figures.json"
    figures = read_figures(session)
    if figures is None:
        yield Finding(where=where, what="missing", detail="the pack holds no figures")
        return
    for leaf in leaves(figures.inputs, session.record.files, relative=0.0):
        yield Finding(where=where, what="contradicts", detail=leaf.words("made them", "in session.json"))
    yield from _history(session)
    numbers = [capture.number for capture in figures.captures]
    if numbers != sorted(set(numbers)):
        detail = f"its captures are {', '.join(map(str, numbers[:50]))}: not in order, or one of them twice"
        yield Finding(where=where, what="contradicts", detail=detail)
    made = {capture.number: capture for capture in figures.captures}
    for record in _captures(session):
        capture = made.get(record.number)
        if capture is None:
            yield Finding(where=where, what="missing", detail=f"it has no place for capture {record.number}")
            continue
        there = {"sha256": capture.sha256, "description": _plain(capture.description)}
        here = {"sha256": record.sha256, "description": _plain(record.description)}
        for leaf in leaves(there, here, place=f"capture {record.number}", relative=0.0):
            yield Finding(where=where, what="contradicts", detail=leaf.words("in the figures", "in capture.json"))


def _history(session: Session) -> Iterator[Finding]:
    """Compare the captures that the history says the figures were made of with those that the figures say."""
    digest, figures = sha256_of(figures_path(session)), read_figures(session)
    said = {f"{capture.number:02d}": capture.sha256 for capture in figures.captures} if figures else {}
    for path in history_files(session):
        try:
            event = read_event(path)
        except ArchiveError:  # told already
            continue
        if event.did == "measured" and event.details.get("figures_sha256") == digest:
            for leaf in leaves(event.details.get("captures"), said, place="captures", relative=0.0):
                detail = leaf.words("in the history", "in the figures")
                yield Finding(where=f"{HOME}history/{path.name}", what="contradicts", detail=detail)


def _captures(session: Session) -> tuple[CaptureRecord, ...]:
    found = []
    for folder in numbered_folders(session):
        with suppress(ArchiveError):  # told already
            found.append(read_capture(folder))
    return tuple(found)


def _derived(session: Session, damaged: set[str]) -> Iterator[Finding]:
    """Compare the figures that verdicts and model say they are of with those that are there."""
    given = ((verdicts_path(session), need_verdicts), (model_path(session), need_models))
    there = figures_path(session)
    for path, read in given:
        where = HOME + path.name
        if not path.exists() or not there.exists() or where in damaged:
            continue
        document, digest = read(session), sha256_of(there)
        if document.figures_sha256 != digest:
            detail = f"it is of figures SHA-256 {document.figures_sha256[:12]}..., those here are {digest[:12]}..."
            yield Finding(where=where, what="contradicts", detail=detail)
    if verdicts_path(session).exists() and HOME + verdicts_path(session).name not in damaged:
        rule = need_verdicts(session).judged.rule
        for leaf in leaves(_plain(rule), _plain(session.bench.rule), place="rule", relative=0.0):
            where = HOME + verdicts_path(session).name
            yield Finding(where=where, what="contradicts", detail=leaf.words("here", "in session.json"))
