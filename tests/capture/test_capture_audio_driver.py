"""The audio driver over a scripted sound system: what is played, what is recorded, and all that goes wrong between."""

import threading
import time
from types import SimpleNamespace

import numpy as np
import pytest

from wattproof.bench import Bench, BenchChannel, Limits
from wattproof.bench.rig import RigSettings
from wattproof.capture import (
    Guard,
    RampDrive,
    SilentDrive,
    ToneDrive,
    audio,
    audio_devices,
    audio_stream,
    audio_watch,
    guard_tracks,
    take,
)
from wattproof.capture.audio import AudioRecorder, open_parts
from wattproof.capture.audio_devices import Device, choose, devices
from wattproof.errors import CaptureFailedError, RigError
from wattproof.plan import StepLimits

RATE_HZ = 48000.0
DELAY = 4410
SPEED = 4.0
"""So many times faster than a real one."""


class Flags:
    input_overflow = input_underflow = output_overflow = output_underflow = False


class ScriptedStream:
    """Plays into a loop of wires: input n hears output 1, later by a delay; what goes wrong is scripted."""

    def __init__(self, sound, kwargs):
        self.sound, self.kwargs, self.active, self.latency = sound, kwargs, False, (0.05, 0.05)
        self.played = [np.zeros((0, kwargs["channels"][1]))]
        self.first_loud, self.given = None, 0
        self._end = threading.Event()

    def start(self):
        self.active = True
        threading.Thread(target=self._run, daemon=True).start()

    def abort(self, ignore_errors=True):
        self._end.set()

    def close(self, ignore_errors=True):
        self.abort()
        self.active = False

    def _run(self):
        block, n_inputs = self.kwargs["blocksize"], self.kwargs["channels"][0]
        line = np.zeros(self.sound.delay)
        while not self._end.is_set():
            time.sleep(block / RATE_HZ / SPEED)
            recorded, line = line[:block], line[block:]
            out = np.empty((block, self.kwargs["channels"][1]), dtype=np.float32)
            tracks = np.column_stack([gain * recorded for gain in self.sound.gains[:n_inputs]]).astype(np.float32)
            flags = Flags()
            loud_for = None if self.first_loud is None else self.given - self.first_loud
            line = self.sound.fault(flags, line, loud_for)
            if line is None:
                return  # unplugged
            try:
                self.kwargs["callback"](tracks, out, block, None, flags)
            except self.sound.CallbackStop:
                self.active = False
                return
            if self.first_loud is None and abs(out).max() > 0.1:
                self.first_loud = self.given
            self.given += block
            self.played.append(out.copy())
            line = np.concatenate((line, out[:, 0].astype(float)))


class ScriptedSound:
    """A stand-in for the module that speaks to PortAudio."""

    class PortAudioError(Exception):
        pass

    class CallbackStop(Exception):  # noqa: N818 - the name is the module's own
        pass

    def __init__(self, *, delay=DELAY, gains=(0.5, 1.0), fault=None, refuse=()):
        self.delay, self.gains, self.refuse = delay, gains, refuse
        self.fault = fault or (lambda flags, line, loud_for: line)
        self.default = SimpleNamespace(device=(0, 0))
        self.streams = []

    def query_hostapis(self):
        return ({"name": "Wires", "devices": [0, 1]},)

    def query_devices(self, number):
        names = ["Boathouse card", "Other card"]
        return {"name": names[number], "max_input_channels": 2, "max_output_channels": 2}

    def get_portaudio_version(self):
        return (0, "PortAudio of wires")

    def _check(self, *, device, channels, dtype, samplerate):
        if samplerate in self.refuse:
            raise self.PortAudioError("Invalid sample rate")

    check_input_settings = check_output_settings = _check

    def Stream(self, **kwargs):  # noqa: N802 - the name is the module's own
        self._check(device=0, channels=0, dtype="", samplerate=kwargs["samplerate"])
        self.streams.append(ScriptedStream(self, kwargs))
        return self.streams[-1]


def bench_with(*roles, device="Boathouse card", **rig):
    channels = tuple(BenchChannel(input=n, role=role) for n, role in enumerate(roles, start=1))
    settings = {"kind": "audio", "device": device, "sample_rate_hz": RATE_HZ, "drive_v_full_scale": 2.0, **rig}
    return Bench(channels=channels, limits=Limits(), rig=RigSettings(**settings))


