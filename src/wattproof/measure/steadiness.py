"""How steady a tone is: its level and its frequency from frame to frame, each told apart from the other."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import Notice

Real = NDArray[np.float64]

UNSTEADY = 0.01
"""A level that moves by less within a record is not worth a word."""

OVER_NOISE = 5.0
"""The phase of a steady tone's frames departs from a straight line by its noise, and by so many times it never."""

SHARE_OF_RESIDUE = 0.3
"""Wander that makes less of what is read as distortion and noise, r.m.s., changes that by under 5 %."""

FOLLOWED_RAD = 1.5
"""A phase that turns further from one frame to the next is not followed."""

SWITCHED = 0.5
"""A level that moves by more says nothing of the frequency: there is no tone in some frames."""

MOSTLY = 0.5
"""Share of the wander that a parabola leaves, r.m.s., under which the frequency moves in one direction."""


@dataclass(frozen=True, kw_only=True, eq=False)
class FrameTones:
    """A tone's fundamental frame by frame.

    Attributes
    ----------
    phasors : NDArray[np.complex128] of shape (n_frames,)
        Peak, engineering units, turned so that the tone of the whole record has phase 0.
    times_s : Real of shape (n_frames,)
        Centres of the frames.
    mean_squares : callable
        Gives those of all that the frames hold, DC left out, shape (n_frames,): the level of a tone whose frequency
        cannot be followed.
    """

    phasors: NDArray[np.complex128]
    times_s: Real
    mean_squares: Callable[[], Real]

    @cached_property
    def phases_rad(self) -> Real:
        """Phase against that of a constant frequency, the mean and the slope taken off."""
        phases = np.unwrap(np.angle(self.phasors))
        return np.asarray(phases - np.polyval(np.polyfit(self.times_s, phases, 1), self.times_s))

    @cached_property
    def is_lost(self) -> bool:
        """Whether the phase turns so far from frame to frame that it may have turned any number of times."""
        return bool(np.abs(np.diff(np.unwrap(np.angle(self.phasors)))).max() > FOLLOWED_RAD)

    @cached_property
    def levels(self) -> Real:
        """Mean square in each frame; what a frequency other than the record's loses within a frame is made good."""
        if self.is_lost:
            return self.mean_squares()
        turned_rad = np.gradient(np.unwrap(np.angle(self.phasors)))
        return np.asarray(np.abs(self.phasors / np.sinc(turned_rad / (2 * np.pi))) ** 2 / 2)

    @property
    def wander_rad(self) -> float:
        """Departure of the phase from that of a constant frequency, r.m.s.: this share of the tone reads as noise."""
        return float(np.sqrt(np.mean(self.phases_rad**2)))

    @property
    def drift_hz_per_s(self) -> float:
        """Mean change of the frequency a second: of a parabola through the phases."""
        return float(self._parabola[0]) / np.pi

    @property
    def goes_one_way(self) -> bool:
        """Whether a steady drift explains most of the wander."""
        left = self.phases_rad - np.polyval(self._parabola, self.times_s)
        return float(np.sqrt(np.mean(left**2))) < MOSTLY * self.wander_rad

    @property
    def swing_hz(self) -> float:
        """How far the frequency moves within the record."""
        if self.goes_one_way:
            step_s = float(self.times_s[1] - self.times_s[0])
            return abs(self.drift_hz_per_s) * (float(self.times_s[-1] - self.times_s[0]) + step_s)
        return float(np.ptp(np.gradient(self.phases_rad, self.times_s))) / (2 * np.pi)

    @cached_property
    def _parabola(self) -> Real:
        return np.asarray(np.polyfit(self.times_s, self.phases_rad, 2))


def steadiness_notices(
    tones: FrameTones | None, *, output: str, frequency_hz: float, residue_rad: float, noise_rad: float
) -> tuple[Notice, ...]:
    """Tell of a level that moves, and of a frequency that does.

    Parameters
    ----------
    tones : FrameTones or None
    output : str
    frequency_hz : float
        Of the tone.
    residue_rad : float, rad
        What is read as distortion and noise, over the tone: so much wander, r.m.s., would read the same.
    noise_rad : float
        Standard uncertainty of a frame's phase from noise.
    """
    if tones is None:
        return ()
    told = []
    if (swing := float(np.sqrt(tones.levels.max() / tones.levels.min()) - 1)) > UNSTEADY:
        told.append(
            Notice(
                code="unsteady-tone",
                message=f"The level of output {output} moves by {100 * swing:.1f} % within the record.",
                hint="Figures are means over the record. If this is a ramp, a burst or a hold, say so with --kind.",
                numbers={"swing": swing},
            )
        )
    if swing < SWITCHED and tones.wander_rad > max(OVER_NOISE * noise_rad, SHARE_OF_RESIDUE * residue_rad):
        told.append(_lost_notice(output) if tones.is_lost else _frequency_notice(tones, output, frequency_hz))
    return tuple(told)


def _lost_notice(output: str) -> Notice:
    return Notice(
        code="frequency-drifts",
        message=f"The frequency of output {output} moves so far within the record that it cannot be followed.",
        hint="Distortion, noise and the fundamental mean nothing: use a generator that keeps its frequency. "
        "A swept tone is no steady one.",
    )


def _frequency_notice(tones: FrameTones, output: str, frequency_hz: float) -> Notice:
    ppm = 1e6 * tones.swing_hz / frequency_hz
    way = f"drifts by {tones.drift_hz_per_s:+.3g} Hz/s" if tones.goes_one_way else "wanders to and fro"
    return Notice(
        code="frequency-drifts",
        message=f"The frequency of output {output} {way}, by {ppm:.3g} ppm of {frequency_hz:.6g} Hz within the record.",
        hint=f"What it adds, {100 * tones.wander_rad:.2g} % of the tone, counts as distortion and noise, and the "
        "fundamental comes out low: use a generator that keeps its frequency, or measure a shorter record.",
        numbers={
            "drift_hz_per_s": tones.drift_hz_per_s,
            "swing_hz": tones.swing_hz,
            "wander_rad": tones.wander_rad,
        },
    )
