"""What a step is expected to give and to cost, from its own fields: also for one that a person has edited."""

from dataclasses import dataclass, replace
from functools import cached_property
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from wattproof.amplifier import Amplifier
from wattproof.bench import Bench, Load
from wattproof.plan.heat import LoadNode, load_node
from wattproof.plan.level import FAST_DB_PER_S, SLOW_DB_PER_S, RampLaw, ramp_power
from wattproof.plan.losses import Losses, losses_of
from wattproof.plan.model import BurstPattern, Expected, Step
from wattproof.plan.powers import OutputPower, output_power, stop_overdrive
from wattproof.plan.tones import mean_share

Real = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Course:
    """The course of power in one load.

    Attributes
    ----------
    t_s, power_w : Real of shape (n,), s and W
        For bursts the mean over bursts and pauses.
    highest_w : float, W
    full_s : float, s
        Above half of the expected power.
    pattern : BurstPattern or None
    """

    t_s: Real
    power_w: Real
    highest_w: float
    full_s: float
    pattern: BurstPattern | None = None


@dataclass(frozen=True, kw_only=True)
class Setting:
    """All by which a step of a sheet is reckoned."""

    amplifier: Amplifier
    bench: Bench
    supply_v: float
    bridged: bool
    load_tau_s: float

    def power(self, load: Load, *, outputs: int, knee_v: float | None = None) -> OutputPower:
        """Find what one of the outputs driven at once is to do; a knee that a person wrote goes before ours."""
        power = output_power(
            self.amplifier, self.bench, load, supply_v=self.supply_v, outputs=outputs, bridged=self.bridged
        )
        if knee_v is None:
            return power
        clean_w = knee_v**2 / load.resistance_ohm
        return replace(power, clean_w=clean_w, ceiling_w=max(power.ceiling_w, clean_w))

    def reckoned(self, step: Step) -> "StepCosts":
        """Give all that can be said of a driven step.

        Raises
        ------
        SettingsError
            The bench has no load of its name.
        """
        load = self.bench.load(step.load or "")
        power = self.power(load, outputs=len(step.outputs), knee_v=step.knee_v_rms)
        return StepCosts(setting=self, step=step, load=load, power=power)


@dataclass(frozen=True, kw_only=True)
class StepCosts:
    """One driven step with the load at each of its outputs and what they are expected to do."""

    setting: Setting
    step: Step
    load: Load
    power: OutputPower

    @property
    def count(self) -> int:
        """Outputs driven at once."""
        return len(self.step.outputs)

    @cached_property
    def losses(self) -> Losses:
        """What the amplifier draws."""
        full_w = self.count * self.power.expected_w
        return losses_of(self.setting.amplifier, full_w=full_w, supply_v=self.setting.supply_v)

    @property
    def limit_current_a(self) -> float:
        """Mean supply current while full power is held, at the lower limit of distortion, A."""
        return self.losses.supply_at(self.count * self.power.expected_w) / self.setting.supply_v

    @property
    def node(self) -> LoadNode | None:
        """The load resistor at one output."""
        return load_node(self.load, tau_s=self.setting.load_tau_s)

    @property
    def end_v(self) -> float:
        """Level at which a ramp is expected to end, V rms."""
        highest_v = self.step.to_v_rms or 0.0
        return min(highest_v, (self.step.knee_v_rms or highest_v) * stop_overdrive())

    @cached_property
    def course(self) -> Course:
        """The course of power in one load."""
        step = self.step
        if step.kind == "ramp":
            return self._ramp()
        if step.burst is not None:
            return _burst(step.burst, self.power.burst_w)
        level_w = self.power.expected_w if step.kind == "hold" else (step.to_v_rms or 0.0) ** 2 / _ohm(self.load)
        return Course(
            t_s=np.array([0.0, step.seconds]),
            power_w=np.full(2, level_w),
            highest_w=level_w,
            full_s=step.seconds if level_w > self.power.expected_w / 2 else 0.0,
        )

    def _ramp(self) -> Course:
        t_s, power_w = ramp_power(ramp_law(self.step), end_v=self.end_v, load_ohm=_ohm(self.load))
        full_s = _seconds_above(t_s, power_w, self.power.expected_w / 2)
        return Course(t_s=t_s, power_w=power_w, highest_w=float(power_w[-1]), full_s=full_s)

    @cached_property
    def expected(self) -> Expected:
        """What the step is expected to give and to cost."""
        course, count = self.course, self.count
        drawn_w = self._drawn()
        heat_j, energy_j = (float(np.trapezoid(y, course.t_s)) for y in (course.power_w, drawn_w))
        highest_w = course.highest_w
        supply_w = self.losses.supply_at(count * highest_w)
        return Expected(
            power_w=count * highest_w,
            load_voltage_v_rms=sqrt(highest_w * _ohm(self.load)),
            load_current_a_rms=sqrt(highest_w / _ohm(self.load)),
            efficiency=count * highest_w / supply_w if supply_w > 0 else 0.0,
            supply_current_a=supply_w / self.setting.supply_v,
            supply_power_w=supply_w,
            full_power_s=course.full_s,
            energy_j=energy_j,
            load_heat_j=heat_j,
            load_rise_k=None if self.node is None else self.node.rise_after(course.t_s, course.power_w),
            amplifier_heat_j=max(energy_j - count * heat_j, 0.0),
        )

    def _drawn(self) -> Real:
        """Power drawn, W; of bursts the two levels are drawn apart, for the law is bent."""
        pattern = self.course.pattern
        if pattern is None:
            return self.losses.supply_w(self.count * self.course.power_w)
        on = pattern.cycles_on / pattern.cycles_period
        high_w = self.count * self.course.highest_w
        low_w = high_w * 10 ** (pattern.low_db / 10)
        return np.full(2, on * self.losses.supply_at(high_w) + (1 - on) * self.losses.supply_at(low_w))


def ramp_law(step: Step) -> RampLaw:
    """Give the course of level of a ramp."""
    return RampLaw(
        from_v=step.from_v_rms or 0.0,
        to_v=step.to_v_rms or 0.0,
        knee_v=step.knee_v_rms if step.fast_db_per_s is not None else None,
        fast_db_per_s=step.fast_db_per_s or FAST_DB_PER_S,
        slow_db_per_s=step.slow_db_per_s or SLOW_DB_PER_S,
    )


def _burst(pattern: BurstPattern, high_w: float) -> Course:
    seconds = pattern.bursts * pattern.cycles_period / pattern.tone_hz
    return Course(
        t_s=np.array([0.0, seconds]),
        power_w=np.full(2, high_w * mean_share(pattern)),
        highest_w=high_w,
        full_s=pattern.bursts * pattern.cycles_on / pattern.tone_hz,
        pattern=pattern,
    )


def _ohm(load: Load) -> float:
    return load.resistance_ohm


def _seconds_above(t_s: Real, power_w: Real, threshold_w: float) -> float:
    """Seconds for which a course of power that never falls lies above a threshold."""
    if power_w[-1] <= threshold_w or threshold_w <= 0:
        return 0.0
    if power_w[0] >= threshold_w:
        return float(t_s[-1] - t_s[0])
    return float(t_s[-1] - np.interp(threshold_w, power_w, t_s))
