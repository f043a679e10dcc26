"""Every file is read, told apart and measured once, whatever stands beside it; the answers keep the files' order."""

from collections import Counter

import numpy as np
import pytest
import soundfile

from wattproof import tasks
from wattproof.testing import Recorder, burst_train, clipped_ramp, steady_tone

BENCH = """\
name = "B"

[[channels]]
input = 1
role = "load_voltage"
full_scale = 1000

[[loads]]
name = "4 ohm"
resistance_ohm = 4.0
"""


@pytest.fixture
def day(tmp_path):
    """A burst before the ramp that tells its steady power, and a steady tone."""
    made = {
        "burst.wav": burst_train(recorder=Recorder(rate_hz=24_000, seconds=2.0)),
        "ramp.wav": clipped_ramp(tone_hz=97.0, slope_db_per_s=20.0, recorder=Recorder(rate_hz=24_000, seconds=1.5)),
        "steady.wav": steady_tone(recorder=Recorder(rate_hz=24_000, seconds=0.5)),
    }
    for name, capture in made.items():
        volts = np.asarray(capture.recording.read().samples[0])
        soundfile.write(tmp_path / name, volts, 24_000, subtype="DOUBLE")
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")
    return tmp_path, list(made)


@pytest.mark.parametrize("turn", [1, -1])
def test_a_day_is_measured_once_a_file_in_the_order_given(day, monkeypatch, turn):
    folder, names = day
    names = names[::turn]
    counted = Counter()

    def counting(where, name):
        inner = getattr(where, name)

        def count(*given, **options):
            counted[name] += 1
            return inner(*given, **options)

        monkeypatch.setattr(where, name, count)

    from wattproof.measure import door
    from wattproof.tasks import measuring

    counting(measuring, "open_recording")
    counting(measuring, "level_course")
    counting(measuring, "measure_capture")
    counting(door, "level_course")
    found = tasks.measure(
        [folder / name for name in names], bench=folder / "bench.toml", wishes=tasks.Wishes(load="4 ohm")
    )
    assert [capture.file for capture in found.captures] == names
    assert [f"{capture.kind}.wav" for capture in found.captures] == names
    assert counted == {"open_recording": 3, "level_course": 3, "measure_capture": 3}
    burst = found.captures[names.index("burst.wav")]
    assert burst.figure("burst_headroom") is not None


def test_a_kind_that_is_named_needs_no_course_but_for_silence(day, monkeypatch):
    folder, _ = day
    monkeypatch.setattr("wattproof.tasks.measuring.level_course", lambda record: pytest.fail("the kind was named"))
    wishes = tasks.Wishes(load="4 ohm", kind="burst", steady_power_w=50.0)
    (found,) = tasks.measure([folder / "burst.wav"], bench=folder / "bench.toml", wishes=wishes).captures
    assert found.figure("burst_headroom") is not None
