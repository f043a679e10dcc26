"""Real captures beside the project: a power amplifier's figures, and every file answered or refused."""

import json
from math import log10
from pathlib import Path

import pytest

CAPTURES = Path(__file__).parents[3] / "shared" / "data" / "captures"
pytestmark = [
    pytest.mark.shared,
    pytest.mark.skipif(not CAPTURES.is_dir(), reason="the shared captures are not beside this project"),
]
AMPLIFIER = "scope_two_row_header_power_amp_1khz.csv"
REFUSED = {"frequency_response_not_a_capture.csv", "network_trace_quoted_hash_not_a_capture.csv",
           "scope_settings_sidecar_not_a_capture.txt"}  # fmt: skip
NEEDS_ANSWER = {"converter_current_v5.mat"}


def test_the_power_amplifier_s_gain_distortion_and_power(run):
    words = ("--channel", "load_voltage=2", "--channel", "drive_voltage=1", "--load-ohm", "4", "--json")
    ran = run("measure", CAPTURES / AMPLIFIER, *words)
    assert (ran.status, ran.err) == (0, "")
    figures = {figure["name"]: figure for figure in json.loads(ran.out)["captures"][0]["figures"]}
    assert 20 * log10(figures["gain"]["value"]) == pytest.approx(25.68, abs=0.01)
    thd = figures["thd_f"]
    assert abs(thd["value"] - 0.0045) <= thd["k95"] * thd["u"]
    assert thd["u"] < 0.001
    assert figures["load_power_v2r"]["value"] == pytest.approx(9.53, rel=0.002)
    assert figures["load_power_v2r"]["conditions"]["load_ohm"] == 4.0


@pytest.mark.parametrize("name", sorted(p.name for p in CAPTURES.iterdir()) if CAPTURES.is_dir() else [])
def test_every_file_is_answered_or_refused_with_a_reason(run, name):
    if name in {"INDEX.md", "expected.json"}:
        pytest.skip("tells of the captures, is none")
    ran = run("read", CAPTURES / name, "--json")
    expected = json.loads((CAPTURES / "expected.json").read_text(encoding="utf-8")).get(name, {})
    if ran.status:
        error = json.loads(ran.err)["error"]
        assert (ran.status, ran.out) == (2, "")
        assert error["why"]
        assert error["hint"]
        assert (error["code"], name) in {("not-a-waveform", name), ("needs-answer", name)}
        assert name in (NEEDS_ANSWER if error["code"] == "needs-answer" else REFUSED)
    else:
        assert name not in REFUSED
        (file,) = json.loads(ran.out)["files"]
        assert file["samples"] > 0
        if expected.get("fs"):
            assert file["sample_rate_hz"] == pytest.approx(expected["fs"], rel=1e-3)
