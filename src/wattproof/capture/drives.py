"""The drives a bench day is made of: silence, a tone, a ramp, a burst train; the same samples whatever the blocks.

A drive is asked for blocks by the stream's thread. What the conductor may call from another thread is said at each
method: it leaves a word, and the next block obeys it.
"""

from math import ceil, floor, sqrt

import numpy as np
from numpy.typing import NDArray

from wattproof.capture.contract import Samples
from wattproof.errors import RigError

SOFT_S = 0.02
"""Soft starts and ends, and changes of level, take whole cycles of the tone that last at least this long, seconds."""

Places = NDArray[np.int64]


class SilentDrive:
    """Nothing, for a stated time: an idle step, the recorder's own floor.

    Parameters
    ----------
    seconds : float, s > 0
        How long.
    outputs : tuple of str
        Amplifier outputs that are held silent.
    rate_hz : float, Hz > 0
        Samples a second.
    """

    def __init__(self, *, seconds: float, outputs: tuple[str, ...], rate_hz: float) -> None:
        self.outputs = outputs
        self.rate_hz = rate_hz
        self._end = max(1, round(seconds * rate_hz))
        self._next = 0
        self._asked = False

    @property
    def finished(self) -> bool:
        """Whether the time is over."""
        return self._asked or self._next >= self._end

    def block(self, n_samples: int) -> Samples:
        """Give `n_samples` of zeros, shape (n_outputs, n_samples)."""
        self._next += n_samples
        return np.zeros((len(self.outputs), n_samples))

    def finish(self) -> None:
        """End it with the next block; from any thread."""
        self._asked = True

    def level_v_rms_at(self, sample: int) -> float:  # noqa: ARG002 - the same question as for the other drives
        """Give 0.0: nothing is driven."""
        return 0.0


class _SineDrive:
    """A sine of continuous phase from the first sample on, under an envelope that starts and ends softly.

    Its kinds say how the level runs (`_levels`) and when it is to end (`_stop_at`), both in closed form of the
    sample's number, so that a split into blocks cannot be heard. What the conductor asks for takes effect at the
    first sample of the next block.
    """

    def __init__(self, *, outputs: tuple[str, ...], rate_hz: float, tone_hz: float) -> None:
        if not 0 < tone_hz < rate_hz / 2:
            raise RigError(
                f"A tone of {tone_hz:g} Hz cannot be driven.",
                why=f"At {rate_hz:g} samples a second only tones between 0 and {rate_hz / 2:g} Hz can.",
                hint="Choose a lower tone, or a higher sample_rate_hz in the bench file's [rig].",
            )
        self.outputs = outputs
        self.rate_hz = rate_hz
        self.tone_hz = tone_hz
        soft_cycles = ceil(SOFT_S * tone_hz)
        self._n_soft = self._sample_of(soft_cycles)
        self._next = 0
        self._asked_to_end = False
        self._fade_from: int | None = None

    def _sample_of(self, cycles: float) -> int:
        return round(cycles * self.rate_hz / self.tone_hz)

    def _levels(self, places: Places) -> Samples:
        """R.m.s. level at each sample, volts, soft start and end left out."""
        raise NotImplementedError

    def _stop_at(self) -> int:
        """Sample at which the fade at the end begins, if nobody ends it sooner."""
        raise NotImplementedError

    def _take_words(self) -> None:
        """Obey what the conductor has asked for, from sample `_next` on."""

    @property
    def finished(self) -> bool:
        """Whether everything has been handed out; then `block` gives zeros."""
        return self._fade_from is not None and self._next >= self._fade_from + self._n_soft

    def finish(self) -> None:
        """Fade out from the next block on; from any thread."""
        self._asked_to_end = True

    def block(self, n_samples: int) -> Samples:
        """Give the next samples, volts at the amplifier's input, shape (n_outputs, n_samples)."""
        if self._fade_from is None:
            self._take_words()
            if self._asked_to_end:
                self._fade_from = self._next
            elif self._stop_at() < self._next + n_samples:
                self._fade_from = max(self._stop_at(), self._next)
        places = np.arange(self._next, self._next + n_samples)
        self._next += n_samples
        cycles = places * self.tone_hz / self.rate_hz
        wave = sqrt(2) * self._envelope(places) * np.sin(2 * np.pi * (cycles - np.floor(cycles)))
        return np.tile(wave, (len(self.outputs), 1))

    def _envelope(self, places: Places) -> Samples:
        levels = self._levels(places) * _rise(places, self._n_soft)
        if self._fade_from is not None:
            levels *= 1 - _rise(places - self._fade_from, self._n_soft)
        return levels

    def level_v_rms_at(self, sample: int) -> float:
        """Give the r.m.s. level of the sine at a sample, volts at the amplifier's input; from any thread.

        Parameters
        ----------
        sample : int
            Counted from the drive's first; one not yet handed out is answered as things stand.
        """
        if sample < 0:
            return 0.0
        return float(self._envelope(np.array([sample]))[0])


