"""Where a camera's sound and a capture hold the same event: a clap that both heard, or the capture's own tone."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wattproof.dsp import Clap, Likeness, find_claps, match_courses, tone_course
from wattproof.errors import MeasureError, NoToneError

Real = NDArray[np.float64]
Samples = NDArray[np.float32] | Real

CLEAR_DB = 15.0
"""A clap that rises by less over what went before could be something else."""

APART_DB = 6.0
"""Another sudden sound within so much of the clap could be the clap."""

LEAST_PERCENT = 50.0
CLEAR_PERCENT = 60.0
"""Strong reverberation brings the right place down to this; noise of any kind stays below a half."""

NEXT_SHARE = 0.93
"""Another place as likely as this share of the best one could be the place: bursts repeat."""

SOUND_M_PER_S = 343.0
DISTANCE_U = 0.1
"""A distance is stepped or guessed: relative standard uncertainty, the speed's with the temperature among it."""

NEAR_CLAP_S, NEAR_TONE_S = 5.0, 10.0
"""How far from where it was said to be an event is looked for."""


@dataclass(frozen=True, kw_only=True)
class SameEvent:
    """One event in two recordings.

    Attributes
    ----------
    by : "clap" or "tone"
    heard_s, heard_u_s : float, seconds
        Where it begins in the camera's sound as it left its source, with its standard uncertainty.
    capture_s, capture_u_s : float, seconds
        Where it is in the capture; for a tone the capture's first sample, 0.
    doubts : tuple of str
        What makes it less than certain that these two are the same.
    """

    by: Literal["clap", "tone"]
    heard_s: float
    heard_u_s: float
    capture_s: float
    capture_u_s: float
    doubts: tuple[str, ...] = ()

    @property
    def offset_s(self) -> float:
        """Time of the capture at the camera's first sample."""
        return self.capture_s - self.heard_s

    @property
    def u_s(self) -> float:
        """Standard uncertainty of `offset_s`."""
        return float(np.hypot(self.heard_u_s, self.capture_u_s))


def heard_clap(
    samples: Samples, *, rate_hz: float, source: str, near_s: float | None = None
) -> tuple[Clap, tuple[str, ...]]:
    """Find the clap in a sound, and say what is doubtful about it.

    Parameters
    ----------
    samples : float array of shape (n,)
    rate_hz : float, Hz
    source : str
        Name of the recording, for messages.
    near_s : float or None, seconds
        Where the clap is to be within five seconds; anywhere when left out.

    Raises
    ------
    MeasureError
        Nothing in it begins as suddenly as a clap.

    References
    ----------
    .. [1] docs/methods/camera_sync.md.
    """
    claps = find_claps(samples, rate_hz=rate_hz)
    if near_s is not None:
        claps = [clap for clap in claps if abs(clap.t_s - near_s) <= NEAR_CLAP_S]
    if not claps:
        where = "" if near_s is None else f" within {NEAR_CLAP_S:g} s of {near_s:g} s"
        raise MeasureError(
            f"No clap is heard in {source}{where}.",
            why="nothing in it begins within 3 ms from 500 Hz up and dies away within 0.2 s, as a clap does",
            hint="Clap near the microphone in a quiet moment and record again; or leave out --sync and line the clip "
            "up by eye.",
        )
    best = claps[0]
    doubts = []
    if best.rise_db < CLEAR_DB:
        doubts.append(f"{source}: the clap at {best.t_s:.3f} s rises by only {best.rise_db:.0f} dB; is it one?")
    rivals = [clap for clap in claps[1:] if best.rise_db - clap.rise_db < APART_DB]
    if rivals:
        places = ", ".join(f"{clap.t_s:.3f} s" for clap in rivals[:4])
        doubts.append(
            f"{source}: as sudden as the clap at {best.t_s:.3f} s are sounds at {places}; "
            "say which one by --sync-near-s."
        )
    return best, tuple(doubts)


