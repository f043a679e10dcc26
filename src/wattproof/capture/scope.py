"""An oscilloscope that is read over a wire: its blocks become a recording in volts."""

import time

import numpy as np
from numpy.typing import NDArray

from wattproof.capture.checks import part_check, settled
from wattproof.capture.contract import PartCheck
from wattproof.capture.driver import Driver
from wattproof.capture.instrument import ScopeWords
from wattproof.errors import CaptureFailedError, WireError
from wattproof.waveform import Channel, MemoryRecording, Waveform

_POLL_S = 0.05


class Scope:
    """An oscilloscope as its instrument file says.

    Parameters
    ----------
    driver : Driver
        Of an instrument of kind "scope".
    words : ScopeWords
    """

    def __init__(self, driver: Driver, words: ScopeWords) -> None:
        self._driver, self._words = driver, words

    def record(self) -> MemoryRecording:
        """Take one acquisition and read all its channels.

        Returns
        -------
        MemoryRecording
            In volts, one track a channel of the file, in its order.

        Raises
        ------
        CaptureFailedError
            The acquisition is not complete in time, a channel returned no points, or the channels do not belong
            together.
        WireError
            It does not answer, or with no block.
        """
        self._driver.say(*self._words.arm)
        self._wait()
        tracks = [self._track(name) for name in self._words.channels]
        steps_s = {step_s for _volts, step_s, _channel in tracks}
        lengths = {volts.size for volts, _step_s, _channel in tracks}
        if len(steps_s) > 1 or len(lengths) > 1:
            raise CaptureFailedError(
                f"The channels of {self._driver.name} do not belong to one acquisition.",
                why=f"they have {sorted(lengths)} points, {sorted(steps_s)} s apart",
                hint="Let it record all channels with the same memory depth, then take the capture again.",
            )
        return MemoryRecording(
            waveform=Waveform(
                samples=np.stack([volts for volts, _step_s, _channel in tracks]),
                rate_hz=1.0 / steps_s.pop(),
                channels=tuple(channel for _volts, _step_s, channel in tracks),
            ),
            source=self._driver.name,
            reader="scope",
            metadata={"instrument": self._driver.identity},
        )

    def _wait(self) -> None:
        done, until = self._words.done, time.monotonic() + self._words.done_within_s
        while done is not None and not self._driver.state(done):
            if time.monotonic() > until:
                raise CaptureFailedError(
                    f"{self._driver.name} did not complete its acquisition.",
                    why=f"it was waited for for {self._words.done_within_s:g} s",
                    hint="Look at its trigger, or raise done_within_s in its file.",
                )
            time.sleep(_POLL_S)

    def _track(self, name: str) -> tuple[NDArray[np.float64], float, Channel]:
        words, driver = self._words, self._driver
        driver.say(*words.select, values={"channel": name})
        answers: dict[str, str] = {}  # one preamble may hold several of these
        step_s = driver.number(words.increment_s, answers=answers)
        scale_v, reference, offset_v = (
            default if ask is None else driver.number(ask, answers=answers)
            for ask, default in ((words.y_increment_v, 1.0), (words.y_reference, 0.0), (words.y_offset_v, 0.0))
        )
        n_points = None if words.points is None else round(driver.number(words.points, answers=answers))
        codes = self._codes(name, n_points)
        if not step_s > 0:
            raise WireError(
                f"{driver.wire.where} says that its samples are {step_s:g} s apart.",
                why="that is no sampling interval",
                hint="Correct increment_s in the instrument's file.",
            )
        integer = np.dtype(words.numbers).kind in "iu"
        channel = Channel(name=name, unit="V", step=abs(scale_v) if integer else None)
        return (codes - reference) * scale_v + offset_v, step_s, channel

    def _codes(self, name: str, n_points: int | None) -> NDArray[np.float64]:
        """Read the samples of the chosen channel as numbers."""
        words, kind = self._words, self._kind()
        if n_points == 0:
            raise self._no_points(name)
        if words.header == "none":
            payload = self._driver.wire.query_bytes(words.data.format_map({}), n_bytes=(n_points or 0) * kind.itemsize)
        else:
            (payload,) = self._driver.wire.query_blocks(words.data.format_map({}))
        if not payload:
            raise self._no_points(name)
        if len(payload) % kind.itemsize or (n_points is not None and len(payload) != n_points * kind.itemsize):
            raise CaptureFailedError(
                f"The record of channel {name} of {self._driver.name} is not whole.",
                why=f"{len(payload)} bytes came; a sample has {kind.itemsize}"
                + ("" if n_points is None else f" and {n_points} samples were promised"),
                hint="Correct numbers or points in its file, then take the capture again.",
            )
        return np.frombuffer(payload, dtype=kind).astype(np.float64)

    def _kind(self) -> "np.dtype[np.generic]":
        return np.dtype(self._words.numbers).newbyteorder(self._words.byte_order)

    def _no_points(self, name: str) -> CaptureFailedError:
        return CaptureFailedError(
            f"{self._driver.name} returned no points for channel {name}.",
            why="its block is empty",
            hint="Switch the channel on and let it complete an acquisition, then take the capture again.",
        )

    def check(self) -> PartCheck:
        """Say who it is."""
        inside = (part_check("identity", lambda: self._driver.identity),)
        return settled(PartCheck(part="scope", state="good", said=self._driver.name, inside=inside))

    def close(self) -> None:
        """Let go of it."""
        self._driver.close()
