"""A verdict as data: the rating as read, the figure it is weighed against, the rule, what would settle it."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof.quantity import Quantity

Verdict = Literal["meets", "falls short", "cannot tell"]
SCHEMA = 1


class _Plain(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Rule(_Plain):
    """The decision rule, fixed before the measurement.

    A rating is met where the probability that the true value conforms is at least `confidence`, and fallen short of
    where the probability that it does not is at least `confidence`; between the two nobody can tell (JCGM 106).
    """

    confidence: float = Field(default=0.95, gt=0.5, lt=1)


class Reading(_Plain):
    """One way to read a rating: the stated conditions, and those assumed where the maker is silent."""

    words: str = Field(description='"1 % distortion, 14.4 V, one channel driven"')
    assumed: tuple[str, ...] = Field(default=(), description="what the maker does not state and this reading adds")
    factor: float = Field(
        default=1.0, gt=0, description="rated number over the sine power it stands for, as for a square"
    )
    factor_u: float = Field(default=0.0, ge=0, description="relative standard uncertainty of the factor")
    load_ohm: float | None = Field(default=None, gt=0, description="wanted load; null: any")
    supply_v: float | None = Field(default=None, gt=0, description="wanted at the terminals; null: any")
    thd_n: float | None = Field(default=None, gt=0, description="wanted limit of distortion, V/V; null: any")
    driven: int | None = Field(default=None, ge=1, description="outputs driven at once; null: any number")
    frequency_hz: float | None = Field(default=None, gt=0)
    seconds: float | None = Field(default=None, gt=0, description="for how long")
    added: bool = Field(default=False, description="the powers of all outputs added up")
    stretched: bool = Field(
        default=False, description="no reading one would expect: tried only to see what would make the number true"
    )


class Settling(_Plain):
    """What would settle an undecided verdict: a budget line to improve, or a step to repeat."""

    kind: Literal["budget", "step", "nothing"]
    message: str
    source: str | None = None
    u_now: float | None = None
    u_needed: float | None = None
    unit: str = ""


class Judgement(_Plain):
    """A rating weighed under one reading."""

    rating: int = Field(ge=0, description="number of the rating in amplifier.toml, from 0")
    quantity: str
    claimed: float = Field(description="SI")
    unit: str
    sense: Literal["at least", "at most", "about"]
    reading: Reading
    measured: Quantity | None = Field(
        description="as measured, nearest conditions; null: nothing was measured that fits"
    )
    measured_name: str = ""
    measured_where: str = Field(default="", description="capture and conditions")
    bound: Literal["", "at least", "at most"] = Field(
        default="", description="the figure only bounds what is rated, as a power below its limit of distortion"
    )
    corrected: Quantity | None = Field(description="at the rated conditions")
    correction: float | None = Field(default=None, description="corrected over measured, less one")
    correction_share: float | None = Field(
        default=None, ge=0, le=1, description="of the variance of the corrected figure"
    )
    probability: float | None = Field(default=None, ge=0, le=1, description="that the true value conforms")
    margin: float | None = Field(default=None, description="corrected over claimed, less one")
    verdict: Verdict
    why: str
    settling: tuple[Settling, ...] = ()


class Judged(_Plain):
    """All ratings of an amplifier, judged."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    amplifier: str
    rule: Rule
    ratings: tuple[str, ...] = Field(default=(), description="the ratings as the maker states them, by number")
    judgements: tuple[Judgement, ...]
    true_under: dict[int, tuple[str, ...]] = Field(
        default_factory=dict, description="for each rating, the readings under which its number would be true"
    )

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)
