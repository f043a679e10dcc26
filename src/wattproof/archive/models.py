"""Fitted behaviour models beside the figures they were fitted to: derived, and made again where the figures change."""

import hashlib
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


class ModelFile(BaseModel):
    """``model.json``: a model for each choice of outputs, fitted to the figures of one hash. No time of day in it."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    wattproof: str
    figures_sha256: str = Field(pattern="^[0-9a-f]{64}$")
    models: tuple[BehaviourModel, ...]

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


def model_path(session: Session) -> Path:
    """Give the place of a session's models."""
    return session.folder / "model.json"


def write_model(session: Session, model: BehaviourModel, *, at: datetime) -> None:
    """Store a model fitted to the figures that stand, in place of the one for the same output."""
    with explained("read the figures", figures_path(session)):
        figures_sha256 = sha256_of(figures_path(session))
    before = _current(session)
    if model in before:
        return
    others = tuple(one for one in before if one.output != model.output)
    file = ModelFile(wattproof=__version__, figures_sha256=figures_sha256, models=(*others, model))
    data = encode(file)
    with explained("store the model", session.folder):
        sweep_session(session)
        write_file(model_path(session), data)
    digest = hashlib.sha256(data).hexdigest()
    write_event(session, "modelled", {"figures_sha256": figures_sha256, "model_sha256": digest}, at=at)


def read_model(session: Session, *, output: str | None) -> BehaviourModel | None:
    """Read the model of an output (None: of all alike); None where there is none of the figures that stand."""
    return next((model for model in _current(session) if model.output == output), None)


def _current(session: Session) -> tuple[BehaviourModel, ...]:
    """Give the models that this version fitted to the figures that stand."""
    if not model_path(session).exists() or not figures_path(session).exists():
        return ()
    file = need_models(session)
    with explained("read the figures", figures_path(session)):
        same = file.figures_sha256 == sha256_of(figures_path(session))
    return file.models if same and file.wattproof == __version__ else ()


def need_models(session: Session) -> ModelFile:
    """Read the models that must be there, of whatever figures."""
    return read_document("model", model_path(session), ModelFile)
