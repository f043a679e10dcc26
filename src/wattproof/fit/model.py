"""A fitted amplifier as data: parameters with doubt and complaints, the range of its data, and what it predicts."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof.errors import Notice

SCHEMA = 1


class _Plain(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Parameter(_Plain):
    """One number of the model, with how well the data fix it.

    ``rail_v`` (peak volts that the output could reach without load at `reference_v` of supply), ``rail_exponent`` (0:
    regulated; 1: follows the supply), ``output_ohm``, ``limit_a`` (peak), ``knee`` (0: hard), ``gain`` (V/V),
    ``idle_w``, ``loss_v``, ``loss_ohm``, ``converter_v``, ``converter_ohm``.
    """

    name: str
    value: float | None = Field(description="null: the amplifier showed no such limit")
    u: float | None = Field(default=None, ge=0, description="standard uncertainty; null: not fixed by the data")
    unit: str
    fixed_by: Literal["data", "prior", "stated", "nothing"] = Field(
        default="data", description="stated: known from how the amplifier is built"
    )
    low: float | None = Field(default=None, description="prior range, where the data do not fix it")
    high: float | None = None
    complaint: str = Field(default="", description="what the data cannot say, and what would")


class LeftOut(_Plain):
    """A load that was left out of the fit and predicted from the others."""

    load_ohm: float
    supply_v: float
    measured_w: float
    predicted_w: float
    error: float = Field(description="predicted over measured, less one")
    u: float = Field(ge=0, description="relative standard uncertainty that was stated for this error")


class BenchSource(_Plain):
    """The bench's own supply, which is no part of the amplifier."""

    emf_v: float
    emf_u_v: float
    resistance_ohm: float
    resistance_u_ohm: float


class SmallSignal(_Plain):
    """The amplifier below its limits: an output, or the mean of all."""

    gain: float = Field(gt=0, description="V/V into reference_ohm")
    gain_u: float = Field(ge=0)
    reference_ohm: float = Field(gt=0)
    output_ohm: float | None = Field(description="at the terminals; null: one load only was measured")
    output_ohm_u: float | None = Field(default=None, ge=0)
    frequency_hz: tuple[float, float] | None = None


class BehaviourModel(_Plain):
    """The fitted amplifier: all outputs driven together, or one of them."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    amplifier: str
    output: str | None = Field(description="null: all driven outputs alike and together")
    driven: int = Field(ge=1, description="outputs driven at once in the data")
    reference_v: float = Field(gt=0, description="supply voltage at which rail_v is stated")
    parameters: tuple[Parameter, ...]
    varied: tuple[str, ...] = Field(description="names of the parameters that were fitted, the rows of `covariance`")
    covariance: tuple[tuple[float, ...], ...]
    given: Literal[0, 1] | None = Field(
        default=None, description="1: draws what it gives and its losses (switching); 0: rail times current (linear)"
    )
    ends: tuple[dict[str, float], ...] = Field(
        default=(),
        description="where the rail's exponent is not fixed: the limit's parameters at both ends of its range",
    )
    points: int
    dof: int
    reduced_chi_square: float | None
    load_ohm: tuple[float, float] = Field(description="lowest and highest load of the data")
    supply_v: tuple[float, float] = Field(description="lowest and highest supply voltage of the data")
    supply_levels_v: tuple[float, ...] = Field(
        default=(), description="means of the supply voltages that lie apart, ascending"
    )
    supply_u: float = Field(default=0.0, ge=0, description="relative standard uncertainty of the supply voltages")
    thd_n: tuple[float, float] = Field(description="lowest and highest distortion limit of the data")
    frequency_hz: tuple[float, float] | None = None
    scatter: float = Field(
        default=0.0, ge=0, description="relative scatter of power about the fit, beyond the points' u"
    )
    left_out: tuple[LeftOut, ...] = ()
    widening: float = Field(default=0.0, ge=0, description="relative standard uncertainty of power added for the model")
    widening_dof: int = Field(default=0, ge=0, description="how many predictions it was seen from")
    loss_scatter: float | None = Field(default=None, description="relative scatter of the drawn power about the fit")
    loss_reference_v: float | None = None
    source: BenchSource | None = None
    small: SmallSignal | None = Field(default=None, description="null: no ramp holds the drive voltage")
    complaints: tuple[Notice, ...] = ()

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    def parameter(self, name: str) -> Parameter:
        """Give the parameter of that name.

        Raises
        ------
        KeyError
            There is none.
        """
        for parameter in self.parameters:
            if parameter.name == name:
                return parameter
        raise KeyError(name)


class Estimate(_Plain):
    """A predicted number with its 95 % interval, which need not be symmetric."""

    value: float
    u: float = Field(ge=0)
    low: float
    high: float
    unit: str


class Asked(_Plain):
    """The conditions of a prediction."""

    load_ohm: float = Field(gt=0)
    supply_v: float = Field(
        gt=0, description="at the amplifier's terminals, or the source's EMF where source_ohm is not 0"
    )
    source_ohm: float = Field(default=0.0, ge=0, description="of source and cable together, ohm")
    thd_n: float = Field(default=0.01, gt=0, description="V/V")
    phase_rad: float = Field(default=0.0, description="of the load's impedance")
    driven: int = Field(default=1, ge=1)


class Prediction(_Plain):
    """What the amplifier gives under conditions that were not measured."""

    asked: Asked
    power: Estimate
    load_voltage: Estimate = Field(description="r.m.s., at the terminals")
    load_current: Estimate
    supply_voltage: Estimate = Field(description="at the amplifier's terminals")
    supply_current: Estimate | None = None
    supply_power: Estimate | None = None
    efficiency: Estimate | None = None
    heat: Estimate | None = None
    drive: Estimate | None = Field(default=None, description="r.m.s. at the input, for this power")
    damping_factor: Estimate | None = Field(default=None, description="load over output resistance, small signals")
    basis: Literal["within", "bounded"] = Field(
        description="within the range of the data; or bounded between regulated and fully unregulated"
    )
    limited_by: Literal["rail", "current"] = "rail"
    notes: tuple[Notice, ...] = ()
