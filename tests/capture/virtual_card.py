"""Sound cards of wires: PulseAudio's null sinks under real PortAudio, and what is played through them.

PortAudio reads the sound system's settings once, when it is loaded: therefore every play runs in a Python of its own,
``python virtual_card.py NAME FOLDER``, in the environment of its own card, and prints what it found as a JSON object.
"""

import contextlib
import json
import os
import shutil
import subprocess
import sys
import time
from ctypes.util import find_library
from pathlib import Path

RATE_HZ = 96000
ATTEMPTS = 5
"""On a busy machine the driver reports that samples were lost, or nobody was quick enough to conduct; whoever conducts
takes such a capture again."""

SERVER = "load-module module-native-protocol-unix auth-anonymous=1 socket={socket}\n"
SINK = "load-module module-null-sink sink_name={name} rate=96000 channels=2 format=float32le\n"

DAEMON = """\
default-sample-format = float32le
default-sample-rate = 96000
alternate-sample-rate = 48000
avoid-resampling = yes
flat-volumes = no
exit-idle-time = -1
realtime-scheduling = no
high-priority = no
enable-shm = no
"""

CARD = """\
pcm.loop_out { type pulse device "NAME" }
pcm.loop_in { type pulse device "NAME.monitor" }
pcm.netloft { type asym playback.pcm "loop_out" capture.pcm "loop_in" hint { show on description "Net loft card" } }
"""

BENCH = """\
name = "Net loft bench"
[[channels]]
input = 1
role = "load_voltage"
scale = 20.0
[[channels]]
input = 2
role = "drive_voltage"
scale = 2.0
[rig]
kind = "audio"
device = "netloft"
sample_rate_hz = 96000
drive_outputs = { A = 1, B = 2 }
drive_v_full_scale = 2.0
"""


