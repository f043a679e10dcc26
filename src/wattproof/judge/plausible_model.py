"""A finding of plausibility as data: what was looked at, how strong it is, and its arithmetic line by line."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof.amplifier import Amplifier, Inside, Rating, power_words, system_volts

Strength = Literal["contradiction", "doubtful", "fits"]
"""contradiction: two statements, or a statement and physics, exclude each other; doubtful: possible, to look at."""

STRENGTHS: tuple[Strength, ...] = ("contradiction", "doubtful", "fits")
SCHEMA = 1

Numbered = tuple[int, Rating]
"""A rating with its number in amplifier.toml."""

HIGH_OVER_USUAL = 16.0 / 14.4
"""The most that a supply is reckoned with where a rating states no voltage, over the usual: 16 V."""

ROUNDING = 0.03
"""Makers round their numbers: two that differ by less than this share agree."""


class _Plain(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, allow_inf_nan=False)


class Finding(_Plain):
    """One thing that was looked at, without a bench."""

    code: str
    about: tuple[int, ...] = Field(
        default=(), description="numbers of the ratings in amplifier.toml, from 0; empty: the amplifier as a whole"
    )
    strength: Strength
    message: str
    arithmetic: tuple[str, ...] = Field(default=(), description="the steps with their numbers, one a line")
    numbers: dict[str, float] = Field(default_factory=dict, description="the same for machines, SI units in the names")
    hint: str = ""


class RatingSaid(_Plain):
    """A rating as it was read, so that findings can be shown beside it."""

    number: int = Field(ge=0, description="in amplifier.toml, from 0")
    words: str
    source: str = ""
    strength: Strength | None = Field(description="the worst of the findings about it; null: nothing was looked at")


class Plausibility(_Plain):
    """What can be said of an amplifier's ratings without a bench; no verdict."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    amplifier: str
    ratings: tuple[RatingSaid, ...]
    findings: tuple[Finding, ...]
    unknown: tuple[str, ...] = Field(default=(), description="what would allow more to be said, were it typed")

    @property
    def strength(self) -> Strength:
        """The worst of all findings."""
        return worst(finding.strength for finding in self.findings)


def worst(strengths: Iterable[Strength]) -> Strength:
    """Give the worst of some strengths; ``fits`` where there are none."""
    return min(strengths, key=STRENGTHS.index, default="fits")


def said(value: float) -> str:
    """Write a number of such a reckoning: three figures, and never an exponent for what people say plainly.

    Examples
    --------
    >>> said(3333.3), said(53.51), said(0.2), said(1.2876)
    ('3333', '53.5', '0.2', '1.29')
    """
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"


def rating_words(rating: Rating) -> str:
    """Write a rating in words; a power with the load and the limits stated beside it.

    Examples
    --------
    >>> rating_words(Rating(quantity="power", value=520, unit="W", load_ohm=2, thd_percent=1))
    '520 W into 2 ohm at 1 %'
    """
    if rating.quantity != "power":
        return (
            f"{rating.quantity.replace('_', ' ')} {rating.value:g} {rating.unit if rating.unit != '1' else ''}".strip()
        )
    words = power_words(rating)
    words += "" if rating.thd_percent is None else f" at {rating.thd_percent:g} %"
    words += "" if rating.supply_v is None else f", {rating.supply_v:g} V"
    return words if (rating.channels_driven or 1) == 1 else f"{words}, {rating.channels_driven} outputs at once"


@dataclass(frozen=True, kw_only=True)
class Claim:
    """A rated power with what has to be assumed to reckon with it.

    Attributes
    ----------
    number : int
        Of the rating.
    rating : Rating
    amplifier : Amplifier
    """

    number: int
    rating: Rating
    amplifier: Amplifier

    @property
    def power_w(self) -> float:
        """Of each output, W."""
        return self.rating.value_si

    @property
    def supply_v(self) -> float:
        """As stated, or the usual one, V."""
        return self.rating.supply_v or system_volts(self.amplifier)

    @property
    def highest_supply_v(self) -> float:
        """As stated, or the most that may be meant, V."""
        return self.rating.supply_v or HIGH_OVER_USUAL * system_volts(self.amplifier)

    @property
    def load_ohm(self) -> float | None:
        """As stated; else the lowest allowed, which asks for the fewest volts; None where nothing is known, ohm."""
        least_ohm = self.amplifier.minimum_load_ohm
        if self.rating.load_ohm is not None or least_ohm is None:
            return self.rating.load_ohm
        return 2 * least_ohm if self.rating.bridged else least_ohm

    @property
    def inside(self) -> Inside:
        """What was seen inside; empty where nothing was."""
        return self.amplifier.inside or Inside()


def claims_of(amplifier: Amplifier) -> Iterator[Claim]:
    """Give every rated power, bridged or not."""
    for number, rating in enumerate(amplifier.ratings):
        if rating.quantity == "power" and rating.value > 0:
            yield Claim(number=number, rating=rating, amplifier=amplifier)
