"""Recordings made into a session are measured with the imported ones; void ones and what is too short are told."""

import json

import numpy as np
import pytest

from wattproof import tasks
from wattproof.archive import Archive, Description
from wattproof.cli.show import show_sessions
from wattproof.waveform import Channel

RATE_HZ = 48_000.0
CHANNELS = (Channel(name="1", unit="FS", full_scale=1.0),)
BENCH = """name = "Boathouse bench"
[[channels]]
input = 1
role = "load_voltage"
scale = 40.0
scale_u = 0.001
[[loads]]
name = "4 ohm"
resistance_ohm = 4.0
resistance_u_ohm = 0.004
[[loads]]
name = "8 ohm"
resistance_ohm = 8.0
resistance_u_ohm = 0.008
"""


@pytest.fixture
def place(tmp_path):
    (tmp_path / "amplifier.toml").write_text('maker = "Saltmarsh & Daughter"\nmodel = "Bittern 1"\n')
    (tmp_path / "bench.toml").write_text(BENCH)
    made = tasks.session_new(tmp_path / "amplifier.toml", tmp_path / "bench.toml", archive=tmp_path / "archive")
    archive = Archive(tmp_path / "archive")
    return archive, archive.open_session(made.session)


def tone(seconds, peak=0.5):
    return np.round(peak * np.sin(2 * np.pi * 997 * np.arange(round(seconds * RATE_HZ)) / RATE_HZ) * 2**23) / 2**23


def take(place, *, step, seconds, load="4 ohm", kind="steady"):
    archive, session = place
    said = Description(step=f"{kind} {step}", kind=kind, load=load)
    writer = archive.begin_take(session, step=step, description=said, channels=CHANNELS, rate_hz=RATE_HZ)
    writer.write(tone(seconds)[:, None])
    return writer


def figures(place, **options):
    archive, session = place
    return tasks.session_figures(session.id, archive=archive.root, **options)


def codes(result):
    return {notice.code for notice in result.warnings}


def test_a_recording_is_measured_as_what_it_was_recorded_for(place):
    take(place, step=1, seconds=1.0, load="8 ohm").finish()
    (result,) = figures(place).captures
    assert (result.file, result.kind) == ("01-steady-1.flac", "steady")
    rms_v = 0.5 * 40 / np.sqrt(2)
    found = result.figure("load_voltage_rms")
    assert abs(found.value - rms_v) < found.k95 * found.u
    assert result.figure("load_power_v2r").value == pytest.approx(rms_v**2 / 8, rel=0.002)
    assert result.figure("load_power_v2r").conditions["load_ohm"] == 8.0


def test_what_a_dead_recorder_left_is_kept_and_measured_and_told(place):
    take(place, step=1, seconds=1.0).close()
    (result,) = figures(place).captures
    assert result.figure("load_voltage_rms") is not None
    assert "recording-cut-off" in codes(result)
    assert "after 1 s" in next(n.message for n in result.warnings if n.code == "recording-cut-off")


def test_what_is_too_short_to_be_measured_hides_nothing_else(place):
    take(place, step=1, seconds=1.0).finish()
    take(place, step=2, seconds=0.001).close()
    lines = []
    first, second = figures(place, tell=lines.append).captures
    assert first.figure("load_voltage_rms") is not None
    assert second.figures == ()
    assert codes(second) == {"recording-cut-off", "too-few-cycles"}
    assert any(line.startswith("02-steady-2: The recording ended after 0.001 s") for line in lines)
    archive, session = place
    assert archive.outdated(session, archive.read_figures(session)) == ()


def test_a_void_capture_has_no_figures_and_says_why(place):
    archive, session = place
    take(place, step=1, seconds=1.0).finish()
    take(place, step=2, seconds=0.5).finish()
    assert all(result.figures for result in figures(place).captures)
    archive.void_capture(session, 1, "the probe had slipped")
    first, second = figures(place).captures
    assert (first.figures, codes(first)) == ((), {"capture-void"})
    assert "the probe had slipped" in first.warnings[0].message
    assert second.figures
    told = json.loads(figures(place).to_json())["captures"][0]["warnings"]
    assert [notice["code"] for notice in told] == ["capture-void"]
    listed = tasks.session_list(archive=archive.root)
    assert [(line.captures, line.void) for line in listed.sessions] == [(2, 1)]
    assert show_sessions(listed).endswith("Saltmarsh & Daughter Bittern 1 (1 void)")


def test_a_void_capture_of_no_said_kind_is_told_and_left_out(place, tmp_path):
    archive, session = place
    take(place, step=1, seconds=1.0).finish()
    (tmp_path / "b.csv").write_text("t,v\n")
    archive.add_capture(session, tmp_path / "b.csv", Description(void="the cable was off"))
    lines = []
    assert len(figures(place, tell=lines.append).captures) == 1
    assert any("the cable was off" in line for line in lines)
    lines.clear()
    figures(place, tell=lines.append)
    assert lines == []  # nothing has changed, so nothing was measured


def test_adding_the_file_of_a_void_capture_again_leaves_it_void(place, tmp_path):
    archive, session = place
    take(place, step=1, seconds=1.0).finish()
    file = tmp_path / "again.flac"
    file.write_bytes(archive.original_path(session, archive.captures(session)[0]).read_bytes())
    archive.void_capture(session, 1, "the probe had slipped")
    kept = tasks.session_add(session.id, [file], archive=archive.root, step="steady 4 ohm")
    assert [capture.status for capture in kept.captures] == ["described anew"]
    assert archive.captures(session)[0].description.void == "the probe had slipped"


def test_adding_a_file_first_keeps_what_a_dead_recorder_left(place, tmp_path):
    archive, session = place
    take(place, step=1, seconds=0.5).close()
    archive.list_sessions()
    assert archive.captures(session) == ()  # listing changes nothing
    readings = tmp_path / "readings.csv"
    readings.write_text("load,frequency_hz,kind,load_voltage_v\n4 ohm,997,steady,14.1\n")
    tasks.session_add(session.id, [readings], archive=archive.root)
    assert [record.live and record.live.step for record in archive.captures(session)] == [1, None]


def test_a_recovery_that_the_disk_refuses_does_not_hide_the_figures(place, monkeypatch):
    take(place, step=1, seconds=1.0).finish()
    before = figures(place)
    take(place, step=2, seconds=1.0).close()
    from wattproof.archive import take_format

    def full(_folder, _wanted):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(take_format, "need_free", full)
    lines = []
    assert figures(place, tell=lines.append) == before
    assert "is not kept yet" in lines[0]
    assert "Free some space" in lines[0]
    monkeypatch.undo()
    assert len(figures(place).captures) == 2
