"""A run sheet as data: steps with what they are expected to cost, checks, questions and cautions."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

StepKind = Literal["floor", "idle", "gain", "ramp", "burst", "hold"]
"""floor: the recorder alone; gain: small signal. The others are kinds of capture."""

SCHEMA = 1


class _Plain(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class BurstPattern(_Plain):
    """A burst train: whole cycles at a high level, then at a low one."""

    tone_hz: float = Field(gt=0)
    cycles_on: int = Field(ge=1)
    cycles_period: int = Field(ge=2)
    low_db: float = Field(le=0, description="of the low level, re the high one")
    bursts: int = Field(ge=1)


class Expected(_Plain):
    """What a step is expected to give and to cost; of all driven outputs together unless it says otherwise."""

    power_w: float = Field(ge=0, description="delivered at the step's highest level")
    load_voltage_v_rms: float = Field(ge=0, description="of each output at that level")
    load_current_a_rms: float = Field(ge=0)
    efficiency: float = Field(ge=0, le=1)
    supply_current_a: float = Field(ge=0)
    supply_power_w: float = Field(ge=0)
    full_power_s: float = Field(ge=0, description="seconds above half of the expected power")
    energy_j: float = Field(ge=0, description="drawn from the supply in the whole step")
    load_heat_j: float = Field(ge=0, description="into the hottest load resistor")
    load_rise_k: float | None = Field(
        default=None, ge=0, description="what the step adds to that resistor's rise; null: its rating is not known"
    )
    amplifier_heat_j: float = Field(ge=0)


class StepLimits(_Plain):
    """Where the guard stops this step: the bench's own limits, drawn closer where the step needs less."""

    load_voltage_v: float | None = Field(default=None, description="peak")
    load_dc_v: float | None = None
    load_current_a: float | None = Field(default=None, description="peak")
    supply_current_a: float | None = None
    supply_voltage_v: tuple[float, float] | None = None
    temperature_c: float | None = None
    full_power_w: float | None = Field(default=None, description="above this power the seconds are counted")
    full_power_s: float | None = None
    energy_j: float | None = None


class Step(_Plain):
    """One step of a bench day: one capture."""

    number: int = Field(ge=1)
    name: str = Field(description='"ramp 4 ohm": the name its capture goes by')
    kind: StepKind
    load: str | None = Field(default=None, description="name of a load of the bench; null: nothing is driven")
    load_ohm: float | None = Field(default=None, gt=0, description="as calibrated")
    outputs: tuple[str, ...] = Field(default=(), description="outputs driven at once")
    tone_hz: float | None = Field(default=None, gt=0)
    from_v_rms: float | None = Field(default=None, gt=0, description="lowest level, at each output")
    to_v_rms: float | None = Field(
        default=None, gt=0, description="highest level that the step may ask for, at each output"
    )
    knee_v_rms: float | None = Field(default=None, gt=0, description="where the output is expected to begin to clip")
    seconds: float = Field(gt=0, description="at most")
    fast_db_per_s: float | None = Field(default=None, gt=0, description="ramp: up to 3 dB below the knee")
    slow_db_per_s: float | None = Field(default=None, gt=0, description="ramp: from there on")
    stop_thd_n: float | None = Field(default=None, gt=0, lt=1, description="ramp: ends once THD+N has passed this, V/V")
    burst: BurstPattern | None = None
    level_from: str | None = Field(
        default=None,
        description="name of the ramp that finds this step's level: holds play at its 1 %, bursts at its 10 %",
    )
    expected: Expected
    limits: StepLimits = StepLimits()
    rest_s: float = Field(default=0.0, ge=0, description="after the step, before the next")
    below_minimum: bool = Field(default=False, description="below the rated minimum load: only when confirmed")
    why: str = Field(default="", description="one line: what it is for")


class Check(_Plain):
    """One thing that was looked at before anything moves."""

    code: str
    state: Literal["good", "doubtful", "refused"]
    message: str
    hint: str = ""
    step: int | None = None
    numbers: dict[str, float] = Field(default_factory=dict)


class Decidable(_Plain):
    """Whether this bench can judge a rating at all."""

    rating: str = Field(description="the rating in words")
    value: float
    unit: str
    u: float | None = Field(
        default=None, ge=0, description="standard uncertainty this bench would have there; null: not known beforehand"
    )
    interval95: float | None = Field(default=None, ge=0, description="relative half width of the 95 % interval")
    decides: bool = Field(description="whether the rating says enough and the bench reaches it")
    message: str


class Question(_Plain):
    """Something the tool cannot see and a person must answer before a run."""

    code: str
    text: str
    choices: tuple[str, ...] = Field(description="empty: any words")
    allows: tuple[str, ...] = Field(description="answers with which a run may begin; empty: any")
    why: str = Field(description="what goes wrong otherwise")


class Stepping(_Plain):
    """What stepping the level by hand would cost, for comparison: 0.1 dB a step, 1 s each."""

    full_power_s: float
    energy_j: float


class RunSheet(_Plain):
    """The ordered steps of a bench day with all that must be known before it begins."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    amplifier: str
    bench: str
    supply_v: float = Field(gt=0)
    bridged: bool = Field(
        default=False, description="outputs wired in pairs; each pair goes by its first output's name"
    )
    load_tau_s: float = Field(default=120.0, gt=0, description="time constant the loads' heat was reckoned with")
    steps: tuple[Step, ...]
    checks: tuple[Check, ...] = ()
    decidable: tuple[Decidable, ...] = ()
    questions: tuple[Question, ...] = ()
    cautions: tuple[str, ...] = ()
    seconds: float = Field(ge=0, description="of the whole day, rests included")
    full_power_s: float = Field(ge=0)
    energy_j: float = Field(ge=0)
    stepping: Stepping | None = None

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, allow_inf_nan=False)

    def step(self, number: int) -> Step:
        """Give the step of that number.

        Raises
        ------
        KeyError
            There is none.
        """
        for step in self.steps:
            if step.number == number:
                return step
        raise KeyError(number)
