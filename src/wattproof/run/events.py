"""What a run says as it goes: one event a line for programs, the same for the terminal and the page."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof.measure import Condition


class _Event(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class RunBegun(_Event):
    """The run sheet is about to be carried out, or taken up where it stopped."""

    event: Literal["run-begun"] = "run-begun"
    session: str
    amplifier: str
    steps: int
    done_before: int = Field(description="steps that an earlier run completed")


class StepBegun(_Event):
    """A step begins."""

    event: Literal["step-begun"] = "step-begun"
    number: int
    name: str
    kind: str
    load: str | None
    attempt: int = 1
    seconds: float = Field(description="at most")
    expected_w: float = Field(description="delivered at the highest level, of all driven outputs together")
    expected_supply_w: float
    next_name: str | None = None


class Live(_Event):
    """What is seen at this moment of a step; None where it is not recorded or not known yet.

    Of the first driven output where it says output, of all driven ones together where it says power.
    """

    event: Literal["live"] = "live"
    number: int
    t_s: float
    drive_v_rms: float
    output_v_rms: float | None = None
    output_w: float | None = None
    thd_n: float | None = None
    supply_v: float | None = None
    supply_a: float | None = None
    supply_w: float | None = None
    heat_w: float | None = Field(default=None, description="left in the amplifier: supply less load")
    temperature_c: float | None = None
    full_power_s: float = 0.0
    full_power_left_s: float | None = None
    energy_j: float | None = None
    slow: bool = Field(default=False, description="the ramp has reached its slow part")
    searching: bool = Field(default=False, description="a search for the gain, of which no capture is kept")


class Traces(_Event):
    """What the first driven output looks like at this moment: for the eye, never a source of figures."""

    event: Literal["traces"] = "traces"
    number: int
    t_s: float
    waveform_v: tuple[float, ...] = Field(description="a few cycles, equally spaced")
    waveform_s: float = Field(description="how long they are together")
    spectrum_db: tuple[float, ...] = Field(description="re the largest, the highest line within each band")
    spectrum_hz: tuple[float, float] = Field(description="first and last band; the bands are spaced by equal ratios")


class FigureSeen(_Event):
    """One leading figure of a finished step."""

    name: str
    output: str | None
    value: float
    u: float = Field(description="standard uncertainty")
    k95: float = Field(description="times u: half of the 95 % interval")
    unit: str
    conditions: dict[str, Condition] = {}


class StepEnded(_Event):
    """A step is over and its capture kept."""

    event: Literal["step-ended"] = "step-ended"
    number: int
    name: str
    state: Literal["done", "failed", "skipped", "stopped"]
    capture: int | None = None
    why: str = ""
    figures: tuple[FigureSeen, ...] = ()
    full_power_s: float = 0.0
    energy_j: float | None = None
    stepping_full_power_s: float | None = Field(default=None, description="by hand: 0.1 dB a step, 1 s each")
    stepping_energy_j: float | None = None


class Resting(_Event):
    """The load and the amplifier cool down."""

    event: Literal["resting"] = "resting"
    left_s: float
    next_name: str | None


class Tripped(_Event):
    """The guard has stopped the drive; it stays stopped until a person clears it."""

    event: Literal["tripped"] = "tripped"
    number: int
    code: str
    message: str
    why: str
    hint: str
    at_s: float
    capture: int | None = None


class Told(_Event):
    """A notice: nothing stops for it."""

    event: Literal["told"] = "told"
    code: str
    message: str
    hint: str = ""


class RunEnded(_Event):
    """The run is over, or interrupted; an interrupted one is taken up again."""

    event: Literal["run-ended"] = "run-ended"
    session: str
    state: Literal["complete", "interrupted", "tripped"]
    done: int
    left: int
    full_power_s: float
    energy_j: float | None = None
    stepping_full_power_s: float | None = None
    stepping_energy_j: float | None = None
    why: str = ""


Event = RunBegun | StepBegun | Live | Traces | StepEnded | Resting | Tripped | Told | RunEnded
