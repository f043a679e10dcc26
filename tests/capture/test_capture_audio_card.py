"""The audio driver on real PortAudio, full duplex at 96 kHz, through a sound card of wires."""

import importlib.util
from pathlib import Path

import pytest

SCRIPT = Path(__file__).with_name("virtual_card.py")
RATE_HZ = 96000
BLOCK = 960
HOST_S = 0.2
"""The sound system asks for its blocks in bunches of up to so much, seconds."""


ALONE, TOGETHER = "ramp", ("trip", "frozen", "gone", "muted")
"""The exact one is played first and by itself; the others need not be exact and wait more than they work."""


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    spec = importlib.util.spec_from_file_location("wattproof_virtual_card", SCRIPT)
    cards = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(cards)
    lacking = cards.VirtualCards.lacking()
    if lacking:
        pytest.skip(lacking)
    running = cards.VirtualCards(tmp_path_factory.mktemp("cards"), (ALONE, *TOGETHER))
    try:
        if not running.ready(TOGETHER[-1]):
            pytest.skip("the sound server does not start on this machine")
        exact = cards.found_by(running.begin(ALONE))
        begun = {name: running.begin(name) for name in TOGETHER}
        yield {ALONE: exact, **{name: cards.found_by(play) for name, play in begun.items()}}
    finally:
        running.close()


def test_a_ramp_comes_back_bit_by_bit(found):
    found = found["ramp"]
    assert found["check"] == "good"
    assert found["exact"], found
    assert found["trip"] is None
    assert found["samples"] >= 0.99 * RATE_HZ
    assert found["delay"] == pytest.approx(round(found["delay"]), abs=1e-3)
    assert found["likeness"] == pytest.approx(1, abs=1e-6)


def test_a_trip_silences_the_sink_within_its_block_and_the_fade(found):
    found = found["trip"]
    assert found["code"] == "load-voltage"
    assert found["before"] <= 4.0 < found["at_sample"]
    # what the guard sees was played one delay ago; then comes the rest of the bunch of blocks that showed it, and 5 ms
    assert found["loud"] <= found["sample"] + found["delay"] + HOST_S * RATE_HZ + 0.005 * RATE_HZ + BLOCK
    assert found["loud"] >= found["sample"]


def test_a_frozen_conductor_silences_the_sink(found):
    found = found["frozen"]
    assert found["code"] == "conductor-silent"
    assert 0 < found["loud"] <= 1000 + BLOCK + found["delay"] + (0.1 + 2 * HOST_S + 0.005) * RATE_HZ + 4 * BLOCK


def test_a_card_that_stops_is_told_as_a_stall(found):
    found = found["gone"]
    assert found["code"] == "stream-stalled"
    assert found["seconds"] < 5.0


def test_a_cut_wire_is_told_before_anything_is_driven(found):
    found = found["muted"]
    assert "not heard" in found["message"]
    assert "drive voltage (input 2)" in found["why"]
    assert "drive_outputs" in found["hint"]
