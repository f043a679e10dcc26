"""An audio interface behind dividers and shunts: anti-alias filter, skew, gain as it truly is, noise and bits."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.sim.amplifier import Played

Samples = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Track:
    """One input of the recorder.

    Attributes
    ----------
    role, output : str
        What it is wired to.
    scale : float
        Engineering units per unit of the file, as the bench file states it.
    scale_error : float
        By how much the reading is truly too large, relative; nobody on the bench knows it.
    offset : float
        Engineering units the bench file adds back.
    skew_s : float
        By which the input lags.
    noise : float
        R.m.s. of the input's own noise, file units.
    """

    role: str
    scale: float
    output: str = "A"
    scale_error: float = 0.0
    offset: float = 0.0
    skew_s: float = 0.0
    noise: float = 2e-6


def recorded(played: Played, tracks: Sequence[Track], outputs: Sequence[str], *, every: int, seed: int) -> Samples:
    """Turn what happened into a file's samples, shape (n_samples // every, n_tracks), within ±1.

    Parameters
    ----------
    every : int >= 1
        The simulation's rate over the recorder's.
    """
    rng = np.random.default_rng(seed)
    columns = []
    for track in tracks:
        lagged = _lagged(_true(played, track, outputs), track.skew_s * played.rate_hz)
        reading = (_thinned(lagged, every) * (1 + track.scale_error) - track.offset) / track.scale
        columns.append(reading + rng.normal(0.0, track.noise, reading.size))
    return np.clip(np.column_stack(columns), -1.0, 1.0)


def _true(played: Played, track: Track, outputs: Sequence[str]) -> Samples:
    row = list(outputs).index(track.output)
    values: dict[str, Samples] = {
        "load_voltage": played.load_v[row],
        "load_current": played.load_a[row],
        "drive_voltage": played.drive_v[row],
        "supply_voltage": played.supply_v,
        "supply_current": played.supply_a,
        "temperature": played.amplifier_c,
    }
    return values[track.role]


def _lagged(values: Samples, samples: float) -> Samples:
    """Delay by less than a sample along the cubic through the four neighbours (Lagrange)."""
    if samples == 0:
        return values
    if not 0 < samples < 1:
        raise ValueError(f"a lag of {samples:.3g} samples of the simulation is not between 0 and 1")
    at = 1 - samples  # the wanted instant, counted from the second of the four
    weights = [
        -at * (at - 1) * (at - 2) / 6,
        (at + 1) * (at - 1) * (at - 2) / 2,
        -(at + 1) * at * (at - 2) / 2,
        (at + 1) * at * (at - 1) / 6,
    ]
    padded = np.pad(values, (2, 1), mode="edge")
    late: Samples = np.convolve(padded, weights[::-1], mode="valid")
    return late


def _thinned(values: Samples, every: int) -> Samples:
    """Keep every n-th sample behind a linear-phase low-pass, so that nothing folds."""
    if every == 1:
        return values
    from scipy.signal import resample_poly

    # the mean is taken out first: the filter would ring on the step from nothing to a supply's 14 V
    mean = float(values.mean())
    thin: Samples = resample_poly(values - mean, 1, every, window=("kaiser", 8.0)) + mean
    return thin
