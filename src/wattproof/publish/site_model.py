"""What a site tells of a session, small enough to be kept beside the pages of sessions that do not change."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

SITE_SUPPLY_V = 14.4
SITE_THD_N = 0.01
SITE_LOADS_OHM = (8.0, 4.0, 2.0, 1.0)
"""The common terms of a site's table: at the terminals, 1 % distortion with noise, into these loads."""


class _Plain(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class SiteFigure(_Plain):
    """A figure on the site's terms."""

    name: str = Field(description="name of the figure")
    load_ohm: float | None = Field(description="into which load, ohm; null: none")
    value: float = Field(description="to sort by, in SI")
    text: str = Field(description="as printed, with its 95 % interval and unit")
    carried: bool = Field(description="true: carried to the terms by the model; false: as measured")


class SiteRating(_Plain):
    """A rating under one reading of it."""

    rating: str = Field(description="as the maker states it")
    reading: str = Field(description="how it was read")
    verdict: Literal["meets", "falls short", "cannot tell"] = Field(description="by the bench's rule")


class SiteSession(_Plain):
    """A session as the site tells of it."""

    session: str = Field(description="name of the session's folder in the archive")
    day: str = Field(description="of the bench, ISO 8601")
    maker: str = Field(description="who made the amplifier")
    model: str = Field(description="its model")
    bench: str = Field(description="name of the bench")
    note: str = Field(description="of the session")
    price: str = Field(description="as stated; empty: not stated")
    facts: tuple[tuple[str, str], ...] = Field(description="what the amplifier file states")
    lead: tuple[str, ...] = Field(description="what was found, in the report's words")
    figures: tuple[SiteFigure, ...] = Field(description="on the site's terms")
    ratings: tuple[SiteRating, ...] = Field(description="with their verdicts")
    driven: int | None = Field(description="outputs driven at once in these figures; null: not known")

    @property
    def amplifier(self) -> str:
        """Maker and model."""
        return f"{self.maker} {self.model}"

    def power(self, load_ohm: float) -> SiteFigure | None:
        """Give the power into a load, or None where the session has none on the site's terms."""
        return next((f for f in self.figures if f.name == "power_at_thd_1" and f.load_ohm == load_ohm), None)

    def plain(self, name: str) -> SiteFigure | None:
        """Give a figure without a load."""
        return next((f for f in self.figures if f.name == name and f.load_ohm is None), None)

    def verdicts(self) -> dict[str, int]:
        """Count ratings by what their readings say together: one verdict only where all readings agree."""
        by_rating: dict[str, set[str]] = {}
        for one in self.ratings:
            by_rating.setdefault(one.rating, set()).add(one.verdict)
        counted = {"meets": 0, "falls short": 0, "cannot tell": 0, "depends on the reading": 0}
        for found in by_rating.values():
            counted[next(iter(found)) if len(found) == 1 else "depends on the reading"] += 1
        return {name: count for name, count in counted.items() if count}
