"""The made-up bench as one thing: drive in, tracks out, with a supply, loads and heat that others may act upon."""

from collections.abc import Sequence
from math import ceil, log2
from threading import RLock
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from wattproof.bench import Bench, Load, ScriptedFault
from wattproof.errors import RigError
from wattproof.sim.breakage import break_it, mend
from wattproof.sim.collection import parts_of
from wattproof.sim.engine import Engine, Happened
from wattproof.sim.halfband import Doubler
from wattproof.sim.heat import Bodies
from wattproof.sim.inputs import Inputs, true_inputs
from wattproof.sim.loads import AnyLoad, Loudspeaker, Resistor
from wattproof.sim.parts import Battery, Feed

Samples = NDArray[np.float64]

INSIDE_HZ = 80000.0
"""The simulation runs at the recorder's rate, doubled until it is at least this."""

LOUDSPEAKERS = {
    "sealed": Loudspeaker(),
    "vented": Loudspeaker(alpha=0.8, fb_hz=33.0),
}
START_S = 1.0
"""The amplifier is given this long to start once the supply is switched on, seconds."""


class _Due(NamedTuple):
    """A fault that is still to come in this play, by its sample."""

    sample: int
    fault: ScriptedFault


class SimulatedBench:
    """What stands on the simulated bench; all methods may be called from any thread.

    Parameters
    ----------
    bench : Bench
        With a ``[rig]`` of kind "simulated".

    Raises
    ------
    RigError
        It has no such table, no such amplifier or loudspeaker, or channels that the amplifier cannot feed.
    """

    def __init__(self, bench: Bench) -> None:
        if bench.rig is None:
            raise RigError("The bench file has no [rig].", hint='Add [rig] with kind = "simulated".')
        self.bench, self.rig, self.rate_hz = bench, bench.rig, bench.rig.sample_rate_hz
        self.settings = settings = bench.rig.simulated
        self.parts = parts_of(settings.amplifier)
        self.doublings = max(0, ceil(log2(INSIDE_HZ / self.rate_hz)))
        self._lock = RLock()
        self._speaker = _speaker(settings.loudspeaker)
        feed = Feed(max_current_a=bench.supply.max_current_a or 150.0, battery=Battery() if settings.battery else None)
        n_outputs = len(self.parts.outputs)
        self.engine = Engine(
            self.parts, feed, [None] * n_outputs, rate_hz=self.rate_hz * 2**self.doublings, seed=settings.seed
        )
        true = true_inputs(bench.channels, self.parts.outputs, seed=settings.seed)
        self.inputs = Inputs(true, rate_hz=self.rate_hz, doublings=self.doublings, seed=settings.seed)
        self.inputs.residue_v, self.inputs.carrier_hz = self.parts.stage.residue_v, self.parts.stage.carrier_hz
        self._doublers = [Doubler(n_outputs) for _ in range(self.doublings)]
        self.true_loads = _true_loads(bench.loads, n_outputs, seed=settings.seed)
        self._hung: list[AnyLoad | None] = [None] * n_outputs
        self._due: list[_Due] = []
        self._stream_fault: str | None = None
        self._plays = self._sample = 0
        self._settle()

    @property
    def outputs(self) -> tuple[str, ...]:
        """The amplifier's outputs, in the order of a drive's rows."""
        return self.parts.outputs

    @property
    def n_tracks(self) -> int:
        """Recorded tracks."""
        return len(self.inputs.inputs)

    @property
    def delay_samples(self) -> int:
        """What is recorded comes so much later than what was driven, samples."""
        return self.inputs.delay_samples

    def begin_play(self) -> None:
        """Say that another play begins: what was broken in the last one has been mended, the script goes on."""
        with self._lock:
            self._mend()
            self._plays += 1
            self._sample = 0
            mine = [fault for fault in self.settings.faults if fault.play == self._plays]
            self._due = [
                _Due(round(fault.at_s * self.rate_hz), fault) for fault in sorted(mine, key=lambda fault: fault.at_s)
            ]

    def turn(self, drive_v: Samples) -> Samples:
        """Drive, and record meanwhile.

        Parameters
        ----------
        drive_v : Samples of shape (n_outputs, n_samples), volts at the amplifier's input

        Returns
        -------
        Samples of shape (n_samples, n_tracks)
            File units.
        """
        with self._lock:
            recorded, start, n_samples = [], 0, drive_v.shape[1]
            while start < n_samples:
                self._break_what_is_due()
                stop = min([n_samples, *(start + due.sample - self._sample for due in self._due[:1])])
                recorded.append(self.inputs.recorded(self._happen(drive_v[:, start:stop])))
                self._sample += stop - start
                start = stop
            return np.concatenate(recorded) if recorded else np.empty((0, self.n_tracks))

    def stream_fault(self) -> str | None:
        """Give "stall" or "unplugged" once, when the script has come to it."""
        with self._lock:
            fault, self._stream_fault = self._stream_fault, None
            return fault

    def _happen(self, drive_v: Samples) -> Happened:
        for doubler in self._doublers:
            drive_v = doubler.doubled(drive_v)
        return self.engine.play(drive_v)

    def pass_time(self, seconds: float) -> None:
        """Let time pass without drive, in no time."""
        with self._lock:
            self.engine.pass_time(seconds)
            self._settle()

    def supply_set(self, volts: float, limit_a: float | None) -> None:
        """Set what the supply gives once it is switched on; a battery gives what it gives."""
        with self._lock:
            self.engine.fed.set_v = volts
            most_a = self.bench.supply.max_current_a or 150.0
            self.engine.fed.limit_a = most_a if limit_a is None else min(limit_a, most_a)

    def supply_switch(self, on: bool) -> None:
        """Close or open the supply's output; once it is closed the amplifier is given a second to start."""
        with self._lock:
            if on != self.engine.fed.switched_on:
                self.engine.fed.switched_on = on
                if on:
                    self.pass_time(START_S)

    def supply_reading(self) -> tuple[float, float]:
        """Give volts and amperes at the amplifier's supply terminals, means of the last hundredth of a second."""
        with self._lock:
            return self.engine.fed.volts, self.engine.fed.amps

    def use_load(self, load: Load | str | None) -> None:
        """Hang a load of the bench, or the loudspeaker in its place, on every output; None opens all.

        One that hangs there already stays as warm as it is; another is cold.

        Raises
        ------
        RigError
            The bench has no load of that name.
        """
        with self._lock:
            for row, before in enumerate(self._hung):
                self._hung[row] = None if load is None else self._speaker or self._true_load(load, row)
                if self._hung[row] is not before:
                    self.engine.hang(row, self._hung[row])

    def read_temperature_c(self) -> float:
        """Give the temperature of the heat sink, degrees Celsius."""
        with self._lock:
            return self.engine.sink_c

    def _true_load(self, load: Load | str, row: int) -> Resistor:
        name = load if isinstance(load, str) else load.name
        if name not in self.true_loads:
            raise RigError(
                f'The simulated bench has no load "{name}".',
                why=f"Its loads are: {', '.join(self.true_loads) or 'none'}.",
                hint="Add it as [[loads]] to the bench file.",
            )
        return self.true_loads[name][row]

    def _settle(self) -> None:
        self.inputs.settle(*self.supply_reading(), self.engine.sink_c)

    def _break_what_is_due(self) -> None:
        while self._due and self._due[0].sample <= self._sample:
            fault = self._due.pop(0).fault
            row = self.outputs.index(fault.output) if fault.output in self.outputs else 0
            break_it(fault, self.engine, self.inputs, row=row)
            if fault.what in {"stall", "unplugged"}:
                self._stream_fault = fault.what

    def _mend(self) -> None:
        for row, load in enumerate(self._hung):
            if self.engine.hanging[row].load is not load:
                self.engine.hang(row, load)
        mend(self.engine, self.inputs)


