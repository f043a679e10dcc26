"""What measuring the floor answers: each channel's noise and distortion without an amplifier, and what they hide."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof import __version__
from wattproof.errors import Notice
from wattproof.measure import Figure


class _Answer(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class ChannelFloor(_Answer):
    """One channel by itself."""

    input: int | str
    role: str
    output: str | None = Field(description="amplifier output; null for what belongs to no output")
    unit: str
    full_scale: float | None = Field(description="peak, engineering units")
    noise: Figure = Field(description="r.m.s. in the band its conditions state, nothing driven")
    noise_a: Figure = Field(description="the same, A-weighted")
    dc: Figure
    noise_re_full_scale: float | None = Field(description="over the r.m.s. of a sine at full scale")
    hears: bool = Field(description="whether the looped-back tone is heard")
    tone: Figure | None = Field(default=None, description="the tone's r.m.s.")
    thd_n: Figure | None = None
    thd: Figure | None = None
    gain: float | None = Field(default=None, description="the tone as read over the tone as asked for, V/V")
    notices: tuple[Notice, ...] = ()

    @property
    def words(self) -> str:
        """The channel in words: "load voltage A (input 1)"."""
        output = f" {self.output}" if self.output is not None else ""
        return f"{self.role.replace('_', ' ')}{output} (input {self.input})"


class Reach(_Answer):
    """The lowest THD+N that can be seen at a level."""

    output: str
    level_v_rms: float
    thd_n: float = Field(description="noise and the loop-back's own distortion, V/V")


class Floor(_Answer):
    """What `wattproof bench floor` answers."""

    wattproof: str = __version__
    schema_: Literal[1] = Field(default=1, alias="schema")
    bench: str
    sample_rate_hz: float
    seconds: float
    tone_hz: float
    level_v_rms: float = Field(description="of the looped-back tone, at the generator's output")
    channels: tuple[ChannelFloor, ...]
    reach: tuple[Reach, ...]

    def table(self) -> str:
        """Write it as plain text."""
        from wattproof.report import floor_text

        return floor_text(
            self.bench,
            self.channels,
            self.reach,
            tone_hz=self.tone_hz,
            level_v_rms=self.level_v_rms,
            rate_hz=self.sample_rate_hz,
        )

    def to_json(self) -> str:
        """Write the one object that `--json` prints."""
        return self.model_dump_json(indent=2, by_alias=True)
