"""A table without physics that simulated instruments act upon: it keeps what was done to it, and when."""

import time


class PlainTable:
    """Stands in for a simulated bench where only the switching matters.

    Attributes
    ----------
    is_on : bool
        Whether the supply's output is closed; `switched_at_s` is when that last changed, on the monotonic clock.
    set_v, limit_a : float
        What the supply was last set to.
    load : object or None
        What is connected; `loads` all that was, in its order.
    gives : float
        The supply's measured voltage over its set one.
    temperature_c : float
    """

    def __init__(self) -> None:
        self.set_v = self.limit_a = self.switched_at_s = 0.0
        self.is_on = False
        self.load: object = None
        self.loads: list[object] = []
        self.gives = 1.0
        self.temperature_c = 31.2

    def supply_set(self, volts: float, limit_a: float) -> None:
        """Keep what the supply is set to."""
        self.set_v, self.limit_a = volts, limit_a

    def supply_switch(self, on: bool) -> None:
        """Close or open the supply's output."""
        self.is_on, self.switched_at_s = on, time.monotonic()

    def supply_reading(self) -> tuple[float, float]:
        """Give the set voltage and a small current, while it is on."""
        return (self.set_v * self.gives, 0.42) if self.is_on else (0.0, 0.0)

    def use_load(self, name: str | None) -> None:
        """Connect a load."""
        self.load = name
        self.loads.append(name)

    def read_temperature_c(self) -> float:
        """Give the temperature."""
        return self.temperature_c
