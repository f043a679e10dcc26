"""The amplifier's own protection, from tick to tick: current limit, heat, a supply too low."""

import numpy as np
from numpy.typing import NDArray

from wattproof.sim.loads import Hanging
from wattproof.sim.parts import CurrentLimit, Protection
from wattproof.sim.tally import Tally

Samples = NDArray[np.float64]
_FOLDING = 0.85
"""What a folding limit comes down to in one tick while it is exceeded."""
_RECOVERY = 1.01
"""And what it goes up to in one tick while it is not."""
_PEAK_DECAY = 0.9
_REACHED = 0.97


class Guards:
    """What protection makes of gain and current limit; it acts at the end of a tick and passes over along the next."""

    def __init__(self, limit: CurrentLimit, protection: Protection, n_outputs: int) -> None:
        self._limit, self._protection = limit, protection
        self.limit_a = np.full(n_outputs, limit.peak_a if limit.kind != "retry" else 4 * limit.peak_a)
        self._before = self._now = np.ones(n_outputs)
        self._off_s = np.zeros(n_outputs)
        self._too_hot = False
        self._low_s = 0.0
        self._was_powered = self._powered = 1.0
        self._peak_v, self._peak_a = np.zeros((2, n_outputs))

    @property
    def awake(self) -> bool:
        """Whether the supply lets it work."""
        return self._low_s <= 0

    def gains(self, along: Samples) -> Samples:
        """Share of its gain each output has along a tick, shape (n_outputs, n_samples)."""
        share: Samples = self._before[:, None] + (self._now - self._before)[:, None] * along
        return share

    def powered(self, along: Samples) -> Samples:
        """0 to 1: whether the outputs make offset and noise of their own."""
        share: Samples = self._was_powered + (self._powered - self._was_powered) * along
        return share

    def seen_ohm(self, row: int, hanging: Hanging) -> float:
        """Give what turns the current limit into a voltage: the resistor, or how a loudspeaker has lately looked."""
        if hanging.load is None:
            return 1e6
        if not hanging.load.reactive or self._peak_a[row] <= 0:
            return hanging.load.ohm_at(hanging.rise_k)
        return float(self._peak_v[row] / self._peak_a[row])

    def tick(self, tally: Tally, *, device_c: float, seconds: float) -> None:
        """Follow what a tick brought."""
        self._peak_v = np.maximum(tally.peak_v, _PEAK_DECAY * self._peak_v)
        self._peak_a = np.maximum(tally.peak_a, _PEAK_DECAY * self._peak_a)
        self._watch_current(tally.peak_a, seconds)
        self._watch_supply(tally.supply_v, seconds)
        self._watch_heat(device_c)
        self._before, self._was_powered = self._now, self._powered
        self._powered = 0.0 if self._too_hot or not self.awake else 1.0
        self._now = np.where(self._off_s > 0, 0.0, self._powered * self._folded(device_c))

    def pass_time(self, seconds: float, *, device_c: float, connected: bool) -> None:
        """Let time pass without drive; what was waiting to come back may have."""
        self._watch_heat(device_c)
        self._off_s = np.maximum(0.0, self._off_s - seconds)
        self._low_s = max(0.0, self._low_s - seconds)
        self.limit_a = np.minimum(self.limit_a * _RECOVERY ** min(seconds * 100, 1000.0), self._most_a())
        self._peak_v, self._peak_a = np.zeros((2, self.limit_a.size))
        self._powered = 0.0 if self._too_hot or not (self.awake and connected) else 1.0
        self._now = np.where(self._off_s > 0, 0.0, self._powered * self._folded(device_c))
        self._before, self._was_powered = self._now, self._powered

    def _most_a(self) -> float:
        return self._limit.peak_a if self._limit.kind != "retry" else 4 * self._limit.peak_a

    def _watch_current(self, peak_a: Samples, seconds: float) -> None:
        limit = self._limit
        self._off_s = np.maximum(0.0, self._off_s - seconds)
        if limit.kind == "foldback":
            reached = peak_a > _REACHED * self.limit_a
            moved = np.where(reached, _FOLDING * self.limit_a, _RECOVERY * self.limit_a)
            self.limit_a = np.clip(moved, limit.folded_a, limit.peak_a)
        elif limit.kind == "retry":
            self._off_s = np.where(peak_a > limit.peak_a, limit.retry_s, self._off_s)

    def _watch_supply(self, supply_v: float, seconds: float) -> None:
        lowest_v = self._protection.lowest_supply_v
        if supply_v < lowest_v or (not self.awake and supply_v < lowest_v + 1):
            self._low_s = self._protection.wake_s
        else:
            self._low_s = max(0.0, self._low_s - seconds)

    def _watch_heat(self, device_c: float) -> None:
        if device_c > self._protection.shutdown_c:
            self._too_hot = True
        elif device_c < self._protection.restart_c:
            self._too_hot = False

    def _folded(self, device_c: float) -> float:
        """Share of the gain that heat leaves."""
        over_k = max(0.0, device_c - self._protection.foldback_c)
        return max(self._protection.deepest_fold, 1 / (1 + self._protection.foldback_per_k * over_k))
