"""The amplifier file's content, typed. What the maker does not state is left out, never guessed."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Price(_Part):
    """What it costs."""

    amount: float = Field(ge=0)
    currency: str = Field(pattern="^[A-Z]{3}$", description="ISO 4217 code")


class Rating(_Part):
    """One figure the maker states, with the conditions stated beside it."""

    quantity: str = Field(description="power, thd, efficiency, snr, frequency_low, sensitivity, damping_factor, ...")
    value: float
    unit: str
    load_ohm: float | None = Field(default=None, gt=0)
    supply_v: float | None = Field(default=None, gt=0)
    thd_percent: float | None = Field(default=None, gt=0)
    frequency_hz: float | None = Field(default=None, gt=0)
    channels_driven: int | None = Field(default=None, ge=1)
    bridged: bool | None = None
    seconds: float | None = Field(default=None, gt=0, description="how long, where the maker says")
    source: str | None = None
    note: str | None = None


class Amplifier(_Part):
    """The thing under test, from `amplifier.toml`."""

    maker: str
    model: str
    outputs: tuple[str, ...] = ("A",)
    class_: str | None = Field(default=None, alias="class", description="A, AB, D, ...")
    supply: Literal["regulated", "unregulated", "unknown"] = "unknown"
    price: Price | None = None
    fuse_a: float | None = Field(default=None, gt=0)
    minimum_load_ohm: float | None = Field(default=None, gt=0)
    size_mm: tuple[float, float, float] | None = None
    mass_kg: float | None = Field(default=None, gt=0)
    controls: dict[str, str] = Field(default_factory=dict, description="control and its position while measured")
    notes: str | None = None
    ratings: tuple[Rating, ...] = ()