def _speaker(name: str | None) -> Loudspeaker | None:
    if name is None:
        return None
    if name not in LOUDSPEAKERS:
        raise RigError(
            f'There is no simulated loudspeaker "{name}".',
            why=f"There are: {', '.join(LOUDSPEAKERS)}.",
            hint='Write loudspeaker = "sealed" under [rig.simulated], or leave it out for the resistor.',
        )
    return LOUDSPEAKERS[name]


def _true_loads(loads: Sequence[Load], n_outputs: int, *, seed: int) -> dict[str, tuple[Resistor, ...]]:
    """Draw what each bank truly is, one for each output, within the stated uncertainty."""
    rng = np.random.default_rng([seed, 4])
    drawn: dict[str, tuple[Resistor, ...]] = {}
    for load in loads:
        off = np.clip(rng.standard_normal(n_outputs), -1.7, 1.7)
        watts, rise_k = load.continuous_w or 1000.0, load.rise_k or 80.0
        bodies = Bodies(
            inner_j_per_k=0.05 * watts,
            outer_j_per_k=0.9 * watts,
            between_k_per_w=0.4 * rise_k / watts,
            outside_k_per_w=0.6 * rise_k / watts,
        )
        drawn[load.name] = tuple(
            Resistor(
                resistance_ohm=load.resistance_ohm + float(one) * load.resistance_u_ohm,
                inductance_h=load.inductance_h,
                tempco_per_k=load.tempco_per_k,
                bodies=bodies,
            )
            for one in off
        )
    return drawn