def _rise(places: Places, n_soft: int) -> Samples:
    """Rise as a raised cosine from 0 at place 0 to 1 at place `n_soft`."""
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.clip(places / n_soft, 0.0, 1.0)))


class ToneDrive(_SineDrive):
    """A steady tone, with a soft start and end over whole cycles within its time.

    Parameters
    ----------
    level_v_rms : float, V >= 0
        At the amplifier's input.
    seconds : float, s > 0
        From the first sample to the last, rounded down to whole cycles (but soft start and end are never left out).
    tone_hz, rate_hz : float, Hz
    outputs : tuple of str
        Amplifier outputs driven alike.

    Raises
    ------
    RigError
        The tone is not below half the sampling rate.
    """

    def __init__(
        self, *, level_v_rms: float, seconds: float, tone_hz: float, outputs: tuple[str, ...], rate_hz: float
    ) -> None:
        super().__init__(outputs=outputs, rate_hz=rate_hz, tone_hz=tone_hz)
        self._stop = max(self._n_soft, self._sample_of(floor(seconds * tone_hz + 1e-9)) - self._n_soft)
        self._changes: tuple[tuple[int, float], ...] = ((-self._n_soft, level_v_rms),)
        self._wanted_v_rms = level_v_rms

    def set_level_v_rms(self, level_v_rms: float) -> None:
        """Glide to another level from the next block on, over as long as a soft start; from any thread.

        Parameters
        ----------
        level_v_rms : float, V >= 0
        """
        self._wanted_v_rms = level_v_rms

    def _take_words(self) -> None:
        wanted_v_rms = self._wanted_v_rms
        if wanted_v_rms != self._changes[-1][1]:
            self._changes = (*self._changes, (self._next, wanted_v_rms))

    def _stop_at(self) -> int:
        return self._stop

    def _levels(self, places: Places) -> Samples:
        changes = self._changes
        first = 0  # the last change that is over at the first of the places
        while first + 1 < len(changes) and changes[first + 1][0] + self._n_soft <= places[0]:
            first += 1
        levels = np.full(len(places), changes[first][1])
        for (_, before), (start, after) in zip(changes[first:], changes[first + 1 :], strict=False):
            levels += (after - before) * _rise(places - start, self._n_soft)
        return levels


