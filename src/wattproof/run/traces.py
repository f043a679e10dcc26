"""The last samples of an output as a person wants to see them: a few cycles, and a spectrum of few lines."""

from math import ceil

import numpy as np
from numpy.typing import NDArray

from wattproof.run.events import Traces

Samples = NDArray[np.float64]

N_WAVEFORM = 240
N_BANDS = 160
N_SPECTRUM = 8192
"""Samples that a spectrum is made of."""

CYCLES = 3
QUIET_S = 0.02
"""What is shown of a channel without a tone, seconds."""

LOWEST_HZ = 20.0
HIGHEST_HZ = 20_000.0
LOWEST_DB = -140.0


class Tracer:
    """Remembers the last samples of one channel and draws them when asked.

    Parameters
    ----------
    rate_hz : float, Hz
    tone_hz : float or None, Hz
        Of which a few cycles are shown, from a rising crossing on.
    """

    def __init__(self, *, rate_hz: float, tone_hz: float | None) -> None:
        self._rate_hz, self._tone_hz = rate_hz, tone_hz
        shown_s = QUIET_S if tone_hz is None else CYCLES / tone_hz
        self._n_shown = min(ceil(shown_s * rate_hz), N_SPECTRUM)
        self._n_kept = max(N_SPECTRUM, 2 * self._n_shown)
        self._kept: list[Samples] = []
        self._n_waiting = 0
        self._window = np.hanning(N_SPECTRUM)
        top_hz = min(HIGHEST_HZ, 0.45 * rate_hz)
        self._edges_hz = np.geomspace(LOWEST_HZ, top_hz, N_BANDS + 1)
        lines_hz = np.fft.rfftfreq(N_SPECTRUM, 1 / rate_hz)
        self._firsts = np.searchsorted(lines_hz, self._edges_hz[:-1]).clip(1)
        self._lasts = np.maximum(np.searchsorted(lines_hz, self._edges_hz[1:]), self._firsts + 1)

    def add(self, volts: Samples) -> None:
        """Take samples, in volts."""
        self._kept.append(volts)
        self._n_waiting += volts.size
        while self._n_waiting - self._kept[0].size >= self._n_kept:
            self._n_waiting -= self._kept.pop(0).size

    def traces(self, *, number: int, t_s: float) -> Traces | None:
        """Draw what was kept; None until there is enough."""
        if self._n_waiting < self._n_kept:
            return None
        volts = np.concatenate(self._kept)[-self._n_kept :]
        return Traces(
            number=number,
            t_s=t_s,
            waveform_v=tuple(round(float(v), 4) for v in self._waveform(volts)),
            waveform_s=self._n_shown / self._rate_hz,
            spectrum_db=tuple(round(float(v), 1) for v in self._spectrum_db(volts[-N_SPECTRUM:])),
            spectrum_hz=(float(self._edges_hz[0]), float(self._edges_hz[-1])),
        )

    def _waveform(self, volts: Samples) -> Samples:
        """Take cycles from a rising crossing on, so that the picture stands still."""
        early = volts[: volts.size - self._n_shown] - volts.mean()
        rising = np.flatnonzero((early[:-1] < 0) & (early[1:] >= 0))
        first = int(rising[-1]) if rising.size else early.size
        shown = volts[first : first + self._n_shown]
        places = np.linspace(0, shown.size - 1, min(N_WAVEFORM, shown.size))
        values: Samples = np.interp(places, np.arange(shown.size), shown)
        return values

    def _spectrum_db(self, volts: Samples) -> Samples:
        lines = np.abs(np.fft.rfft((volts - volts.mean()) * self._window))
        bands = np.array([lines[a:b].max() for a, b in zip(self._firsts, self._lasts, strict=True)])
        highest = bands.max()
        if highest <= 0:
            return np.full(N_BANDS, LOWEST_DB)
        levels: Samples = 20 * np.log10(np.maximum(bands / highest, 10 ** (LOWEST_DB / 20)))
        return levels
