"""What a result card holds: results on lines beside what the maker claims, or the supply's power in parts."""

from dataclasses import dataclass
from math import log10
from typing import Literal

Verdict = Literal["meets", "falls short", "cannot tell"]


@dataclass(frozen=True, kw_only=True)
class Dot:
    """A result on a line: its value and 95 % interval, and how it is told from others.

    Attributes
    ----------
    value, low, high : float
        In the row's unit.
    sort : str
        A verdict's words give the dot their sign; "carried" is to the rated conditions, by the model.
    """

    value: float
    low: float
    high: float
    sort: Literal["measured", "carried", "predicted", "meets", "falls short", "cannot tell"] = "measured"


@dataclass(frozen=True, kw_only=True)
class Line:
    """Where dots and claims are placed: a linear axis, or a logarithmic one, between two ends."""

    low: float
    high: float
    log: bool = False

    def share(self, value: float) -> float:
        """Give how far along the line a value lies, kept between 0 and 1."""
        if self.log and value <= 0:
            return 0.0
        low, at, high = (log10(v) if self.log else v for v in (self.low, value, self.high))
        return min(max((at - low) / (high - low), 0.0), 1.0)


@dataclass(frozen=True, kw_only=True)
class Claim:
    """What the maker states, on the same line; the side on which it is kept is shaded."""

    value: float
    at_least: bool | None
    text: str


@dataclass(frozen=True, kw_only=True)
class CardRow:
    """One line of a card: words, and dots with intervals beside a claim.

    Attributes
    ----------
    head : str
        What it is, with its number.
    told : tuple of str
        More about it, a line each.
    verdict : str
        In words, with its sign; empty where nothing is judged.
    dots : tuple of Dot
        Drawn under one another.
    claim : Claim or None
    line : Line or None
        None where the row has nothing to be placed on a line.
    ends : tuple of str
        The line's ends in words, where it is the row's own; none where all rows share the card's axis.
    """

    head: str
    told: tuple[str, ...] = ()
    verdict: Verdict | None = None
    dots: tuple[Dot, ...] = ()
    claim: Claim | None = None
    line: Line | None = None
    ends: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class RowsCard:
    """Rows under one another.

    Attributes
    ----------
    rows : tuple of CardRow
    legend : tuple of str
        Kinds of signs that are explained: "claim", "measured", "predicted", "found".
    ticks : tuple of float
        Of the axis that all rows share, with `axis` as its title; none where each row has its own line.
    axis : str
    """

    rows: tuple[CardRow, ...]
    legend: tuple[Literal["claim", "measured", "carried", "predicted", "found"], ...]
    ticks: tuple[float, ...] = ()
    axis: str = ""


@dataclass(frozen=True, kw_only=True)
class CardPart:
    """A part of the supply's power: how much, in watts, whether it is heat, and its words; some share one text."""

    watts: float
    heat: bool
    text: str = ""


@dataclass(frozen=True, kw_only=True)
class CardStrip:
    """The supply's power at one level, as a strip."""

    head: str
    parts: tuple[CardPart, ...]

    @property
    def watts(self) -> float:
        """The whole width."""
        return sum(part.watts for part in self.parts)


@dataclass(frozen=True, kw_only=True)
class StripsCard:
    """Strips under one another, a watt as wide on each; `ticks` are those of their axis."""

    strips: tuple[CardStrip, ...]
    ticks: tuple[float, ...]
    axis: str