BLOCK = 480
BOTH = ("load_voltage", "drive_voltage")


@pytest.fixture
def card(monkeypatch):
    monkeypatch.setattr(audio_stream, "STEADY_S", 0.05)
    # this test's own slowness on a busy machine is not what is tested
    monkeypatch.setattr(audio_watch, "CHECK_IN_S", 5.0)
    monkeypatch.setattr(take, "BEHIND_S", 100.0)
    recorders = []

    def put(*, roles=BOTH, bench=None, **how):
        sound = ScriptedSound(**how)
        monkeypatch.setattr(audio, "portaudio", lambda: sound)
        recorders.append(AudioRecorder(bench or bench_with(*roles)))
        return recorders[-1], sound

    yield put
    for recorder in recorders:
        recorder.close()


def tone(seconds=0.5, level_v_rms=0.7, tone_hz=997.0, outputs=("A",)):
    return ToneDrive(level_v_rms=level_v_rms, seconds=seconds, tone_hz=tone_hz, outputs=outputs, rate_hz=RATE_HZ)


def guard(recorder, **limits):
    tracks = guard_tracks(bench_with(*BOTH), recorder.channels)
    return Guard(tracks=tracks, limits=StepLimits(**limits), rate_hz=RATE_HZ, tone_hz=997.0)


def taken(recorder, drive, watch=None, *, on_trip=lambda: None, each=lambda block: None):
    play = recorder.play(drive, watch or guard(recorder), on_trip=on_trip)
    blocks = []
    with play:
        for block in play:
            blocks.append(block)
            each(block)
    return play, blocks


@pytest.mark.parametrize("delay", [480, 4410, 4873, 40_001])
def test_the_record_begins_with_the_drive_whatever_the_delay(card, delay):
    recorder, _ = card(delay=delay)
    play, blocks = taken(recorder, tone())
    assert play.trip is None
    assert play.delay_samples == pytest.approx(delay, abs=1e-3)
    assert [block.start for block in blocks] == [0, *np.cumsum([len(block.samples) for block in blocks])[:-1]]
    record = np.concatenate([block.samples for block in blocks])
    assert record.shape[1] == 2
    assert len(record) >= round(0.499 * RATE_HZ)
    volts = tone().block(len(record))[0]
    assert np.array_equal(record[:, 1], (volts / 2.0).astype(np.float32))
    assert np.array_equal(record[:, 0], (0.5 * (volts / 2.0).astype(np.float32)).astype(np.float32))


def test_without_a_track_of_the_drive_the_output_tells_the_delay_even_upside_down(card):
    recorder, _ = card(gains=(-0.02, 0.0), roles=("load_voltage", "supply_voltage"))
    play, blocks = taken(recorder, tone(), guard(recorder))
    record = np.concatenate([block.samples for block in blocks])
    assert play.delay_samples == pytest.approx(DELAY, abs=1e-3)
    assert play.heard.likeness < 0
    assert record[:, 0] == pytest.approx(-0.02 * tone().block(len(record))[0] / 2.0, abs=1e-7)


def test_where_nothing_is_heard_nothing_is_driven_and_the_error_says_where_to_look(card):
    recorder, sound = card(gains=(1.0, 0.0))
    with pytest.raises(RigError, match="not heard") as caught:
        taken(recorder, tone())
    assert "drive voltage (input 2)" in caught.value.why
    assert "drive_outputs" in caught.value.hint
    assert max(abs(block).max(initial=0.0) for block in sound.streams[0].played) <= 0.01 * (1 + 1e-6)  # 20 mV of 2 V


def test_silence_needs_no_track_that_hears_it(card):
    recorder, _ = card(gains=(0.0, 0.0))
    silence = SilentDrive(seconds=0.3, outputs=("A",), rate_hz=RATE_HZ)
    play, blocks = taken(recorder, silence)
    assert sum(len(block.samples) for block in blocks) >= 0.3 * RATE_HZ
    assert play.delay_samples is None
    _, blocks = taken(recorder, SilentDrive(seconds=0.3, outputs=(), rate_hz=RATE_HZ))
    assert sum(len(block.samples) for block in blocks) >= 0.3 * RATE_HZ


