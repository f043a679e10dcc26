"""What feeds the amplifier, from tick to tick: a bench supply with a current limit, or a battery."""

from math import exp

import numpy as np
from numpy.typing import NDArray

from wattproof.sim.parts import Battery, Feed

Samples = NDArray[np.float64]


class Fed:
    """The supply as it stands: set volts and limit, what the limit has taken off, the battery's charge."""

    def __init__(self, feed: Feed) -> None:
        self.feed = feed
        self.set_v, self.limit_a = 0.0, feed.max_current_a
        self.switched_on = False
        self.upset_v, self.upset_ohm = 0.0, 0.0
        self.drawn_ah = 0.0
        self._slow_v = 0.0
        self._held_v = self._before_v = 0.0
        self.volts = self.amps = 0.0

    @property
    def connected(self) -> bool:
        """Whether anything feeds the amplifier."""
        return self.switched_on and (self.feed.battery is not None or self.set_v > 0)

    @property
    def source_ohm(self) -> float:
        """Resistance of source and cable."""
        battery = self.feed.battery
        return self.feed.cable_ohm + self.upset_ohm + (0.0 if battery is None else battery.ohm * _cold(battery))

    def emf_v(self, along: Samples) -> Samples:
        """Electromotive force along a tick, where 0 is its beginning and 1 its end."""
        emf: Samples = self._rested_v() - self._before_v + (self._before_v - self._held_v) * along
        return emf

    def terminals(self, amps_a: float) -> float:
        """Volts at the amplifier's terminals for a constant current."""
        return self._rested_v() - self._held_v - self.source_ohm * amps_a if self.connected else 0.0

    def _rested_v(self) -> float:
        """Electromotive force before any limit: the volts set, or what the battery's charge gives."""
        battery = self.feed.battery
        if battery is None:
            return self.set_v + self.upset_v
        left = max(0.0, 1 - self.drawn_ah / battery.charge_ah)
        return battery.empty_v + (battery.full_v - battery.empty_v) * left - self._slow_v + self.upset_v

    def tick(self, supply_v: float, supply_a: float, seconds: float) -> None:
        """Follow a tick's mean volts and amperes."""
        self.volts, self.amps = supply_v, supply_a
        self._before_v = self._held_v
        if self.feed.battery is not None:
            self._drain(self.feed.battery, supply_a, seconds)
        elif self.connected:
            # the limiter's loop: a quarter of what is too much, as the load's own resistance turns amperes into volts
            step_v = 0.25 * max(supply_v, 0.5) / max(supply_a, 1.0) * (supply_a - self.limit_a)
            self._held_v = min(max(0.0, self._held_v + step_v), self._rested_v() - 1.0)

    def rest(self, seconds: float, amps_a: float) -> None:
        """Let time pass at a constant current."""
        self._before_v = self._held_v = 0.0
        if self.feed.battery is not None and self.switched_on:
            self._drain(self.feed.battery, amps_a, seconds)
        self.amps = amps_a if self.connected else 0.0
        self.volts = self.terminals(self.amps)

    def _drain(self, battery: Battery, amps_a: float, seconds: float) -> None:
        self.drawn_ah += amps_a * seconds / 3600
        settled_v = amps_a * battery.slow_ohm * _cold(battery)
        self._slow_v = settled_v + (self._slow_v - settled_v) * exp(-seconds / battery.slow_s)


def _cold(battery: Battery) -> float:
    return 1 + battery.cold_per_k * max(0.0, 25.0 - battery.temperature_c)
