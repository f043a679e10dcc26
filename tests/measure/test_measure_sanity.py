"""Sanity speaks up when it should, with numbers and a cure, and is silent on a clean capture."""

import re
from datetime import date

import numpy as np
import pytest

from wattproof.bench import Bench, Load
from wattproof.dsp import frequencies_folding_to
from wattproof.measure import lay_on_bench, measure
from wattproof.testing import (
    Capture,
    Harmonic,
    Recorder,
    Source,
    inductance_for_angle,
    steady_tone,
    wire,
    workshop_wiring,
)
from wattproof.waveform import Channel, MemoryRecording, Waveform

ALL = ("load_voltage", "load_current", "drive_voltage", "supply_voltage", "supply_current")
CLEAN = {
    "harmonics": [Harmonic(2, 1e-4), Harmonic(3, 2e-4)],
    "source": Source(ripple=0.3),
    "recorder": Recorder(seconds=0.5, noise_rms={"load_voltage": 1e-3, "load_current": 1e-3}),
}


def wired(**by_role):
    """All five channels; settings by role."""
    return tuple(channel.model_copy(update=by_role.get(channel.role, {})) for channel in workshop_wiring(*ALL))


def said(capture, *, stated=None, load=None, kind="steady", **wishes):
    """Warnings by code of a capture measured with the bench as it is stated."""
    bench = capture.bench if stated is None else capture.bench.model_copy(update={"channels": stated})
    record, notices = lay_on_bench(
        capture.recording, bench=bench, load=load or next(iter(capture.bench.loads), None), **wishes
    )
    return {notice.code: notice for notice in measure(record, kind=kind, notices=notices).warnings}


def with_added(capture, role, values):
    """The capture with volts or amperes added to one of its channels."""
    channel = next(c for c in capture.bench.channels if c.role == role)
    samples = np.array(capture.waveform.samples)
    samples[channel.input - 1] += values / channel.scale
    wave = Waveform(samples=samples, rate_hz=capture.waveform.rate_hz, channels=capture.waveform.channels)
    return Capture(recording=MemoryRecording(waveform=wave), bench=capture.bench, truth=capture.truth)


@pytest.mark.parametrize("tone_hz", [47.0, 997.0, 6_001.0])
@pytest.mark.parametrize("bits", [None, 24])
def test_a_clean_capture_is_not_complained_of(tone_hz, bits):
    recorder = Recorder(seconds=0.5, bits=bits, noise_rms=CLEAN["recorder"].noise_rms)
    capture = steady_tone(**{**CLEAN, "recorder": recorder}, tone_hz=tone_hz, wiring=wired())
    assert said(capture, captured_on=date(2031, 5, 14)) == {}


def flipped(role):
    return wired(**{role: {"scale": -next(c.scale for c in wired() if c.role == role)}})


@pytest.mark.parametrize("role", ["load_voltage", "load_current"])
def test_a_reversed_load_channel_gives_negative_power(role):
    notice = said(steady_tone(**CLEAN, wiring=wired()), stated=flipped(role))["negative-power"]
    assert notice.numbers["load_power_w"] == pytest.approx(-100.0, rel=0.01)
    assert "reversed" in notice.hint


@pytest.mark.parametrize("role", ["supply_voltage", "supply_current"])
def test_a_reversed_supply_channel_is_told(role):
    found = said(steady_tone(**CLEAN, wiring=wired()), stated=flipped(role))
    assert found["negative-supply-power"].numbers["supply_power_w"] == pytest.approx(-125.0, rel=0.01)


def test_supply_voltage_that_rises_with_the_current_is_told():
    """The ripple of the volts reversed, not their mean: a channel coupled the wrong way round, or badly skewed."""
    capture = steady_tone(**CLEAN, wiring=wired())
    supply = capture.truth.supply
    times_s = np.arange(capture.recording.n_samples) / 48_000.0
    ripple = 2 * supply.source_resistance_ohm * supply.ripple_peak_a * np.sin(4 * np.pi * 997.0 * times_s + 0.6)
    found = said(with_added(capture, "supply_voltage", ripple))
    assert found["supply-rises"].numbers["ripple_a"] == pytest.approx(supply.ripple_peak_a, rel=0.01)


