"""`compare`: sessions side by side on common terms."""

import json
from collections.abc import Callable, Sequence
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof import __version__
from wattproof.errors import MeasureError, SettingsError
from wattproof.fit import BehaviourModel
from wattproof.judge import Comparison, Subject, Terms
from wattproof.judge import compare as compare_subjects
from wattproof.measure import CaptureResult
from wattproof.tasks.modelling import model
from wattproof.tasks.sessions import session_figures

if TYPE_CHECKING:
    from wattproof.archive import Session

_MOST = {"load": 1e4, "supply": 1e3, "thd": 40.0}
_EXAMPLES = {"load": "ohms, 4", "supply": "volts, 14.4", "thd": "per cent, 1"}


class Compared(BaseModel):
    """What `wattproof compare` answers."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    wattproof: str = __version__
    schema_: Literal[1] = Field(default=1, alias="schema")
    comparison: Comparison

    def text(self) -> str:
        """Write terms, figures side by side, differences in words, and what cannot be compared."""
        from wattproof.report import comparison_text

        return comparison_text(self.comparison)

    def to_json(self) -> str:
        """Write the one object that `--json` prints."""
        return json.dumps(self.model_dump(mode="json", by_alias=True), indent=2, ensure_ascii=False)


def compare(
    sessions: Sequence[str],
    *,
    archive: Path | None = None,
    load: tuple[float, ...] = (),
    supply: float | None = None,
    thd: tuple[float, ...] = (1.0, 10.0),
    driven: int | None = None,
    tell: Callable[[str], None] | None = None,
) -> Compared:
    """Lay sessions side by side on common terms: by measurement where conditions agree, else by the model, or not.

    Parameters
    ----------
    sessions : sequence of str
        Names of two or more sessions, or parts of names that no other session has.
    archive : Path or None
        Folder of the archive.
    load : tuple of float
        Ohms; the loads that all sessions have when left out.
    supply : float or None
        Volts at the amplifier's terminals; 14.4, or what the sessions share, when left out.
    thd : tuple of float
        Limits of distortion, per cent.
    driven : int or None
        Outputs driven at once; the most that all sessions drove when left out.
    tell : callable or None
        Gets a line before each capture that is measured.

    Raises
    ------
    ArchiveError
        There is no such session, or a kept capture is not what its hash says.
    MeasureError
        Fewer than two sessions are named.
    SettingsError
        A number is none that an amplifier can have.
    """
    for name, values in {"load": load, "supply": () if supply is None else (supply,), "thd": thd}.items():
        _refuse_nonsense(name, values)
    from wattproof.archive import Archive, default_root

    store = Archive(archive or default_root())
    found = [store.open_session(name) for name in sessions]
    subjects = [subject_of(session, archive, tell) for session in found]
    terms = Terms(
        load_ohm=tuple(sorted(set(load), reverse=True)),
        supply_v=supply,
        thd_n=tuple(sorted({limit / 100 for limit in thd})),
        driven=driven,
    )
    return Compared(comparison=compare_subjects(subjects, terms=terms))


def subject_of(session: "Session", archive: Path | None, tell: Callable[[str], None] | None) -> Subject:
    """Give a session with its figures and a model for each number of outputs driven at once."""
    captures = session_figures(str(session.folder), archive=archive, tell=tell).captures
    return Subject(
        name=session.id,
        amplifier=session.amplifier,
        results=captures,
        models=_models(session, captures, archive),
        bench=session.bench.name,
        note=session.record.note,
    )


def _models(session: "Session", captures: Sequence[CaptureResult], archive: Path | None) -> tuple[BehaviourModel, ...]:
    """Give the session's model, fitted where there is none, and one for every other number of outputs driven."""
    usual = _model(session, archive, driven=None)
    if usual is None:
        return ()
    others = (_model(session, archive, driven=count) for count in sorted(_driven(captures) - {usual.driven}))
    return (usual, *(one for one in others if one is not None))


def _model(session: "Session", archive: Path | None, *, driven: int | None) -> BehaviourModel | None:
    """Give a model; None where the captures hold too little for one, which the comparison tells where it matters."""
    try:
        return model(str(session.folder), archive=archive, driven=driven).model
    except MeasureError:
        return None


def _driven(captures: Sequence[CaptureResult]) -> set[int]:
    """Collect how many outputs were driven at once in the ramps that have their load and supply voltage."""
    told = (
        {
            f.output
            for f in one.figures
            if f.name.startswith("power_at_thd_") and {"load_ohm", "supply_v"} <= f.conditions.keys()
        }
        for one in captures
    )
    return {len(outputs) for outputs in told if outputs}


def _refuse_nonsense(name: str, values: Sequence[float]) -> None:
    for value in values:
        if not (isfinite(value) and 0 < value < _MOST[name]):
            raise SettingsError(
                f"--{name} cannot be {value:g}.",
                why=f"it takes a number above 0 and below {_MOST[name]:g}",
                hint=f"Correct --{name}: {_EXAMPLES[name]}.",
            )
