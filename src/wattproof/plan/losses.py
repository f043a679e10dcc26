"""What an amplifier draws from its supply for a power into its loads: by its class, until it has been measured."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.amplifier import SWITCHED, Amplifier, class_of, efficiency_of

Real = NDArray[np.float64]

_IDLE_SHARE = 0.02


@dataclass(frozen=True, kw_only=True)
class Losses:
    """Supply power as a function of the power delivered by all driven outputs together.

    A switched stage loses its idle power and, above it, half in proportion to the current and half to its square. All
    others draw a current in proportion to the amplitude, as a class-B stage does.

    Attributes
    ----------
    full_w : float, W
        Delivered at full power.
    efficiency : float, W/W
        There.
    idle_w : float, W
        Drawn without signal.
    switched : bool
    """

    full_w: float
    efficiency: float
    idle_w: float
    switched: bool

    def supply_w(self, output_w: Real) -> Real:
        """Power drawn, W, shape as given, for powers delivered, W, of any shape."""
        if self.full_w <= 0:
            return output_w + self.idle_w
        share = output_w / self.full_w
        if self.switched:
            lost = max(self.full_w * (1 / self.efficiency - 1) - self.idle_w, 0.0)
            return np.asarray(output_w + self.idle_w + lost * (np.sqrt(share) + share) / 2)
        drawn = max(self.full_w / self.efficiency - self.idle_w, 0.0)
        return np.asarray(np.maximum(self.idle_w + drawn * np.sqrt(share), output_w))

    def supply_at(self, output_w: float) -> float:
        """Power drawn, W, at one power delivered, W."""
        return float(self.supply_w(np.array(output_w)))


def losses_of(amplifier: Amplifier, *, full_w: float, supply_v: float) -> Losses:
    """Give the losses to plan with.

    Parameters
    ----------
    amplifier : Amplifier
    full_w : float, W
        Delivered at full power by all outputs that are driven.
    supply_v : float, V
    """
    stated = [rating.value_si * supply_v for rating in amplifier.ratings if rating.quantity == "idle_current"]
    return Losses(
        full_w=full_w,
        efficiency=efficiency_of(amplifier).usual,
        idle_w=max(stated) if stated else _IDLE_SHARE * full_w,
        switched=class_of(amplifier) in SWITCHED,
    )
