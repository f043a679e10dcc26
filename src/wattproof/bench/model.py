"""The bench file's content, typed: the keys a person writes and their units."""

from datetime import date
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo, field_validator

from wattproof.bench.calibrate_checks import LARGEST_RELATIVE_U
from wattproof.bench.rig import RigSettings
from wattproof.errors import Notice, SettingsError
from wattproof.settings import Band, Day, Number, Part, Words, custom_fault, nearest

Role = Literal["load_voltage", "load_current", "supply_voltage", "supply_current", "drive_voltage", "temperature"]
Read = Literal[
    "load_voltage", "load_current", "supply_voltage", "supply_current", "drive_voltage", "power", "thd", "thd_f",
    "frequency",
]  # fmt: skip


def _input(value: object) -> object:
    """Let a number from 1 up or a header name through."""
    if isinstance(value, int) and not isinstance(value, bool) and value >= 1:
        return value
    if isinstance(value, str) and value.strip():
        return value
    shown = f'"{value}"' if isinstance(value, str) else value
    raise custom_fault(f"{shown} is no input", 'count tracks or columns from 1, or write a header name: "CH1"')


LARGEST_CLOCK_U = 0.01
"""No recorder's clock is off by 1 %: such a number is ppm."""


def _no_percentage(ratio: float) -> float:
    """Refuse a percentage where a ratio belongs."""
    if ratio >= LARGEST_RELATIVE_U:
        raise custom_fault(f"{ratio:g} would be {100 * ratio:g} %", f"{ratio:g} % is written {ratio / 100:g}")
    return ratio


def _no_ppm(ratio: float) -> float:
    """Refuse parts per million where a ratio belongs."""
    if ratio >= LARGEST_CLOCK_U:
        raise custom_fault(f"{ratio:g} would be {100 * ratio:g} %", f"{ratio:g} ppm is written {ratio / 1e6:g}")
    return ratio


class BenchChannel(Part):
    """One recorded quantity: where it is in the file and how its numbers become volts, amperes or kelvin."""

    input: Annotated[int | str, BeforeValidator(_input)] = Field(
        description="track or column counted from 1, or header name", examples=[1]
    )
    role: Role = Field(examples=["load_voltage"])
    output: Words = Field(
        default="A", description="which amplifier output; load_voltage and load_current only", examples=["A"]
    )
    scale: Number = Field(
        default=1.0, description="engineering units per unit of the file's number; not 0", examples=[42.0]
    )
    offset: Number = Field(default=0.0, description="engineering units, added after scaling", examples=[0.0])
    scale_u: Annotated[Number, AfterValidator(_no_percentage)] = Field(
        default=0.0, ge=0, description="relative standard uncertainty of the scale: 0.2 % is 0.002", examples=[0.002]
    )
    offset_u: Number = Field(
        default=0.0, ge=0, description="standard uncertainty of the offset, engineering units", examples=[0.01]
    )
    skew_s: Number = Field(
        default=0.0, description="seconds this channel lags the reference channel", examples=[1.5e-6]
    )
    skew_u_s: Number = Field(
        default=0.0, ge=0, description="standard uncertainty of the skew, seconds", examples=[1e-7]
    )
    full_scale: Number | None = Field(
        default=None, gt=0, description="magnitude in file units at which the input clips", examples=[1.0]
    )
    calibrated: Day | None = Field(default=None, description="day of calibration", examples=[date(2031, 3, 2)])
    calibration_days: Number | None = Field(default=None, gt=0, description="days a calibration holds", examples=[365])

    @field_validator("scale")
    @classmethod
    def _scale_is_not_zero(cls, scale: float) -> float:
        if scale == 0:
            raise custom_fault("0 would make every sample 0", "write the units per unit of the file, as in 42.0")
        return scale

    def engineering(self, number: float) -> float:
        """Turn a number of the file into volts, amperes or kelvin."""
        return self.offset + self.scale * number

    def overdue(self, today: date) -> Notice | None:
        """Tell that the calibration is older than it holds; None where it holds or no period is given."""
        if self.calibrated is None or self.calibration_days is None:
            return None
        age_days = (today - self.calibrated).days
        if age_days <= self.calibration_days:
            return None
        return Notice(
            code="calibration-overdue",
            message=f"The calibration of {self.role} (input {self.input}) is {age_days} days old; "
            f"it holds {self.calibration_days:g} days.",
            hint="Calibrate the channel again and write the new scale and date, or take its figures with reserve.",
            numbers={"age_days": float(age_days), "calibration_days": self.calibration_days},
        )


