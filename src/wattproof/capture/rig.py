"""The rig put together of its parts, with a sentinel of its own: a trip opens the supply whoever conducts."""

import atexit
import threading
from contextlib import ExitStack
from types import TracebackType
from typing import Self

from wattproof.bench import Load
from wattproof.capture.absent import AbsentPart
from wattproof.capture.checks import failed_check, settled
from wattproof.capture.contract import Drive, LoadPart, PartCheck, Parts, SupplyPart, Take, Trip, Watch
from wattproof.errors import RigError, WattproofError, WireError
from wattproof.waveform import Channel

ALIVE_S = 0.5
"""A supply that is on is spoken to this often, seconds."""


class BenchRig:
    """A recorder, a supply, a load and meters as one.

    A thread of its own, the sentinel, opens the supply's output as soon as a play trips, and keeps the supply's
    watchdog fed while it is on; neither waits for whoever conducts. A supply that no longer answers, or has opened by
    itself, trips the play in progress.

    Parameters
    ----------
    parts : Parts
        A part that is None is not there: using it is refused.
    alive_s : float, s
        As `ALIVE_S`.
    """

    def __init__(self, parts: Parts, *, alive_s: float = ALIVE_S) -> None:
        self._recorder = parts.recorder
        self._supply: SupplyPart = parts.supply or AbsentPart("supply", _not_there("supply"))
        self._load: LoadPart = parts.load or AbsentPart("load", _not_there("load"))
        self._meters = dict(parts.meters)
        self._has = tuple(part for part in (parts.recorder, parts.supply, parts.load) if part is not None)
        self._watch: Watch | None = None
        self._is_on = False
        self._doubt: WattproofError | None = None
        self._closed = False
        self._alive_s = alive_s
        self._trip = threading.Event()
        self._sentinel = threading.Thread(target=self._stand_guard, name="wattproof-sentinel", daemon=True)
        self._sentinel.start()
        atexit.register(self.close)

    @property
    def rate_hz(self) -> float:
        """Samples a second."""
        return self._recorder.rate_hz

    @property
    def channels(self) -> tuple[Channel, ...]:
        """The recorded tracks."""
        return self._recorder.channels

    @property
    def outputs(self) -> tuple[str, ...]:
        """Amplifier outputs that can be driven."""
        return self._recorder.outputs

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def use_load(self, load: Load | None) -> None:
        """Mute, then connect a load of the bench; None disconnects all."""
        self._recorder.mute()
        self._load.use(load)

    def supply_on(self, volts: float, *, limit_a: float | None = None) -> None:
        """Set the supply's own limits, then switch its output on.

        Parameters
        ----------
        volts : float, V > 0
        limit_a : float or None, A
            Its own current limit.
        """
        self._supply.on(volts, limit_a=limit_a)
        self._is_on = True

    def supply_off(self) -> None:
        """Open the supply's output."""
        self._is_on = False
        self._supply.off()

    def play(self, drive: Drive, watch: Watch) -> Take:
        """Begin a play; a trip also opens the supply's output, where the supply can."""
        self._watch = watch
        return self._recorder.play(drive, watch, on_trip=self._trip.set)

    def pass_time(self, seconds: float) -> None:
        """Let time pass without drive.

        Parameters
        ----------
        seconds : float, s
        """
        self._recorder.pass_time(seconds)

    def read_meter(self, quantity: str) -> float | None:
        """Give a reading of a meter, None where there is none of that quantity."""
        meter = self._meters.get(quantity)
        return None if meter is None else meter.read()

    def mute(self) -> None:
        """Fade out what plays."""
        self._recorder.mute()

    def check(self) -> PartCheck:
        """Speak to every part; those that are not good are all told together."""
        parts = [part.check() for part in (*self._has, *self._meters.values())]
        if self._doubt is not None:
            parts.append(failed_check("supply off", self._doubt))
        return settled(PartCheck(part="rig", state="good", inside=tuple(parts)))

    def close(self) -> None:
        """Mute, open the supply's output, let go of everything, whatever fails on the way; may be called twice."""
        if self._closed:
            return
        self._closed = True
        atexit.unregister(self.close)
        with ExitStack() as last_first:
            for part in (*self._meters.values(), *reversed(self._has)):
                last_first.callback(part.close)
            last_first.callback(self._dismiss)
            last_first.callback(self.supply_off)
            last_first.callback(self._recorder.mute)

    def _dismiss(self) -> None:
        self._trip.set()
        self._sentinel.join(timeout=5.0)

    def _stand_guard(self) -> None:
        while not self._closed:
            if self._trip.wait(self._alive_s):
                self._trip.clear()
                self._open_supply()
            elif self._is_on:
                self._speak_to_supply()

    def _speak_to_supply(self) -> None:
        try:
            self._supply.alive()
        except WattproofError as error:
            self._lost(error)
        except Exception as error:  # noqa: BLE001 - the sentinel outlives a driver's bug: it must open the supply
            self._lost(WireError("The supply's driver failed.", why=f"{type(error).__name__}: {error}"))

    def _open_supply(self) -> None:
        self._is_on = False
        try:
            self._supply.off()
        except Exception as error:  # noqa: BLE001 - the sentinel outlives it; the check tells
            self._doubt = WireError(
                "The supply may still be on: telling it to open failed.",
                why=f"{type(error).__name__}: {error}",
                hint="Switch it off by hand.",
            )

    def _lost(self, error: WattproofError) -> None:
        """Stop, because nobody knows any more what the supply does."""
        watch = self._watch
        if watch is not None:
            watch.trip(
                Trip(
                    code="supply-voltage",
                    message=f"The supply is no longer what it was set to. {error.message}",
                    why=error.why or f"It is spoken to every {self._alive_s:g} s while it is on.",
                    hint=error.hint or "Look at the supply and its cable before going on.",
                )
            )
        self._recorder.mute()
        self._open_supply()


def _not_there(part: str) -> RigError:
    return RigError(
        f"This rig has no {part}.",
        why="It was put together without one.",
        hint=f'Write [rig.{part}] with kind = "manual" or "scpi" in the bench file.',
    )
