"""Sessions side by side as data: the terms, the values on them, the differences, and what cannot be compared."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof.amplifier import Amplifier
from wattproof.fit import BehaviourModel
from wattproof.measure import CaptureResult, Condition
from wattproof.quantity import Quantity

SCHEMA = 1
Basis = Literal["measured", "carried by the model"]
Relation = Literal["two amplifiers", "one amplifier on two benches", "one amplifier on one bench", "one amplifier"]
"""One amplifier and nothing more where a bench has no name."""


class _Plain(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


@dataclass(frozen=True, kw_only=True)
class Subject:
    """One of the sessions that are compared.

    Attributes
    ----------
    name : str
        What to call it.
    amplifier : Amplifier
    results : sequence of CaptureResult
        Its figures.
    models : sequence of BehaviourModel
        Fitted to them; none where nothing can be fitted.
    bench : str
        Name of the bench; empty where it is not known.
    note : str
        What the person noted: "before the repair".
    """

    name: str
    amplifier: Amplifier
    results: Sequence[CaptureResult]
    models: Sequence[BehaviourModel] = ()
    bench: str = ""
    note: str = ""


class Terms(_Plain):
    """What the figures are to be about; what is left out is chosen from what the sessions share."""

    load_ohm: tuple[float, ...] = ()
    supply_v: float | None = Field(default=None, gt=0, description="at the amplifier's terminals")
    thd_n: tuple[float, ...] = (0.01, 0.1)
    driven: int | None = Field(default=None, ge=1, description="outputs driven at once")
    chosen: tuple[str, ...] = Field(default=(), description="what was chosen, and why")


class SessionNamed(_Plain):
    """One of the sessions, as the comparison names it."""

    name: str
    amplifier: str
    bench: str = ""
    note: str = ""


class Value(_Plain):
    """A session's figure on the terms."""

    quantity: Quantity
    basis: Basis
    correction: float | None = Field(default=None, description="corrected over measured, less one; null: none")
    correction_u: float | None = Field(default=None, ge=0, description="relative standard uncertainty it brings")
    bounded: bool = Field(
        default=False, description="how the rail follows is not known: the interval spans both extremes"
    )
    where: str = Field(description="captures it was found in")


class Row(_Plain):
    """One figure of all sessions; null where a session cannot be put on the terms."""

    name: str
    unit: str
    conditions: dict[str, Condition] = Field(default_factory=dict)
    values: tuple[Value | None, ...]


class Difference(_Plain):
    """The second value less the first, with what both share left out of the doubt."""

    name: str
    conditions: dict[str, Condition] = Field(default_factory=dict)
    first: str
    second: str
    relation: Relation
    difference: Quantity
    ratio: Quantity | None = Field(default=None, description="second over first; null where one is not above 0")
    correlation: float = Field(ge=-1, le=1, description="of the two values, through the sources they share")
    distinguishable: bool = Field(description="the 95 % interval of the difference does not hold 0")
    en: float | None = Field(
        default=None, ge=0, description="one amplifier only: |difference| over its expanded uncertainty"
    )
    compares_benches: bool = Field(
        default=True, description="false: a quotient with what the maker states, of which En says nothing"
    )


class Soak(_Plain):
    """A session's own figure cold and soaked: `difference` is soaked less cold."""

    session: str
    cold: str
    soaked: str
    cold_value: Quantity
    soaked_value: Quantity
    difference: Difference


class NotCompared(_Plain):
    """Something that is not on common terms: why, and what would put it there."""

    name: str
    conditions: dict[str, Condition] = Field(default_factory=dict)
    session: str
    why: str
    hint: str


class Comparison(_Plain):
    """Sessions side by side."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    sessions: tuple[SessionNamed, ...]
    terms: Terms
    rows: tuple[Row, ...]
    differences: tuple[Difference, ...]
    soaks: tuple[Soak, ...] = ()
    not_compared: tuple[NotCompared, ...] = ()
    remarks: tuple[str, ...] = Field(default=(), description="conditions that differ and are left as they are")

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)
