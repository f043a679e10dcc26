"""How warm a load resistor gets: one node, from its continuous rating and the rise that belongs to it."""

from dataclasses import dataclass
from math import exp, inf, log

import numpy as np
from numpy.typing import NDArray

from wattproof.bench import Load

Real = NDArray[np.float64]

USUAL_RISE_K = 150.0
"""Rise of a housed resistor at its continuous rating, where the bench file does not say, kelvin."""

SHORT_OVERLOAD = 5.0
"""A wire-wound resistor bears this multiple of its continuous rating for some seconds, and no more."""


@dataclass(frozen=True, kw_only=True)
class LoadNode:
    """A load resistor as one lump of heat.

    ``tau_s dT/dt = resistance_k_per_w P - T``, where T is the rise above the air around it.

    Attributes
    ----------
    k_per_w : float, K/W
        Rise over power when it has settled.
    tau_s : float, s
    allowed_k : float, K
        The rise it bears.
    """

    k_per_w: float
    tau_s: float
    allowed_k: float

    def rise_after(self, t_s: Real, power_w: Real, *, start_k: float = 0.0) -> float:
        """Rise at the end of a course of power.

        Parameters
        ----------
        t_s : Real of shape (n,), s
            Rising.
        power_w : Real of shape (n,), W
            In this resistor, straight between the times.
        start_k : float, K
            Rise at the first time.

        Returns
        -------
        float, K
        """
        length_s = np.diff(t_s)
        fade = np.exp(-length_s / self.tau_s)
        # exact for power that is straight within a piece, however long the piece: a hold has one only
        bend = np.diff(power_w) * self.tau_s / length_s
        gained = self.k_per_w * (power_w[1:] - power_w[:-1] * fade - bend * (1 - fade))
        left = np.exp(-(t_s[-1] - t_s[1:]) / self.tau_s)
        return float(gained @ left) + start_k * exp(-float(t_s[-1] - t_s[0]) / self.tau_s)

    def seconds_to(self, rise_k: float, *, power_w: float) -> float:
        """Seconds from cold until a constant power has brought a rise; infinite where it never does.

        Examples
        --------
        >>> round(LoadNode(k_per_w=0.08, tau_s=120, allowed_k=80).seconds_to(40, power_w=1000), 2)
        83.18
        """
        final_k = power_w * self.k_per_w
        return inf if final_k <= rise_k else -self.tau_s * log(1 - rise_k / final_k)

    def rest_for(self, rise_k: float, *, to_k: float) -> float:
        """Seconds until a rise has fallen to another; infinite where that is none.

        Examples
        --------
        >>> round(LoadNode(k_per_w=0.08, tau_s=120, allowed_k=80).rest_for(80, to_k=40), 2)
        83.18
        """
        if rise_k <= to_k:
            return 0.0
        return inf if to_k <= 0 else self.tau_s * log(rise_k / to_k)


def load_node(load: Load, *, tau_s: float) -> LoadNode | None:
    """Make the node of a load; None where its continuous rating is not stated.

    At its continuous power it settles at its `rise_k`, where the bench file states one.

    Parameters
    ----------
    load : Load
    tau_s : float, s
        Time constant.
    """
    if load.continuous_w is None:
        return None
    allowed_k = load.rise_k or USUAL_RISE_K
    return LoadNode(k_per_w=allowed_k / load.continuous_w, tau_s=tau_s, allowed_k=allowed_k)
