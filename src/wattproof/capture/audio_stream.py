"""A full-duplex stream of PortAudio: opened, waited for until it runs steadily, and closed whatever happens."""

import time
import weakref
from collections.abc import Callable
from dataclasses import dataclass
from types import ModuleType
from typing import Any

import numpy as np

from wattproof.capture.audio_devices import Pair
from wattproof.capture.contract import Samples
from wattproof.errors import CaptureFailedError, RigError

STEADY_S = 0.5
"""A stream is steady when nothing was lost and nothing came late for this long, seconds on the wall."""

LATE_S = 0.35
"""Longer than this between two blocks is late, seconds on the wall."""

PATIENCE_S = 6.0
"""So long it may take to become steady, seconds on the wall."""

FINISH_S = 0.5
"""A stream that is told to finish may take this long and its own delay, seconds on the wall."""

Turn = Callable[[Samples, tuple[str, ...]], Samples | None]
"""Takes what was recorded, shape (n_samples, n_tracks), and what the system says was lost; gives what is played, as
fractions of full scale, shape (n_samples, n_channels); None ends the stream."""


@dataclass(frozen=True, kw_only=True)
class StreamSettings:
    """How a stream is opened.

    Attributes
    ----------
    pair : Pair
        What records and plays.
    rate_hz : float, Hz
    n_inputs, n_outputs : int
        Channels.
    block_samples : int
        Samples in a block: the guard looks this often.
    latency_s : float, s
        What the sound system is asked to buffer, each way.
    """

    pair: Pair
    rate_hz: float
    n_inputs: int
    n_outputs: int
    block_samples: int
    latency_s: float


class AudioStream:
    """A running stream; silent, and deaf, until it is given its `turn`.

    The callback neither waits nor raises: what goes wrong in it ends the stream with silence.

    Parameters
    ----------
    sound : module
        As `portaudio` gives it.
    settings : StreamSettings

    Raises
    ------
    RigError
        PortAudio refuses the device, the rate or the channels.
    """

    def __init__(self, sound: ModuleType, settings: StreamSettings) -> None:
        self._sound = sound
        self.turn: Turn | None = None
        self.error: Exception | None = None
        self._steady_from_s: float | None = None
        self._last_s = time.monotonic()
        self._losses = 0
        try:
            self._stream = _opened(sound, settings, self._callback)
        except (sound.PortAudioError, ValueError) as error:
            raise _refused(settings, error) from error
        # at the end of the program it closes what nobody left
        self._closing = weakref.finalize(self, _close, self._stream, sound.PortAudioError)

    @property
    def delay_s(self) -> float:
        """What the sound system says is buffered, both ways together, seconds."""
        return float(sum(self._stream.latency))

    @property
    def closed(self) -> bool:
        """Whether it is over."""
        return not self._closing.alive

    def wait_until_steady(self) -> None:
        """Wait until blocks come and go evenly: the first ones of a stream often get lost.

        Raises
        ------
        RigError
            No block came at all.
        CaptureFailedError
            Blocks are still lost or late after seconds, or the sound system has given up.
        """
        until_s = time.monotonic() + PATIENCE_S
        while time.monotonic() < until_s:
            since_s = self._steady_from_s
            if since_s is not None and self._last_s - since_s > STEADY_S:
                return
            if not self._active():
                raise CaptureFailedError(
                    "The sound system has ended the stream as it began.",
                    why="It says no more than that; a busy machine and an interface that was unplugged look alike.",
                    hint="Take it again; look at the interface's cable if that does not help.",
                )
            time.sleep(0.01)
        if self._steady_from_s is None:
            raise RigError(
                "The audio interface is silent.",
                why=f"Its stream was opened, but no block came in {PATIENCE_S:g} s.",
                hint="Unplug the interface and plug it in again; see that no other program holds it.",
            )
        raise CaptureFailedError(
            "The audio stream does not run steadily.",
            why=f"In {PATIENCE_S:g} s blocks were lost or late {self._losses} times.",
            hint="Close what else keeps this machine busy, or write a larger latency_s under [rig].",
        )

    def finish(self) -> None:
        """Let what was handed out be played, then close; the turn must have come to its end or be about to."""
        until_s = time.monotonic() + self.delay_s + FINISH_S
        while not self.closed and self._active() and time.monotonic() < until_s:
            time.sleep(0.005)
        self.close()

    def close(self) -> None:
        """Stop at once and let go of the device; may be called twice, and from any thread but the stream's own."""
        self._closing()

    def _active(self) -> bool:
        try:
            return bool(self._stream.active)
        except self._sound.PortAudioError:
            return False  # the interface is gone, or the program is ending and PortAudio with it

    def _callback(self, recorded: Samples, played: Samples, _n: int, _when: object, status: Any) -> None:  # noqa: ANN401
        made = None
        try:
            made = self._made(recorded, _losses(status))
        except Exception as error:  # noqa: BLE001 - an exception here would vanish in the sound system: silence, and told
            self.error = self.error or error
        if made is None:
            played.fill(0)
            raise self._sound.CallbackStop
        played[:] = made

    def _made(self, recorded: Samples, losses: tuple[str, ...]) -> Samples | None:
        now_s = time.monotonic()
        turn, late = self.turn, now_s - self._last_s > LATE_S
        self._last_s = now_s
        if turn is not None:
            return turn(recorded.astype(np.float64), losses)
        if losses or late or self._steady_from_s is None:
            self._losses += 1
            self._steady_from_s = now_s
        return np.zeros((1, 1))


def _opened(sound: ModuleType, settings: StreamSettings, callback: Callable[..., None]) -> Any:  # noqa: ANN401
    stream = sound.Stream(
        device=(settings.pair.recorder.number, settings.pair.player.number),
        samplerate=settings.rate_hz,
        channels=(settings.n_inputs, settings.n_outputs),
        blocksize=settings.block_samples,
        latency=settings.latency_s,
        dtype="float32",
        # samples must be as they are: what is beyond full scale is refused before, and noise is not ours to add
        clip_off=True,
        dither_off=True,
        callback=callback,
    )
    stream.start()
    return stream


def _losses(status: Any) -> tuple[str, ...]:  # noqa: ANN401
    """Say what was lost, in words; the first blocks' priming is no loss."""
    kinds = ("input_overflow", "input_underflow", "output_overflow", "output_underflow")
    return tuple(kind.replace("_", " ") for kind in kinds if getattr(status, kind))


def _close(stream: Any, fault: type[Exception]) -> None:  # noqa: ANN401
    try:
        stream.abort(ignore_errors=True)
        stream.close(ignore_errors=True)
    except fault:
        pass  # an interface that was unplugged cannot be closed any more


def _refused(settings: StreamSettings, error: Exception) -> RigError:
    return RigError(
        "The audio interface cannot be opened as the bench file says.",
        why=f"{error}: {settings.pair.words}, {settings.n_inputs} in and {settings.n_outputs} out at "
        f"{settings.rate_hz:g} samples a second.",
        hint="See that no other program holds it, and that it runs at this sample_rate_hz: wattproof bench check.",
    )
