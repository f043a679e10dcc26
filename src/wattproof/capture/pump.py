"""Between a drive, its guard and the wires: every block passes here, and here a tripped drive fades out."""

from collections.abc import Callable
from math import ceil
from threading import Event

import numpy as np

from wattproof.capture.contract import CHECK_IN_S, FADE_S, Drive, Samples, Trip, Watch
from wattproof.errors import InternalFaultError, RigError

TAIL_S = 0.25
"""Samples are kept for this long after a trip, seconds."""


class Pump:
    """Turns recorded blocks into drive blocks, in the stream's own thread, and never waits for anybody.

    Each `turn` lets the watch see what was recorded, makes the drive's next samples and, once there is a reason to
    stop, fades them with a raised cosine that starts at this very block and is at zero within 5 ms; then it gives
    zeros for ever. A reason is: the watch has tripped; the conductor has not checked in for 100 ms of stream time;
    `mute` was called; the drive or the watch raised an exception.

    Parameters
    ----------
    drive : Drive
        What to play.
    watch : Watch
        What looks at every recorded block: a `Guard`.
    rate_hz : float, Hz
        Samples a second.
    outputs : tuple of str
        The recorder's outputs in its order: the columns of what `turn` gives. Those the drive does not name stay
        silent. As the drive's own when left out.
    on_trip : callable
        Called once, in the stream's thread, at the block that trips; must not wait.
    tail_samples : int >= 0
        How long to go on recording after the drive's last sample was handed out: the way through converters and
        wires. The sample recorded last before that is always seen by the watch.

    Raises
    ------
    RigError
        The drive names an output that the recorder does not have.
    """

    def __init__(
        self,
        drive: Drive,
        watch: Watch,
        *,
        rate_hz: float,
        outputs: tuple[str, ...] | None = None,
        on_trip: Callable[[], None] = lambda: None,
        tail_samples: int = 0,
    ) -> None:
        self.drive = drive
        self.watch = watch
        self.rate_hz = rate_hz
        self.outputs = drive.outputs if outputs is None else outputs
        self._columns = _columns(drive, self.outputs)
        self._on_trip = on_trip
        self._tail = tail_samples
        self._n_fade = max(1, ceil(FADE_S * rate_hz) - 1)  # the last step of the fade is a zero, and counts
        self._patience = round(CHECK_IN_S * rate_hz)
        self._given = 0
        self._seen = 0
        self._checked = 0
        self._fade_from: int | None = None
        self._trip_seen: int | None = None
        self._drive_end: int | None = None
        self._last = np.zeros(len(drive.outputs))
        self._mute = Event()
        self._error: Exception | None = None
        self._told = False

    @property
    def given(self) -> int:
        """Samples handed out so far."""
        return self._given

    @property
    def error(self) -> Exception | None:
        """What the drive or the watch raised, if it did; the drive is muted then."""
        return self._error

    @property
    def silent(self) -> bool:
        """Whether all that is handed out from now on is zero."""
        return self._fade_from is not None and self._given >= self._fade_from + self._n_fade

    @property
    def done(self) -> bool:
        """Whether the play is over.

        The drive has finished and its last sample is recorded and seen; or 0.25 s have gone by since a trip; or it
        was muted, or broke, and is silent.
        """
        if self._trip_seen is not None:
            return self._given - self._trip_seen >= TAIL_S * self.rate_hz
        if self._drive_end is not None and self._seen >= self._drive_end + self._tail:
            return True
        return self.silent

    def check_in(self) -> None:
        """Say that the conductor is alive; from its thread."""
        self._checked = self._given

    def mute(self) -> None:
        """Fade out from the next block on, without a trip; from any thread."""
        self._mute.set()

    def turn(self, recorded: Samples, *, n_samples: int | None = None) -> Samples:
        """Look at what was recorded, give what is to be played.

        Parameters
        ----------
        recorded : Samples of shape (n_recorded, n_tracks)
            File units; none at all before the first block was recorded.
        n_samples : int or None
            How many samples to give; as many as were recorded when left out.

        Returns
        -------
        Samples of shape (n_samples, n_outputs)
            Volts at the amplifier's input, the recorder's outputs in its order.
        """
        n_samples = len(recorded) if n_samples is None else n_samples
        self._look(recorded, n_samples)
        volts = np.zeros((n_samples, len(self.outputs)))
        if not self.silent:
            volts[:, self._columns] = self._made(n_samples)
            volts *= self._gains(n_samples)[:, np.newaxis]
        self._given += n_samples
        if self._drive_end is None and self.drive.finished:
            self._drive_end = self._given
        return volts

    def _look(self, recorded: Samples, n_samples: int) -> None:
        """Begin the fade where there is a reason to."""
        trip = self._inspected(recorded)
        self._seen += len(recorded)
        if trip is None and self._given + n_samples - self._checked > self._patience and not self._over:
            self.watch.trip(self._silence())
            trip = self.watch.tripped
        if trip is not None and self._trip_seen is None:
            self._trip_seen = self._given
            self._tell()
        if self._fade_from is None and (trip is not None or self._error is not None or self._mute.is_set()):
            self._fade_from = self._given

    @property
    def _over(self) -> bool:
        """Whether nothing is driven any more, so that nobody need check in."""
        return self.silent or self._mute.is_set() or self._drive_end is not None

    def _inspected(self, recorded: Samples) -> Trip | None:
        try:
            return self.watch.inspect(recorded)
        except Exception as error:  # noqa: BLE001 - a guard that broke is a reason to stop, and the take raises it
            self._broke(error)
            return self.watch.tripped

    def _made(self, n_samples: int) -> Samples:
        """Give the drive's samples, shape (n_samples, n_outputs); its last ones held where it broke."""
        try:
            made = _finite(self.drive.block(n_samples).T)
            if n_samples:
                self._last = made[-1].copy()
        except Exception as error:  # noqa: BLE001 - the drive is faded out instead, and the take raises it
            self._broke(error)
            self._fade_from = self._given if self._fade_from is None else self._fade_from
            made = np.tile(self._last, (n_samples, 1))
        return made

    def _broke(self, error: Exception) -> None:
        self._error = self._error or error
        self._tell()

    def _tell(self) -> None:
        if self._told:
            return
        self._told = True
        try:
            self._on_trip()
        except Exception as error:  # noqa: BLE001 - whoever was told must not keep the drive from fading
            self._error = self._error or error

    def _gains(self, n_samples: int) -> Samples:
        if self._fade_from is None:
            return np.ones(n_samples)
        into = np.arange(self._given, self._given + n_samples) - self._fade_from
        return np.asarray(0.5 + 0.5 * np.cos(np.pi * np.minimum((into + 1) / self._n_fade, 1.0)))

    def _silence(self) -> Trip:
        silent_s = (self._given - self._checked) / self.rate_hz
        return Trip(
            code="conductor-silent",
            message=f"The drive was stopped: nobody has asked for a block for {silent_s * 1e3:.0f} ms.",
            why=f"Whoever conducts must ask for the next block at least every {CHECK_IN_S * 1e3:.0f} ms.",
            hint="Close what else keeps this machine busy, see that the disk is not full or slow, and repeat the step.",
            sample=self._seen,
            at_s=self._seen / self.rate_hz,
            value=silent_s,
            limit=CHECK_IN_S,
            unit="s",
        )


def _finite(made: Samples) -> Samples:
    if not np.isfinite(made).all():
        raise InternalFaultError(
            "The drive gave something that is no number of volts.",
            why=f"{np.count_nonzero(~np.isfinite(made))} of {made.size} samples are not finite.",
            hint="The drive was muted. Please report it with the run sheet.",
        )
    return made


def _columns(drive: Drive, outputs: tuple[str, ...]) -> list[int]:
    missing = [name for name in drive.outputs if name not in outputs]
    if missing:
        raise RigError(
            f"Output {missing[0]} cannot be driven.",
            why=f"The rig drives: {', '.join(outputs) or 'none'}.",
            hint=f"Write the generator's channel that feeds it: drive_outputs = {{ {missing[0]} = 1 }} under [rig].",
        )
    return [outputs.index(name) for name in drive.outputs]
