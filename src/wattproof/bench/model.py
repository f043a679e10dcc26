"""The bench file's content, typed: the keys a person writes and their units."""

from datetime import date
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

Role = Literal["load_voltage", "load_current", "supply_voltage", "supply_current", "drive_voltage", "temperature"]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class BenchChannel(_Part):
    """One recorded quantity: where it is in the file and how its numbers become volts, amperes or kelvin."""

    input: int | str = Field(description="track or column counted from 1, or header name")
    role: Role
    output: str = Field(default="A", description="which amplifier output; load_voltage and load_current only")
    scale: float = Field(default=1.0, description="engineering units per unit of the file's number; not 0")
    offset: float = Field(default=0.0, description="engineering units, added after scaling")
    scale_u: float = Field(default=0.0, ge=0, description="relative standard uncertainty of the scale")
    offset_u: float = Field(default=0.0, ge=0, description="standard uncertainty of the offset, engineering units")
    skew_s: float = Field(default=0.0, description="seconds this channel lags the reference channel")
    skew_u_s: float = Field(default=0.0, ge=0, description="standard uncertainty of the skew, seconds")
    full_scale: float | None = Field(default=None, gt=0, description="magnitude in file units at which the input clips")
    calibrated: date | None = None
    calibration_days: float | None = Field(default=None, gt=0, description="days a calibration holds")


class Load(_Part):
    """A load resistor (or bank) as calibrated cold."""

    name: str
    resistance_ohm: float = Field(gt=0)
    resistance_u_ohm: float = Field(default=0.0, ge=0, description="standard uncertainty")
    tempco_per_k: float = Field(default=0.0, description="relative change of resistance per kelvin")
    rise_k: float | None = Field(default=None, ge=0, description="largest temperature rise expected while measuring")
    inductance_h: float = Field(default=0.0, ge=0)
    continuous_w: float | None = Field(default=None, gt=0)


class Meter(_Part):
    """A meter whose readings are typed, with its accuracy as the data sheet states it."""

    name: str
    quantity: str = Field(description="the column it reads: load_voltage, supply_current, ...")
    percent_of_reading: float = Field(default=0.0, ge=0)
    digits: float = Field(default=0.0, ge=0, description="counts of the last digit")
    resolution: float = Field(default=0.0, ge=0, description="one count, in the quantity's unit")
    frequency_hz: tuple[float, float] | None = Field(default=None, description="band in which the accuracy holds")


class Supply(_Part):
    """The bench's DC supply."""

    nominal_v: float | None = Field(default=None, gt=0)
    max_current_a: float | None = Field(default=None, gt=0)


class Limits(_Part):
    """Beyond these the drive is stopped."""

    load_voltage_v: float | None = Field(default=None, gt=0)
    load_dc_v: float | None = Field(default=None, gt=0)
    supply_current_a: float | None = Field(default=None, gt=0)
    supply_voltage_v: tuple[float, float] | None = None
    temperature_c: float | None = None
    full_power_s: float | None = Field(default=None, gt=0)


class Bench(_Part):
    """What is on the table, from `bench.toml`."""

    name: str = "unnamed bench"
    channels: tuple[BenchChannel, ...] = ()
    loads: tuple[Load, ...] = ()
    meters: tuple[Meter, ...] = ()
    supply: Supply = Supply()
    limits: Limits = Limits()
