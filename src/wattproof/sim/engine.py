"""The bench's physics, piece by piece: outputs, rail and supply solved together, heat and protection by ticks."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp

import numpy as np
from numpy.typing import NDArray

from wattproof.sim.controls import ControlFilter
from wattproof.sim.converter import Feeding, moved, offered, primary
from wattproof.sim.feed import Fed
from wattproof.sim.guards import Guards
from wattproof.sim.heat import AMBIENT_C, Rises, warmed
from wattproof.sim.loads import AnyLoad, Hanging
from wattproof.sim.parts import AmplifierParts, Feed, Stage
from wattproof.sim.stage import Asked, drawn, put_out
from wattproof.sim.tally import Tally

Samples = NDArray[np.float64]

TICK_S = 0.01
"""Heat, protection, battery and supply limit act this often; between two ticks they pass over evenly."""

_MOST_ROUNDS = 40
_SETTLED = 1e-7
"""The rounds end when no sample of the rail moves by more than this share of it."""

_LEAST_RAIL_V = 0.05

_RETUNED_K = 0.005
"""A load takes the resistance of its new temperature once that has moved by this much."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Happened:
    """What truly happened: rows are outputs, columns instants.

    Attributes
    ----------
    drive_v, load_v, load_a : Samples of shape (n_outputs, n_samples)
    supply_v, supply_a, rail_v, heat_w, sink_c : Samples of shape (n_samples,)
        At the amplifier's supply terminals; the rail; what stays in the amplifier; its heat sink.
    """

    drive_v: Samples
    load_v: Samples
    load_a: Samples
    supply_v: Samples
    supply_a: Samples
    rail_v: Samples
    heat_w: Samples
    sink_c: Samples


@dataclass(frozen=True, kw_only=True, eq=False)
class _Solved:
    """One piece after the rounds."""

    load_v: Samples
    load_a: Samples
    mid_v: Samples
    end_v: float
    drawn_w: Samples
    into_a: Samples