def test_skew_on_a_resistor_is_told_with_its_size_in_time():
    late = wired(load_current={"skew_s": 12e-6})
    notice = said(steady_tone(**CLEAN, wiring=late), stated=wired())["phase-on-resistor"]
    assert notice.numbers["skew_s"] == pytest.approx(12e-6, rel=0.01)
    cured = wired(load_current={"skew_s": notice.numbers["skew_s"]})
    assert "phase-on-resistor" not in said(steady_tone(**CLEAN, wiring=late), stated=cured)


def test_a_doubt_of_the_skew_that_explains_the_phase_silences_it():
    late = wired(load_current={"skew_s": 12e-6})
    doubtful = wired(load_current={"skew_u_s": 8e-6})
    assert "phase-on-resistor" not in said(steady_tone(**CLEAN, wiring=late), stated=doubtful)


def test_the_loads_own_inductance_is_no_skew():
    inductance = inductance_for_angle(resistance_ohm=4.0, angle_rad=0.2, tone_hz=997.0)
    assert "phase-on-resistor" not in said(steady_tone(**CLEAN, wiring=wired(), inductance_h=inductance))


def test_a_reactive_load_parts_the_two_powers():
    """V²/R with R = Z cos is 1/cos² of the power: 13 % at 20 degrees."""
    inductance = inductance_for_angle(resistance_ohm=4.0, angle_rad=np.radians(20), tone_hz=997.0)
    notice = said(steady_tone(**CLEAN, wiring=wired(), inductance_h=inductance))["powers-differ"]
    ratio = notice.numbers["load_power_v2r_w"] / notice.numbers["load_power_w"]
    assert ratio == pytest.approx(1 / np.cos(np.radians(20)) ** 2, rel=1e-3)


def test_an_efficiency_over_one_is_told():
    wrong = wired(supply_current={"scale": 125.0 * 0.7})
    notice = said(steady_tone(**CLEAN, wiring=wired()), stated=wrong)["efficiency-over-1"]
    assert notice.numbers["efficiency"] == pytest.approx(0.8 / 0.7, rel=0.01)


def test_another_load_than_the_named_one_is_told():
    named = Load(name="8 ohm", resistance_ohm=8.0, resistance_u_ohm=0.02)
    notice = said(steady_tone(**CLEAN, wiring=wired()), load=named)["load-differs"]
    assert notice.numbers["load_resistance_ohm"] == pytest.approx(4.0, rel=0.01)


def test_a_hot_load_is_no_other_load():
    named = Load(name="4 ohm", resistance_ohm=3.92, resistance_u_ohm=0.005, tempco_per_k=400e-6, rise_k=80)
    assert "load-differs" not in said(steady_tone(**CLEAN, wiring=wired()), load=named)


def test_an_open_output_is_told_and_gives_no_resistance():
    capture = steady_tone(**CLEAN, wiring=wired())
    amps = np.zeros(capture.recording.n_samples)
    silent = with_added(capture, "load_current", amps)
    silent.waveform.samples[1] = 0.0
    record, _ = lay_on_bench(silent.recording, bench=silent.bench, load=silent.bench.loads[0])
    result = measure(record, kind="steady")
    assert "no-load-current" in {w.code for w in result.warnings}
    assert result.figure("load_resistance") is None
    assert result.figure("load_power").value == pytest.approx(0.0, abs=1e-3)


def test_a_clipped_recorder_input_is_told():
    small = wired(load_voltage={"scale": 26.0})
    notice = said(steady_tone(**CLEAN, wiring=small))["clipped-input"]
    assert notice.numbers["clipped"] > 1_000
    assert "lower its gain" in notice.hint


