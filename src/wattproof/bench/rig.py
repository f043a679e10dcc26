"""What drives and records: the `[rig]` table of the bench file."""

from typing import Literal

from pydantic import Field

from wattproof.settings import Number, Part, Whole, Words


class PartSettings(Part):
    """A supply, a load or a meter of the rig: wired (SCPI), worked by a person, or simulated with the rest."""

    kind: Literal["manual", "scpi", "simulated"] = Field(default="manual", examples=["scpi"])
    name: str = Field(default="", description="for messages", examples=["bench supply"])
    address: Words | None = Field(
        default=None, description="VISA address", examples=["TCPIP::192.168.1.20::5025::SOCKET"]
    )
    instrument: Words | None = Field(
        default=None,
        description="file with the instrument's command strings, beside the bench file",
        examples=["plum-supply.toml"],
    )
    timeout_s: Number = Field(default=2.0, gt=0, le=60, description="for one answer, seconds")
    watchdog_s: Number | None = Field(
        default=None, gt=0, description="the instrument's own time-out, if it has one, seconds", examples=[2]
    )
    quantity: Words | None = Field(default=None, description="what a meter reads", examples=["temperature"])


class ScriptedFault(Part):
    """Something that goes wrong on the simulated bench at a stated moment of a stated play."""

    what: Literal[
        "open_load", "short_load", "dc", "supply_collapse", "supply_surge", "stall", "unplugged", "overheated",
        "clipped_input",
    ]  # fmt: skip
    at_s: Number = Field(ge=0, description="seconds after the drive of that play began")
    play: Whole = Field(default=1, ge=1, description="which play since the rig was opened, counted from 1")
    output: Words = "A"


class SimulatedSettings(Part):
    """The made-up bench: which amplifier stands on it, and what goes wrong."""

    amplifier: Words = Field(default="bittern-1", examples=["bittern-1"])
    seed: Whole = Field(default=1, ge=0)
    paced: bool = Field(
        default=False, description="true: in step with the clock on the wall; false: as fast as it goes"
    )
    loudspeaker: Words | None = Field(default=None, description="a loudspeaker in a box in place of the resistor")
    battery: bool = Field(default=False, description="fed by a battery in place of the stiff supply")
    faults: tuple[ScriptedFault, ...] = ()


class RigSettings(Part):
    """What plays the drive and records the channels, and the parts around it.

    The bench's `[[channels]]` with a numbered `input` are the recorder's inputs, counted from 1.
    """

    kind: Words = Field(description="audio, simulated, or a plug-in's name", examples=["audio"])
    device: Words | Whole | None = Field(
        default=None,
        description="audio: name or number of the interface; default when left out",
        examples=["benchcard"],
    )
    sample_rate_hz: Number = Field(default=96000.0, gt=0, description="samples a second")
    block_s: Number = Field(default=0.01, gt=0, le=0.1, description="the guard looks this often, seconds")
    latency_s: Number = Field(
        default=0.3,
        gt=0,
        le=2,
        description="audio: what the sound system is asked to buffer each way, seconds",
        examples=[0.3],
    )
    drive_outputs: dict[str, int] = Field(
        default_factory=lambda: {"A": 1},
        description="amplifier output and the generator's channel that drives it, counted from 1",
        examples=[{"A": 1}],
    )
    drive_v_full_scale: Number = Field(
        default=2.0, gt=0, description="peak volts at the generator's output for full scale", examples=[2.83]
    )
    supply: PartSettings = PartSettings()
    load: PartSettings = PartSettings()
    meters: tuple[PartSettings, ...] = ()
    simulated: SimulatedSettings = SimulatedSettings()
