"""The guard: watches every recorded block while the drive is on, and latches the first reason to stop."""

from collections.abc import Sequence
from dataclasses import replace
from threading import Lock

import numpy as np

from wattproof.capture.contract import Block, Samples, Trip
from wattproof.capture.guard_build import SumRows, make_checks, unwatched
from wattproof.capture.guard_checks import FullPower, LoadThere, MeanBand, View
from wattproof.capture.guard_ring import Ring, RunningSums
from wattproof.capture.guard_tracks import GuardTrack, Ohms
from wattproof.errors import CaptureFailedError, Notice
from wattproof.plan import StepLimits

AROUND_S = 0.5
"""Samples are kept from this long before a trip, seconds."""

AFTER_S = 0.25
"""And until this long after it."""

CHUNK = 2048
"""Longer blocks are looked at in pieces of so many samples."""


class Guard:
    """Watches one play: make a new one for each. The first trip latches; the drive stays off whatever comes later.

    `inspect` belongs to the stream's thread; `trip`, `stop`, `note_temperature_c` and the properties to any.

    Parameters
    ----------
    tracks : sequence of GuardTrack
        What is recorded, as `guard_tracks` finds it.
    limits : StepLimits
        As `closest_limits` draws them; what is None is not watched.
    rate_hz : float, Hz
        Samples a second.
    tone_hz : float or None, Hz
        The tone that is driven: means run over whole cycles of it.
    loads : mapping of str to float or (float, float), ohm
        The load in use, by output; the lowest and highest magnitude of its impedance where it is no plain resistor.
        An output without a load is not watched for an open or shorted one.
    """

    def __init__(
        self,
        *,
        tracks: Sequence[GuardTrack],
        limits: StepLimits,
        rate_hz: float,
        tone_hz: float | None = None,
        loads: Ohms | None = None,
    ) -> None:
        self.rate_hz = rate_hz
        self.limits = limits
        self._tracks = tuple(tracks)
        self._columns = [track.column for track in tracks]
        self._scales = np.array([[track.scale] for track in tracks]).reshape(-1, 1)
        self._offsets = np.array([[track.offset] for track in tracks]).reshape(-1, 1)
        self._rows = SumRows(tracks=self._tracks, loads=loads or {})
        self._checks = make_checks(rows=self._rows, limits=limits, rate_hz=rate_hz, tone_hz=tone_hz, loads=loads or {})
        self._unwatched = unwatched(rows=self._rows, limits=limits)
        slow = [check.window for check in self._checks if isinstance(check, MeanBand) and check.slow]
        fast = [check.window for check in self._checks if isinstance(check, (LoadThere, FullPower))]
        fast += [check.window for check in self._checks if isinstance(check, MeanBand) and not check.slow]
        self._sums = RunningSums(n_rows=self._rows.n_rows, longest=max(fast, default=1), block=CHUNK)
        self._slow_sums = RunningSums(n_rows=len(self._rows.volts), longest=max(slow, default=1), block=CHUNK)
        self._around: Ring | None = None
        self._after_left = round(AFTER_S * rate_hz)
        self._lock = Lock()
        self._tripped: Trip | None = None
        self._seen = 0
        self._first = 0

    @property
    def tripped(self) -> Trip | None:
        """The latched trip, counted from the drive's first sample."""
        trip, first = self._tripped, self._first
        if trip is None or not first:
            return trip
        sample = None if trip.sample is None else trip.sample - first
        return replace(trip, sample=sample, at_s=trip.at_s - first / self.rate_hz)

    @property
    def seen(self) -> int:
        """Samples looked at so far."""
        return self._seen

    @property
    def notices(self) -> tuple[Notice, ...]:
        """Which limits cannot be watched on this bench, and why."""
        return self._unwatched

    @property
    def full_power_s(self) -> float:
        """Seconds at full power so far; 0 where no limit asks to count them."""
        return next((check.seconds for check in self._checks if isinstance(check, FullPower)), 0.0)

    @property
    def energy_j(self) -> float | None:
        """Energy drawn from the supply so far; into the loads where the supply is not recorded; else None."""
        row = self._rows.energy_row
        return None if row is None or not self._seen else self._sums.latest(row) / self.rate_hz

    def count_from(self, sample: int) -> None:
        """Count from this one of the samples looked at, the drive's first as it was recorded; from any thread.

        Parameters
        ----------
        sample : int
            What was looked at before it is the lead-in.
        """
        self._first = sample

    def inspect(self, block: Samples) -> Trip | None:
        """Look at a block, and give the latched trip.

        Parameters
        ----------
        block : Samples of shape (n_samples, n_tracks)
            File units.

        Returns
        -------
        Trip or None
            The first trip ever, again and again.

        Raises
        ------
        CaptureFailedError
            A sample is no number: the guard cannot judge it.
        """
        for start in range(0, len(block), CHUNK):
            self._look(block[start : start + CHUNK])
        return self.tripped

    def trip(self, trip: Trip) -> None:
        """Latch a trip; from any thread. One that is latched already stays."""
        with self._lock:
            self._tripped = self._tripped or trip

    def stop(self, who: str = "a person") -> None:
        """Stop because somebody says so; from any thread or a signal's handler.

        Parameters
        ----------
        who : str
            For the message.
        """
        # No lock: a signal's handler may interrupt the very thread that holds it.
        if self._tripped is None:
            self._tripped = Trip(
                code="person",
                message=f"The drive was stopped by {who}.",
                why=f"At {(self._seen - self._first) / self.rate_hz:.2f} s of this play.",
                hint="Go on when all is well at the bench.",
                sample=self._seen,
                at_s=self._seen / self.rate_hz,
            )

    def note_temperature_c(self, reading_c: float) -> None:
        """Take a meter's reading of the amplifier's temperature; from any thread.

        Parameters
        ----------
        reading_c : float, degrees Celsius
        """
        limit_c = self.limits.temperature_c
        if limit_c is None or reading_c <= limit_c:
            return
        self.trip(
            Trip(
                code="temperature",
                message=f"The amplifier's temperature is {reading_c:.1f} degrees Celsius.",
                why=f"The limit is {limit_c:g} degrees Celsius.",
                hint="Let it cool, with air moving past its heat sink, before going on.",
                at_s=self._seen / self.rate_hz,
                value=reading_c,
                limit=limit_c,
                unit="degC",
            )
        )

    def around(self) -> Block:
        """Give the samples from 0.5 s before the trip to 0.25 s after it, as far as they were recorded.

        Returns
        -------
        Block
            Shape (n_samples, n_tracks), file units; the latest samples while nothing has tripped.
        """
        ring = self._around
        if ring is None:
            return Block(samples=np.empty((0, 0)), start=0)
        n_kept = min(ring.count, round((AROUND_S + AFTER_S) * self.rate_hz))
        start = ring.count - n_kept
        return Block(samples=ring.read(start, n_kept).T.copy(), start=start - self._first)

    def _look(self, block: Samples) -> None:
        raw = np.ascontiguousarray(block.T)
        self._keep(raw)
        ends = np.array([raw.min(axis=1), raw.max(axis=1)])  # a sample that is no number shows here too
        if not np.isfinite(ends).all():
            raise CaptureFailedError(
                f"A sample near {self._seen / self.rate_hz:.3f} s is no number.",
                why="The recorder gave something that is not finite; the guard cannot judge it.",
                hint="The drive was stopped. Check the interface and repeat the step.",
            )
        if self._tripped is None and self._tracks:
            self._watch(raw[self._columns], ends[:, self._columns])
        self._seen += len(block)

    def _watch(self, raw: Samples, ends: Samples) -> None:
        values = raw * self._scales
        values += self._offsets
        self._sums.push(self._rows.of(values))
        self._slow_sums.push(values[self._rows.volts])
        ends_values = ends * self._scales.T + self._offsets.T
        view = View(
            start=self._seen,
            rate_hz=self.rate_hz,
            raw=raw,
            values=values,
            sums=self._sums,
            slow_sums=self._slow_sums,
            lowest=ends_values.min(axis=0).tolist(),
            highest=ends_values.max(axis=0).tolist(),
            magnitude=np.abs(ends).max(axis=0).tolist(),
        )
        found = [trip for check in self._checks if (trip := check.look(view)) is not None]
        if found:
            self.trip(min(found, key=lambda trip: trip.sample or 0))

    def _keep(self, raw: Samples) -> None:
        if self._around is None:
            size = max(round((AROUND_S + AFTER_S) * self.rate_hz), CHUNK)
            self._around = Ring(n_rows=len(raw), size=size)
        if self._tripped is not None:
            raw = raw[:, : self._after_left]
            self._after_left -= raw.shape[1]
        self._around.push(raw)
