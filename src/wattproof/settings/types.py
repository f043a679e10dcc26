"""The kinds of value such files hold, stricter than Python is: text is no number, true is no number, nan is none."""

from datetime import date, datetime
from typing import Annotated

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from wattproof.settings.faults import custom_fault


class Part(BaseModel):
    """A table of such a file: its keys are fixed, its content never changes."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


def _day(value: object) -> object:
    """Let a date or an ISO text through: a bare number would be read as seconds since 1970."""
    if isinstance(value, str) or (isinstance(value, date) and not isinstance(value, datetime)):
        return value
    raise custom_fault(f"{value} is no date", "write year-month-day without quotes, as in 2031-03-02")


def _printable(words: str) -> str:
    """Refuse signs that cannot be seen: a backslash in double quotation marks makes them without a word."""
    if words.isprintable():
        return words
    raise custom_fault(
        f"{words!r} holds a sign that cannot be seen",
        "write text on one line; a backslash wants 'single' quotation marks",
    )


def _ascending(pair: tuple[float, float]) -> tuple[float, float]:
    low, high = pair
    if low < high:
        return pair
    raise custom_fault(
        f"the lower end {low:g} is not below the upper end {high:g}",
        f"write [{high:g}, {low:g}]" if low > high else "write two different numbers, the lower first",
    )


Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Whole = Annotated[int, Field(strict=True)]
Words = Annotated[str, Field(strict=True, min_length=1), AfterValidator(_printable)]
Day = Annotated[date, BeforeValidator(_day)]
Band = Annotated[tuple[Annotated[Number, Field(ge=0)], Annotated[Number, Field(ge=0)]], AfterValidator(_ascending)]
