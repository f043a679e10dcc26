"""A play through an audio interface: found in time by its marker, proved whole by the second one and by the tone."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain
from types import TracebackType
from typing import Self

import numpy as np

from wattproof.capture.audio_drive import GAP_S, MarkedDrive
from wattproof.capture.continuity import Break, Continuity
from wattproof.capture.contract import Block, Samples, Trip, Watch
from wattproof.capture.markers import LEAST_LIKENESS, MARKER_S, Heard, MarkerSearch, find_marker, marker
from wattproof.capture.take import QueueTake
from wattproof.errors import CaptureFailedError, RigError

LONGEST_DELAY_S = 2.0
"""The marker is waited for as long as this, seconds."""

SAME_PLACE = 0.5
"""Both markers must be heard after the same delay, to less than this and four times their doubt, samples."""


@dataclass(frozen=True, kw_only=True)
class Hearing:
    """A track that hears the drive.

    Attributes
    ----------
    column : int
        Where it stands in a block.
    row : int
        Which of the drive's outputs it hears.
    own_track : bool
        Whether it records the drive itself (drive_voltage), not what the amplifier makes of it.
    words : str
        What a person calls it: "load voltage of output A (input 1)".
    """

    column: int
    row: int
    own_track: bool
    words: str


def warm_up(*, rate_hz: float) -> None:
    """Load what listening needs: done while a stream runs, it would keep the stream from its blocks.

    Parameters
    ----------
    rate_hz : float, Hz
        Samples a second.
    """
    pattern = marker(rate_hz=rate_hz)
    find_marker(pattern, pattern)
    Continuity(rate_hz=rate_hz, own_track=True).add(pattern, pattern)


class AudioTake:
    """The take of an audio interface.

    Parameters
    ----------
    take : QueueTake
        Over all blocks as they were recorded, from the first of the lead-in.
    drive : MarkedDrive
    watch : Watch
        Is told where the drive begins.
    hearings : tuple of Hearing
        The tracks by one of which the marker is to be heard; none for a silent drive that no track hears.
    rate_hz : float, Hz
    silent : bool
        Whether the drive is silence: then it may go on though no track has heard the marker.
    usual_delay : int
        Samples from a sample played to the same recorded, as far as the sound system knows.
    """

    def __init__(
        self,
        take: QueueTake,
        *,
        drive: MarkedDrive,
        watch: Watch,
        hearings: tuple[Hearing, ...],
        rate_hz: float,
        silent: bool,
        usual_delay: int,
    ) -> None:
        self._take = take
        self._drive = drive
        self._watch = watch
        self._hearings = hearings
        self._rate_hz = rate_hz
        self._silent = silent
        self._delay = usual_delay
        self._marker = marker(rate_hz=rate_hz)
        self._continuity: Continuity | None = None
        self._after: list[Samples] = []
        self.heard: Heard | None = None
        """The first marker, counted in recorded samples; None before, or where none was heard."""
        self.by: Hearing | None = None
        """The track that heard it."""

    @property
    def trip(self) -> Trip | None:
        """Why it was stopped, if it was."""
        return self._take.trip

    @property
    def delay_samples(self) -> float | None:
        """Samples from a sample played to the same recorded, to a fraction; None where no marker was heard."""
        return None if self.heard is None else self.heard.exactly - self._drive.marker_at

    def __enter__(self) -> Self:
        self._take.__enter__()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._take.__exit__(kind, error, trace)

    def __iter__(self) -> Iterator[Block]:
        raw = iter(self._take)
        last = self._listen(raw)
        if last is None:
            return
        self._drive.go()
        for block in chain([last], raw):
            driven = self._driven(block)
            if driven is not None:
                yield driven
            if self._heard_again():
                break
        if self.trip is None and self._drive.end is not None:
            self._prove()
        self._drive.close()

    # --- before the drive: listening for the marker --------------------------------------------------------------

    def _listen(self, raw: Iterator[Block]) -> Block | None:
        """Wait until the marker is heard, and give the last block; None where the play ended before."""
        searches = [
            MarkerSearch(self._marker, rate_hz=self._rate_hz, quiet=self._drive.marker_at) for _ in self._hearings
        ]
        until = self._drive.marker_at + round((MARKER_S + LONGEST_DELAY_S) * self._rate_hz)
        recorded: list[Samples] = []
        for block in raw:
            recorded.append(block.samples)
            if self._hears(recorded, searches) or not searches:
                return block
            if block.start + len(block.samples) > until:
                if self._silent:
                    return block
                raise self._nothing_heard(np.concatenate(recorded), searches)
        return None

    def _hears(self, recorded: list[Samples], searches: list[MarkerSearch]) -> bool:
        for hearing, search in zip(self._hearings, searches, strict=True):
            heard = search.look(np.concatenate([block[:, hearing.column] for block in recorded]))
            if heard is not None:
                self.heard, self.by = heard, hearing
                self._delay = heard.sample - self._drive.marker_at
                self._continuity = Continuity(rate_hz=self._rate_hz, own_track=hearing.own_track)
                return True
        return False

    def _nothing_heard(self, recorded: Samples, searches: list[MarkerSearch]) -> RigError:
        levels = []
        for hearing, search in zip(self._hearings, searches, strict=True):
            rms = float(recorded[:, hearing.column].std())
            level = f"{20 * np.log10(rms):.0f} dB re full scale" if rms > 0 else "nothing but one value"
            likeness = 0.0 if search.best is None else abs(search.best.likeness)
            levels.append(f"{hearing.words} shows {level} r.m.s., like the marker to {100 * likeness:.0f} %")
        return RigError(
            "The marker that was played is not heard; nothing else was driven.",
            why=f"{'; '.join(levels)}, within {LONGEST_DELAY_S:g} s.",
            hint="Check that the generator's channel in drive_outputs feeds the amplifier, that input's cable, that "
            "the amplifier is on and not muted, that input of [[channels]] is the right one, and that the sound system "
            "plays and records at full level.",
        )

    # --- the drive, and what follows it ----------------------------------------------------------------------------

    def _driven(self, block: Block) -> Block | None:
        """Give what a block holds of the drive, counted from the drive's first sample; keep what follows the drive."""
        if self._drive.start is None:
            return None
        first = self._drive.start + self._delay
        self._watch.count_from(first)
        start = block.start - first
        stop = start + len(block.samples) if self._drive.end is None else self._drive.end - self._drive.start
        self._after.append(block.samples[max(stop - start, 0) :])
        samples = block.samples[max(-start, 0) : max(stop - start, 0)]
        if not len(samples):
            return None
        self._follow(samples)
        return Block(samples=samples, start=max(start, 0))

    def _follow(self, samples: Samples) -> None:
        """Lay what was recorded beside what was played; nothing was any more, some time after a trip."""
        at, played = 0, self._drive.played
        while at < len(samples) and played:
            volts = played.popleft()
            n_samples = min(volts.shape[1], len(samples) - at)
            if volts.shape[1] > n_samples:
                played.appendleft(volts[:, n_samples:])
            if self._continuity is not None and self.by is not None:
                self._continuity.add(volts[self.by.row, :n_samples], samples[at : at + n_samples, self.by.column])
            at += n_samples

    def _heard_again(self) -> bool:
        """Say whether enough was recorded after the drive to hold the second marker."""
        enough = 0 if self.by is None else round((2 * GAP_S + MARKER_S) * self._rate_hz)
        return self._drive.end is not None and sum(map(len, self._after)) > enough

    def _prove(self) -> None:
        """Refuse a recording in which samples are missing or repeated.

        Raises
        ------
        CaptureFailedError
            The second marker comes sooner or later than the first, or the tone leaps.
        """
        if self.by is None or self.heard is None or self._continuity is None:
            return
        again = find_marker(np.concatenate(self._after)[:, self.by.column], self._marker)
        faults = [self._break_words(found) for found in self._continuity.breaks()[:3]]
        lost = again is None or abs(again.likeness) < LEAST_LIKENESS
        if lost and self.by.own_track:
            faults.append("the marker after the drive is not heard")
        elif again is not None and not lost:
            later = again.exactly - round(GAP_S * self._rate_hz) - (self.heard.exactly - self.heard.sample)
            if abs(later) > SAME_PLACE + 4 * self.heard.doubt:
                faults.append(f"the marker after the drive comes {_later(later)}")
        if faults:
            raise CaptureFailedError(
                "Samples were lost or repeated in this capture.",
                why=f"On {self.by.words} {'; '.join(faults)}.",
                hint="Take it again. If it happens often: close other programs, connect the interface to the computer "
                "itself, or write a larger latency_s under [rig].",
            )

    def _break_words(self, found: Break) -> str:
        where = f"near {(found.start + found.stop) / 2 / self._rate_hz:.2f} s"
        if found.samples is None:
            return f"{where} something is missing"
        return f"{where} the tone leaps: from there on it comes {_later(found.samples)}"


def _later(samples: float) -> str:
    return f"{abs(samples):.0f} samples {'later' if samples > 0 else 'sooner'}"
