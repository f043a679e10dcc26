"""The amplifier file's content, typed. What the maker does not state is left out, never guessed."""

from math import sqrt
from typing import Literal

from pydantic import Field, ValidationInfo, field_validator

from wattproof.amplifier.inside import Inside
from wattproof.amplifier.truth import Truth
from wattproof.amplifier.units import RATING_UNITS, known_quantity, si_value
from wattproof.settings import Number, Part, Whole, Words, custom_fault


class Price(Part):
    """What it costs."""

    amount: Number = Field(ge=0, examples=[329])
    currency: Words = Field(pattern="^[A-Z]{3}$", description="ISO 4217 code", examples=["GBP"])


class Rating(Part):
    """One figure the maker states, with the conditions stated beside it."""

    quantity: Words = Field(
        description="power, thd, efficiency, snr, frequency_low, sensitivity, damping_factor, ...", examples=["power"]
    )
    value: Number = Field(description="in the unit beside it", examples=[520])
    unit: str = Field(description="as the maker writes it: W, %, dB, Hz, V; 1 for a plain ratio", examples=["W"])
    load_ohm: Number | None = Field(default=None, gt=0, description="ohm", examples=[2])
    supply_v: Number | None = Field(default=None, gt=0, description="volt", examples=[14.4])
    thd_percent: Number | None = Field(default=None, gt=0, le=100, description="per cent", examples=[1])
    frequency_hz: Number | None = Field(default=None, gt=0, description="hertz", examples=[1000])
    channels_driven: Whole | None = Field(default=None, ge=1, description="how many at once", examples=[1])
    bridged: Truth | None = Field(default=None, description="two channels drive one load", examples=[True])
    seconds: Number | None = Field(default=None, gt=0, description="how long, where the maker says", examples=[60])
    source: Words | None = Field(default=None, description="where it is stated", examples=["owner's manual"])
    note: str | None = Field(default=None, examples=["printed on the box"])

    @field_validator("quantity")
    @classmethod
    def _quantity_is_spelt_right(cls, quantity: str) -> str:
        close = known_quantity(quantity)
        if close is not None and close != quantity:
            raise custom_fault(f'"{quantity}" is no quantity', f'write quantity = "{close}"')
        return quantity

    @field_validator("unit")
    @classmethod
    def _unit_fits(cls, unit: str, info: ValidationInfo) -> str:
        quantity = info.data.get("quantity", "")
        allowed = RATING_UNITS.get(quantity, (unit,))
        if unit not in allowed:
            choices = " or ".join(f'"{one}"' for one in allowed)
            raise custom_fault(f'"{unit}" does not fit {quantity}', f"write {choices}")
        return unit

    @property
    def value_si(self) -> float:
        """The value in SI units and plain ratios: 0.52 kW is 520 (W), 1 % is 0.01, -80 dBV is 1e-4 (V); dB stay dB."""
        return si_value(self.value, self.unit)

    @property
    def target_voltage_v(self) -> float | None:
        """R.m.s. volts that a rated power would need across its stated load, sqrt(P·R); None where not stated.

        It holds for a clean sine in a resistor of exactly the stated value, and says nothing about whether the
        amplifier gets there.

        Examples
        --------
        >>> Rating(quantity="power", value=1600, unit="W", load_ohm=1).target_voltage_v
        40.0
        """
        if self.quantity != "power" or self.load_ohm is None or self.value < 0:
            return None
        return sqrt(self.value_si * self.load_ohm)


class Amplifier(Part):
    """The thing under test, from `amplifier.toml`."""

    maker: Words = Field(examples=["Saltmarsh & Daughter"])
    model: Words = Field(examples=["Bittern 1"])
    outputs: tuple[Words, ...] = Field(default=("A",), min_length=1, examples=[["A"]])
    class_: Words | None = Field(default=None, alias="class", description="A, AB, D, ...", examples=["D"])
    supply: Literal["regulated", "unregulated", "direct", "unknown"] = Field(
        default="unknown",
        description="the maker's word; direct: bridged straight across the supply, without a converter",
        examples=["unregulated"],
    )
    price: Price | None = Field(default=None, examples=[{"amount": 329, "currency": "GBP"}])
    fuse_a: Number | None = Field(default=None, gt=0, description="ampere", examples=[60])
    minimum_load_ohm: Number | None = Field(default=None, gt=0, description="ohm", examples=[2])
    size_mm: tuple[Number, Number, Number] | None = Field(
        default=None, description="length, width, height in millimetres", examples=[[310, 180, 52]]
    )
    mass_kg: Number | None = Field(default=None, gt=0, description="kilograms", examples=[3.4])
    controls: dict[str, str] = Field(
        default_factory=dict,
        description="control and its position while measured, as text",
        examples=[{"gain": "minimum", "boost": "off"}],
    )
    notes: str | None = Field(default=None, examples=["bought used"])
    inside: Inside | None = Field(default=None, description="what was seen with the lid off")
    ratings: tuple[Rating, ...] = ()
