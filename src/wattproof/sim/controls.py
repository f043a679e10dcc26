"""The knobs ahead of the power stage: level, low-pass, infrasonic high-pass and boost, as real filters."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import cos, pi, tan

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Edge:
    """A low-pass or high-pass as it truly is, whatever the dial says.

    Attributes
    ----------
    corner_hz : float
        Where a Butterworth filter of that order is 3 dB down; a squared one is 6 dB down there.
    order : 1, 2, 3, 4, 6 or 8
        6 dB an octave for each.
    squared : bool
        Two Butterworth filters of half the order, one after the other.
    """

    corner_hz: float
    order: int = 2
    squared: bool = False


@dataclass(frozen=True, kw_only=True)
class Boost:
    """A bell around one frequency."""

    centre_hz: float = 45.0
    gain_db: float = 6.0
    q: float = 1.2


@dataclass(frozen=True, kw_only=True)
class Controls:
    """Where the knobs stand."""

    level_db: float = 0.0
    low_pass: Edge | None = None
    high_pass: Edge | None = None
    boost: Boost | None = None


def sections(controls: Controls, rate_hz: float) -> Samples:
    """Give the knobs as second-order sections by the bilinear transform, corners in their places.

    Returns
    -------
    array of shape (n_sections, 6)
        At least one: the level.
    """
    rows = [np.array([10 ** (controls.level_db / 20), 0.0, 0.0, 1.0, 0.0, 0.0])]
    if controls.low_pass is not None:
        rows += _edge(controls.low_pass, rate_hz, high=False)
    if controls.high_pass is not None:
        rows += _edge(controls.high_pass, rate_hz, high=True)
    if controls.boost is not None:
        bell, a = controls.boost, 10 ** (controls.boost.gain_db / 40)
        rows.append(_digital((1.0, a / bell.q, 1.0), (1.0, 1 / (a * bell.q), 1.0), bell.centre_hz, rate_hz))
    return np.array(rows)


def _edge(edge: Edge, rate_hz: float, *, high: bool) -> Iterator[Samples]:
    orders = (edge.order // 2,) * 2 if edge.squared else (edge.order,)
    for order in orders:
        for k in range(order // 2):
            damping = 2 * cos(pi * (2 * k + 1 + order % 2) / (2 * order))
            top = (1.0, 0.0, 0.0) if high else (0.0, 0.0, 1.0)
            yield _digital(top, (1.0, damping, 1.0), edge.corner_hz, rate_hz)
        if order % 2:
            yield _digital((0.0, 1.0, 0.0) if high else (0.0, 0.0, 1.0), (0.0, 1.0, 1.0), edge.corner_hz, rate_hz)


def _digital(
    top: tuple[float, float, float], bottom: tuple[float, float, float], corner_hz: float, rate_hz: float
) -> Samples:
    """Turn polynomials in s over the corner (highest power first) into one section."""
    k = 1 / tan(pi * corner_hz / rate_hz)
    rows = [(p[0] * k * k + p[1] * k + p[2], 2 * (p[2] - p[0] * k * k), p[0] * k * k - p[1] * k + p[2])
            for p in (top, bottom)]  # fmt: skip
    return np.array([*rows[0], *rows[1]]) / rows[1][0]


class ControlFilter:
    """The knobs at work on as many outputs, block after block."""

    def __init__(self, controls: Controls, rate_hz: float, n_outputs: int) -> None:
        self._sections = sections(controls, rate_hz)
        self._states = np.zeros((len(self._sections), n_outputs, 2))
        # fetched before the first block is due: a slow disk needs seconds for it, and a stream may not wait
        self.filtered(np.zeros((n_outputs, 1)))

    def filtered(self, drive_v: Samples) -> Samples:
        """Give what reaches the power stage, shape as the drive's: (n_outputs, n_samples)."""
        if len(self._sections) == 1:
            level: Samples = drive_v * self._sections[0, 0]
            return level
        from scipy.signal import sosfilt

        out, self._states = sosfilt(self._sections, drive_v, zi=self._states)
        filtered: Samples = out
        return filtered

    def settle(self) -> None:
        """Forget what was played."""
        self._states[:] = 0.0
