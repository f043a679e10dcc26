"""Where a run stopped, read from its journal: the steps that are over, what was learned, and a rest cut short."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from wattproof.plan import RunSheet
from wattproof.run.knowledge import Knowledge
from wattproof.run.stage import Tally

OVER = frozenset({"done", "skipped", "stopped"})
"""Steps that ended so are not carried out again; a failed one is."""


@dataclass(frozen=True, kw_only=True)
class Progress:
    """What earlier runs of a session left.

    Attributes
    ----------
    over : frozenset of (int, str)
        Numbers and names of the steps that are not carried out again: one that an edited sheet has put elsewhere is.
    knowledge : Knowledge
    tally : Tally
    resting_until : datetime or None
        End of the rest that the last step asked for, unless it was rested to its end.
    """

    over: frozenset[tuple[int, str]]
    knowledge: Knowledge
    tally: Tally
    resting_until: datetime | None = None

    def over_in(self, sheet: RunSheet) -> set[int]:
        """Give the numbers of a sheet's steps that are not carried out again."""
        return {step.number for step in sheet.steps if (step.number, step.name) in self.over}

    def rest_left_s(self, now: datetime) -> float:
        """Seconds of that rest that the clock on the wall has not yet passed."""
        return 0.0 if self.resting_until is None else max(0.0, (self.resting_until - now).total_seconds())


def read_progress(journal: Sequence[Mapping[str, Any]]) -> Progress:
    """Read where a run stopped.

    Parameters
    ----------
    journal : sequence of mappings
        The session's journal, oldest first; lines of others are passed over.
    """
    over: set[tuple[int, str]] = set()
    knowledge, tally, resting_until = Knowledge(), Tally(), None
    for line in journal:
        if line.get("did") == "rested":
            resting_until = None
        if line.get("did") != "step-ended":
            continue
        if line["state"] in OVER:
            over.add((line["number"], line["name"]))
        knowledge = Knowledge.model_validate(line["knowledge"])
        tally.add(
            full_power_s=line["full_power_s"],
            energy_j=line["energy_j"],
            stepping_full_power_s=line["stepping_full_power_s"],
            stepping_energy_j=line["stepping_energy_j"],
        )
        until = line.get("resting_until")
        resting_until = datetime.fromisoformat(until) if until else None
    return Progress(over=frozenset(over), knowledge=knowledge, tally=tally, resting_until=resting_until)
