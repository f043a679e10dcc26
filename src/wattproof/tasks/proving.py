"""`verify`: an evidence pack opened, hashed, measured again and judged again, on any machine, without an archive."""

import json
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from wattproof import __version__
from wattproof.archive import (
    Archive,
    FigureCompared,
    FiguresFile,
    Finding,
    OpenedPack,
    Session,
    VerdictCompared,
    compare_figures,
    compare_models,
    compare_readings,
    compare_rest,
    compare_verdicts,
    disagreements,
    open_pack,
    read_public_fingerprint,
    set_captures_aside,
    take_published,
    unsound_captures,
)
from wattproof.errors import InputError, MeasureError, PackError, WattproofError
from wattproof.fit import BehaviourModel
from wattproof.judge import Judged
from wattproof.tasks.doubtful import was_cut_off
from wattproof.tasks.judging import judge
from wattproof.tasks.measuring import measure_items
from wattproof.tasks.modelling import model
from wattproof.tasks.packing import computed_with
from wattproof.tasks.sessions import item_of, measure_session

Tell = Callable[[str], None] | None


class Verified(BaseModel):
    """What `wattproof verify` answers."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    wattproof: str = __version__
    schema_: Literal[1] = Field(default=1, alias="schema")
    file: str
    session: str
    amplifier: str = ""
    packed_by: str = Field(description="version of Wattproof that measured and packed")
    packed_with: dict[str, str]
    computed_with: dict[str, str] = Field(description="versions of what measured here")
    files: int
    signature: Literal["none", "good", "bad"]
    fingerprint: str = Field(default="", description="of the key the pack claims to be signed by")
    key_given: bool
    findings: tuple[Finding, ...]
    figures: tuple[FigureCompared, ...]
    verdicts: tuple[VerdictCompared, ...]
    reproduced: bool = Field(description="nothing was found, and every figure and verdict is as it was published")

    def tables(self) -> tuple[tuple[str, list[tuple[str, str, str, str, bool]]], ...]:
        """Lay figures and verdicts side by side: what, published, again, how they compare, and whether that is good.

        What is not as published stands first.
        """
        from wattproof.report import compared_figures, compared_verdicts

        return (
            ("Figures, published and measured again", compared_figures(self.figures)),
            ("Verdicts, published and judged again", compared_verdicts(self.verdicts)),
        )

    def text(self) -> str:
        """Write what was found, and published against recomputed figures."""
        from wattproof.report import verified_text

        then, now = self.packed_with, self.computed_with
        told = {name: (then.get(name, "?"), now[name]) for name in now if then.get(name) != now[name]}
        known = {name: getattr(self, name) for name in _TOLD}
        return verified_text(here=self.wattproof, versions=told, **known)

    def to_json(self) -> str:
        """Write the one object that `--json` prints."""
        return json.dumps(self.model_dump(mode="json", by_alias=True), indent=2, ensure_ascii=True)


_TOLD = (
    "file", "session", "amplifier", "packed_by", "files", "signature", "fingerprint", "key_given", "findings",
    "figures", "verdicts", "reproduced",
)  # fmt: skip


def verify(pack: Path, *, key: str | None = None, tell: Tell = None) -> Verified:
    """Check an evidence pack: hashes and signature, then every figure and verdict against what is measured again.

    Parameters
    ----------
    pack : Path
        The pack.
    key : str or None
        The tester's public key: its .pub file, or its fingerprint.
    tell : callable or None
        Gets a line before each capture that is measured.

    Raises
    ------
    PackError
        It is no pack, a broken one, or one that is built to do harm; nothing of it was written anywhere.
    KeyFileError
        The public key cannot be read.
    """
    wanted = None if key is None else read_public_fingerprint(key)
    if tell is not None:
        tell(f"opening {pack.name} and hashing its files ...")
    opened = open_pack(pack)
    with _temporary_folder() as folder:
        again = _Again(opened, Path(folder), tell)
        again.look()
    findings = (*opened.findings, *_key_findings(opened, wanted), *again.findings)
    states = {one.state for one in again.figures} | {one.state for one in again.verdicts}
    return Verified(
        file=pack.name,
        session=opened.manifest.session,
        amplifier=again.amplifier,
        packed_by=opened.manifest.wattproof,
        packed_with=opened.manifest.versions,
        computed_with=computed_with(),
        files=len(opened.manifest.files),
        signature=opened.signed.state,
        fingerprint=opened.signed.fingerprint,
        key_given=key is not None,
        findings=findings,
        figures=again.figures,
        verdicts=again.verdicts,
        reproduced=states <= {"same", "near"} and not findings,
    )


def _temporary_folder() -> TemporaryDirectory[str]:
    try:
        return TemporaryDirectory(prefix="wattproof-", ignore_cleanup_errors=True)
    except OSError as error:
        raise PackError(
            "There is no folder to unpack the pack into.",
            why=error.strerror or str(error),
            hint="Set TMPDIR to a folder that exists and is yours, with room for the pack.",
        ) from error


def _key_findings(opened: OpenedPack, wanted: str | None) -> Iterator[Finding]:
    if wanted is None:
        return
    if opened.signed.state == "none":
        detail = f"it is not there; that of key {wanted} was asked for"
        yield Finding(where="signature.json", what="signature", detail=detail)
    elif opened.signed.fingerprint != wanted:
        detail = f"it is of another key, {opened.signed.fingerprint}; that of key {wanted} was asked for"
        yield Finding(where="signature.json", what="signature", detail=detail)


class _Again:
    """Unpacks into a temporary folder and does there what the tester did: measure, fit, judge."""

    def __init__(self, opened: OpenedPack, folder: Path, tell: Tell) -> None:
        self._opened, self._folder, self._tell = opened, folder, tell
        self._store = Archive(folder)
        self.amplifier = ""
        self.findings: list[Finding] = []
        self.figures: tuple[FigureCompared, ...] = ()
        self.verdicts: tuple[VerdictCompared, ...] = ()

    def look(self) -> None:
        """Find all that does not agree, and compare what is published with what comes out again."""
        home = self._opened.unpack(self._folder)
        try:
            session = self._store.open_session(home)
        except WattproofError as error:
            self._find("session/session.json", error)
            return
        self.amplifier = f"{session.amplifier.maker} {session.amplifier.model}"
        self.findings += disagreements(session, self._opened.manifest)
        if any(finding.where == "session/session.json" and finding.what == "damaged" for finding in self.findings):
            return
        published = take_published(session)
        unsound = unsound_captures(session)
        set_captures_aside(session, unsound)
        again, broken = self._measured(session)
        unchecked = unsound | broken
        if published.figures is not None and again is not None:
            self.figures = compare_figures(published.figures, again, unchecked=unchecked)
            self.findings += compare_rest(published.figures, again, unchecked=unchecked)
        if not unchecked and again is not None:
            self._judged(session, published.judged)
            self.findings += compare_models(published.models, self._models(session, published.models))

    def _measured(self, session: Session) -> tuple[FiguresFile | None, frozenset[int]]:
        """Measure what is there; captures that nobody can measure are told, and set aside by their numbers."""
        aside: frozenset[int] = frozenset()
        while True:
            try:
                return measure_session(self._store, session, self._tell), aside
            except (InputError, ValidationError) as error:
                broken = self._broken(session)
                if not broken:
                    self._find("session/captures", error)
                    return None, aside
                set_captures_aside(session, broken)
                aside |= broken

    def _broken(self, session: Session) -> frozenset[int]:
        """Find the captures that cannot be measured, each by itself; one that was cut off may hold too little."""
        broken = set()
        for record in self._store.captures(session):
            if record.description.void is not None:
                continue
            try:
                item = item_of(self._store, session, record)
                measure_items([item], bench=session.bench, amplifier=session.amplifier)
            except (InputError, ValidationError) as error:
                if not (was_cut_off(record) and isinstance(error, MeasureError)):
                    broken.add(record.number)
                    self._find(f"session/captures/{record.folder}/{record.original}", error)
        return frozenset(broken)

    def _judged(self, session: Session, published: Judged | None) -> None:
        if published is None:
            detail = "the pack holds no verdicts that can be read, and every pack is written with them"
            self.findings.append(Finding(where="session/verdicts.json", what="missing", detail=detail))
            return
        try:
            again = judge(str(session.folder), archive=self._folder, tell=self._tell).judged
        except InputError as error:
            self._find("session/verdicts.json", error)
            return
        worded = self._opened.manifest.wattproof == __version__
        self.verdicts = compare_verdicts(published, again, worded=worded)
        self.findings += compare_readings(published, again, worded=worded)

    def _models(self, session: Session, published: Iterable[BehaviourModel]) -> list[BehaviourModel]:
        fitted = []
        for one in published:
            try:
                fitted.append(model(str(session.folder), archive=self._folder, output=one.output).model)
            except InputError as error:
                self._find("session/model.json", error)
        return fitted

    def _find(self, where: str, error: Exception) -> None:
        words = f"{error.message} {error.why}" if isinstance(error, WattproofError) else str(error)
        self.findings.append(Finding(where=where, what="damaged", detail=words.replace(str(self._folder), "").strip()))
