"""What a measurement gives: figures, a curve, notices, and the few samples a page draws."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof.errors import Notice
from wattproof.quantity import Quantity

Kind = Literal["steady", "ramp", "burst", "hold", "idle", "readings"]
Condition = float | int | str | tuple[float, ...]


class _Result(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Figure(Quantity):
    """A measured or derived quantity with its conditions and origin.

    Conditions are numbers with the unit in the key (``frequency_hz``, ``load_ohm``, ``supply_v``, ``bandwidth_hz``)
    or words (``"basis": "v*i"``); `origin` names the capture and its span of time: ``ramp.wav 1.62-1.71 s``.
    """

    name: str
    output: str | None = Field(default="A", description="which amplifier output; null for the amplifier as a whole")
    conditions: dict[str, Condition] = Field(default_factory=dict)
    origin: str


class CapturedChannel(_Result):
    """A channel as it was used: what it was taken for and how far it went."""

    role: str
    output: str | None
    name: str
    peak: float = Field(description="largest magnitude, engineering units")
    clipped: int = Field(description="samples at the recorder's limit")


class CurvePoint(_Result):
    """One frame of a ramp, a burst train or a hold; what the channels do not give is null."""

    t_s: float
    output: str = "A"
    load_voltage_rms: float | None = None
    load_current_rms: float | None = None
    load_power: float | None = None
    thd_n: float | None = None
    gain: float | None = None
    supply_voltage: float | None = None
    supply_current: float | None = None
    supply_power: float | None = None
    efficiency: float | None = None
    temperature: float | None = None


class Trace(_Result):
    """A few hundred points to draw: `x` and `y` of equal length, with what they are and their units."""

    name: str
    output: str | None = None
    x_label: str
    x_unit: str
    y_label: str
    y_unit: str
    x: tuple[float, ...]
    y: tuple[float, ...]


class Views(_Result):
    """What a page shows of a capture beside its figures; never a source of figures."""

    waveform: tuple[Trace, ...] = ()
    spectrum: tuple[Trace, ...] = ()
    supply: tuple[Trace, ...] = ()


class CaptureResult(_Result):
    """Everything measured from one capture (or one typed row)."""

    file: str
    kind: Kind
    sample_rate_hz: float | None = None
    samples: int = 0
    duration_s: float | None = None
    channels: tuple[CapturedChannel, ...] = ()
    figures: tuple[Figure, ...] = ()
    curve: tuple[CurvePoint, ...] = ()
    warnings: tuple[Notice, ...] = ()
    views: Views = Views()

    def figure(self, name: str, output: str | None = "A") -> Figure | None:
        """Give the figure of that name and output, or None."""
        return next((f for f in self.figures if f.name == name and f.output == output), None)
