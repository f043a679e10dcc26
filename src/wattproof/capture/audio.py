"""The audio interface: plays the drive and records the channels, sample-synchronous, on any machine with PortAudio."""

import time
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np

from wattproof.bench import Bench, RigSettings
from wattproof.capture.audio_devices import Pair, choose, devices, portaudio
from wattproof.capture.audio_drive import MarkedDrive
from wattproof.capture.audio_stream import AudioStream, StreamSettings
from wattproof.capture.audio_take import AudioTake, Hearing, warm_up
from wattproof.capture.audio_watch import WallPump
from wattproof.capture.checks import part_check, settled
from wattproof.capture.contract import Block, Drive, PartCheck, Parts, Samples, Take, Watch
from wattproof.capture.drives import SilentDrive
from wattproof.capture.guard_tracks import guard_tracks
from wattproof.capture.pump import Pump
from wattproof.capture.take import QueueTake
from wattproof.errors import CaptureFailedError, RigError
from wattproof.waveform import Channel

RATES_HZ = (44100, 48000, 88200, 96000, 176400, 192000)
"""Rates that `check` asks an interface about."""


def open_parts(bench: Bench, folder: Path) -> Parts:  # noqa: ARG001 - what plug-ins of wattproof.rigs take
    """Make the recorder of an audio rig; the device itself is opened when something is played.

    Parameters
    ----------
    bench : Bench
        Its channels with a numbered input are the interface's inputs.
    folder : Path
        Where the bench file lies.

    Raises
    ------
    RigError
        The bench file names no inputs or outputs of the interface, or the same twice.
    """
    return Parts(recorder=AudioRecorder(bench))


class AudioRecorder:
    """Full duplex through an audio interface.

    Parameters
    ----------
    bench : Bench

    Raises
    ------
    RigError
        As for `open_parts`.
    """

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._rig = _settings(bench)
        self._n_inputs = _inputs(bench)
        self._stream: AudioStream | None = None
        self._pump: Pump | None = None

    @property
    def rate_hz(self) -> float:
        """Samples a second."""
        return self._rig.sample_rate_hz

    @property
    def channels(self) -> tuple[Channel, ...]:
        """The interface's inputs, from the first to the last that the bench names; fractions of full scale."""
        return tuple(Channel(name=str(n + 1), unit="FS", full_scale=1.0) for n in range(self._n_inputs))

    @property
    def outputs(self) -> tuple[str, ...]:
        """Amplifier outputs that it can drive."""
        return tuple(self._rig.drive_outputs)

    def play(self, drive: Drive, watch: Watch, *, on_trip: Callable[[], None]) -> Take:
        """Begin a play: opens the interface, waits until it runs steadily, and plays the first marker.

        Parameters
        ----------
        drive : Drive
        watch : Watch
            Sees every block from the lead-in on.
        on_trip : callable
            Called from the stream's thread; must not wait.

        Raises
        ------
        RigError
            No such interface, or it refuses; no track hears this drive; it drives an output that is not wired.
        CaptureFailedError
            The stream does not become steady.
        """
        self.close()
        hearings = self._hearings(drive)
        silent = isinstance(drive, SilentDrive)
        if not hearings and not silent:
            raise _deaf(drive)
        marked = MarkedDrive(
            drive, rate_hz=self.rate_hz, full_scale_v=self._rig.drive_v_full_scale, marked=bool(hearings)
        )
        warm_up(rate_hz=self.rate_hz)
        stream = self._opened()
        try:
            stream.wait_until_steady()
            pump = WallPump(marked, watch, rate_hz=self.rate_hz, outputs=self.outputs, on_trip=on_trip)
            take = QueueTake(pump, on_trip=on_trip, close=stream.finish)
        except BaseException:
            stream.close()
            raise
        self._pump = pump
        stream.turn = _Turns(pump, take, self._scaled).turn
        return AudioTake(
            take,
            drive=marked,
            watch=watch,
            hearings=hearings,
            rate_hz=self.rate_hz,
            silent=silent,
            usual_delay=round(stream.delay_s * self.rate_hz),
        )

    def pass_time(self, seconds: float) -> None:
        """Wait."""
        time.sleep(seconds)

    def mute(self) -> None:
        """Fade out what is played; from any thread."""
        if self._pump is not None:
            self._pump.mute()

    def close(self) -> None:
        """Fade out what is still played and let go of the interface; may be called twice."""
        stream, self._stream = self._stream, None
        if stream is None:
            return
        if stream.turn is None:
            stream.close()
            return
        self.mute()
        stream.finish()

    def check(self) -> PartCheck:
        """Look for PortAudio, the interface, its channels and its rates; tells all that is wrong at once."""
        library = part_check("PortAudio", lambda: portaudio().get_portaudio_version()[1])
        if library.state == "failed":
            return settled(PartCheck(part="recorder", state="good", said="audio interface", inside=(library,)))
        sound = portaudio()
        device = part_check("device", lambda: self._pair(sound).words)
        inside = [library, device]
        if device.state == "good":
            inside += [part_check(way, lambda way=way: self._takes(sound, way)) for way in ("inputs", "outputs")]  # type: ignore[misc]
        return settled(PartCheck(part="recorder", state="good", said="audio interface", inside=tuple(inside)))

    def _takes(self, sound: ModuleType, way: str) -> str:
        """Say that the interface takes rate and channels one way; raises `RigError` with the rates it does take."""
        pair = self._pair(sound)
        ask = sound.check_input_settings if way == "inputs" else sound.check_output_settings
        number = pair.recorder.number if way == "inputs" else pair.player.number
        n_channels = self._n_inputs if way == "inputs" else self._n_outputs

        def taken(rate_hz: float) -> bool:
            try:
                ask(device=number, channels=n_channels, dtype="float32", samplerate=rate_hz)
            except (sound.PortAudioError, ValueError):
                return False
            return True

        if taken(self.rate_hz):
            return f"{n_channels} at {self.rate_hz:g} Hz"
        rates = ", ".join(str(rate_hz) for rate_hz in RATES_HZ if taken(rate_hz)) or "none of the usual ones"
        raise RigError(
            f"It does not take {n_channels} {way} at {self.rate_hz:g} samples a second.",
            why=f"With so many {way} it takes: {rates}.",
            hint="Write one of them as sample_rate_hz under [rig], or set it in the interface's own panel.",
        )

    @property
    def _n_outputs(self) -> int:
        return max(self._rig.drive_outputs.values())

    def _pair(self, sound: ModuleType) -> Pair:
        usual = sound.default.device
        return choose(
            devices(sound),
            self._rig.device,
            inputs=self._n_inputs,
            outputs=self._n_outputs,
            usual=(int(usual[0]), int(usual[1])),
        )

    def _opened(self) -> AudioStream:
        sound = portaudio()
        settings = StreamSettings(
            pair=self._pair(sound),
            rate_hz=self.rate_hz,
            n_inputs=self._n_inputs,
            n_outputs=self._n_outputs,
            block_samples=max(1, round(self._rig.block_s * self.rate_hz)),
            latency_s=self._rig.latency_s,
        )
        self._stream = AudioStream(sound, settings)
        return self._stream

    def _hearings(self, drive: Drive) -> tuple[Hearing, ...]:
        """Give the tracks that hear the drive: the one of the drive itself, else those of the driven outputs."""
        if not drive.outputs:
            return ()
        tracks = guard_tracks(self._bench, self.channels)
        own = [
            Hearing(column=track.column, row=0, own_track=True, words=track.words)
            for track in tracks
            if track.role == "drive_voltage"
        ]
        driven = [
            Hearing(column=track.column, row=drive.outputs.index(track.output), own_track=False, words=track.words)
            for track in tracks
            if track.role == "load_voltage" and track.output in drive.outputs
        ]
        return tuple(own[:1] or driven)

    def _scaled(self, volts: Samples) -> Samples:
        """Turn volts, shape (n_samples, n_outputs), into fractions of full scale, shape (n_samples, n_channels)."""
        played = np.zeros((len(volts), self._n_outputs))
        for column, channel in enumerate(self._rig.drive_outputs.values()):
            played[:, channel - 1] = volts[:, column] / self._rig.drive_v_full_scale
        return played


