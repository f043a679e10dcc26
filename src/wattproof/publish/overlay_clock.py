"""Frames of a clip and what moment of the capture each of them shows; rates are ratios, so that none drifts."""

from dataclasses import dataclass
from fractions import Fraction
from math import floor

from wattproof.errors import SettingsError

RATES = {
    "23.976": Fraction(24000, 1001),
    "24": Fraction(24),
    "25": Fraction(25),
    "29.97": Fraction(30000, 1001),
    "30": Fraction(30),
    "50": Fraction(50),
    "59.94": Fraction(60000, 1001),
    "60": Fraction(60),
}
"""Frames a second by the word for it."""

MOST_FRAMES = 1_000_000


def rate_of(word: str) -> Fraction:
    """Give the frame rate of a word as an exact ratio.

    Raises
    ------
    SettingsError
        It is none of the usual rates.

    Examples
    --------
    >>> rate_of("29.97")
    Fraction(30000, 1001)
    """
    if word not in RATES:
        raise SettingsError(
            f'"{word}" is no frame rate that a clip can have.',
            why=f"there are {', '.join(RATES)}",
            hint="Give the rate of the footage, for example --fps 25.",
        )
    return RATES[word]


@dataclass(frozen=True, kw_only=True)
class FrameClock:
    """Which moment of the capture each frame shows.

    A frame shows what was known when it comes on: frame n, on screen from n / rate to (n + 1) / rate, shows the
    capture at ``first_s + n / rate``. So nothing is seen before it happened, and all within one frame after.

    Attributes
    ----------
    rate : Fraction, frames a second
    n_frames : int
    first_s : Fraction, seconds
        Time of the capture at which frame 0 comes on; below 0 in a lead-in.
    """

    rate: Fraction
    n_frames: int
    first_s: Fraction

    def at_s(self, frame: int) -> float:
        """Give the time of the capture that a frame shows, seconds."""
        return float(self.first_s + frame / self.rate)


def clock_for(
    *,
    rate: Fraction,
    from_s: Fraction,
    to_s: Fraction,
    lead_in_s: Fraction = Fraction(0),
    phase_s: Fraction | None = None,
) -> FrameClock:
    """Lay frames over a stretch of a capture.

    Parameters
    ----------
    rate : Fraction, frames a second
    from_s, to_s : Fraction, seconds
        The stretch.
    lead_in_s : Fraction, seconds
        How much earlier the clip begins, rounded to whole frames.
    phase_s : Fraction or None, seconds
        Any time of the capture at which a frame of the footage comes on: the clip's frames are laid upon the
        footage's, the first one just before or at the stretch's beginning.

    Raises
    ------
    SettingsError
        Not one frame fits, or far too many.

    Examples
    --------
    >>> clock_for(rate=rate_of("24"), from_s=Fraction(0), to_s=Fraction(10)).n_frames
    240
    """
    first_s = from_s if phase_s is None else phase_s + floor((from_s - phase_s) * rate) / rate
    lead = floor(lead_in_s * rate + Fraction(1, 2))
    n_frames = floor((to_s - first_s) * rate + Fraction(1, 2)) + lead
    if not 0 < n_frames <= MOST_FRAMES or to_s <= from_s:
        raise SettingsError(
            "The clip would have no sensible length.",
            why=f"from {float(from_s):g} s to {float(to_s):g} s at {float(rate):.6g} frames a second "
            f"it has {max(n_frames, 0)} frames",
            hint=f"Ask for a stretch of one frame ({float(1 / rate):.3g} s) or more within the capture.",
        )
    return FrameClock(rate=rate, n_frames=n_frames, first_s=first_s - lead / rate)


def time_code(frame: int, *, rate: Fraction) -> str:
    """Write a frame's place as hours:minutes:seconds:frames, counting every frame (no numbers dropped).

    Examples
    --------
    >>> time_code(90_015, rate=rate_of("25"))
    '01:00:00:15'
    """
    base = round(rate)
    seconds, frames = divmod(frame, base)
    return f"{seconds // 3600 % 24:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}:{frames:02d}"


def frame_of_code(code: str, *, rate: Fraction) -> int:
    """Count the frames to a time code.

    Raises
    ------
    SettingsError
        It is no time code, or drops numbers.

    Examples
    --------
    >>> frame_of_code("00:00:01:05", rate=rate_of("25"))
    30
    """
    base = round(rate)
    parts = code.split(":")
    numbers = [int(part) if part.isascii() and part.isdigit() and len(part) == 2 else -1 for part in parts]
    limits = (24, 60, 60, base)
    if len(parts) != 4 or not all(0 <= number < limit for number, limit in zip(numbers, limits, strict=False)):
        raise SettingsError(
            f'"{code}" is no time code at {float(rate):.6g} frames a second.',
            why=f"it is hours:minutes:seconds:frames, two digits each, frames below {base}, no semicolon",
            hint="Give the camera's time code at its first frame, for example --timecode 01:00:00:00.",
        )
    hours, minutes, seconds, frames = numbers
    return ((hours * 60 + minutes) * 60 + seconds) * base + frames