@pytest.mark.parametrize("kind", ["steady", "hold"])
def test_an_overdue_calibration_is_told_once(kind):
    old = wired(load_current={"calibrated": date(2029, 3, 2), "calibration_days": 365})
    capture = steady_tone(**{**CLEAN, "recorder": Recorder(rate_hz=6_000, seconds=2.5)}, tone_hz=47.0, wiring=old)
    record, _ = lay_on_bench(capture.recording, bench=capture.bench, captured_on=date(2031, 5, 14))
    told = [w for w in measure(record, kind=kind).warnings if w.code == "calibration-overdue"]
    assert len(told) == 1
    assert told[0].numbers["age_days"] == 803
    assert "calibration-overdue" not in said(capture, kind=kind, captured_on=date(2029, 5, 14))


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_mains_hum_is_told_with_its_size(mains_hz):
    capture = steady_tone(**CLEAN, wiring=wired())
    times_s = np.arange(capture.recording.n_samples) / 48_000.0
    hum = 0.02 * np.sqrt(2) * (np.sin(2 * np.pi * mains_hz * times_s) + 0.5 * np.sin(6 * np.pi * mains_hz * times_s))
    notice = said(with_added(capture, "load_voltage", hum))["mains-lines"]
    assert notice.numbers["mains_hz"] == mains_hz
    assert notice.numbers["ratio"] == pytest.approx(0.02 * np.sqrt(1.25) / 20.0, rel=0.03)


def test_switching_residue_is_told_where_it_folds_to():
    capture = steady_tone(**CLEAN, wiring=wired())
    times_s = np.arange(capture.recording.n_samples) / 48_000.0
    notice = said(with_added(capture, "load_voltage", 0.05 * np.sin(2 * np.pi * 251.3e3 * times_s)))["stray-line"]
    assert notice.numbers["frequency_hz"] == pytest.approx(251_300 - 5 * 48_000, abs=2.0)
    # the lowest that fold there are named; which of them it is, another sample rate tells
    assert "59.3, 84.7, 107.3" in notice.hint
    images = frequencies_folding_to(notice.numbers["frequency_hz"], rate_hz=48_000.0, low_hz=50e3, high_hz=300e3)
    assert min(abs(image - 251.3e3) for image in images) < 2.0


def test_few_cycles_are_told_with_the_length_that_cures_it():
    capture = steady_tone(tone_hz=47.0, wiring=wired(), recorder=Recorder(seconds=5.2 / 47.0))
    notice = said(capture)["few-cycles"]
    assert notice.numbers["cycles"] == pytest.approx(5.2, abs=0.05)
    seconds = float(notice.hint.split("record ")[1].split(" s")[0])
    longer = steady_tone(tone_hz=47.0, wiring=wired(), recorder=Recorder(seconds=seconds))
    assert "few-cycles" not in said(longer)


def test_a_level_that_moves_is_told():
    capture = steady_tone(**CLEAN, wiring=wire(*ALL))
    samples = np.array(capture.waveform.samples)
    samples[0] *= np.linspace(0.97, 1.03, samples.shape[1])
    wave = Waveform(samples=samples, rate_hz=48_000.0, channels=capture.waveform.channels)
    moving = Capture(recording=MemoryRecording(waveform=wave), bench=capture.bench, truth=capture.truth)
    notice = said(moving)["unsteady-tone"]
    # sixteen frames see fifteen sixteenths of the six per cent
    assert notice.numbers["swing"] == pytest.approx(0.06 * 15 / 16, rel=0.05)


def moving(hz_per_s=0.0, rise=0.0, wow_rad=0.0, *, tone_hz=997.0, seconds=2.0, noise=1e-4):
    """A tone whose frequency drifts, whose level rises, whose phase swings; all made here, sample by sample."""
    times_s = np.arange(round(48_000 * seconds)) / 48_000.0
    phase = 2 * np.pi * (tone_hz + hz_per_s * times_s / 2) * times_s + wow_rad * np.sin(2 * np.pi * 1.3 * times_s)
    volts = 28.0 * (1 + rise * (times_s / seconds - 0.5)) * (np.sin(phase) + 1e-4 * np.sin(3 * phase))
    volts += noise * np.random.default_rng(8).normal(size=times_s.size)
    wave = Waveform(samples=volts[np.newaxis], rate_hz=48_000.0, channels=(Channel(name="1"),))
    bench = Bench(channels=wire("load_voltage", full_scale=1000.0))
    return said(Capture(recording=MemoryRecording(waveform=wave), bench=bench, truth=None))


STEADINESS = {"unsteady-tone", "frequency-drifts"}