class _Turns:
    """What the stream does for one play, block by block."""

    def __init__(self, pump: Pump, take: QueueTake, scaled: Callable[[Samples], Samples]) -> None:
        self._pump, self._take, self._scaled = pump, take, scaled
        self._start = 0

    def turn(self, recorded: Samples, losses: tuple[str, ...]) -> Samples | None:
        if self._pump.done:
            self._take.end()
            return None
        if losses and not self._pump.drive.finished and self._pump.watch.tripped is None:
            self._take.fail(_lost(losses, self._start / self._pump.rate_hz))
        volts = self._pump.turn(recorded)
        self._take.put(Block(samples=recorded, start=self._start))
        self._start += len(recorded)
        return self._scaled(volts)


def _settings(bench: Bench) -> RigSettings:
    rig = bench.rig
    if rig is None:
        raise RigError(
            f'The bench "{bench.name}" has no rig.',
            why="its file has no [rig] table",
            hint='Add [rig] with kind = "audio" to the bench file.',
        )
    numbers = list(rig.drive_outputs.values())
    if not numbers or min(numbers) < 1 or len(set(numbers)) < len(numbers):
        said = ", ".join(f"{name} = {number}" for name, number in rig.drive_outputs.items()) or "nothing"
        raise RigError(
            "drive_outputs names no channels of the generator, or one twice.",
            why=f"it says {said}",
            hint="Count the interface's outputs from 1 and give each amplifier output its own: { A = 1, B = 2 }.",
        )
    return rig


def _inputs(bench: Bench) -> int:
    numbers = [channel.input for channel in bench.channels if isinstance(channel.input, int)]
    if not numbers:
        raise RigError(
            f'The bench "{bench.name}" records nothing through the audio interface.',
            why="none of its [[channels]] has a number as input",
            hint="Count the interface's inputs from 1: input = 1.",
        )
    return max(numbers)


def _deaf(drive: Drive) -> RigError:
    return RigError(
        "No recorded track hears this drive, so that it could not be found in time.",
        why=f"it drives output {', '.join(drive.outputs) or 'none'}; the bench file has no channel with the role "
        "drive_voltage, and none with the role load_voltage for such an output",
        hint="Record the load voltage of each driven output, or better the drive itself as well.",
    )


def _lost(losses: tuple[str, ...], at_s: float) -> CaptureFailedError:
    return CaptureFailedError(
        "The sound system has lost samples.",
        why=f"It says: {', '.join(losses)}, {at_s:.2f} s after the first block.",
        hint="Take it again. If it happens often: close other programs, connect the interface to the computer itself, "
        "or write a larger latency_s under [rig].",
    )
