"""The guard's checks: each looks at one quantity, block by block, and names the first sample that is past its limit."""

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from wattproof.capture.contract import Samples, Trip
from wattproof.capture.guard_ring import Lasting, RunningSums
from wattproof.capture.guard_tracks import GuardTrack

CLIPPED_SAMPLES = 8
"""More samples than this at full scale, in one play, and the guard no longer sees what it guards."""

AT_FULL_SCALE = 0.999
"""Part of full scale from which on a sample counts as clipped."""

OFF_BY = 2.0
"""A load is taken for open above this many times its resistance, for shorted below its resistance over this."""


@dataclass(frozen=True, kw_only=True, eq=False)
class View:
    """A block as the checks see it.

    Attributes
    ----------
    start : int
        Number of its first sample.
    rate_hz : float
    raw : Samples of shape (n_tracks, n_samples)
        File units.
    values : Samples of the same shape
        Volts, amperes, degrees Celsius.
    sums, slow_sums : RunningSums
        Of the rows that `SumRows` names, and of its load voltages over longer windows.
    lowest, highest : list of float, length n_tracks
        Of `values`.
    magnitude : list of float, length n_tracks
        Greatest of `raw`.
    """

    start: int
    rate_hz: float
    raw: Samples
    values: Samples
    sums: RunningSums
    slow_sums: RunningSums
    lowest: list[float]
    highest: list[float]
    magnitude: list[float]

    @property
    def n_samples(self) -> int:
        """Samples in it."""
        return int(self.values.shape[1])

    def placed(self, place: int, trip: Trip) -> Trip:
        """Give a trip its sample: a place in the block."""
        sample = self.start + place
        return replace(trip, sample=sample, at_s=sample / self.rate_hz)


class Check(Protocol):
    """Looks at every block once, in order."""

    def look(self, view: View) -> Trip | None:
        """Give the first trip in the block, if there is one."""
        ...


@dataclass(frozen=True, kw_only=True)
class Peak:
    """A sample of a track past a magnitude."""

    code: str
    track: GuardTrack
    row: int
    limit: float
    unit: str
    hint: str

    def look(self, view: View) -> Trip | None:
        """Give the first sample past the limit."""
        if view.highest[self.row] <= self.limit and view.lowest[self.row] >= -self.limit:
            return None
        values = view.values[self.row]
        place = int(np.argmax(np.abs(values) > self.limit))
        value = float(values[place])
        return view.placed(
            place,
            Trip(
                code=self.code,
                message=f"The {self.track.words} reached {value:.1f} {self.unit}.",
                why=f"The limit is {self.limit:g} {self.unit} peak.",
                hint=self.hint,
                value=value,
                limit=self.limit,
                unit=self.unit,
                output=self.track.output if self.track.role.startswith("load") else None,
            ),
        )


@dataclass(kw_only=True)
class MeanBand:
    """The mean over a window, outside a band; `steady` asks for a full window first, `above` and `below` that it lasts.

    With those two, the mean must also stay on its side: where a burst begins or ends, a tone's own running mean swings
    to one side, and is back after each whole cycle.
    """

    code: str
    track: GuardTrack
    row: int
    sum_row: int
    window: int
    low: float | None
    high: float | None
    unit: str
    hint: str
    slow: bool = False
    steady: bool = False
    above: Lasting | None = None
    below: Lasting | None = None
    _inside: int = 0

    def look(self, view: View) -> Trip | None:
        """Give the first sample at which the mean is, or has long been, outside."""
        if self._surely_inside(view):
            return None
        mean = (view.slow_sums if self.slow else view.sums).mean(self.sum_row, self.window)
        skipped = min(max(0, self.window - 1 - view.start), len(mean)) if self.steady else 0
        places = [
            self._first(mean[skipped:] > self.high, self.above) if self.high is not None else None,
            self._first(mean[skipped:] < self.low, self.below) if self.low is not None else None,
        ]
        found = [place + skipped for place in places if place is not None]
        return self._trip(view, min(found), mean) if found else None

    @staticmethod
    def _first(outside: NDArray[np.bool_], lasting: Lasting | None) -> int | None:
        if lasting is not None:
            return lasting.first(outside)
        return int(np.argmax(outside)) if outside.any() else None

    def _surely_inside(self, view: View) -> bool:
        """Whether no sample of this block and of the window before it is outside: then no mean can be."""
        high = self.high is None or view.highest[self.row] <= self.high
        low = self.low is None or view.lowest[self.row] >= self.low
        inside_before = self._inside
        self._inside = inside_before + view.n_samples if high and low else 0
        return high and low and inside_before >= self.window

    def _trip(self, view: View, place: int, mean: Samples) -> Trip:
        value = float(mean[place])
        too_low = self.low is not None and value < self.low
        limit = self.low if too_low else self.high
        window_ms = self.window / view.rate_hz * 1e3
        return view.placed(
            place,
            Trip(
                code=self.code,
                message=f"The {self.track.words} was {value:.2f} {self.unit} in the mean of {window_ms:.0f} ms.",
                why=f"The {'lowest' if too_low else 'highest'} allowed is {limit:g} {self.unit}.",
                hint=self.hint,
                value=value,
                limit=limit,
                unit=self.unit,
                output=self.track.output if self.track.role.startswith("load") else None,
            ),
        )


