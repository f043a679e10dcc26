"""A conductor that freezes while the simulated bench breaks: the drive is silent without it, whatever breaks."""

import time
from pathlib import Path

import numpy as np
import pytest

from wattproof.bench import parse_bench
from wattproof.capture import CHECK_IN_S, FADE_S, Guard, ToneDrive, closest_limits, guard_tracks, open_rig
from wattproof.plan import StepLimits
from wattproof.sim.collection import FOLDER
from wattproof.sim.simulated_bench import SimulatedBench

FAULTS = (
    "open_load", "short_load", "dc", "supply_collapse", "supply_surge", "stall", "unplugged", "overheated",
    "clipped_input",
)  # fmt: skip
AT_S, FROZEN_FROM_S, LEVEL_V = 0.16, 0.12, 1.2
TONE_HZ = 97.0
SURE_S = {"dc": 0.12, "overheated": 0.12, "open_load": 0.012, "short_load": 0.012, "supply_collapse": 0.12}
"""What a mean over whole cycles, or a rail that has yet to fall, takes to pass its limit, seconds."""

GIVEN_UP_S = FROZEN_FROM_S + 2 * 0.01 + CHECK_IN_S
"""A conductor that froze then is given up here at the latest, seconds."""


@pytest.mark.parametrize("fault", FAULTS)
def test_the_drive_is_silent_a_block_and_five_milliseconds_after_each_fault(fault, monkeypatch):
    text = (FOLDER / "bittern-1" / "bench.toml").read_text(encoding="utf-8")
    text += f'paced = true\n[[rig.simulated.faults]]\nwhat = "{fault}"\nat_s = {AT_S}\n'
    bench = parse_bench(text, file="bench.toml")
    played = []
    turn = SimulatedBench.turn

    def listened(self, volts):
        played.append(volts[0].copy())
        return turn(self, volts)

    monkeypatch.setattr(SimulatedBench, "turn", listened)
    with open_rig(bench, operator=None, folder=Path()) as rig:
        rig.use_load(bench.load("4 ohm"))
        rig.supply_on(14.4)
        drive = ToneDrive(level_v_rms=LEVEL_V, seconds=2.0, tone_hz=TONE_HZ, outputs=("A",), rate_hz=rig.rate_hz)
        limits = closest_limits(StepLimits(), bench.limits)
        tracks = guard_tracks(bench, rig.channels)
        guard = Guard(tracks=tracks, limits=limits, rate_hz=rig.rate_hz, tone_hz=TONE_HZ, loads={"A": 4.03})
        with rig.play(drive, guard) as take:
            for block in take:
                if block.start >= FROZEN_FROM_S * rig.rate_hz:
                    time.sleep(0.5)  # frozen, through the fault and long after it
                    break
            told = guard.tripped
        block_s = len(played[0]) / rig.rate_hz
    volts = np.concatenate(played)
    assert np.abs(volts[: round(AT_S * rig.rate_hz)]).max() > LEVEL_V
    # the block that shows it is recorded while the next is made: one block and the fade after the offending sample
    latest_s = min(AT_S + SURE_S.get(fault, 0.0), GIVEN_UP_S) + block_s + FADE_S
    silent_from = round((latest_s + block_s) * rig.rate_hz)
    assert np.abs(volts[silent_from:]).max(initial=0.0) == 0.0
    if fault not in {"unplugged", "stall"}:  # no block comes any more, and nothing is played
        assert told is not None
