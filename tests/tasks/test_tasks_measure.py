"""The library's front door on files: captures measured together share their doubts and what they know of each other."""

from datetime import date

import pytest
import soundfile

from wattproof import tasks
from wattproof.errors import ArchiveError, FileMissingError
from wattproof.quantity import correlation
from wattproof.testing import Recorder, burst_train, clipped_ramp, steady_tone, workshop_wiring

ROLES = ("load_voltage", "load_current")
BENCH = """\
name = "Boathouse bench"
[[channels]]
input = 1
role = "load_voltage"
scale = 42.0
scale_u = 0.002
[[channels]]
input = 2
role = "load_current"
scale = 30.0
scale_u = 0.003
[[loads]]
name = "2 ohm"
resistance_ohm = 2.0
"""


def write(path, capture):
    soundfile.write(path, capture.waveform.samples.T, round(capture.waveform.rate_hz), subtype="FLOAT")
    return path


@pytest.fixture(scope="module")
def bench_day(tmp_path_factory):
    folder = tmp_path_factory.mktemp("day")
    (folder / "bench.toml").write_text(BENCH, encoding="utf-8")
    (folder / "amplifier.toml").write_text(
        'maker = "Wren & Rook"\nmodel = "Sedge"\noutputs = ["A"]\n', encoding="utf-8"
    )
    wiring = workshop_wiring(*ROLES)
    ramp = clipped_ramp(limit_v=30.0, resistance_ohm=2.0, wiring=wiring, recorder=Recorder(seconds=0.75))
    burst = burst_train(load_v_rms=20.0, wiring=wiring, recorder=Recorder(seconds=3.5))
    steady = steady_tone(load_v_rms=10.0, resistance_ohm=2.0, wiring=wiring, recorder=Recorder(seconds=0.3))
    for name, capture in {"ramp.wav": ramp, "burst.wav": burst, "steady.wav": steady}.items():
        write(folder / name, capture)
    return folder, {"ramp": ramp.truth, "burst": burst.truth, "steady": steady.truth}


def measured(folder, *names, **wishes):
    return tasks.measure(
        [folder / name for name in names], bench=folder / "bench.toml", wishes=tasks.Wishes(load="2 ohm", **wishes)
    ).captures


def test_a_burst_s_headroom_is_over_the_power_of_a_ramp_beside_it_whatever_the_order(bench_day):
    folder, _ = bench_day
    for names in (("ramp.wav", "burst.wav"), ("burst.wav", "ramp.wav")):
        results = {result.file: result for result in measured(folder, *names)}
        assert list(results) == list(names)
        steady_w = results["ramp.wav"].figure("power_at_thd_1").value
        burst = results["burst.wav"]
        ratio = burst.figure("burst_power").value / steady_w
        assert burst.figure("burst_headroom").value == pytest.approx(ratio, rel=1e-6)


def test_a_burst_alone_takes_the_power_it_is_told_or_says_that_it_is_missing(bench_day):
    folder, _ = bench_day
    (told,) = measured(folder, "burst.wav", steady_power_w=150.0)
    assert told.figure("burst_headroom").value == pytest.approx(told.figure("burst_power").value / 150.0, rel=1e-6)
    (alone,) = measured(folder, "burst.wav")
    assert alone.figure("burst_headroom") is None
    assert "no-steady-power" in [notice.code for notice in alone.warnings]


def test_figures_of_one_calibration_stay_correlated_across_files(bench_day):
    folder, truth = bench_day
    steady, ramp = measured(folder, "steady.wav", "ramp.wav")
    power, other = steady.figure("load_power"), ramp.figure("power_at_thd_1")
    assert power.value == pytest.approx(truth["steady"].load_power_w, rel=2e-5)
    assert correlation(power, other) > 0.9
    assert correlation(power, power) == pytest.approx(1.0)
    assert correlation(power, steady.figure("fundamental_frequency")) == pytest.approx(0.0, abs=1e-6)


def test_the_kind_that_is_named_wins(bench_day):
    folder, _ = bench_day
    (result,) = measured(folder, "ramp.wav", kind="steady")
    assert result.kind == "steady"
    assert "unsteady-tone" in [notice.code for notice in result.warnings]