@pytest.mark.parametrize(("noise", "least"), [(1e-4, 1e-4), (0.02, 2e-3)])
@pytest.mark.parametrize("factor", [1, 10, 100])
def test_a_frequency_that_drifts_is_told_as_such_and_not_as_a_level(noise, least, factor):
    told = moving(hz_per_s=factor * least, noise=noise)
    assert set(told) & STEADINESS == {"frequency-drifts"}
    numbers = told["frequency-drifts"].numbers
    assert numbers["drift_hz_per_s"] == pytest.approx(factor * least, rel=0.01)
    assert numbers["swing_hz"] == pytest.approx(2 * factor * least, rel=0.01)
    # a t² over [-1, 1] less its mean is r.m.s. a sqrt(4/45), here a = pi k (T/2)²; sixteen frames flatten it a little
    assert numbers["wander_rad"] == pytest.approx(np.pi * factor * least * np.sqrt(4 / 45), rel=0.03)
    ppm = float(re.search(r"([\d.]+) ppm", told["frequency-drifts"].message)[1])
    assert ppm == pytest.approx(2e6 * factor * least / 997, rel=0.01)


def test_noise_is_no_drift_and_a_drift_within_the_noise_is_not_worth_a_word():
    assert not set(moving(noise=0.02)) & STEADINESS
    assert not set(moving(hz_per_s=1e-4, noise=0.02)) & STEADINESS


def test_a_level_and_a_frequency_that_move_are_told_each():
    told = moving(hz_per_s=0.01, rise=0.05)
    assert set(told) & STEADINESS == STEADINESS
    assert told["unsteady-tone"].numbers["swing"] == pytest.approx(0.05 * 15 / 16, rel=0.05)
    assert told["frequency-drifts"].numbers["drift_hz_per_s"] == pytest.approx(0.01, rel=0.01)


def test_a_frequency_that_swings_to_and_fro_is_told_without_a_direction():
    told = moving(wow_rad=0.01)["frequency-drifts"]
    assert "to and fro" in told.message
    # the swing's steepest is wow * 2 pi 1.3 rad/s on either side; sixteen frames flatten it
    assert told.numbers["swing_hz"] == pytest.approx(2 * 0.01 * 1.3, rel=0.2)


@pytest.mark.parametrize("hz_per_s", [3.0, 10.0, 30.0])
def test_a_sweep_is_neither_a_level_nor_a_drift_with_a_number(hz_per_s):
    told = moving(hz_per_s=hz_per_s)
    assert set(told) & STEADINESS == {"frequency-drifts"}
    assert "cannot be followed" in told["frequency-drifts"].message


def test_a_ramp_taken_for_steady_says_nothing_of_the_frequency():
    assert set(moving(rise=1.8)) & STEADINESS == {"unsteady-tone"}


def test_a_clipped_waveform_is_told():
    capture = steady_tone(**CLEAN, wiring=wire(*ALL))
    samples = np.array(capture.waveform.samples)
    samples[0] = np.clip(samples[0], -22.0, 22.0)
    wave = Waveform(samples=samples, rate_hz=48_000.0, channels=capture.waveform.channels)
    clipped = Capture(recording=MemoryRecording(waveform=wave), bench=capture.bench, truth=capture.truth)
    assert said(clipped)["clipped-waveform"].numbers["ratio"] > 1.5


def test_a_channel_that_the_recording_lacks_is_told():
    capture = steady_tone(**CLEAN, wiring=wire("load_voltage"))
    both = wire("load_voltage", "load_current")
    assert "load_current" in said(capture, stated=both)["channel-absent"].message


def test_every_notice_has_a_message_with_numbers_and_a_cure():
    capture = steady_tone(tone_hz=47.0, wiring=wired(load_current={"skew_s": 1e-4}), recorder=Recorder(seconds=0.1))
    wrong = wired(load_current={"scale": -30.0}, supply_voltage={"scale": -20.0})
    found = said(capture, stated=wrong)
    assert len(found) >= 3
    for notice in found.values():
        assert any(c.isdigit() for c in notice.message), notice
        assert len(notice.hint) > 20, notice


def test_a_bench_that_fits_no_track_is_refused():
    from wattproof.errors import MissingChannelError

    capture = steady_tone(wiring=wire("load_voltage"))
    bench = Bench(channels=(wire("load_voltage")[0].model_copy(update={"input": 7}),))
    with pytest.raises(MissingChannelError, match="none of the tracks"):
        lay_on_bench(capture.recording, bench=bench)
