"""What a run has learned of the amplifier so far: its gain, and the levels its ramps found; kept in the journal."""

from pydantic import BaseModel, ConfigDict

from wattproof.plan import Step

LOWER_LIMIT, UPPER_LIMIT = 0.01, 0.1
"""THD+N between which a rating is usually stated; holds play at the level of the lower, bursts at that of the upper."""

LEAST_SCALE, MOST_SCALE = 0.3, 1.5
"""A knee that was found moves the expectation of the next by no more than this."""


class _Plain(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class LevelFound(_Plain):
    """Where a ramp reached a limit of distortion, read between two frames."""

    thd_n: float
    drive_v_rms: float
    output_v_rms: float
    output_w: float | None = None


class RampFound(_Plain):
    """What a ramp found: the levels at the limits it reached."""

    step: str
    outputs: tuple[str, ...]
    load_ohm: float | None
    knee_v_rms: float | None = None
    levels: tuple[LevelFound, ...] = ()

    def level(self, thd_n: float) -> LevelFound | None:
        """Give the level at a limit of distortion, None where the ramp did not reach it."""
        return next((level for level in self.levels if level.thd_n == thd_n), None)


class Knowledge(_Plain):
    """Gains by output, V/V of the drive as it was asked for, and the ramps in their order."""

    gains: dict[str, float] = {}
    ramps: tuple[RampFound, ...] = ()

    def gain(self, outputs: tuple[str, ...]) -> float | None:
        """Give the small-signal gain of the first of these outputs."""
        return self.gains.get(outputs[0]) if outputs else None

    def with_gain(self, outputs: tuple[str, ...], gain: float) -> "Knowledge":
        """Learn a gain."""
        return self.model_copy(update={"gains": {**self.gains, outputs[0]: gain}})

    def with_ramp(self, found: RampFound) -> "Knowledge":
        """Learn what a ramp found; an earlier one of the same name is forgotten."""
        others = tuple(ramp for ramp in self.ramps if ramp.step != found.step)
        return self.model_copy(update={"ramps": (*others, found)})

    def ramp(self, step_name: str | None) -> RampFound | None:
        """Give what the ramp of that name found."""
        return next((ramp for ramp in self.ramps if ramp.step == step_name), None)

    def knee_v_rms(self, step: Step) -> float | None:
        """Expect a ramp's knee: where it was found, else as the sheet has it, moved as the last ramp moved it."""
        own = self.ramp(step.name)
        known = None if own is None else own.level(LOWER_LIMIT)
        if known is not None:
            return known.output_v_rms
        if step.knee_v_rms is None:
            return None
        return step.knee_v_rms * self._scale(step.outputs)

    def _scale(self, outputs: tuple[str, ...]) -> float:
        for ramp in reversed(self.ramps):
            level = ramp.level(LOWER_LIMIT)
            if ramp.outputs == outputs and level is not None and ramp.knee_v_rms:
                return min(MOST_SCALE, max(LEAST_SCALE, level.output_v_rms / ramp.knee_v_rms))
        return 1.0

    def full_power_w(self, step: Step) -> float:
        """Give the power above which a second counts as one at full power: half of what was found, else expected."""
        for ramp in reversed(self.ramps):
            level = ramp.level(LOWER_LIMIT)
            if ramp.load_ohm == step.load_ohm and ramp.outputs == step.outputs and level is not None and level.output_w:
                return level.output_w / 2
        return step.limits.full_power_w or step.expected.power_w / 2
