"""What all that plans and runs knows of hardware: a rig, its parts, a drive, a take, a trip."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from types import TracebackType
from typing import Literal, Protocol, Self

import numpy as np
from numpy.typing import NDArray

from wattproof.bench import Load
from wattproof.waveform import Channel

Samples = NDArray[np.float64]

FADE_S = 0.005
"""A tripped drive is silent this long after the block that showed the fault, seconds."""

CHECK_IN_S = 0.1
"""The drive falls silent when whoever conducts has not asked for a block for this long, seconds."""


@dataclass(frozen=True, kw_only=True)
class Trip:
    """Why the guard stopped the drive.

    Attributes
    ----------
    code : str
        ``load-voltage``, ``load-dc``, ``load-current``, ``supply-current``, ``supply-voltage``, ``temperature``,
        ``clipped-input``, ``open-load``, ``shorted-load``, ``energy``, ``full-power``, ``stream-stalled``,
        ``conductor-silent``, ``person``.
    message, why, hint : str
        What was seen, with the numbers, and what to check before clearing it.
    sample : int or None
        The sample that showed it, counted from the drive's first; None where no sample did.
    at_s : float
        The same in seconds.
    value, limit : float or None
        In `unit`.
    """

    code: str
    message: str
    why: str = ""
    hint: str = ""
    sample: int | None = None
    at_s: float = 0.0
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    output: str | None = None


class Drive(Protocol):
    """What the generator puts out, made block by block in the stream's own thread.

    A conductor may only call what a drive says may be called from another thread.
    """

    @property
    def outputs(self) -> tuple[str, ...]:
        """The amplifier outputs it drives, in the order of its rows."""
        ...

    @property
    def finished(self) -> bool:
        """Whether everything has been handed out; then `block` gives zeros."""
        ...

    def block(self, n_samples: int) -> Samples:
        """Give the next samples, volts at the amplifier's input, shape (n_outputs, n_samples)."""
        ...


class Watch(Protocol):
    """What looks at every recorded block while the drive is on; the guard is one."""

    def inspect(self, block: Samples) -> Trip | None:
        """Look at a block of shape (n_samples, n_tracks), file units; the first trip latches and is given again."""
        ...

    def trip(self, trip: Trip) -> None:
        """Latch a trip that no sample showed: a stalled stream, a person. May be called from any thread."""
        ...

    def count_from(self, sample: int) -> None:
        """Count from this one of the samples looked at: a recorder that plays a lead-in says where the drive begins."""
        ...

    @property
    def tripped(self) -> Trip | None:
        """The latched trip."""
        ...


@dataclass(frozen=True, kw_only=True, eq=False)
class Block:
    """Recorded samples as they arrive.

    Attributes
    ----------
    samples : Samples of shape (n_samples, n_tracks)
        File units, as the recorder's channels say.
    start : int
        Number of the first sample, counted from the drive's first sample; lead-in and delay are taken off already.
    """

    samples: Samples
    start: int


class Take(Protocol):
    """A play in progress. Iterating gives the recorded blocks in order; asking for the next one is checking in.

    It ends when the drive has finished and its last sample is recorded, or 0.25 s after a trip (so that the samples
    around it are kept). Leaving the ``with`` block, however it is left, mutes the drive.
    """

    @property
    def trip(self) -> Trip | None:
        """Why it was stopped, if it was."""
        ...

    def __enter__(self) -> Self: ...
    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...
    def __iter__(self) -> Iterator[Block]:
        """Give the blocks.

        Raises
        ------
        CaptureFailedError
            Samples were lost, repeated or late: the capture is void and may be taken again.
        RigError
            The interface is gone.
        """
        ...


@dataclass(frozen=True, kw_only=True)
class PartCheck:
    """What one part of the rig said when it was spoken to.

    Attributes
    ----------
    part : str
        "recorder", "supply", "load", "meter temperature", ...
    state : "good", "doubtful" or "failed"
    said : str
        Who it says it is, or what it did.
    why, hint : str
        The reason where it is not good, with the numbers, and what to do.
    inside : tuple of PartCheck
        What it is made of.
    """

    part: str
    state: Literal["good", "doubtful", "failed"]
    said: str = ""
    why: str = ""
    hint: str = ""
    inside: tuple["PartCheck", ...] = ()


