"""Speeds and sizes, each as a ratio against a plain library call on the same data; `make bench` runs it.

    python tools/bench.py [--minutes 10]

Nothing here is a test: a busy machine gives other numbers. Numbers promised stand beside those found.
"""

import argparse
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from time import perf_counter

import numpy as np
from bench_text import text_ratio


def best_s(work: Callable[[], object], repeats: int = 5) -> float:
    """Time the quickest of some runs, seconds."""
    times = []
    for _ in range(repeats):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return min(times)


def say(what: str, found: float, promised: float, unit: str = "x") -> None:
    print(
        f"{what:<78} {found:8.2f} {unit:<3} (at most {promised:g}){'' if found <= promised else '   OVER'}", flush=True
    )


def steady() -> None:
    """A 10 s, 4-channel, 96 kHz steady capture in memory: `measure` against one transform of the same samples."""
    from scipy.fft import rfft

    from wattproof.measure import lay_on_bench, measure
    from wattproof.testing import Harmonic, Recorder, steady_tone, workshop_wiring

    roles = ("load_voltage", "load_current", "supply_voltage", "supply_current")
    capture = steady_tone(
        tone_hz=47.0,
        harmonics=[Harmonic(3, 1e-3)],
        wiring=workshop_wiring(*roles),
        recorder=Recorder(rate_hz=96_000.0, seconds=10.0, noise_rms={"load_voltage": 1e-3, "load_current": 1e-4}),
    )

    def work() -> object:
        record, notices = lay_on_bench(capture.recording, bench=capture.bench, load=capture.bench.loads[0])
        return measure(record, notices=notices)

    work()
    plain, ours = best_s(lambda: rfft(capture.recording.waveform.samples), 15), best_s(work, 15)
    say(
        f"steady, 10 s x 4 channels x 96 kHz: measure {ours * 1e3:.0f} ms over rfft {plain * 1e3:.0f} ms",
        ours / plain,
        3,
    )


HOLD = """
import sys
from pathlib import Path
from time import perf_counter
from wattproof.measure import lay_on_bench, measure
from wattproof.readers import Answers, open_recording
from wattproof.bench import Bench
path, bench = Path(sys.argv[1]), Bench.model_validate_json(Path(sys.argv[2]).read_text())
start = perf_counter()
record, notices = lay_on_bench(open_recording(path, Answers()), bench=bench, load=bench.loads[0])
measure(record, notices=notices)
# the peak of this program alone: a child inherits the count of its parent in rusage
peak = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))
print(perf_counter() - start, float(peak.split()[1]) / 1024)
"""


def hold(minutes: float) -> None:
    """A long 8-channel hold from disk: `measure` against reading the file block by block, and its memory."""
    import soundfile

    from wattproof.testing import write_hold

    with tempfile.TemporaryDirectory() as folder:
        path, table = Path(folder) / "hold.wav", Path(folder) / "bench.json"
        _, bench = write_hold(path, seconds=60.0 * minutes)
        table.write_text(bench.model_dump_json(), encoding="utf-8")

        def plain() -> None:
            for _ in soundfile.blocks(path, blocksize=96_000, dtype="float32", always_2d=True):
                pass

        plain()
        reading = best_s(plain, 2)
        words = subprocess.run(
            [sys.executable, "-c", HOLD, str(path), str(table)], capture_output=True, text=True, check=True
        ).stdout.split()
    seconds, megabytes = float(words[0]), float(words[1])
    what = f"hold, {minutes:g} min x 8 channels x 96 kHz x 24 bit"
    say(f"{what}: measure {seconds:.1f} s over reading {reading:.1f} s", seconds / reading, 3)
    say(f"{what}: peak memory of the process", megabytes, 400, "MB")


def bound() -> None:
    """Scatter of frequency and amplitude over the Cramer-Rao bound, 500 records in noise."""
    from wattproof.dsp import fit_tone

    rng = np.random.default_rng(2031)
    rate_hz, n, sigma, tone_hz = 8000.0, 4000, 0.05, 47.3
    times_s = np.arange(n) / rate_hz
    clean = np.cos(2 * np.pi * tone_hz * times_s + 0.3) + 0.01 * np.cos(6 * np.pi * tone_hz * times_s)
    fits = [fit_tone(clean[None] + sigma * rng.standard_normal((1, n)), rate_hz=rate_hz) for _ in range(500)]
    bound_hz = np.sqrt(24 * sigma**2 / (n * (n**2 - 1))) * rate_hz / (2 * np.pi)
    spread_hz = float(np.std([fit.frequency_hz for fit in fits]))
    spread = float(np.std([abs(fit.phasors[0, 0]) for fit in fits]))
    say("frequency scatter over the Cramer-Rao bound", spread_hz / bound_hz, 1.1)
    say("amplitude scatter over the Cramer-Rao bound", spread / (sigma * np.sqrt(2 / n)), 1.1)


def first_help() -> None:
    program = Path(sys.executable).with_name("wattproof")
    say(
        "wattproof --help",
        best_s(lambda: subprocess.run([program, "--help"], capture_output=True, check=True)),
        0.4,
        "s",
    )


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--minutes", type=float, default=10.0, help="length of the hold")
    minutes = words.parse_args().minutes
    first_help()
    steady()
    bound()
    text_ratio()
    hold(minutes)


if __name__ == "__main__":
    main()
