"""The converters' filters: rates doubled and halved without folding, linear in phase, block after block."""

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

_HALF = 32
"""Taps on either side of the middle; even ones are zero. The delay is 16 samples of the lower rate, so
that five doublings and halvings are still a whole number of samples of the lowest."""

DELAY_SAMPLES = _HALF // 2
"""Of one doubling or one halving, samples of the lower rate."""


def there_and_back_samples(doublings: int) -> int:
    """Give the delay of so many doublings and as many halvings, samples of the lowest rate."""
    return round(4 * DELAY_SAMPLES * (1 - 0.5**doublings))


def _odd_taps() -> Samples:
    places = np.arange(_HALF - 1, -_HALF, -2)
    window = np.kaiser(2 * _HALF + 1, 8.0)[places + _HALF]
    taps = np.sinc(places / 2) / 2 * window
    odd: Samples = taps / (2 * taps.sum())  # unity at 0 Hz: the middle tap is the other half
    return odd


_ODD = _odd_taps()


class Doubler:
    """Gives twice as many samples of each row, as a converter's interpolation filter does."""

    def __init__(self, n_rows: int) -> None:
        self._past = np.zeros((n_rows, _HALF - 1))

    def doubled(self, rows: Samples) -> Samples:
        """Give rows of shape (n_rows, 2 n_samples)."""
        n_samples = rows.shape[1]
        seen = np.concatenate([self._past, rows], axis=1)
        out = np.empty((len(rows), 2 * n_samples))
        for row, samples in enumerate(seen):
            out[row, ::2] = samples[DELAY_SAMPLES - 1 : DELAY_SAMPLES - 1 + n_samples]
            out[row, 1::2] = 2 * np.convolve(samples, _ODD, mode="valid")
        self._past = seen[:, n_samples:]
        return out


class Halver:
    """Gives half as many samples of each row behind an anti-alias filter."""

    def __init__(self, n_rows: int) -> None:
        self._past = np.zeros((n_rows, 2 * _HALF))

    def settle(self, values: Samples) -> None:
        """Take it that each row has stood at a value for ever."""
        self._past[:] = values[:, None]

    def halved(self, rows: Samples) -> Samples:
        """Give rows of shape (n_rows, n_samples / 2); `n_samples` is even."""
        n_half = rows.shape[1] // 2
        seen = np.concatenate([self._past, rows], axis=1)
        out = 0.5 * seen[:, _HALF : _HALF + 2 * n_half : 2]
        for row, samples in enumerate(seen):
            out[row] += np.convolve(samples[1:-1:2], _ODD, mode="valid")
        self._past = seen[:, rows.shape[1] :]
        return out
