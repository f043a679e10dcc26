"""`judge`: a maker's ratings weighed against what a session measured."""

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof import __version__
from wattproof.errors import MeasureError
from wattproof.fit import BehaviourModel
from wattproof.judge import Judged, Rule
from wattproof.judge import judge as judge_with
from wattproof.measure import CaptureResult
from wattproof.tasks.modelling import model
from wattproof.tasks.sessions import session_figures


class JudgedSession(BaseModel):
    """What `wattproof judge` answers."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    wattproof: str = __version__
    schema_: Literal[1] = Field(default=1, alias="schema")
    session: str
    judged: Judged

    def text(self) -> str:
        """Write the verdicts, a block for each rating."""
        from wattproof.report import verdicts_text

        return verdicts_text(self.judged)

    def to_json(self) -> str:
        """Write the one object that `--json` prints."""
        return json.dumps(self.model_dump(mode="json", by_alias=True), indent=2, ensure_ascii=False)


def judge(session: str, *, archive: Path | None = None, tell: Callable[[str], None] | None = None) -> JudgedSession:
    """Judge the maker's ratings by a session's figures: meets, falls short, cannot tell.

    The rule is that of the bench as it was when the session began: `[rule]` of the bench file. The verdicts are kept in
    the session, and given again until its figures change.

    Parameters
    ----------
    session : str
        Name of the session, or a part of it that no other session has.
    archive : Path or None
        Folder of the archive.
    tell : callable or None
        Gets a line before each capture that is measured.

    Raises
    ------
    ArchiveError
        There is no such session, or a kept capture is not what its hash says.
    """
    from wattproof.archive import Archive, default_root

    store = Archive(archive or default_root())
    found = store.open_session(session)
    captures = session_figures(found.id, archive=archive, tell=tell).captures
    kept = store.read_verdicts(found)
    if kept is not None:
        return JudgedSession(session=found.id, judged=kept)
    models = _models(found.id, captures, archive)
    rule = Rule(confidence=found.bench.rule.confidence)
    judged = judge_with(found.amplifier, captures, models=models, rule=rule)
    store.write_verdicts(found, judged, models=models)
    return JudgedSession(session=found.id, judged=judged)


def _models(session: str, captures: Sequence[CaptureResult], archive: Path | None) -> list[BehaviourModel]:
    """Fit a model for each number of outputs that were driven at once; none where the captures fix none."""
    models = []
    for driven in sorted({len(_limited(result)) for result in captures} - {0}):
        try:
            models.append(model(session, archive=archive, driven=driven).model)
        except MeasureError:
            continue
    return models


def _limited(result: CaptureResult) -> set[str | None]:
    return {figure.output for figure in result.figures if figure.name.startswith(("power_at_thd", "load_power"))}
