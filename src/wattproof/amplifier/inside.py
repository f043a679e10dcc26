"""What was seen with the lid off, typed: capacitors, rails, fuses, wire; all of it optional."""

from typing import Annotated

from pydantic import Field

from wattproof.amplifier.truth import Truth
from wattproof.settings import Number, Part, Words

Positive = Annotated[Number, Field(gt=0)]


class Inside(Part):
    """The table `[inside]`: read from the parts or measured at them, never taken from the maker's sheet."""

    rail_capacitance_f: Number | None = Field(
        default=None, gt=0, description="farad; all capacitors across the rails added up", examples=[0.0066]
    )
    rail_capacitor_v: Number | None = Field(
        default=None,
        gt=0,
        description="volt; printed on a rail capacitor; of a string the sum",
        examples=[63],
    )
    rail_v: Number | None = Field(
        default=None, gt=0, description="volt; measured without signal, of each half where there are two", examples=[51]
    )
    rail_at_supply_v: Number | None = Field(
        default=None, gt=0, description="volt; the supply while rail_v was measured", examples=[14.4]
    )
    converter: Truth | None = Field(
        default=None, description="a step-up converter stands between supply and rails", examples=[True]
    )
    full_bridge: Truth | None = Field(
        default=None, description="both terminals of one output are driven", examples=[False]
    )
    fuses_a: tuple[Positive, ...] | None = Field(
        default=None,
        min_length=1,
        description="ampere; each fuse of the supply lead or board",
        examples=[[30, 30]],
    )
    output_devices: Words | None = Field(default=None, description="how many and which", examples=["2 pairs, TO-247"])
    cable_mm2: Number | None = Field(
        default=None, gt=0, description="square millimetre; the supply lead as fitted or asked for", examples=[21]
    )
    terminal_mm2: Number | None = Field(
        default=None, gt=0, description="square millimetre; largest wire the supply terminals take", examples=[21]
    )
    seen: str | None = Field(default=None, description="anything else", examples=["no thermal paste under two devices"])
    photos: tuple[Words, ...] = Field(default=(), description="names of picture files", examples=[["board-top.jpg"]])
