"""The line a ramp follows while it is small: its frequency, its slope in level, and the gain that later falls short."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.measure.frames import OutputFrames
from wattproof.measure.limits import OVERLAP_DOF, Crossing
from wattproof.measure.model import Condition, Figure
from wattproof.quantity import Uncertain

Real = NDArray[np.float64]

SMALL = 0.25
"""Frames under this share of the ramp's highest voltage (-12 dB) are small signal."""

FEWEST_SMALL = 6

CLEAN = 0.03
"""Distortion and noise under which a frame's phase is the tone's own."""

STRAIGHT = 0.02
"""A ramp whose level scatters about its straight line by more than this (0.17 dB) is not even: it tells no gain."""


@dataclass(frozen=True, kw_only=True, eq=False)
class GainLine:
    """What the small-signal part of a ramp tells.

    Attributes
    ----------
    frames : OutputFrames
    frequency_hz : float
        From how the phase of the small frames moves on.
    wander_rad : float
        Largest departure of the phase from a steady tone's, frames without clipping.
    slope_db_per_s : float or None
        Rise of the level; None where it is not even.
    straight : (float, float)
        log(fundamental) at time 0, and its change a second.
    scatter : float
        R.m.s. departure of log(fundamental) from that line.
    gain : complex or None
        Small-signal gain, where the drive is recorded, V/V.
    gain_u : float
        Its relative standard uncertainty from the frames' scatter.
    n_small : int
        Frames it is made of.
    """

    frames: OutputFrames
    frequency_hz: float
    wander_rad: float
    slope_db_per_s: float | None
    straight: tuple[float, float]
    scatter: float
    gain: complex | None
    gain_u: float
    n_small: int

    @property
    def dof(self) -> float:
        """Degrees of freedom of the scatter."""
        return max((self.n_small - 2) / OVERLAP_DOF, 1.0)

    @property
    def basis(self) -> str:
        """What compression is measured against."""
        return "drive voltage" if self.gain is not None else "even slope of the ramp"

    @property
    def figures(self) -> tuple[Figure, ...]:
        """Small-signal gain, where the drive is recorded."""
        frames = self.frames
        record = frames.record
        if self.gain is None:
            return ()
        number = abs(self.gain) * record.gain_factor(frames.tracks[frames.main])
        number = number / record.gain_factor(frames.tracks["drive_voltage"])
        label = "scatter of the gain"
        number = number * record.observed(f"{label} {frames.output}", 1.0, self.gain_u, dof=self.dof, label=label)
        conditions: dict[str, Condition] = {
            "frequency_hz": round(self.frequency_hz, 4),
            "phase_rad": round(float(np.angle(self.gain)), 5),
            "basis": f"fundamentals, frames under {SMALL:g} of the highest voltage",
        }
        unit = "V/V" if frames.calibrated else "1"
        return (record.figure("gain", number, unit, output=frames.output, conditions=conditions),)

    def compression(self, point: Crossing) -> Uncertain | None:
        """Gain at a point of the ramp over the small-signal gain, V/V; None where nothing tells what went in."""
        frames = self.frames
        if self.gain is not None and frames.gain is not None:
            logs = np.log(np.abs(frames.gain)) - np.log(abs(self.gain))
            base_u = self.gain_u
        elif self.slope_db_per_s is not None:
            at_zero, per_second = self.straight
            logs = np.log(frames.fundamental) - at_zero - per_second * frames.t_s
            base_u = self.scatter
        else:
            return None
        value = float(np.exp(point.at(logs)))
        u = value * float(np.hypot(base_u, point.slope(logs) * np.hypot(point.t_u_s, point.frame_u_s)))
        what = f"compression {frames.output} at {point.t_s:.6f} s"
        return frames.record.observed(what, value, u, dof=self.dof, label="scatter of the frames")


def gain_line(frames: OutputFrames) -> GainLine:
    """Fit the small-signal part of a ramp: phase and log(level) are straight lines of time there."""
    small = frames.volts < SMALL * frames.volts.max()
    if np.count_nonzero(small) < FEWEST_SMALL:
        small = np.arange(small.size) < max(small.size // 2, 2)
    envelope = frames.fit.baseband[0, small]
    t_s, weight = frames.t_s[small], np.abs(envelope)
    middle = float(np.average(t_s, weights=weight))
    phase = np.unwrap(np.angle(envelope))
    hertz, _ = np.polyfit(t_s - middle, phase, 1, w=weight)
    rise, level = np.polyfit(t_s - middle, np.log(weight), 1, w=weight)
    departure = np.log(weight) - rise * (t_s - middle) - level
    scatter = float(np.sqrt(np.average(departure**2, weights=weight**2)))
    even = scatter < STRAIGHT and rise > 0
    gain, gain_u = _small_gain(frames, small)
    return GainLine(
        frames=frames,
        frequency_hz=frames.grid.tone_hz + float(hertz) / (2 * np.pi),
        wander_rad=_wander(frames),
        slope_db_per_s=float(rise) * 20 / float(np.log(10)) if even else None,
        straight=(float(level - rise * middle), float(rise)),
        scatter=scatter,
        gain=gain,
        gain_u=gain_u,
        n_small=int(np.count_nonzero(small)),
    )


def _wander(frames: OutputFrames) -> float:
    """Largest departure of the phase from a straight line, rad, over frames that neither noise nor clipping turns."""
    clean = (frames.volts > 0.1 * frames.volts.max()) & (frames.thd_n < CLEAN)
    if np.count_nonzero(clean) < FEWEST_SMALL:
        return 0.0
    t_s, phase = frames.t_s[clean], np.unwrap(np.angle(frames.fit.baseband[0, clean]))
    line = np.polynomial.Polynomial.fit(t_s, phase, 1)
    return float(np.max(np.abs(phase - line(t_s))))


def _small_gain(frames: OutputFrames, small: NDArray[np.bool_]) -> tuple[complex | None, float]:
    """Mean of the gain with the drive's square as weight, as least squares has it, and its relative u."""
    row = frames.rows.get("drive_voltage")
    if row is None or frames.gain is None:
        return None, 0.0
    volts, drive = frames.fit.phasors[0, small], frames.fit.phasors[row, small]
    weight = np.abs(drive) ** 2
    if weight.sum() == 0:
        return None, 0.0
    gain = complex(np.sum(volts * drive.conj()) / weight.sum())
    share = weight / weight.sum()
    variance = float(np.sum(share**2 * np.abs(frames.gain[small] - gain) ** 2)) / 2 * OVERLAP_DOF
    return gain, float(np.sqrt(variance)) / abs(gain)
