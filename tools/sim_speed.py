"""How fast the simulated bench runs: seconds of computing for a second of a recording, for each amplifier.

    python tools/sim_speed.py [--seconds 2] [--block-s 0.01]

Nothing here is a test: a busy machine gives other numbers. The best of three runs counts, in processor time.
"""

import argparse
from time import process_time

import numpy as np

from wattproof.bench import parse_bench
from wattproof.sim.collection import COLLECTION, FOLDER
from wattproof.sim.simulated_bench import SimulatedBench

PROMISED = 0.15
"""For one output and five tracks at 48 kHz."""


def ready(name: str, rate_hz: float) -> SimulatedBench:
    """Switch an amplifier on, with the middle one of its loads."""
    text = (FOLDER / name / "bench.toml").read_text(encoding="utf-8")
    bench = parse_bench(text.replace("sample_rate_hz = 48000", f"sample_rate_hz = {rate_hz:g}"), file="bench.toml")
    simulated = SimulatedBench(bench)
    simulated.use_load(bench.loads[len(bench.loads) // 2])
    simulated.supply_set(14.4, None)
    simulated.supply_switch(True)
    simulated.begin_play()
    return simulated


def cost(simulated: SimulatedBench, level_v_rms: float, seconds: float, block_s: float) -> float:
    """Seconds of computing for each second recorded."""
    n_block = round(block_s * simulated.rate_hz)
    times_s = np.arange(round(seconds * simulated.rate_hz)) / simulated.rate_hz
    drive_v = np.tile(np.sqrt(2) * level_v_rms * np.sin(2 * np.pi * 47 * times_s), (len(simulated.outputs), 1))
    best = np.inf
    for _ in range(3):
        start = process_time()
        for at in range(0, drive_v.shape[1], n_block):
            simulated.turn(drive_v[:, at : at + n_block])
        best = min(best, process_time() - start)
    return float(best / seconds)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=2.0)
    parser.add_argument("--block-s", type=float, default=0.01)
    given = parser.parse_args()
    print(f"{'amplifier':<16}{'outputs':>8}{'tracks':>8}{'rate':>8}{'idle':>8}{'clean':>8}{'clipped':>8}   s per s")
    for name in COLLECTION:
        for rate_hz in (48000.0, 96000.0):
            simulated = ready(name, rate_hz)
            found = [cost(simulated, level, given.seconds, given.block_s) for level in (0.0, 1.0, 1.8)]
            numbers = "".join(f"{one:8.3f}" for one in found)
            note = "   OVER" if len(simulated.outputs) == 1 and rate_hz == 48000 and max(found) > PROMISED else ""
            print(f"{name:<16}{len(simulated.outputs):>8}{simulated.n_tracks:>8}{rate_hz:>8.0f}{numbers}{note}")


if __name__ == "__main__":
    main()
