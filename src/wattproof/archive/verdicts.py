"""Verdicts beside the figures they were reached from: derived, and reached anew when these change."""

import hashlib
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field

from wattproof import __version__
from wattproof.archive.captures import sweep_session
from wattproof.archive.disk import explained, sha256_of, write_file
from wattproof.archive.documents import encode, read_document
from wattproof.archive.figures import figures_path, write_event
from wattproof.archive.model import SCHEMA, Session
from wattproof.fit import BehaviourModel
from wattproof.judge import Judged


class VerdictsFile(BaseModel):
    """``verdicts.json``: the ratings judged by the figures and models of these hashes. No time of day in it.

    The rule stands in `judged`; the models follow from the figures, so that their hashes are told and not asked for.
    """

    schema_: int = Field(default=SCHEMA, alias="schema")
    wattproof: str
    figures_sha256: str = Field(pattern="^[0-9a-f]{64}$")
    models_sha256: tuple[str, ...] = Field(description="of each model as JSON, in the order they were given")
    judged: Judged

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


def verdicts_path(session: Session) -> Path:
    """Give the place of a session's verdicts."""
    return session.folder / "verdicts.json"


def write_verdicts(session: Session, judged: Judged, *, models: Sequence[BehaviourModel], at: datetime) -> None:
    """Store the verdicts reached from the figures that stand, in place of those before."""
    with explained("read the figures", figures_path(session)):
        figures_sha256 = sha256_of(figures_path(session))
    if read_verdicts(session) == judged:
        return
    hashes = tuple(hashlib.sha256(encode(model)).hexdigest() for model in models)
    file = VerdictsFile(wattproof=__version__, figures_sha256=figures_sha256, models_sha256=hashes, judged=judged)
    data = encode(file)
    with explained("store the verdicts", session.folder):
        sweep_session(session)
        write_file(verdicts_path(session), data)
    digest = hashlib.sha256(data).hexdigest()
    write_event(session, "judged", {"figures_sha256": figures_sha256, "verdicts_sha256": digest}, at=at)


def read_verdicts(session: Session) -> Judged | None:
    """Read the verdicts; None where none were reached from the figures that stand, by the bench's rule.

    Raises
    ------
    ArchiveError
        The file is damaged, or newer than this version.
    """
    if not verdicts_path(session).exists() or not figures_path(session).exists():
        return None
    file = need_verdicts(session)
    with explained("read the figures", figures_path(session)):
        same = file.figures_sha256 == sha256_of(figures_path(session))
    ruled = file.judged.rule.confidence == session.bench.rule.confidence
    return file.judged if same and ruled and file.wattproof == __version__ else None


def need_verdicts(session: Session) -> VerdictsFile:
    """Read the verdicts that must be there, of whatever figures."""
    return read_document("verdicts", verdicts_path(session), VerdictsFile)