def test_a_drive_that_no_track_can_hear_is_refused_before_anything_is_opened(card):
    recorder, sound = card(roles=("supply_voltage", "supply_current"))
    with pytest.raises(RigError, match="No recorded track hears"):
        recorder.play(tone(), guard(recorder), on_trip=lambda: None)
    assert sound.streams == []


AT = 9600
"""The fault comes so many samples into the drive."""


def once(do):
    """Do something to the wires at the first block past `AT` samples of drive."""
    done = []

    def fault(flags, line, loud_for):
        if loud_for is None or loud_for < AT or done:
            return line
        done.append(True)
        return do(flags, line)

    return fault


def lost(flags, line):
    return line[37:]


def gap(flags, line):
    return np.concatenate((np.zeros(480), line))


def zeroed(flags, line):
    return np.concatenate((line[:100], np.zeros(480), line[580:]))


def doubled(flags, line):
    return np.concatenate((line[:480], line))


@pytest.mark.parametrize("do", [lost, gap, zeroed, doubled])
def test_samples_lost_or_repeated_make_the_capture_fail_and_are_located(card, do):
    recorder, _ = card(fault=once(do))
    with pytest.raises(CaptureFailedError, match="lost or repeated") as caught:
        taken(recorder, tone())
    assert "near 0." in caught.value.why
    assert "drive voltage (input 2)" in caught.value.why


def test_a_whole_cycle_that_is_lost_is_told_by_the_second_marker(card):
    def cycle(flags, line):
        return line[480:]

    recorder, _ = card(fault=once(cycle))
    with pytest.raises(CaptureFailedError) as caught:
        taken(recorder, tone(tone_hz=1000.0))
    assert "the marker after the drive comes 480 samples sooner" in caught.value.why


@pytest.mark.parametrize("flag", ["input_overflow", "output_underflow", "input_underflow"])
def test_a_flag_makes_the_capture_fail_though_no_sample_shows_it(card, flag):
    def say(flags, line):
        setattr(flags, flag, True)
        return line

    recorder, sound = card(fault=once(say))
    with pytest.raises(CaptureFailedError) as caught:
        taken(recorder, tone(seconds=5.0))
    assert flag.replace("_", " ") in caught.value.why
    assert loud_samples(sound) < AT + 4 * 480 + 0.3 * RATE_HZ


def loud_samples(sound):
    """Samples from the drive's first to the last that is not silent."""
    out = np.concatenate([block[:, 0] for block in sound.streams[-1].played])
    loud = np.flatnonzero(abs(out) > 0.011)
    return loud[-1] - loud[0] + 1 if len(loud) else 0


def test_flags_of_the_first_blocks_are_normal(card):
    calls = []

    def early(flags, line, loud_for):
        calls.append(1)
        flags.input_underflow = len(calls) < 20
        return line

    recorder, _ = card(fault=early)
    play, blocks = taken(recorder, tone())
    assert play.trip is None
    assert blocks


def test_a_stream_that_never_runs_steadily_is_not_driven(card, monkeypatch):
    monkeypatch.setattr(audio_stream, "PATIENCE_S", 0.3)

    def always(flags, line, loud_for):
        flags.output_underflow = True
        return line

    recorder, sound = card(fault=always)
    with pytest.raises(CaptureFailedError, match="steadily"):
        taken(recorder, tone())
    assert loud_samples(sound) == 0
    recorder, _ = card(fault=lambda flags, line, loud_for: None)
    with pytest.raises(RigError, match="silent"):
        taken(recorder, tone())


def test_a_trip_fades_within_a_block_and_5_ms_of_the_block_that_showed_it(card):
    recorder, sound = card()
    rising = RampDrive(
        start_v_rms=0.1, ceiling_v_rms=1.4, fast_db_per_s=10, slow_db_per_s=2, seconds_max=3, tone_hz=997.0,
        outputs=("A",), rate_hz=RATE_HZ,
    )  # fmt: skip
    told = []
    watch = guard(recorder, load_voltage_v=0.15)
    play, blocks = taken(recorder, rising, watch, on_trip=lambda: told.append(1))
    assert play.trip.code == "load-voltage"
    assert told == [1]
    record = np.concatenate([block.samples for block in blocks])
    assert abs(record[play.trip.sample, 0]) > 0.15
    assert abs(record[: play.trip.sample, 0]).max() <= 0.15
    assert play.trip.at_s == pytest.approx(play.trip.sample / RATE_HZ)
    assert watch.tripped == play.trip
    around = watch.around()
    overlap = record[max(around.start, 0) :]
    assert np.array_equal(around.samples[max(-around.start, 0) :][: len(overlap)], overlap)
    # the offending sample is heard a delay after it was played; then its block, the fade, and the block it falls into
    assert loud_samples(sound) <= play.trip.sample + DELAY + BLOCK + 0.005 * RATE_HZ + BLOCK