def same_clap(
    sound: Samples,
    *,
    rate_hz: float,
    capture_s: float,
    capture_u_s: float,
    near_s: float | None = None,
    distance_m: float = 0.0,
) -> SameEvent:
    """Line a camera's sound up with a capture by a clap whose place in the capture is known.

    Parameters
    ----------
    sound : float array of shape (n,)
        The camera's.
    rate_hz : float, Hz
    capture_s, capture_u_s : float, seconds
        Where the clap is in the capture, and the standard uncertainty of that.
    near_s : float or None, seconds
        Roughly where it is in the camera's sound.
    distance_m : float, metres
        From the clap to the camera's microphone: sound takes 2.9 ms for each.

    Raises
    ------
    MeasureError
        The camera heard no clap.
    """
    clap, doubts = heard_clap(sound, rate_hz=rate_hz, source="the camera's sound", near_s=near_s)
    late_s = distance_m / SOUND_M_PER_S
    return SameEvent(
        by="clap",
        heard_s=clap.t_s - late_s,
        heard_u_s=float(np.hypot(clap.u_s, DISTANCE_U * late_s)),
        capture_s=capture_s,
        capture_u_s=capture_u_s,
        doubts=doubts,
    )


def same_tone(
    sound: Samples,
    pattern: Samples,
    *,
    rate_hz: float,
    pattern_rate_hz: float,
    tone_hz: float,
    near_s: float | None = None,
    distance_m: float = 0.0,
) -> SameEvent:
    """Line a camera's sound up with a capture by the capture's own tone, heard from a load or a loudspeaker.

    Parameters
    ----------
    sound : float array of shape (n,)
        The camera's.
    pattern : float array of shape (m,)
        The capture's load voltage.
    rate_hz, pattern_rate_hz : float, Hz
        Samples a second of either.
    tone_hz : float, Hz
        The capture's tone.
    near_s : float or None, seconds
        Roughly where the capture begins in the camera's sound.
    distance_m : float, metres
        From what sounds to the camera's microphone.

    Raises
    ------
    NoToneError
        The camera did not hear the tone's course, or not the whole of it.

    References
    ----------
    .. [1] docs/methods/camera_sync.md.
    """
    first = 0 if near_s is None else max(round((near_s - NEAR_TONE_S) * rate_hz), 0)
    last = (
        sound.size
        if near_s is None
        else round((near_s + NEAR_TONE_S) * rate_hz + pattern.size * rate_hz / pattern_rate_hz)
    )
    found = None
    if tone_hz < rate_hz / 2:
        found = match_courses(
            tone_course(pattern, rate_hz=pattern_rate_hz, tone_hz=tone_hz),
            tone_course(sound[first:last], rate_hz=rate_hz, tone_hz=tone_hz),
        )
    if found is None or found.alike_percent < LEAST_PERCENT:
        raise _unheard(found, tone_hz=tone_hz, length_s=pattern.size / pattern_rate_hz)
    late_s = distance_m / SOUND_M_PER_S
    return SameEvent(
        by="tone",
        heard_s=first / rate_hz + found.lag_s - late_s,
        heard_u_s=float(np.hypot(found.u_s, DISTANCE_U * late_s)),
        capture_s=0.0,
        capture_u_s=0.0,
        doubts=_tone_doubts(found),
    )


def _tone_doubts(found: Likeness) -> tuple[str, ...]:
    doubts = []
    if found.alike_percent < CLEAR_PERCENT:
        doubts.append(f"What the camera heard is like the capture's tone by {found.alike_percent:.0f} % only.")
    if found.next_percent > NEXT_SHARE * found.alike_percent:
        doubts.append(
            f"Another place of the camera's sound is nearly as like the capture ({found.next_percent:.0f} % to "
            f"{found.alike_percent:.0f} %); say roughly where the capture begins by --sync-near-s."
        )
    return tuple(doubts)


def _unheard(found: Likeness | None, *, tone_hz: float, length_s: float) -> NoToneError:
    heard = (
        f"nothing of {length_s:.3g} s at {tone_hz:.6g} Hz is there to compare"
        if found is None
        else f"the likeliest place is like it by {found.alike_percent:.0f} %; at least {LEAST_PERCENT:g} % is needed"
    )
    return NoToneError(
        "The camera did not hear the capture's tone.",
        why=heard,
        hint="Give the camera's sound over the whole capture; or clap, and say where the clap is in the capture "
        "by --clap-at-s, or which of its tracks heard it by --clap-track.",
    )
