"""A silent amplifier: noise flat and A-weighted, DC, and what it draws."""

import math
import re

import numpy as np
import pytest

from wattproof.errors import MeasureError
from wattproof.measure import lay_on_bench, measure
from wattproof.testing import Recorder, assert_within, idle, wire


def measured(capture, **wishes):
    record, notices = lay_on_bench(capture.recording, bench=capture.bench, load=capture.bench.loads[0], **wishes)
    return measure(record, kind="idle", notices=notices)


@pytest.mark.parametrize("rate_hz", [44_100.0, 96_000.0])
@pytest.mark.parametrize("density", [1e-6, 4e-5])
def test_noise_is_that_of_its_density_in_the_band(rate_hz, density):
    capture = idle(density_v_per_rthz=density, recorder=Recorder(rate_hz=rate_hz, seconds=3.0))
    result = measured(capture)
    flat, weighted = result.figure("noise_rms"), result.figure("noise_rms_a")
    assert_within(flat, capture.truth.noise_rms(), times_u=4)
    # a weighting takes the degrees of freedom of part of the band away: its scatter is stated by that of the whole
    assert_within(weighted, capture.truth.noise_rms(a_weighted=True), times_u=6)
    assert flat.conditions["bandwidth_hz"] == (20.0, 20_000.0)
    # 2 B T degrees of freedom; a window leaves about half of them
    assert flat.u / flat.value == pytest.approx(0.5 * math.sqrt(2 / (2 * 19_980 * 3.0)), rel=0.6)


def test_dc_and_idle_current_are_those_put_in():
    recorder = Recorder(seconds=2.0, noise_rms={"supply_current": 0.02, "supply_voltage": 0.01})
    capture = idle(dc_v=0.0123, idle_current_a=0.85, recorder=recorder)
    result = measured(capture)
    assert_within(result.figure("dc_offset"), 0.0123, times_u=5)
    assert_within(result.figure("idle_current", None), 0.85, times_u=5)
    assert_within(result.figure("supply_power", None), 0.85 * 14.4, times_u=5)
    assert result.figure("supply_current", None) is None
    assert result.figure("idle_current", None).u == pytest.approx(0.02 / math.sqrt(96_000), rel=0.7)


def test_offset_uncertainty_is_the_floor_of_dc():
    capture = idle(wiring=wire("load_voltage", offset_u=0.002))
    assert measured(capture).figure("dc_offset").u == pytest.approx(0.002, rel=1e-3)


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_counts_as_noise_and_is_told(mains_hz):
    capture = idle(density_v_per_rthz=1e-6, hum=((mains_hz, 1e-3), (2 * mains_hz, 4e-4)))
    result = measured(capture)
    assert_within(result.figure("noise_rms"), capture.truth.noise_rms(), relative=0.01)
    assert "mains-lines" in {w.code for w in result.warnings}


def test_a_quiet_amplifier_is_not_complained_of():
    assert measured(idle()).warnings == ()


def test_residue_that_folds_into_the_band_is_told_with_what_it_may_come_from():
    capture = idle(residue_hz=400e3, residue_rms_v=2e-3, recorder=Recorder(rate_hz=44_100.0, seconds=3.0))
    (told,) = [w for w in measured(capture).warnings if w.code == "stray-line"]
    assert told.numbers["frequency_hz"] == pytest.approx(capture.truth.residue_alias_hz, abs=1.0)


def test_two_outputs_have_their_own_noise():
    from wattproof.testing import merge

    loud, quiet = idle(density_v_per_rthz=1e-5), idle(density_v_per_rthz=1e-6, wiring=wire("load_voltage", output="B"))
    result = measured(merge(loud, quiet))
    assert_within(result.figure("noise_rms", "A"), loud.truth.noise_rms(), times_u=5)
    assert_within(result.figure("noise_rms", "B"), quiet.truth.noise_rms(), times_u=5)


def test_without_a_bench_an_idle_record_gives_no_volts():
    capture = idle()
    record, notices = lay_on_bench(capture.recording, bench=None)
    result = measure(record, kind="idle", notices=notices)
    assert [f for f in result.figures if f.unit == "V"] == []
    assert "no-bench" in {w.code for w in result.warnings}


def test_noise_intervals_hold_the_truth():
    """95 % of 60 records within four standard deviations of a binomial."""
    held, trials = 0, 60
    for seed in range(trials):
        capture = idle(recorder=Recorder(rate_hz=48_000, seconds=0.25, seed=seed), wiring=wire("load_voltage"))
        low, high = measured(capture).figure("noise_rms").interval95
        held += low <= capture.truth.noise_rms() <= high
    assert abs(held - 0.95 * trials) <= 4 * math.sqrt(trials * 0.95 * 0.05)


def test_a_constant_record_has_no_noise():
    capture = idle(density_v_per_rthz=0.0, dc_v=0.1)
    result = measured(capture)
    assert result.figure("noise_rms").value == pytest.approx(0.0, abs=1e-12)
    assert_within(result.figure("dc_offset"), 0.1, absolute=1e-12)
    assert np.isfinite(result.figure("noise_rms").u)


@pytest.mark.parametrize("seconds", [4 / 48_000, 0.001, 0.049])
def test_a_record_shorter_than_a_period_of_the_lower_edge_has_no_noise_figures(seconds):
    short = measured(idle(recorder=Recorder(seconds=seconds)))
    names = {figure.name for figure in short.figures}
    assert "idle_current" in names
    assert not names & {"noise_rms", "noise_rms_a", "dc_offset"}
    (told,) = [notice for notice in short.warnings if notice.code == "too-short-for-noise"]
    assert told.numbers["needed_s"] == pytest.approx(1 / 20)


def test_a_lower_edge_that_the_record_holds_is_measured():
    capture = idle(recorder=Recorder(seconds=0.049))
    assert measured(capture, low_hz=1 / 0.048).figure("noise_rms") is not None
    assert measured(capture, low_hz=1 / 0.050).figure("noise_rms") is None


def test_a_short_record_of_nothing_else_is_refused_and_the_hint_cures_it():
    capture = idle(wiring=wire("load_voltage"), recorder=Recorder(seconds=4 / 48_000))
    with pytest.raises(MeasureError, match="too short") as caught:
        measured(capture)
    assert "8.33e-05 s" in caught.value.why
    advised = float(re.search(r"Record ([\d.]+) s", caught.value.hint)[1])
    cured = measured(idle(wiring=wire("load_voltage"), recorder=Recorder(seconds=advised)))
    assert cured.figure("noise_rms") is not None
