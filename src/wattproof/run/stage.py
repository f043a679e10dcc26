"""What the steps of one run share: the bench, the archive, the person, and what was learned and spent so far."""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import sqrt
from typing import Any

from wattproof.archive import Archive, CaptureRecord, Session
from wattproof.bench import Bench
from wattproof.capture import Operator, Rig
from wattproof.errors import InternalFaultError, Notice
from wattproof.measure import CaptureResult
from wattproof.plan import RunSheet, Step
from wattproof.run.events import Event, Told
from wattproof.run.knowledge import Knowledge
from wattproof.run.stopping import StopButton

Tell = Callable[[Event], None]
Figures = Callable[[Session, CaptureRecord], CaptureResult]


@dataclass(kw_only=True)
class Tally:
    """Seconds at full power and joules of the whole run, and what stepping by hand would have cost; None: unknown."""

    full_power_s: float = 0.0
    energy_j: float | None = None
    stepping_full_power_s: float | None = None
    stepping_energy_j: float | None = None

    def add(
        self,
        *,
        full_power_s: float,
        energy_j: float | None,
        stepping_full_power_s: float | None = None,
        stepping_energy_j: float | None = None,
    ) -> None:
        """Add what a step has cost."""
        self.full_power_s += full_power_s
        self.energy_j = _sum(self.energy_j, energy_j)
        self.stepping_full_power_s = _sum(self.stepping_full_power_s, stepping_full_power_s)
        self.stepping_energy_j = _sum(self.stepping_energy_j, stepping_energy_j)


def _sum(first: float | None, second: float | None) -> float | None:
    return first if second is None else (first or 0.0) + second


@dataclass(kw_only=True)
class Stage:
    """Everything a step needs; the only thing in this room that changes as the run goes on."""

    sheet: RunSheet
    rig: Rig
    archive: Archive
    session: Session
    operator: Operator | None
    tell: Tell
    figures: Figures
    button: StopButton
    knowledge: Knowledge = field(default_factory=Knowledge)
    tally: Tally = field(default_factory=Tally)
    load: str | None = None
    powered: bool = False
    traced: bool = False
    told_before: set[str] = field(default_factory=set)

    @property
    def bench(self) -> Bench:
        """The bench as it was when the session began."""
        return self.session.bench

    @property
    def ceiling_v_rms(self) -> float:
        """The highest drive that the generator can give."""
        rig = self.bench.rig
        if rig is None:
            raise InternalFaultError("A run began on a bench without a rig.")
        return rig.drive_v_full_scale / sqrt(2)

    def told(self, code: str, message: str, hint: str = "") -> None:
        """Tell something that nothing stops for."""
        self.tell(Told(code=code, message=message, hint=hint))

    def tell_once(self, notice: Notice) -> None:
        """Tell a notice, unless it was told before in this run."""
        if notice.message not in self.told_before:
            self.told_before.add(notice.message)
            self.told(notice.code, notice.message, notice.hint)

    def log(self, did: str, **details: Any) -> None:  # noqa: ANN401  (anything that JSON holds)
        """Write a line of the journal."""
        self.archive.log(self.session, {"did": did, **details})

    def next_name(self, step: Step) -> str | None:
        """Give the name of the step after this one."""
        later = [other.name for other in self.sheet.steps if other.number > step.number]
        return later[0] if later else None