class Recorder(Protocol):
    """Plays a drive and records the channels, sample-synchronous: an audio interface, or a simulated one."""

    @property
    def rate_hz(self) -> float: ...  # noqa: D102
    @property
    def channels(self) -> tuple[Channel, ...]:
        """The recorded tracks in the order of a block's columns; `input` n of the bench is track n."""
        ...

    @property
    def outputs(self) -> tuple[str, ...]:
        """Amplifier outputs that it can drive."""
        ...

    def play(self, drive: Drive, watch: Watch, *, on_trip: Callable[[], None]) -> Take:
        """Begin a play; `on_trip` is called from the stream's thread, at once, and must not wait."""
        ...

    def pass_time(self, seconds: float) -> None:
        """Let time pass without drive: sleeps, or turns the simulated clock."""
        ...

    def mute(self) -> None: ...  # noqa: D102
    def check(self) -> PartCheck: ...  # noqa: D102
    def close(self) -> None: ...  # noqa: D102


class SupplyPart(Protocol):
    """The DC supply: a wired one, a person at the knob, or a simulated one."""

    def on(self, volts: float, *, limit_a: float | None) -> None:
        """Set its own limits and watchdog first, then switch the output on.

        Parameters
        ----------
        volts : float, V > 0
        limit_a : float or None, A
            Its own current limit.
        """
        ...

    def off(self) -> None:
        """Open the output; may be called from any thread, twice, and never raises for a supply that is gone."""
        ...

    def alive(self) -> None:
        """Feed its watchdog, where it has one; called about twice a second while it is on."""
        ...

    def check(self) -> PartCheck: ...  # noqa: D102
    def close(self) -> None: ...  # noqa: D102


class LoadPart(Protocol):
    """The load bank: relays, an electronic load, or a person who moves a plug."""

    def use(self, load: Load | None) -> None:
        """Connect a load of the bench; None disconnects all."""
        ...

    def check(self) -> PartCheck: ...  # noqa: D102
    def close(self) -> None: ...  # noqa: D102


class MeterPart(Protocol):
    """A meter that is asked, or whose display a person types off."""

    @property
    def quantity(self) -> str: ...  # noqa: D102
    def read(self) -> float:
        """Give one reading, SI unit of its quantity (temperature in degrees Celsius)."""
        ...

    def check(self) -> PartCheck: ...  # noqa: D102
    def close(self) -> None: ...  # noqa: D102


class Operator(Protocol):
    """The person at the bench, as far as the rig needs one."""

    def do(self, what: str, *, hint: str = "") -> None:
        """Ask for something to be done by hand, and wait until it is.

        Raises
        ------
        GuardTripError
            The person would rather stop.
        """
        ...

    def number(self, what: str, *, unit: str) -> float:
        """Ask for a reading."""
        ...

    def choose(self, what: str, choices: tuple[str, ...]) -> str:
        """Ask for one of several answers."""
        ...


@dataclass(frozen=True, kw_only=True)
class Parts:
    """What a plug-in of ``wattproof.rigs`` opens: ``open_parts(bench, folder) -> Parts``.

    `folder` is where the bench file lies, for files it names. Parts it leaves out are made as ``[rig.supply]``,
    ``[rig.load]`` and ``[[rig.meters]]`` of the bench file say.
    """

    recorder: Recorder
    supply: SupplyPart | None = None
    load: LoadPart | None = None
    meters: Mapping[str, MeterPart] = field(default_factory=dict)


class Rig(Protocol):
    """All that a conductor knows of a bench."""

    @property
    def rate_hz(self) -> float: ...  # noqa: D102
    @property
    def channels(self) -> tuple[Channel, ...]: ...  # noqa: D102
    @property
    def outputs(self) -> tuple[str, ...]: ...  # noqa: D102

    def use_load(self, load: Load | None) -> None: ...  # noqa: D102
    def supply_on(self, volts: float, *, limit_a: float | None = None) -> None: ...  # noqa: D102
    def supply_off(self) -> None: ...  # noqa: D102

    def play(self, drive: Drive, watch: Watch) -> Take:
        """Begin a play; a trip also opens the supply's output, where the supply can."""
        ...

    def pass_time(self, seconds: float) -> None: ...  # noqa: D102
    def read_meter(self, quantity: str) -> float | None:
        """Give a reading of a meter, None where there is none of that quantity."""
        ...

    def mute(self) -> None: ...  # noqa: D102
    def check(self) -> PartCheck: ...  # noqa: D102

    def close(self) -> None:
        """Mute, open the supply's output, let go of everything; may be called twice."""
        ...
