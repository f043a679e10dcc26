"""What a tick needs to know of the samples it held."""

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]


class Tally:
    """Sums and peaks over the pieces of one tick; its figures are means."""

    def __init__(self, n_outputs: int) -> None:
        self._n_samples = 0
        self._heat = self._volts = self._amps = 0.0
        self._squares = np.zeros(n_outputs)
        self.peak_a = np.zeros(n_outputs)
        self.peak_v = np.zeros(n_outputs)

    def add(self, load_v: Samples, load_a: Samples, supply_v: Samples, supply_a: Samples, heat_w: Samples) -> None:
        """Add a piece.

        Parameters
        ----------
        load_v, load_a : Samples of shape (n_outputs, n_samples)
        supply_v, supply_a, heat_w : Samples of shape (n_samples,)
        """
        self._n_samples += heat_w.size
        self._heat += float(heat_w.sum())
        self._volts += float(supply_v.sum())
        self._amps += float(supply_a.sum())
        self._squares += (load_a * load_a).sum(axis=1)
        self.peak_a = np.maximum(self.peak_a, np.abs(load_a).max(axis=1))
        self.peak_v = np.maximum(self.peak_v, np.abs(load_v).max(axis=1))

    @property
    def heat_w(self) -> float:
        """Watts that stay in the amplifier."""
        return self._heat / self._n_samples

    @property
    def supply_v(self) -> float:
        """Volts at its supply terminals."""
        return self._volts / self._n_samples

    @property
    def supply_a(self) -> float:
        """Amperes it draws."""
        return self._amps / self._n_samples

    @property
    def square_a(self) -> Samples:
        """Mean squares of the outputs' currents, shape (n_outputs,)."""
        return self._squares / self._n_samples