def test_a_frozen_conductor_leaves_silence(card, monkeypatch):
    monkeypatch.setattr(audio_watch, "CHECK_IN_S", 0.1)
    recorder, sound = card()
    slept = []

    def freeze(block):
        if block.start > 2000 and not slept:
            slept.append(1)
            time.sleep(0.6)

    play, _ = taken(recorder, tone(seconds=20.0), each=freeze)
    assert play.trip.code == "conductor-silent"
    assert loud_samples(sound) < (0.1 + 0.6) * SPEED * RATE_HZ


def test_an_unplugged_interface_stalls_and_trips(card):
    recorder, _ = card(fault=once(lambda flags, line: None))
    told = []
    began_s = time.monotonic()
    play, _ = taken(recorder, tone(seconds=5.0), on_trip=lambda: told.append(1))
    assert play.trip.code == "stream-stalled"
    assert told
    assert time.monotonic() - began_s < 3.0


def test_leaving_early_fades_and_lets_go_of_the_interface(card):
    recorder, sound = card()
    play = recorder.play(tone(seconds=20.0), guard(recorder), on_trip=lambda: None)
    with play:
        for block in play:
            if block.start > 4000:
                break
    assert not sound.streams[0].active
    out = np.concatenate([block[:, 0] for block in sound.streams[0].played])
    assert abs(out[-1]) < 1e-3
    steps = abs(np.diff(out))
    assert steps.max() < 1.2 * 2 * np.pi * 997 / RATE_HZ * 0.7 * np.sqrt(2) / 2.0  # no steeper than the tone: no click


def test_closing_the_recorder_in_the_middle_fades_as_well(card):
    recorder, sound = card()
    with recorder.play(tone(seconds=20.0), guard(recorder), on_trip=lambda: None) as play:
        for block in play:
            if block.start > 4000:
                recorder.close()
                recorder.close()
                break
    out = np.concatenate([block[:, 0] for block in sound.streams[0].played])
    assert not sound.streams[0].active
    assert abs(out[-1]) < 1e-3


def test_a_drive_that_breaks_is_faded_and_told(card):
    class Broken(ToneDrive):
        def block(self, n_samples):
            if self._next > 4000:
                raise OSError("the file is gone")
            return super().block(n_samples)

    recorder, _ = card()
    drive = Broken(level_v_rms=0.7, seconds=5.0, tone_hz=997.0, outputs=("A",), rate_hz=RATE_HZ)
    with pytest.raises(OSError, match="the file is gone"):
        taken(recorder, drive)


def test_more_than_full_scale_is_refused(card):
    recorder, sound = card()
    with pytest.raises(RigError, match="more than the generator gives"):
        taken(recorder, tone(level_v_rms=1.6))
    assert max(abs(block).max(initial=0.0) for block in sound.streams[0].played) <= 1.0


def test_each_output_is_driven_by_its_channel(card):
    bench = bench_with(*BOTH, drive_outputs={"A": 2, "B": 1})
    recorder, sound = card(bench=bench, gains=(0.5, 0.0))
    with pytest.raises(RigError, match="not heard"):
        taken(recorder, tone(outputs=("A",)))
    marks = [np.abs(column).max() for column in np.concatenate(sound.streams[0].played).T]
    assert marks[0] == 0
    assert marks[1] == pytest.approx(0.01, rel=1e-3)
    with pytest.raises(RigError, match="cannot be driven"):
        recorder.play(tone(outputs=("C",)), guard(recorder), on_trip=lambda: None)


# --- finding the interface ----------------------------------------------------------------------------------------


