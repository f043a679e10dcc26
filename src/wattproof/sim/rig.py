"""The simulated bench as a rig: the plug-in ``simulated`` of ``wattproof.rigs``."""

import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wattproof.bench import Bench, Load, PartSettings
from wattproof.capture import Drive, PartCheck, Parts, Pump, Take, Watch, start_stream
from wattproof.errors import RigError
from wattproof.sim.inputs import BITS
from wattproof.sim.simulated_bench import SimulatedBench
from wattproof.waveform import Channel

Samples = NDArray[np.float64]

_STALL_S = 30.0
"""A scripted stall lasts this long on the wall, or until the play is let go."""


def open_parts(bench: Bench, folder: Path) -> Parts:
    """Open the simulated bench.

    A supply, load or meter that the bench file does not mention is simulated with the rest; one that it says is wired
    or manual is left to whoever opens rigs.

    Parameters
    ----------
    bench : Bench
        Its ``[rig]`` says which amplifier stands there.
    folder : Path
        Where the bench file lies; nothing there is read.

    Raises
    ------
    RigError
        The bench file asks for what is not on the simulated bench.
    """
    del folder
    simulated = SimulatedBench(bench)
    rig = simulated.rig
    elsewhere = any(meter.quantity == "temperature" and not _is_simulated(meter) for meter in rig.meters)
    return Parts(
        recorder=SimulatedRecorder(simulated),
        supply=SimulatedSupply(simulated) if _is_simulated(rig.supply) else None,
        load=SimulatedLoadBank(simulated) if _is_simulated(rig.load) else None,
        meters={} if elsewhere else {"temperature": SimulatedMeter(simulated)},
    )


def _is_simulated(part: PartSettings) -> bool:
    """Whether a part is ours: said to be, or not mentioned at all."""
    return part.kind == "simulated" or "kind" not in part.model_fields_set


class SimulatedRecorder:
    """Plays into the simulated bench and records it, block by block."""

    def __init__(self, simulated: SimulatedBench) -> None:
        rig = simulated.rig
        self.bench, self.rate_hz = simulated, simulated.rate_hz
        self.channels = tuple(
            Channel(name=str(number), unit="FS", full_scale=one.full_scale, step=one.full_scale / 2 ** (BITS - 1))
            for number, one in enumerate(simulated.inputs.inputs, start=1)
        )
        self.outputs = simulated.outputs
        self._block_samples = max(1, round(rig.block_s * simulated.rate_hz))
        self._full_scale_v = rig.drive_v_full_scale
        self._pump: Pump | None = None
        self._let_go = threading.Event()

    def play(self, drive: Drive, watch: Watch, *, on_trip: Callable[[], None]) -> Take:
        """Begin a play.

        Raises
        ------
        RigError
            The drive names an output that the amplifier does not have.
        """
        self.mute()
        self.bench.begin_play()
        self._let_go = threading.Event()
        self._pump = Pump(
            drive,
            watch,
            rate_hz=self.rate_hz,
            outputs=self.outputs,
            on_trip=on_trip,
            tail_samples=self.bench.delay_samples,
        )
        return start_stream(
            self._pump,
            self._turn,
            block_samples=self._block_samples,
            n_tracks=self.bench.n_tracks,
            paced=self.bench.settings.paced,
            delay_samples=self.bench.delay_samples,
            on_trip=on_trip,
        )

    def _turn(self, volts: Samples) -> Samples:
        """Take volts of shape (n_samples, n_outputs) as far as the generator reaches, give the tracks."""
        recorded = self.bench.turn(volts.clip(-self._full_scale_v, self._full_scale_v).T)
        fault = self.bench.stream_fault()
        if fault == "stall":
            self._let_go.wait(_STALL_S)
        if fault == "unplugged":
            raise RigError(
                "The interface is gone.",
                why="The simulated interface was unplugged, as [[rig.simulated.faults]] asked for.",
                hint="Plug it in again, then repeat the step.",
            )
        return recorded

    def pass_time(self, seconds: float) -> None:
        """Turn the simulated clock; paced, in step with the one on the wall."""
        if self.bench.settings.paced:
            time.sleep(seconds)
        self.bench.pass_time(seconds)

    def mute(self) -> None:
        """Fade the drive out."""
        self._let_go.set()
        if self._pump is not None:
            self._pump.mute()

    def check(self) -> PartCheck:
        """Say what it is."""
        return PartCheck(
            part="recorder",
            state="good",
            said=f"simulated, {self.rate_hz:g} samples a second, {len(self.channels)} tracks; "
            f"{self.bench.settings.amplifier} on the bench",
        )

    def close(self) -> None:
        """Mute."""
        self.mute()


class SimulatedSupply:
    """The simulated supply (or battery with its switch)."""

    def __init__(self, simulated: SimulatedBench) -> None:
        self._bench = simulated

    def on(self, volts: float, *, limit_a: float | None) -> None:
        """Set volts and current limit, and switch on.

        Parameters
        ----------
        volts : float, V > 0
        limit_a : float or None, A
        """
        self._bench.supply_set(volts, limit_a)
        self._bench.supply_switch(True)

    def off(self) -> None:
        """Switch off."""
        self._bench.supply_switch(False)

    def alive(self) -> None:
        """Nothing to feed."""

    def check(self) -> PartCheck:
        """Say what it is and reads."""
        volts, amps = self._bench.supply_reading()
        kind = "battery" if self._bench.settings.battery else "supply"
        return PartCheck(part="supply", state="good", said=f"simulated {kind}, {volts:.2f} V, {amps:.2f} A")

    def close(self) -> None:
        """Switch off."""
        self.off()


class SimulatedLoadBank:
    """The simulated load bank."""

    def __init__(self, simulated: SimulatedBench) -> None:
        self._bench = simulated

    def use(self, load: Load | None) -> None:
        """Connect a load of the bench to every output; None disconnects all.

        Raises
        ------
        RigError
            The bench has no such load.
        """
        self._bench.use_load(load)

    def check(self) -> PartCheck:
        """Say what it is."""
        names = ", ".join(load.name for load in self._bench.bench.loads)
        kind = self._bench.settings.loudspeaker
        said = f"simulated loudspeaker ({kind}) in place of {names}" if kind else f"simulated: {names}"
        return PartCheck(part="load", state="good", said=said)

    def close(self) -> None:
        """Leave it as it is."""


class SimulatedMeter:
    """A thermometer on the simulated amplifier."""

    quantity = "temperature"

    def __init__(self, simulated: SimulatedBench) -> None:
        self._bench = simulated

    def read(self) -> float:
        """Give the heat sink's temperature, degrees Celsius, to a tenth."""
        return round(self._bench.read_temperature_c(), 1)

    def check(self) -> PartCheck:
        """Say what it reads."""
        return PartCheck(part="meter temperature", state="good", said=f"simulated, {self.read():.1f} °C")

    def close(self) -> None:
        """Nothing to let go."""