class Engine:
    """An amplifier between a supply and its loads, at one rate, from its last sample on.

    Parameters
    ----------
    loads : sequence of loads, one for each output; None is an open output
    rate_hz : float > 0
        High enough that the limiter's harmonics past half of it do not matter.
    seed : int
        Of the outputs' noise.
    """

    def __init__(
        self, parts: AmplifierParts, feed: Feed, loads: Sequence[AnyLoad | None], *, rate_hz: float, seed: int
    ) -> None:
        n_outputs = len(parts.outputs)
        self.parts, self.rate_hz = parts, rate_hz
        self.tick_samples = max(1, round(TICK_S * rate_hz))
        self.fed = Fed(feed)
        self.hanging = [Hanging(load, rate_hz) for load in loads]
        self.load_rises = [Rises() for _ in loads]
        self.rises = Rises()
        self.guards = Guards(parts.stage.limit, parts.protection, n_outputs)
        self.dc_v = np.zeros(n_outputs)
        self._hum_v = _hum(parts.stage, rate_hz)
        self._hiss_v = parts.stage.noise_v_per_rthz * np.sqrt(rate_hz / 2)
        self._knobs = ControlFilter(parts.controls, rate_hz, n_outputs)
        self._rng = np.random.default_rng([seed, 1])
        self._sample = 0
        self._in_tick = 0
        self._tally = Tally(n_outputs)
        self._end_v = 0.0
        self._past_v = 0.0
        self._settle_rail(0.0)

    def hang(self, row: int, load: AnyLoad | None) -> None:
        """Connect another load, which is cold, or none."""
        self.hanging[row], self.load_rises[row] = Hanging(load, self.rate_hz), Rises()

    @property
    def sink_c(self) -> float:
        """Temperature of the heat sink, degrees Celsius."""
        return AMBIENT_C + self.rises.outer_k

    @property
    def device_c(self) -> float:
        """Temperature of the devices, degrees Celsius."""
        return AMBIENT_C + self.rises.inner_k

    @property
    def stored_j(self) -> float:
        """Energy in the rail's store."""
        return self.parts.rail.store_f * self._end_v**2 / 2

    def play(self, drive_v: Samples) -> Happened:
        """Play the next samples.

        Parameters
        ----------
        drive_v : Samples of shape (n_outputs, n_samples), volts at the amplifier's input
        """
        heard_v = self._knobs.filtered(drive_v)
        pieces, start = [], 0
        while start < drive_v.shape[1]:
            stop = min(drive_v.shape[1], start + self.tick_samples - self._in_tick)
            pieces.append(self._piece(drive_v[:, start:stop], heard_v[:, start:stop]))
            start = stop
        names = Happened.__dataclass_fields__
        return Happened(**{name: np.concatenate([getattr(p, name) for p in pieces], axis=-1) for name in names})

    def pass_time(self, seconds: float) -> None:
        """Let time pass without drive: everything relaxes toward idling, in closed form."""
        idle_a = self._idle_a() if self.fed.connected else 0.0
        self.fed.rest(seconds, idle_a)
        power_w = idle_a * self.fed.terminals(idle_a)
        self.rises = warmed(self.parts.bodies, self.rises, power_w=power_w, seconds=seconds)
        for row, hanging in enumerate(self.hanging):
            if hanging.load is not None:
                rises = warmed(hanging.load.bodies, self.load_rises[row], power_w=0.0, seconds=seconds)
                self.load_rises[row] = rises
                hanging.retune(rises.inner_k)
                hanging.still()
        self._knobs.settle()
        self.guards.pass_time(seconds, device_c=self.device_c, connected=self.fed.connected)
        self._settle_rail(seconds)

    def _settle_rail(self, seconds: float) -> None:
        """Let the rail be where it is after a time without drive."""
        rail = self.parts.rail
        if self.fed.connected:
            settled_v = rail.ratio * (self.fed.terminals(self._idle_a()) - rail.converter_v)
            settled_v = settled_v if rail.regulated_v is None else min(settled_v, rail.regulated_v)
        else:
            settled_v = self._end_v * exp(-seconds / (rail.bleed_ohm * rail.store_f))
        self._end_v = self._past_v = max(settled_v, _LEAST_RAIL_V)

    def _idle_a(self) -> float:
        return self.parts.idle_a if self.guards.awake else 0.05 * self.parts.idle_a

    def _open_rail_v(self) -> float:
        """Rail that the gain refers to."""
        rail = self.parts.rail
        return rail.regulated_v or rail.ratio * 13.8

    def _piece(self, drive_v: Samples, heard_v: Samples) -> Happened:
        """Solve the samples up to the end of the tick, or as many as there are."""
        n_samples = drive_v.shape[1]
        along = (self._in_tick + np.arange(1, n_samples + 1)) / self.tick_samples
        feeding = Feeding(
            emf_v=self.fed.emf_v(along),
            source_ohm=self.fed.source_ohm,
            converter_ohm=self.parts.rail.converter_ohm * self._warm(),
            idle_a=self._idle_a(),
            connected=self.fed.connected,
        )
        asked = self._asked(heard_v, along)
        solved = self._rounds(asked, feeding)
        for row, hanging in enumerate(self.hanging):
            hanging.current(solved.load_v[row], keep=True)
        happened = self._account(drive_v, solved, feeding)
        self._end_v, self._past_v = solved.end_v, float(solved.mid_v[-1])
        self._sample += n_samples
        self._in_tick += n_samples
        if self._in_tick >= self.tick_samples:
            self._tick()
        return happened

    def _warm(self) -> float:
        """Growth of the resistances with the devices' heat."""
        return 1 + self.parts.protection.warm_per_k * self.rises.inner_k

    def _asked(self, heard_v: Samples, along: Samples) -> Asked:
        """Say what stands before each output in this piece."""
        limits_v = [a * self.guards.seen_ohm(n, self.hanging[n]) for n, a in enumerate(self.guards.limit_a)]
        floor_v = self._floor(heard_v.shape[1]) * self.guards.powered(along)
        return Asked(
            wanted_v=heard_v * (self.guards.gains(along) * self.parts.stage.gain),
            floor_v=floor_v + self.dc_v[:, None],
            limit_v=np.array(limits_v)[:, None],
            instant_per_ohm=np.array([[one.instant_per_ohm] for one in self.hanging]),
            stage_ohm=self.parts.stage.stage_ohm * self._warm(),
            open_rail_v=self._open_rail_v(),
        )

    def _floor(self, n_samples: int) -> Samples:
        """Offset, hiss and mains lines of every output."""
        hum_v = self._hum_v[(self._sample + np.arange(n_samples)) % self._hum_v.size]
        hiss = self._rng.standard_normal((n_samples, len(self.hanging))).T
        floor: Samples = hum_v + self._hiss_v * hiss
        return floor

    def _rounds(self, asked: Asked, feeding: Feeding) -> _Solved:
        """Repeat outputs, draw and rail until the rail stands still: Newton's method on the rail's course."""
        stage, rail = self.parts.stage, self.parts.rail
        mids, ends = np.full(feeding.emf_v.size, self._past_v), np.zeros(1)
        used_a = drawn_w = mids
        load_v, load_a, past_a = np.zeros((3, *asked.wanted_v.shape))
        for turn in range(_MOST_ROUNDS):
            load_v, following = put_out(stage, asked, mids, past_a)
            load_a = np.array([one.current(volts) for one, volts in zip(self.hanging, load_v, strict=True)])
            past_a = load_a - asked.instant_per_ohm * load_v
            watts, rising = drawn(stage, asked.stage_ohm, load_v, load_a, mids, following)
            drawn_w = watts.sum(axis=0) + mids * mids / rail.bleed_ohm
            amps, slopes = offered(rail, feeding, mids)
            used_a, before = drawn_w / mids, mids
            slopes = slopes + rising.sum(axis=0)
            ends, mids = moved(rail, self.rate_hz, self._end_v, before, amps - used_a, slopes)
            np.maximum(mids, _LEAST_RAIL_V, out=mids)
            if turn and np.abs(mids - before).max() <= _SETTLED * self._past_v:
                break
        # twice the way from a sample's beginning to its middle: what flows into the store, to the last bit
        into_a = used_a + (2 * rail.store_f * self.rate_hz) * (ends - mids)
        return _Solved(
            load_v=load_v,
            load_a=load_a,
            mid_v=mids,
            end_v=float(ends[-1]),
            drawn_w=drawn_w,
            into_a=np.maximum(into_a, 0.0),
        )

    def _account(self, drive_v: Samples, solved: _Solved, feeding: Feeding) -> Happened:
        """Find the supply's side and add the piece to what the tick needs to know."""
        rail, n_samples = self.parts.rail, drive_v.shape[1]
        primary_a, supply_v = primary(rail, feeding, solved.mid_v, solved.into_a)
        supply_a = primary_a + feeding.idle_a if feeding.connected else primary_a
        given_w = solved.load_v * solved.load_a
        heat_w = solved.drawn_w - given_w.sum(axis=0) + supply_v * (supply_a - primary_a)
        heat_w += primary_a * (rail.converter_v + feeding.converter_ohm * primary_a)
        self._tally.add(solved.load_v, solved.load_a, supply_v, supply_a, heat_w)
        return Happened(
            drive_v=drive_v,
            load_v=solved.load_v,
            load_a=solved.load_a,
            supply_v=supply_v,
            supply_a=supply_a,
            rail_v=solved.mid_v,
            heat_w=heat_w,
            sink_c=np.full(n_samples, self.sink_c),
        )

    def _tick(self) -> None:
        """Let heat, battery and protection follow what the last tick brought."""
        tally, seconds = self._tally, self.tick_samples / self.rate_hz
        self.rises = warmed(self.parts.bodies, self.rises, power_w=tally.heat_w, seconds=seconds)
        for row, hanging in enumerate(self.hanging):
            if hanging.load is not None:
                power_w = tally.square_a[row] * hanging.load.heating_ohm(hanging.rise_k)
                rises = warmed(hanging.load.bodies, self.load_rises[row], power_w=power_w, seconds=seconds)
                self.load_rises[row] = rises
                if abs(rises.inner_k - hanging.rise_k) > _RETUNED_K:
                    hanging.retune(rises.inner_k)
        self.fed.tick(tally.supply_v, tally.supply_a, seconds)
        self.guards.tick(tally, device_c=self.device_c, seconds=seconds)
        self._tally = Tally(len(self.hanging))
        self._in_tick = 0


def _hum(stage: Stage, rate_hz: float) -> Samples:
    """Give one period of the mains lines an output picks up, on its offset: whole samples of 50 Hz."""
    n_samples = round(rate_hz / 50)
    turns = 2 * np.pi * np.arange(n_samples) / n_samples
    hum: Samples = stage.dc_v + np.sqrt(2) * stage.hum_v * (np.sin(turns) + 0.5 * np.sin(3 * turns + 1.1))
    return hum


def heated(engine: Engine, *, sink_c: float) -> None:
    """Make the heat sink and the devices as hot as something outside the model made them."""
    rise_k = sink_c - AMBIENT_C
    engine.rises = replace(engine.rises, inner_k=max(engine.rises.inner_k, rise_k), outer_k=rise_k)
