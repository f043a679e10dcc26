"""A drive between two markers: what is played through an audio interface, whose delay nobody knows beforehand."""

from collections import deque

import numpy as np

from wattproof.capture.contract import Drive, Samples
from wattproof.capture.markers import MARKER_V_PEAK, marker
from wattproof.errors import RigError

QUIET_S = 0.3
"""Silence before the first marker: what the recorder hears without it, seconds."""

GAP_S = 0.25
"""Silence between a marker and the drive: what is under test has settled by then, seconds."""


class MarkedDrive:
    """Silence, a marker, silence until the marker was heard, the drive, silence, and the marker again.

    The drive does not begin before `go`: nothing moves as long as nobody has heard the marker. All positions are
    counted in samples handed out.

    Parameters
    ----------
    drive : Drive
    rate_hz : float, Hz
        Samples a second.
    full_scale_v : float, V peak
        What the generator gives at most.
    marked : bool
        Whether to play the markers.
    """

    def __init__(self, drive: Drive, *, rate_hz: float, full_scale_v: float, marked: bool) -> None:
        self.drive = drive
        self.outputs = drive.outputs
        self.marker_at = round(QUIET_S * rate_hz)
        self._full_scale_v = full_scale_v
        self._gap = round(GAP_S * rate_hz)
        self._marker = marker(rate_hz=rate_hz) * min(MARKER_V_PEAK, full_scale_v) * marked
        self._given = 0
        self._go = False
        self._closed = False
        self.played: deque[Samples] = deque()
        """Blocks of the drive as they were handed out, shape (n_outputs, n); for the conductor to take away."""
        self.start: int | None = None
        """Where the drive began; None before."""
        self.end: int | None = None
        """Where the drive ended; None before."""

    @property
    def driving(self) -> bool:
        """Whether the drive itself is being played."""
        return self.start is not None and self.end is None

    @property
    def finished(self) -> bool:
        """Whether all was played and what came of it recorded: the conductor says so."""
        return self._closed

    def go(self) -> None:
        """Let the drive begin with the next block; from any thread."""
        self._go = True

    def close(self) -> None:
        """Say that nothing more is wanted; from any thread."""
        self._closed = True

    def block(self, n_samples: int) -> Samples:
        """Give the next samples, volts, shape (n_outputs, n_samples).

        Raises
        ------
        RigError
            The drive asks for more than the generator gives; nothing of that block is played.
        """
        at = self._given
        self._given += n_samples
        if self.start is None and self._go and at >= self.marker_at + len(self._marker) + self._gap:
            self.start = at
        if self.start is None:
            return self._marked(at, n_samples, self.marker_at)
        if self.end is not None:
            return self._marked(at, n_samples, self.end + self._gap)
        volts = self.drive.block(n_samples)
        if np.abs(volts).max(initial=0.0) > self._full_scale_v:
            raise _too_much(float(np.abs(volts).max()), self._full_scale_v)
        self.played.append(volts)
        if self.drive.finished:
            self.end = self._given
        return volts

    def _marked(self, at: int, n_samples: int, marker_at: int) -> Samples:
        """Give silence with as much of the marker as falls into it."""
        made = np.zeros((len(self.outputs), n_samples))
        first, last = max(at, marker_at), min(at + n_samples, marker_at + len(self._marker))
        if first < last:
            made[:, first - at : last - at] = self._marker[first - marker_at : last - marker_at]
        return made


def _too_much(asked_v: float, full_scale_v: float) -> RigError:
    return RigError(
        "The drive asks for more than the generator gives.",
        why=f"{asked_v:.3g} V peak are asked for; drive_v_full_scale is {full_scale_v:.3g} V peak.",
        hint="Turn up the amplifier's own input level so that it needs less, or turn up the generator, measure what it "
        "gives at full scale, and write that as drive_v_full_scale under [rig].",
    )