class RampDrive(_SineDrive):
    """A tone that rises by so many decibels a second: fast at first, slowly once the conductor says so.

    It fades out by itself where it reaches its ceiling or its time is over.

    Parameters
    ----------
    start_v_rms, ceiling_v_rms : float, V > 0
        First and highest level, at the amplifier's input.
    fast_db_per_s, slow_db_per_s : float, dB/s > 0
        Slopes before and after `slow_down`.
    seconds_max : float, s > 0
        Longest time, fade included.
    tone_hz, rate_hz : float, Hz
    outputs : tuple of str
        Amplifier outputs driven alike.

    Raises
    ------
    RigError
        The tone is not below half the sampling rate, or a level or slope is not above 0.
    """

    def __init__(
        self,
        *,
        start_v_rms: float,
        ceiling_v_rms: float,
        fast_db_per_s: float,
        slow_db_per_s: float,
        seconds_max: float,
        tone_hz: float,
        outputs: tuple[str, ...],
        rate_hz: float,
    ) -> None:
        super().__init__(outputs=outputs, rate_hz=rate_hz, tone_hz=tone_hz)
        if min(start_v_rms, ceiling_v_rms, fast_db_per_s, slow_db_per_s) <= 0:
            raise RigError(
                "A ramp can only rise, from a level above nothing.",
                why=f"It was to go from {start_v_rms:g} V to {ceiling_v_rms:g} V by {fast_db_per_s:g} dB/s, then by "
                f"{slow_db_per_s:g} dB/s.",
                hint="Give levels and slopes above 0.",
            )
        self._start_v_rms = start_v_rms
        self._ceiling_v_rms = ceiling_v_rms
        self._fast_db = fast_db_per_s / rate_hz
        self._slow_db = slow_db_per_s / rate_hz
        self._last = max(self._n_soft, round(seconds_max * rate_hz) - self._n_soft)
        self._asked_to_slow = False
        self._slow_from: int | None = None

    def slow_down(self) -> None:
        """Rise at the slow slope from the next block on, from the level reached; from any thread."""
        self._asked_to_slow = True

    @property
    def slow_from(self) -> int | None:
        """First sample of the slow part; None while it is fast."""
        return self._slow_from

    def _take_words(self) -> None:
        if self._asked_to_slow and self._slow_from is None:
            self._slow_from = self._next

    def _stop_at(self) -> int:
        """Where the ceiling is reached, or the time is over."""
        room_db = 20 * float(np.log10(self._ceiling_v_rms / self._start_v_rms))
        slow_from = self._slow_from
        if slow_from is None or slow_from * self._fast_db >= room_db:
            reached = ceil(room_db / self._fast_db)
        else:
            reached = slow_from + ceil((room_db - slow_from * self._fast_db) / self._slow_db)
        return max(self._n_soft, min(reached, self._last))

    def _levels(self, places: Places) -> Samples:
        slow_from = self._slow_from
        rise_db = places * self._fast_db
        if slow_from is not None:
            rise_db = np.minimum(places, slow_from) * self._fast_db
            rise_db += np.maximum(places - slow_from, 0) * self._slow_db
        return np.asarray(np.minimum(self._start_v_rms * 10 ** (rise_db / 20), self._ceiling_v_rms))


class BurstDrive(_SineDrive):
    """Whole cycles at a high level, then at a low one, over and over; the low level leads in and the tone's end fades.

    Parameters
    ----------
    level_v_rms : float, V > 0
        Of the bursts, at the amplifier's input.
    low_db : float, dB <= 0
        Of the low level, re the bursts.
    cycles_on, cycles_period : int, 1 <= cycles_on < cycles_period
        Cycles in a burst, and from the start of one to the next.
    bursts : int >= 1
        How many.
    tone_hz, rate_hz : float, Hz
    outputs : tuple of str
        Amplifier outputs driven alike.

    Raises
    ------
    RigError
        The tone is not below half the sampling rate.
    """

    def __init__(
        self,
        *,
        level_v_rms: float,
        low_db: float,
        cycles_on: int,
        cycles_period: int,
        bursts: int,
        tone_hz: float,
        outputs: tuple[str, ...],
        rate_hz: float,
    ) -> None:
        super().__init__(outputs=outputs, rate_hz=rate_hz, tone_hz=tone_hz)
        self._high_v_rms = level_v_rms
        self._low_v_rms = level_v_rms * 10 ** (low_db / 20)
        self._on = cycles_on
        self._period = cycles_period
        # The low level leads in for as long as it stands between bursts, and at least for the soft start.
        self.lead_cycles = max(cycles_period - cycles_on, 2 * ceil(SOFT_S * tone_hz))
        self._cycles = bursts * cycles_period

    def _stop_at(self) -> int:
        return self._sample_of(self.lead_cycles + self._cycles)

    def _levels(self, places: Places) -> Samples:
        into = places * self.tone_hz / self.rate_hz - self.lead_cycles
        high = (into >= 0) & (into < self._cycles) & (np.mod(into, self._period) < self._on)
        return np.where(high, self._high_v_rms, self._low_v_rms)
