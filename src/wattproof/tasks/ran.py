"""What a run answers: how far it came, what each step found, and what it has cost."""

from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof import __version__
from wattproof.measure import Condition, Figure

COLUMNS = ("step", "state", "capture", "found")


class _Answer(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class FigureRan(_Answer):
    """One leading figure of a step."""

    name: str
    output: str | None
    value: float
    u: float
    k95: float
    unit: str
    conditions: dict[str, Condition] = {}


class StepRan(_Answer):
    """One step that this run has carried out."""

    number: int
    name: str
    state: Literal["done", "failed", "skipped", "stopped"]
    capture: int | None = None
    why: str = ""
    figures: tuple[FigureRan, ...] = ()
    full_power_s: float = 0.0
    energy_j: float | None = None

    def found(self) -> list[str]:
        """Write its leading figures, one a line: name, value with its 95 % interval, unit."""
        from wattproof.report import face_name, face_value

        figures = [Figure(**dict(figure), origin=self.name) for figure in self.figures]
        return [f"{face_name(figure)}{_of(figure.output)}: {face_value(figure)}" for figure in figures]


class Ran(_Answer):
    """What `wattproof run` answers; earlier runs of the session count in all but `steps`."""

    wattproof: str = __version__
    schema_: Literal[1] = Field(default=1, alias="schema")
    session: str
    folder: Path
    state: Literal["complete", "interrupted"]
    done: int
    left: int
    steps: tuple[StepRan, ...]
    figures: int = Field(description="of the whole session, now in its figures.json")
    full_power_s: float
    energy_j: float | None = None
    stepping_full_power_s: float | None = None
    stepping_energy_j: float | None = None

    def table(self) -> str:
        """Write it as plain text."""
        rows: list[tuple[str, str, str, list[str]]] = []
        for step in self.steps:
            capture = "-" if step.capture is None else str(step.capture)
            rows.append((f"{step.number} {step.name}", step.state, capture, step.found() or [step.why]))
        return "\n".join([f"Session {self.session}", *_laid_out(rows), "", *self.costs(), f"  in {self.folder}"])

    def costs(self) -> list[str]:
        """Say what full power has cost, beside what stepping the level by hand would have."""
        energy = "" if self.energy_j is None else f", {_joules(self.energy_j)} drawn from the supply"
        lines = [f"At full power for {self.full_power_s:.1f} s{energy}."]
        if self.stepping_full_power_s is not None:
            stepped = "" if self.stepping_energy_j is None else f" and {_joules(self.stepping_energy_j)}"
            lines.append(
                f"Stepping the ramps' levels by hand, 0.1 dB and 1 s a step, would have cost "
                f"{self.stepping_full_power_s:.0f} s at full power{stepped}."
            )
        return lines

    def to_json(self) -> str:
        """Write the one object that `--json` prints."""
        return self.model_dump_json(indent=2, by_alias=True)


def _of(output: str | None) -> str:
    return "" if output is None else f" ({output})"


def _joules(energy_j: float) -> str:
    return f"{energy_j / 1000:.1f} kJ" if energy_j < 1e6 else f"{energy_j / 1e6:.2f} MJ"


def _laid_out(rows: list[tuple[str, str, str, list[str]]]) -> list[str]:
    widths = [max(len(str(row[n])) for row in [COLUMNS, *rows]) for n in range(3)]
    lines = ["  ".join(f"{word:<{width}}" for word, width in zip(COLUMNS, [*widths, 0], strict=True)).rstrip()]
    for step, state, capture, found in rows:
        first = f"{step:<{widths[0]}}  {state:<{widths[1]}}  {capture:<{widths[2]}}  {found[0]}".rstrip()
        lines += [first, *[" " * (sum(widths) + 6) + more for more in found[1:]]]
    return lines
