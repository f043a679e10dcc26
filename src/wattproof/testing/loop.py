"""A recorder whose tracks are a plain function of the drive, with scripted faults: for tests of all that conducts."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wattproof.bench import Bench, BenchChannel, Limits, Load, RigSettings, Supply
from wattproof.capture import Drive, PartCheck, Pump, QueueTake, Watch, start_stream
from wattproof.waveform import Channel

Samples = NDArray[np.float64]

LoopFaultKind = Literal[
    "open_load", "short_load", "dc", "supply_collapse", "supply_surge", "overheated", "clipped_input", "over_current",
    "over_voltage", "supply_over_current", "not_a_number", "broken",
]  # fmt: skip

SCALES = {
    "load_voltage": 100.0,
    "load_current": 60.0,
    "supply_voltage": 20.0,
    "supply_current": 200.0,
    "temperature": 150,
}
"""Volts, amperes or degrees at full scale, in the order of the tracks."""


@dataclass(frozen=True, kw_only=True)
class LoopFault:
    """What goes wrong, from which sample of the play on."""

    what: LoopFaultKind
    sample: int


@dataclass(kw_only=True)
class LoopBench:
    """An amplifier without a flaw but its rail, a resistor, a stiff supply; five tracks, in fractions of full scale.

    Attributes
    ----------
    gain : float, V/V
    rail_v : float, V
        Where it clips, hard.
    load_ohm : float, ohm
    supply_v, idle_a : float
        The supply's voltage, and its current at rest.
    efficiency : float
        Power in the load over the supply's, above rest.
    noise_fs : float
        R.m.s. of the white noise on every track, part of full scale.
    faults : sequence of LoopFault
        In every play.
    """

    gain: float = 20.0
    rail_v: float = 40.0
    load_ohm: float = 4.0
    supply_v: float = 14.4
    idle_a: float = 1.0
    efficiency: float = 0.8
    noise_fs: float = 1e-4
    faults: Sequence[LoopFault] = ()
    seed: int = 1

    def __post_init__(self) -> None:
        self._noise = np.random.default_rng(self.seed)

    def tracks(self, drive: Samples, start: int) -> Samples:
        """Give the five tracks, shape (n_samples, 5), for one column of drive volts."""
        places = start + np.arange(len(drive))
        volts = np.clip(self.gain * drive, -self.rail_v, self.rail_v)
        amps = volts / self.load_ohm
        rows = {
            "load_voltage": volts,
            "load_current": amps,
            "supply_voltage": np.full(len(drive), self.supply_v),
            "supply_current": self.idle_a + volts * amps / self.efficiency / self.supply_v,
            "temperature": np.full(len(drive), 25.0),
        }
        for fault in self.faults:
            _break(rows, fault.what, places >= fault.sample)
        parts = np.column_stack([rows[name] / scale for name, scale in SCALES.items()])
        return np.asarray(np.clip(parts + self.noise_fs * self._noise.standard_normal(parts.shape), -1.0, 1.0))

    def bench(self, limits: Limits | None = None) -> Bench:
        """Give the bench file that fits it."""
        return Bench(
            name="Boathouse loop",
            channels=tuple(
                BenchChannel(input=n, role=role, scale=float(scale), full_scale=1.0)
                for n, (role, scale) in enumerate(SCALES.items(), start=1)
            ),
            loads=(Load(name=f"{self.load_ohm:g} ohm", resistance_ohm=self.load_ohm, continuous_w=1000.0),),
            supply=Supply(nominal_v=self.supply_v, max_current_a=150.0),
            limits=limits or Limits(),
            rig=RigSettings(kind="simulated"),
        )


def _break(rows: dict[str, Samples], what: LoopFaultKind, late: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> None:
    if what == "broken" and late.any():
        raise RuntimeError("the interface went away")
    changes: dict[str, tuple[str, Callable[[Samples], Samples]]] = {
        "open_load": ("load_current", lambda amps: 0.0 * amps),
        "short_load": ("load_voltage", lambda volts: 0.1 * volts),
        "dc": ("load_voltage", lambda volts: volts + 10.0),
        "supply_collapse": ("supply_voltage", lambda volts: 0.5 * volts),
        "supply_surge": ("supply_voltage", lambda volts: 1.35 * volts),
        "supply_over_current": ("supply_current", lambda amps: amps + 150.0),
        "overheated": ("temperature", lambda degrees: degrees + 100.0),
        "clipped_input": ("load_current", lambda amps: np.copysign(60.0, amps)),
        "over_current": ("load_current", lambda amps: amps + np.copysign(40.0, amps)),
        "over_voltage": ("load_voltage", lambda volts: volts + np.copysign(60.0, volts)),
        "not_a_number": ("load_voltage", lambda volts: volts * np.nan),
    }
    if what in changes:
        role, change = changes[what]
        rows[role] = np.where(late, change(rows[role]), rows[role])


@dataclass(kw_only=True)
class LoopRecorder:
    """A recorder in lockstep with its conductor, playing into a `LoopBench`; what was played is kept.

    While the conductor asks for blocks, a play is the same on every machine. If it does not ask for `patience_s` on
    the wall, stream time goes on without it, as it does with hardware.

    Attributes
    ----------
    rate_hz : float, Hz
    block_samples : int >= 1
        Samples in a block.
    outputs : tuple of str
        What it can drive; only the first is wired to the `LoopBench`.
    loop : LoopBench
    paced : bool
        Whether every block takes its time on the wall.
    patience_s, stall_s : float, s
        How long it waits for the conductor; how long a block may take before the stream has stalled.
    passed_s : float, s
        What was let pass without drive.
    closed : bool
    """

    rate_hz: float = 48000.0
    block_samples: int = 480
    outputs: tuple[str, ...] = ("A",)
    loop: LoopBench = field(default_factory=LoopBench)
    paced: bool = False
    patience_s: float = 2.0
    stall_s: float = 10.0
    passed_s: float = 0.0
    closed: bool = False

    def __post_init__(self) -> None:
        self._plays: list[list[Samples]] = []
        self._pump: Pump | None = None

    @property
    def channels(self) -> tuple[Channel, ...]:
        """Five tracks in fractions of full scale."""
        return tuple(Channel(name=str(n), unit="FS", full_scale=1.0) for n in range(1, len(SCALES) + 1))

    @property
    def played(self) -> list[Samples]:
        """Drive samples of each play."""
        return [np.concatenate(blocks) for blocks in self._plays]

    def play(self, drive: Drive, watch: Watch, *, on_trip: Callable[[], None]) -> QueueTake:
        """Begin a play in a thread of its own."""
        pump = self._pump = Pump(drive, watch, rate_hz=self.rate_hz, outputs=self.outputs, on_trip=on_trip)
        blocks: list[Samples] = []
        self._plays.append(blocks)

        def turn(volts: Samples) -> Samples:
            blocks.append(volts)
            return self.loop.tracks(volts[:, 0], (len(blocks) - 1) * self.block_samples)

        return start_stream(
            pump, turn, block_samples=self.block_samples, n_tracks=len(SCALES), paced=self.paced,
            patience_s=self.patience_s, on_trip=on_trip, stall_s=self.stall_s,
        )  # fmt: skip

    def pass_time(self, seconds: float) -> None:
        """Count it."""
        self.passed_s += seconds

    def mute(self) -> None:
        """Fade out what plays."""
        if self._pump is not None:
            self._pump.mute()

    def check(self) -> PartCheck:
        """Say that it is there."""
        return PartCheck(part="recorder", state="good", said="a loop without hardware")

    def close(self) -> None:
        """Let go."""
        self.mute()
        self.closed = True