def test_the_check_tells_what_there_is_and_all_that_is_wrong(card, monkeypatch):
    recorder, _ = card()
    found = recorder.check()
    assert found.state == "good"
    assert [part.part for part in found.inside] == ["PortAudio", "device", "inputs", "outputs"]
    assert '"Boathouse card"' in found.inside[1].said
    recorder, _ = card(refuse=(RATE_HZ,))
    found = recorder.check()
    assert found.state == "failed"
    assert [part.state for part in found.inside] == ["good", "good", "failed", "failed"]
    assert "44100, 88200, 96000" in found.inside[2].why
    recorder, _ = card(bench=bench_with(*BOTH, device="no such card"))
    assert "Boathouse card" in recorder.check().inside[1].why

    def missing():
        raise RigError("PortAudio is missing.", why="not found", hint="Install it.")

    monkeypatch.setattr(audio, "portaudio", missing)
    assert recorder.check().inside[0].state == "failed"


def test_a_refused_stream_is_told_in_words(card):
    recorder, _ = card(refuse=(RATE_HZ,))
    with pytest.raises(RigError, match="cannot be opened") as caught:
        recorder.play(tone(), guard(recorder), on_trip=lambda: None)
    assert "Invalid sample rate" in caught.value.why


def test_portaudio_that_is_not_installed_is_told_with_what_to_install(monkeypatch):
    import builtins

    whole = builtins.__import__

    def without(name, *rest, **more):
        if name == "sounddevice":
            raise OSError("PortAudio library not found")
        return whole(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(RigError, match="PortAudio is missing") as caught:
        audio_devices.portaudio()
    assert "libportaudio2" in caught.value.hint


def there(*rows):
    return tuple(Device(number=n, name=a, system=b, inputs=c, outputs=d) for n, (a, b, c, d) in enumerate(rows))


MANY = there(
    ("Boathouse card", "One", 4, 2),
    ("Boathouse card", "Two", 4, 2),
    ("Boathouse card, line", "Three", 4, 0),
    ("Boathouse card, line", "Three", 0, 2),
    ("Kopfhörer", "One", 0, 2),
)


@pytest.mark.parametrize(
    ("wanted", "numbers"),
    [
        (0, (0, 0)),
        (1, (1, 1)),
        ("boathouse card (two)", (1, 1)),
        ("Boathouse card, line", (2, 3)),
        ("line", (2, 3)),
    ],
)
def test_a_device_is_chosen_by_number_name_and_system(wanted, numbers):
    pair = choose(MANY, wanted, inputs=4, outputs=2)
    assert (pair.recorder.number, pair.player.number) == numbers


@pytest.mark.parametrize(
    ("wanted", "message"),
    [
        ("Boathouse card", "There are 2 devices"),
        ("net loft", "There is no audio interface 'net loft'"),
        (9, "There is no audio interface 9"),
        (4, "too few channels"),
        (None, "There is no usual audio interface"),
    ],
)
def test_what_cannot_be_chosen_is_told_with_what_there_is(wanted, message):
    with pytest.raises(RigError, match=message) as caught:
        choose(MANY, wanted, inputs=4, outputs=2)
    assert 'Boathouse card" (Two, 4 in, 2 out)' in caught.value.why


def test_no_devices_at_all_are_told():
    with pytest.raises(RigError) as caught:
        choose((), None, inputs=1, outputs=1)
    assert "none at all" in caught.value.why


@pytest.mark.parametrize("raw", [b"Lautsprecher/Kopfh\xf6rer", b"\xc2\xb6\xc1\xf8", b"\x97"])
def test_a_name_in_an_odd_code_page_hides_no_other(raw):
    class Odd(ScriptedSound):
        def query_devices(self, number):
            if number == 0:
                raw.decode("utf-8" if raw != b"\xc2\xb6\xc1\xf8" else "ascii")
            return super().query_devices(number)

    found = devices(Odd())
    assert [device.number for device in found] == [0, 1]
    assert found[1].name == "Other card"
    found[0].words.encode("utf-8")
    assert choose(found, "other", inputs=2, outputs=2).recorder.number == 1


@pytest.mark.parametrize(
    ("bench", "message"),
    [
        (Bench(), "has no rig"),
        (bench_with(), "records nothing"),
        (bench_with(*BOTH, drive_outputs={}), "drive_outputs"),
        (bench_with(*BOTH, drive_outputs={"A": 0}), "drive_outputs"),
        (bench_with(*BOTH, drive_outputs={"A": 1, "B": 1}), "drive_outputs"),
    ],
)
def test_a_bench_that_is_no_audio_rig_is_refused(bench, message, tmp_path):
    with pytest.raises(RigError, match=message):
        open_parts(bench, tmp_path)