class Clipped:
    """Too many samples of one track at its recorder's full scale."""

    def __init__(self, *, track: GuardTrack, row: int, full_scale: float) -> None:
        self._track = track
        self._row = row
        self._full_scale = full_scale
        self._count = 0

    def look(self, view: View) -> Trip | None:
        """Give the sample that is one too many."""
        threshold = AT_FULL_SCALE * self._full_scale
        if view.magnitude[self._row] < threshold:
            return None
        numbers = view.raw[self._row]
        counts = self._count + np.cumsum(np.abs(numbers) >= threshold)
        self._count = int(counts[-1])
        if self._count <= CLIPPED_SAMPLES:
            return None
        place = int(np.argmax(counts > CLIPPED_SAMPLES))
        return view.placed(
            place,
            Trip(
                code="clipped-input",
                message=f"The recorder's input for the {self._track.words} is clipped.",
                why=f"{CLIPPED_SAMPLES + 1} samples stand at its full scale of {self._full_scale:g}; beyond it "
                "the guard is blind.",
                hint="Use a larger divider or less input gain, write the new scale into the bench file, and repeat.",
                value=float(numbers[place]),
                limit=self._full_scale,
            ),
        )


@dataclass(frozen=True, kw_only=True)
class LoadThere:
    """Running r.m.s. voltage over running r.m.s. current of an output, against the load in use."""

    output: str
    volts_row: int
    amps_row: int
    window: int
    ohm_low: float
    ohm_high: float
    readable_v: float
    readable_a: float
    open_for: Lasting
    short_for: Lasting

    def look(self, view: View) -> Trip | None:
        """Give the first sample at which the ratio has been out of reach for a millisecond."""
        volts2 = view.sums.mean(self.volts_row, self.window)
        amps2 = view.sums.mean(self.amps_row, self.window)
        volts2_there = max(self.readable_v, 2 * self.readable_a * self.ohm_high) ** 2
        amps2_there = max(self.readable_a, 2 * self.readable_v / self.ohm_low) ** 2
        opened = self.open_for.first((volts2 > volts2_there) & (volts2 > (OFF_BY * self.ohm_high) ** 2 * amps2))
        shorted = self.short_for.first((amps2 > amps2_there) & (OFF_BY**2 * volts2 < self.ohm_low**2 * amps2))
        found = [(place, code) for place, code in ((opened, "open"), (shorted, "shorted")) if place is not None]
        if not found:
            return None
        place, state = min(found)
        return self._trip(
            view, place, state, max(float(volts2[place]), 0.0) ** 0.5, max(float(amps2[place]), 0.0) ** 0.5
        )

    def _trip(self, view: View, place: int, state: str, volts: float, amps: float) -> Trip:
        limit_ohm = OFF_BY * self.ohm_high if state == "open" else self.ohm_low / OFF_BY
        seen_ohm = volts / amps if amps > 0 else float("inf")
        hints = {
            "open": "Switch the supply off, then check the load's plug, its wires and the current sensor's channel.",
            "shorted": "Switch the supply off, then look for a short across the load and for the wrong load in use.",
        }
        load = f"{self.ohm_low:g}" if self.ohm_low == self.ohm_high else f"{self.ohm_low:g} to {self.ohm_high:g}"
        return view.placed(
            place,
            Trip(
                code=f"{state}-load",
                message=f"The load at output {self.output} looks {state}: {volts:.2f} V r.m.s. drive {amps:.3f} A.",
                why=f"That is {seen_ohm:.3g} ohm where {load} ohm is in use; "
                f"{'at most' if state == 'open' else 'at least'} {limit_ohm:g} ohm passes.",
                hint=hints[state],
                value=seen_ohm,
                limit=limit_ohm,
                unit="ohm",
                output=self.output,
            ),
        )


@dataclass(frozen=True, kw_only=True)
class Energy:
    """Joules since the play began; a current channel wired the wrong way round must not hide them."""

    row: int
    limit_j: float
    whose: str

    def look(self, view: View) -> Trip | None:
        """Give the sample that completes the energy allowed."""
        if abs(view.sums.latest(self.row)) / view.rate_hz <= self.limit_j:
            return None
        joules = np.abs(view.sums.total(self.row)) / view.rate_hz
        place = int(np.argmax(joules > self.limit_j))
        return view.placed(
            place,
            Trip(
                code="energy",
                message=f"This step has used {joules[place]:.0f} J {self.whose}.",
                why=f"It was planned to use no more than {self.limit_j:g} J.",
                hint="Let the amplifier and the loads cool; then see why the step took more than planned.",
                value=float(joules[place]),
                limit=self.limit_j,
                unit="J",
            ),
        )


class FullPower:
    """Seconds at which the power of all outputs together is above a stated one."""

    def __init__(self, *, row: int, window: int, above_w: float, limit_s: float | None) -> None:
        self._row = row
        self.window = window
        self._above_w = above_w
        self._limit_s = limit_s
        self._count = 0
        self.seconds = 0.0

    def look(self, view: View) -> Trip | None:
        """Count, and give the sample that completes the time allowed."""
        at_full = np.abs(view.sums.mean(self._row, self.window)) > self._above_w
        before = self._count
        self._count += int(np.count_nonzero(at_full))
        self.seconds = self._count / view.rate_hz
        if self._limit_s is None or self.seconds <= self._limit_s:
            return None
        place = int(np.argmax((before + np.cumsum(at_full)) / view.rate_hz > self._limit_s))
        return view.placed(
            place,
            Trip(
                code="full-power",
                message=f"The amplifier was driven above {self._above_w:.0f} W for {self.seconds:.2f} s.",
                why=f"{self._limit_s:g} s at full power are allowed in one step.",
                hint="Let the amplifier and the loads cool; raise full_power_s only if both bear it.",
                value=self.seconds,
                limit=self._limit_s,
                unit="s",
            ),
        )