class VirtualCards:
    """A running sound server with a card for each play: its inputs hear its outputs.

    Parameters
    ----------
    folder : Path
        Of its own.
    names : sequence of str
        The plays.
    """

    def __init__(self, folder, names):
        self.folder = folder
        self.environment = {
            **os.environ,
            "XDG_RUNTIME_DIR": str(folder),
            "PULSE_CONFIG_PATH": str(folder),
            "PULSE_SERVER": f"unix:{folder / 'socket'}",
        }
        sinks = "".join(SINK.format(name=name) for name in names)
        (folder / "bench.pa").write_text(SERVER.format(socket=folder / "socket") + sinks, encoding="utf-8")
        (folder / "daemon.conf").write_text(DAEMON, encoding="utf-8")
        for name in names:
            (folder / name).mkdir()
            (folder / name / ".asoundrc").write_text(CARD.replace("NAME", name), encoding="utf-8")
        self._server = subprocess.Popen(
            ["pulseaudio", "-n", "-F", str(folder / "bench.pa"), "--daemonize=no", "--exit-idle-time=-1",
             "--use-pid-file=no", "--realtime=no", "--high-priority=no"],
            env={**self.environment, "HOME": str(folder)}, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip

    @staticmethod
    def lacking():
        """Say what this machine lacks for it, or nothing."""
        if find_library("portaudio") is None:
            return "PortAudio is not installed (libportaudio2)"
        missing = [name for name in ("pulseaudio", "pactl", "parec") if shutil.which(name) is None]
        return f"{', '.join(missing)} not installed (pulseaudio, pulseaudio-utils)" if missing else ""

    def ready(self, name):
        """Wait until the server answers and has a card."""
        for _ in range(100):
            with contextlib.suppress(OSError, subprocess.TimeoutExpired):
                told = subprocess.run(
                    ["pactl", "list", "short", "sinks"],
                    env=self.environment, capture_output=True, text=True, check=False, timeout=10,
                )  # fmt: skip
                if self._server.poll() is None and name in told.stdout:
                    return True
            time.sleep(0.05)
        return False

    def begin(self, name):
        """Begin one of the plays below, in a process of its own."""
        return subprocess.Popen(
            [sys.executable, __file__, name, str(self.folder / name)],
            env={**self.environment, "HOME": str(self.folder / name)},
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip

    def close(self):
        """End the server."""
        self._server.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._server.wait(timeout=5)
        if self._server.poll() is None:
            self._server.kill()
            self._server.wait(timeout=5)


def found_by(play):
    """Wait for a play, and give what it found."""
    try:
        out, errors = play.communicate(timeout=120)
    finally:
        play.kill()
    if play.returncode:
        raise RuntimeError(errors)
    return json.loads(out.splitlines()[-1])


# --- what is played, in a process of its own ------------------------------------------------------------------------


def recorder():
    from wattproof.bench import parse_bench
    from wattproof.capture.audio import open_parts

    return open_parts(parse_bench(BENCH, file="bench.toml"), Path()).recorder


def guard_for(card, **limits):
    from wattproof.bench import parse_bench
    from wattproof.capture import Guard, guard_tracks
    from wattproof.plan import StepLimits

    tracks = guard_tracks(parse_bench(BENCH, file="bench.toml"), card.channels)
    return Guard(tracks=tracks, limits=StepLimits(**limits), rate_hz=RATE_HZ, tone_hz=997.0)


def rising(seconds=1.0):
    from wattproof.capture import RampDrive

    return RampDrive(
        start_v_rms=0.05, ceiling_v_rms=1.4, fast_db_per_s=30, slow_db_per_s=2, seconds_max=seconds, tone_hz=997.0,
        outputs=("A", "B"), rate_hz=RATE_HZ,
    )  # fmt: skip


def played(card, make, *, watch=guard_for, each=lambda: lambda block: None, wanted=None):
    """Play as a conductor does: a capture that failed is taken again. Gives the take, its samples, the failures.

    `each` makes what is done at every block; `wanted` is the trip that is meant to come.
    """
    import numpy as np

    from wattproof.errors import CaptureFailedError

    failures = []
    while True:
        try:
            take = card.play(make(), watch(card), on_trip=lambda: None)
            at_block, samples = each(), [np.empty((0, 2))]
            with take:
                for block in take:
                    samples.append(block.samples)
                    at_block(block)
            if take.trip is None or take.trip.code in {wanted, None} or len(failures) + 1 == ATTEMPTS:
                return take, np.concatenate(samples), failures
            failures.append(take.trip.message)
        except CaptureFailedError as error:
            failures.append(error.why)
            if len(failures) == ATTEMPTS:
                raise


def play_ramp(folder):
    """A ramp through the loop, compared bit by bit."""
    import numpy as np

    card = recorder()
    take, record, failures = played(card, rising)
    wanted = (rising().block(len(record)) / 2.0).astype(np.float32).T
    return {
        "trip": None if take.trip is None else take.trip.code,
        "samples": len(record),
        "delay": take.delay_samples,
        "likeness": take.heard.likeness,
        "exact": bool(np.array_equal(record, wanted)),
        "failures": failures,
        "check": card.check().state,
    }


@contextlib.contextmanager
def sink_recorded(folder):
    """Keep what reaches the sink, by a program that is not ours."""
    with (folder / "sink.raw").open("wb") as file:
        parec = subprocess.Popen(
            ["parec", f"--device={folder.name}.monitor", "--format=float32le", "--rate=96000", "--channels=2",
             "--latency-msec=1500"], stdout=file,
        )  # fmt: skip
        try:
            time.sleep(0.3)
            yield
            time.sleep(2.2)  # what is on its way still comes
        finally:
            parec.terminate()
            parec.wait(timeout=5)


def loud_samples(folder):
    """Samples from the first to the last in the sink that is louder than the markers."""
    import numpy as np

    track = np.fromfile(folder / "sink.raw", dtype="<f4")[::2]
    loud = np.flatnonzero(abs(track) > 0.011)
    begins = np.flatnonzero(np.diff(loud, prepend=-RATE_HZ) > 0.1 * RATE_HZ)  # of the last play, if one was repeated
    return int(loud[-1] - loud[begins[-1]] + 1) if len(loud) else 0


def once(start, do):
    """Do something when the capture has come to a sample."""
    done = []

    def at_block(block):
        if block.start >= start and not done:
            done.append(1)
            do()

    return at_block


def freeze():
    time.sleep(1.5)


def play_trip(folder):
    """A ramp that runs into the guard."""
    card = recorder()
    with sink_recorded(folder):
        take, record, _ = played(
            card, lambda: rising(3.0), watch=lambda card: guard_for(card, load_voltage_v=4.0), wanted="load-voltage"
        )
    sample = take.trip.sample
    return {
        "code": take.trip.code,
        "sample": sample,
        "delay": take.delay_samples,
        "at_sample": float(abs(20.0 * record[sample, 0])),
        "before": float(abs(20.0 * record[:sample, 0]).max()),
        "loud": loud_samples(folder),
    }


def play_frozen(folder):
    """A conductor that freezes in the middle of a long ramp."""
    with sink_recorded(folder):
        take, _, _ = played(recorder(), lambda: rising(6.0), each=lambda: once(1000, freeze), wanted="conductor-silent")
    return {"code": take.trip.code, "delay": take.delay_samples, "loud": loud_samples(folder)}


def play_gone(folder):
    """The card stops in the middle, as an unplugged one does."""
    stopped = []

    def unplug():
        stopped.append(time.monotonic())
        subprocess.Popen(["pactl", "suspend-sink", folder.name, "1"])  # waiting for it would be silence of another kind

    try:
        take, _, _ = played(recorder(), lambda: rising(6.0), each=lambda: once(9600, unplug), wanted="stream-stalled")
        return {"code": take.trip.code, "seconds": time.monotonic() - stopped[-1]}
    finally:
        subprocess.run(["pactl", "suspend-sink", folder.name, "0"], check=True)


def play_muted(folder):
    """The wire from output to input is cut."""
    from wattproof.errors import RigError

    subprocess.run(["pactl", "set-source-mute", f"{folder.name}.monitor", "1"], check=True)
    try:
        played(recorder(), rising)
    except RigError as error:
        return {"message": error.message, "why": error.why, "hint": error.hint}
    finally:
        subprocess.run(["pactl", "set-source-mute", f"{folder.name}.monitor", "0"], check=True)
    return {"message": "it was heard"}


if __name__ == "__main__":
    PLAYS = {name.removeprefix("play_"): play for name, play in globals().items() if name.startswith("play_")}
    sys.stdout.write(json.dumps(PLAYS[sys.argv[1]](Path(sys.argv[2]))) + "\n")