class Load(Part):
    """A load resistor (or bank) as calibrated cold."""

    name: Words = Field(examples=["4 ohm"])
    resistance_ohm: Number = Field(gt=0, description="measured cold, with four wires", examples=[4.03])
    resistance_u_ohm: Number = Field(default=0.0, ge=0, description="standard uncertainty", examples=[0.008])
    tempco_per_k: Number = Field(
        default=0.0, ge=-0.02, le=0.02, description="relative change per kelvin: 60 ppm is 60e-6", examples=[60e-6]
    )
    rise_k: Number | None = Field(
        default=None, ge=0, description="largest temperature rise expected while measuring", examples=[80]
    )
    inductance_h: Number = Field(default=0.0, ge=0, description="henry", examples=[2e-6])
    continuous_w: Number | None = Field(default=None, gt=0, description="watt", examples=[1000])

    @field_validator("resistance_u_ohm")
    @classmethod
    def _u_is_in_ohm(cls, u_ohm: float, info: ValidationInfo) -> float:
        cold_ohm = info.data.get("resistance_ohm")
        if cold_ohm is not None and u_ohm >= LARGEST_RELATIVE_U * cold_ohm:
            raise custom_fault(
                f"{u_ohm:g} ohm would be {100 * u_ohm / cold_ohm:.3g} % of {cold_ohm:g} ohm",
                f"{u_ohm:g} % of it is written {u_ohm / 100 * cold_ohm:.3g}",
            )
        return u_ohm


class Meter(Part):
    """A meter whose readings are typed, with its accuracy as the data sheet states it.

    A meter with several functions or bands is written once for each, under the same name.
    """

    name: Words = Field(examples=["handheld"])
    quantity: Read = Field(description="the column it reads, without its unit", examples=["load_voltage"])
    percent_of_reading: Number = Field(default=0.0, ge=0, le=100, description="per cent", examples=[0.8])
    digits: Number = Field(default=0.0, ge=0, description="counts of the last digit", examples=[3])
    resolution: Number = Field(
        default=0.0, ge=0, description="one count, in the column's unit; 0: as many digits as typed", examples=[0.01]
    )
    frequency_hz: Band | None = Field(
        default=None, description="band in which the accuracy holds", examples=[[45, 400]]
    )

    def covers(self, frequency_hz: float | None) -> bool:
        """Say whether the stated accuracy holds at a frequency; an unknown one is given the benefit of the doubt."""
        if self.frequency_hz is None or frequency_hz is None:
            return True
        low, high = self.frequency_hz
        return low <= frequency_hz <= high


class Supply(Part):
    """The bench's DC supply."""

    nominal_v: Number | None = Field(default=None, gt=0, description="volt", examples=[14.4])
    max_current_a: Number | None = Field(default=None, gt=0, description="ampere", examples=[150])


class Limits(Part):
    """Beyond these the drive is stopped."""

    load_voltage_v: Number | None = Field(default=None, gt=0, description="volt", examples=[90])
    load_dc_v: Number | None = Field(default=None, gt=0, description="volt", examples=[1.0])
    load_current_a: Number | None = Field(default=None, gt=0, description="ampere", examples=[60])
    supply_current_a: Number | None = Field(default=None, gt=0, description="ampere", examples=[120])
    supply_voltage_v: Band | None = Field(default=None, description="lowest and highest, volt", examples=[[10.5, 16.0]])
    temperature_c: Number | None = Field(default=None, ge=-40, le=300, description="degrees Celsius", examples=[85])
    full_power_s: Number | None = Field(default=None, gt=0, description="seconds", examples=[6])


class DecisionRule(Part):
    """How a rating is decided, fixed before anything is measured."""

    confidence: Number = Field(
        default=0.95,
        gt=0.5,
        lt=1,
        description="probability from which a rating counts as met, or as fallen short of: 95 % is 0.95",
        examples=[0.95],
    )


class Bench(Part):
    """What is on the table, from `bench.toml`."""

    name: Words = Field(default="unnamed bench", examples=["Boathouse bench"])
    channels: tuple[BenchChannel, ...] = ()
    loads: tuple[Load, ...] = ()
    meters: tuple[Meter, ...] = ()
    supply: Supply = Supply()
    limits: Limits = Limits()
    rule: DecisionRule = DecisionRule()
    rig: RigSettings | None = Field(
        default=None, description="what plays, records, feeds and loads; left out: files only"
    )
    clock_u: Annotated[Number, AfterValidator(_no_ppm)] = Field(
        default=0.0,
        ge=0,
        description="relative standard uncertainty of the sample clock; 30 ppm, as of a plain crystal, is 3e-5",
    )

    def load(self, name: str) -> Load:
        """Give the load of that name.

        Raises
        ------
        SettingsError
            The bench has no such load; its loads are listed.
        """
        found = next((load for load in self.loads if load.name == name), None)
        if found is None:
            names = [load.name for load in self.loads]
            close = nearest(name, names)
            listed = ", ".join(f'"{one}"' for one in names) or "none"
            raise SettingsError(
                f'The bench "{self.name}" has no load named "{name}".',
                why=f"Its loads are: {listed}.",
                hint=f'Write "{close}".' if close else "Name one of them, or add it as [[loads]] to the bench file.",
            )
        return found

    def channel_for(self, role: Role, output: str = "A") -> BenchChannel | None:
        """Give the channel that records a quantity; `output` counts for load_voltage and load_current only."""
        by_output = role in {"load_voltage", "load_current"}
        return next((c for c in self.channels if c.role == role and (not by_output or c.output == output)), None)

    def overdue(self, today: date) -> tuple[Notice, ...]:
        """Tell of all channels whose calibration is older than it holds."""
        return tuple(notice for channel in self.channels if (notice := channel.overdue(today)) is not None)