def test_an_unnamed_load_among_several_is_mentioned(bench_day, tmp_path):
    folder, _ = bench_day
    bench = tmp_path / "two.toml"
    bench.write_text(BENCH + '[[loads]]\nname = "4 ohm"\nresistance_ohm = 4.0\n', encoding="utf-8")
    (result,) = tasks.measure([folder / "steady.wav"], bench=bench).captures
    (notice,) = [notice for notice in result.warnings if notice.code == "load-not-named"]
    assert "2 ohm, 4 ohm" in notice.message


def test_captures_of_one_name_are_told_apart_in_a_session(bench_day, tmp_path):
    folder, truth = bench_day
    root = tmp_path / "archive"
    other = tmp_path / "other"
    other.mkdir()
    louder = steady_tone(
        load_v_rms=15.0, resistance_ohm=2.0, wiring=workshop_wiring(*ROLES), recorder=Recorder(seconds=0.3)
    )
    write(other / "steady.wav", louder)
    made = tasks.session_new(folder / "amplifier.toml", folder / "bench.toml", archive=root)
    tasks.session_add(made.session, [folder / "steady.wav"], archive=root)
    tasks.session_add(made.session, [other / "steady.wav"], archive=root)
    captures = tasks.session_figures(made.session, archive=root).captures
    powers = [capture.figure("load_power").value for capture in captures]
    assert powers == [
        pytest.approx(truth["steady"].load_power_w, rel=2e-5),
        pytest.approx(louder.truth.load_power_w, rel=2e-5),
    ]
    assert len({capture.file for capture in captures}) == 2


def test_what_was_said_when_a_capture_was_added_is_used_when_it_is_measured(bench_day, tmp_path):
    folder, _ = bench_day
    root = tmp_path / "archive"
    made = tasks.session_new(folder / "amplifier.toml", folder / "bench.toml", archive=root)
    wishes = tasks.Wishes(load="2 ohm", thd_percent=(2.0,), high_hz=15_000.0)
    tasks.session_add(made.session, [folder / "ramp.wav"], archive=root, wishes=wishes)
    (kept,) = tasks.session_figures(made.session, archive=root).captures
    (direct,) = measured(folder, "ramp.wav", thd_percent=(2.0,), high_hz=15_000.0)
    assert {f.name: (f.value, f.u) for f in kept.figures} == {f.name: (f.value, f.u) for f in direct.figures}
    assert kept.figure("power_at_thd_2") is not None


def test_an_added_capture_makes_stored_figures_outdated(bench_day, tmp_path):
    folder, _ = bench_day
    root = tmp_path / "archive"
    made = tasks.session_new(folder / "amplifier.toml", folder / "bench.toml", archive=root)
    tasks.session_add(made.session, [folder / "steady.wav"], archive=root)
    assert len(tasks.session_figures(made.session, archive=root).captures) == 1
    tasks.session_add(made.session, [folder / "ramp.wav"], archive=root, wishes=tasks.Wishes(load="2 ohm"))
    assert len(tasks.session_figures(made.session, archive=root).captures) == 2


def test_an_empty_session_has_no_figures_and_that_is_no_fault(bench_day, tmp_path):
    folder, _ = bench_day
    made = tasks.session_new(folder / "amplifier.toml", folder / "bench.toml", archive=tmp_path / "archive")
    assert tasks.session_figures(made.session, archive=tmp_path / "archive").captures == ()


def test_what_is_not_there_is_said(bench_day, tmp_path):
    folder, _ = bench_day
    with pytest.raises(FileMissingError):
        tasks.session_new(folder / "none.toml", folder / "bench.toml", archive=tmp_path / "archive")
    assert not (tmp_path / "archive").exists()
    with pytest.raises(ArchiveError):
        tasks.session_figures("nobody", archive=tmp_path / "archive")


@pytest.mark.parametrize(("said", "told"), [(None, True), (date(2024, 1, 20), False), (date(2025, 1, 20), True)])
def test_a_calibration_that_ran_out_is_told_on_the_day_of_the_capture_or_today(tmp_path, said, told):
    write(tmp_path / "steady.wav", steady_tone(wiring=workshop_wiring(*ROLES)))
    dated = BENCH.replace("scale_u = 0.002\n", "scale_u = 0.002\ncalibrated = 2024-01-15\ncalibration_days = 30\n")
    (tmp_path / "dated.toml").write_text(dated, encoding="utf-8")
    wishes = tasks.Wishes(load="2 ohm", captured_on=said)
    found = tasks.measure([tmp_path / "steady.wav"], bench=tmp_path / "dated.toml", wishes=wishes)
    assert any(notice.code == "calibration-overdue" for notice in found.captures[0].warnings) is told
