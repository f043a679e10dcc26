"""A pump for a sound system, which asks for its blocks in bunches: it hears the conductor by the clock on the wall."""

import time
from typing import Any

from wattproof.capture.audio_drive import MarkedDrive
from wattproof.capture.contract import CHECK_IN_S, Samples, Trip, Watch
from wattproof.capture.pump import Pump


class WallPump(Pump):
    """A pump that hears the conductor by the clock on the wall.

    A sound system asks for many blocks at once and then for none for a while: how long a conductor has been silent
    cannot be told from the stream's time there. Between the markers and the drive nothing moves, and nobody need check
    in. Made as `Pump`, of a marked drive.
    """

    def __init__(self, drive: MarkedDrive, watch: Watch, **how: Any) -> None:  # noqa: ANN401 - as the pump's own
        super().__init__(drive, watch, **how)
        self._marked = drive
        self._heard_s = time.monotonic()

    def check_in(self) -> None:
        """Say that the conductor is alive; from its thread."""
        self._heard_s = time.monotonic()

    def turn(self, recorded: Samples, *, n_samples: int | None = None) -> Samples:
        """Look at what was recorded, give what is to be played, as `Pump.turn`."""
        silent_s = time.monotonic() - self._heard_s
        if silent_s < CHECK_IN_S or not self._marked.driving:
            super().check_in()
        elif not self.silent:
            self.watch.trip(_silence(silent_s, sample=self.given, rate_hz=self.rate_hz))
        return super().turn(recorded, n_samples=n_samples)


def _silence(silent_s: float, *, sample: int, rate_hz: float) -> Trip:
    return Trip(
        code="conductor-silent",
        message=f"The drive was stopped: nobody has asked for a block for {silent_s * 1e3:.0f} ms.",
        why=f"Whoever conducts must ask for the next block at least every {CHECK_IN_S * 1e3:.0f} ms.",
        hint="Close what else keeps this machine busy, see that the disk is not full or slow, and repeat the step.",
        sample=sample,
        at_s=sample / rate_hz,
        value=silent_s,
        limit=CHECK_IN_S,
        unit="s",
    )
