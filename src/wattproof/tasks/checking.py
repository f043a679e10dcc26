"""`bench_check`: speak to every part of the rig, and tell all that is wrong with them at once."""

from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict

from wattproof.bench import parse_bench
from wattproof.capture import Operator, PartCheck, open_rig
from wattproof.tasks.files import text_of


class PartSaid(BaseModel):
    """What one part of the rig said when it was spoken to."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    part: str
    state: Literal["good", "doubtful", "failed"]
    said: str = ""
    why: str = ""
    hint: str = ""
    inside: tuple["PartSaid", ...] = ()

    @classmethod
    def of(cls, check: PartCheck) -> "PartSaid":
        """Make one of a rig's check."""
        return cls(
            part=check.part,
            state=check.state,
            said=check.said,
            why=check.why,
            hint=check.hint,
            inside=tuple(cls.of(one) for one in check.inside),
        )


class BenchChecked(BaseModel):
    """What `wattproof bench check` answers: every part of the rig, good or not."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    bench: str
    state: Literal["good", "doubtful", "failed"]
    parts: tuple[PartSaid, ...]

    @property
    def failed(self) -> bool:
        """Whether a part failed: then the exit status is 2."""
        return self.state == "failed"

    def text(self) -> str:
        """Draw the tree as plain text."""
        from wattproof.report import checks_text

        return checks_text(self.bench, self.parts)

    def to_json(self) -> str:
        """Write the one object that `--json` prints."""
        return self.model_dump_json(indent=2)


def bench_check(bench: Path, *, operator: Operator | None = None) -> BenchChecked:
    """Speak to each part of the rig: recorder, supply, load, meters; tell all that fails together.

    Nothing is driven. A wired supply's output is left open.

    Parameters
    ----------
    bench : Path
        bench.toml with a [rig].
    operator : Operator or None
        Who works the parts that are worked by hand; checking them asks for nothing.

    Returns
    -------
    BenchChecked
        Parts that fail raise nothing: they are told with why and what to do.

    Raises
    ------
    FileMissingError, SettingsError
        The bench file is not there or faulty.
    RigError
        It has no [rig], or no plug-in of that kind is installed.
    """
    table = parse_bench(text_of(bench), file=bench.name)
    with open_rig(table, operator=operator, folder=bench.parent) as rig:
        found = rig.check()
    return BenchChecked(bench=table.name, state=found.state, parts=tuple(PartSaid.of(one) for one in found.inside))
