"""Ramps, bursts, holds and idle records against their stated truth."""

import time

import numpy as np
import pytest
import soundfile

from wattproof.testing import (
    Recorder,
    Source,
    assert_within,
    burst_train,
    clipped_power,
    clipped_ramp,
    hold,
    hold_blocks,
    idle,
    wire,
    workshop_wiring,
    write_hold,
)

RAMP_ROLES = ("load_voltage", "load_current", "supply_voltage", "supply_current", "drive_voltage")


@pytest.mark.parametrize(("tone_hz", "slope", "seconds"), [(997.0, 34.0, 1.0), (47.0, 11.0, 2.3)])
def test_ramp_is_the_clipped_rising_sine(tone_hz, slope, seconds):
    capture = clipped_ramp(
        tone_hz=tone_hz, slope_db_per_s=slope, recorder=Recorder(rate_hz=96000.0, seconds=seconds),
        wiring=wire("load_voltage", "drive_voltage"),
    )  # fmt: skip
    truth, (volts, drive) = capture.truth, capture.waveform.samples
    times_s = np.arange(volts.size) / 96000
    unclipped = 4.0 * 10 ** (slope * times_s / 20) * np.sin(2 * np.pi * tone_hz * times_s)
    np.testing.assert_allclose(drive * truth.gain, unclipped, rtol=1e-9, atol=1e-9)
    before = times_s < truth.clip_s
    np.testing.assert_allclose(volts[before], unclipped[before], rtol=1e-9, atol=1e-9)
    # what the band limit takes away: the tail of a series whose terms fall as 1/n^2
    tail = truth.limit_v * 4 / np.pi * truth.overdrive(seconds) / (2 * truth.n_harmonics)
    assert np.abs(volts - np.clip(unclipped, -40.0, 40.0)).max() < tail


@pytest.mark.parametrize("thd", [0.001, 0.01, 0.03, 0.1])
def test_ramp_power_at_its_distortion_is_in_the_samples(thd):
    """A cycle around the stated instant, of a slow ramp, holds the stated power and distortion."""
    seconds = 1.8
    capture = clipped_ramp(
        tone_hz=1000.0, slope_db_per_s=3.0, start_v_peak=30.0, recorder=Recorder(rate_hz=192000.0, seconds=seconds)
    )
    truth, (volts, amps) = capture.truth, capture.waveform.samples
    middle = round(truth.time_at_thd(thd) * 192000)
    cycle = slice(middle - 96, middle + 96)
    # power rises 0.069 % across the cycle; the mean of t*cos(2wt + a) over one cycle leaves at most 1/(4 pi) of that
    rise = 2 * np.log(10) / 20 * 3.0 / 1000
    assert_within(np.mean(volts[cycle] * amps[cycle]), truth.power_at_thd(thd), relative=rise / (4 * np.pi) + 2e-6)
    spectrum = np.abs(np.fft.rfft(volts[cycle]))
    rate_of_rise = np.log(10) / 20 * 3.0 / 1000 / np.pi  # a rise of r a cycle leaks r/pi/... into every line
    assert_within(np.linalg.norm(spectrum[2:]) / spectrum[1], thd, absolute=rate_of_rise)


def test_ramp_truth_knows_both_forms_and_the_band():
    truth = clipped_ramp(tone_hz=997.0).truth
    assert truth.power_at_thd(0.1, form="r") > truth.power_at_thd(0.1, form="f")
    assert truth.harmonics_in(20000.0) == 20
    assert truth.power_at_thd(0.01, band_hz=20000.0) > truth.power_at_thd(0.01)
    assert truth.power_at(truth.clip_s) == pytest.approx(truth.unclipped_power_w, rel=1e-9)
    assert truth.compression_at(truth.clip_s * 0.9) == 1.0


def test_ramp_supply_sags_with_the_load():
    capture = clipped_ramp(wiring=wire(*RAMP_ROLES), source=Source(emf_v=14.4, resistance_ohm=0.01, efficiency=0.8))
    volts, amps = capture.waveform.samples[2:4]
    np.testing.assert_allclose(14.4 - 0.01 * amps, volts, rtol=1e-12)
    at = 70000
    supply_w = 12.0 + capture.truth.unclipped_power_w * clipped_power(capture.truth.overdrive(at / 96000)) / 0.8
    assert_within(volts[at] * amps[at], supply_w, relative=2e-6)
    assert capture.truth.supply_at(at / 96000) == pytest.approx((volts[at], amps[at]), rel=1e-6)


def test_bursts_start_whole_and_hold_their_power():
    capture = burst_train(
        tone_hz=47.0, cycles_on=8, cycles_period=47, droop=0.1, recovery=0.2, recorder=Recorder(seconds=4.0)
    )
    truth, (volts, amps) = capture.truth, capture.waveform.samples
    assert len(truth.starts_s) == 4
    for start_s in truth.starts_s:
        first, stop = (round(t * 48000) for t in (start_s, start_s + truth.burst_s))
        # the ends miss the samples by up to half of one, where the wave crosses zero
        assert_within(np.mean(volts[first:stop] * amps[first:stop]), truth.mean_power(), relative=1e-4)
    assert truth.cycle_power(0) > truth.cycle_power(7) > 10 * truth.low_power_w
    quiet = slice(round((truth.starts_s[1] - 5 / 47) * 48000), round(truth.starts_s[1] * 48000))
    assert_within(np.mean(volts[quiet] ** 2) / 2.0, truth.low_power_w, relative=0.01)


def test_flat_burst_has_the_power_of_its_level():
    truth = burst_train(load_v_rms=28.0, resistance_ohm=2.0, low_db=-20.0).truth
    assert truth.mean_power() == pytest.approx(392.0, rel=1e-12)
    assert truth.low_power_w == pytest.approx(3.92, rel=1e-12)


def test_hold_falls_and_mutes_as_stated():
    capture = hold(
        decline=0.2, decline_tau_s=5.0, mutes_s=[(12.0, 13.0)], recorder=Recorder(rate_hz=12000.0, seconds=20.0)
    )
    truth, (volts, amps, supply_v, supply_a, celsius) = capture.truth, capture.waveform.samples
    power = (volts * amps).reshape(20, 12000).mean(axis=1)  # 47 whole cycles each second
    assert power[12] == 0
    for second in (0, 5, 19):
        assert_within(power[second], truth.energy_j(second, second + 1), relative=1e-4)
    np.testing.assert_allclose(supply_v, truth.source.emf_v - truth.source.resistance_ohm * supply_a, rtol=1e-12)
    assert_within(supply_v[0] * supply_a[0], 12.0 + truth.start_power_w / 0.8, relative=1e-12)
    assert np.all(np.diff(celsius) > 0)
    assert_within(celsius[-1], 25 + 40 * (1 - np.exp(-20 / 90)), relative=1e-4)
    spectrum = np.abs(np.fft.rfft(volts[-12000:]))
    assert_within(spectrum[141] / spectrum[47], truth.thd_f, relative=1e-3)


def test_hold_in_blocks_is_the_hold_in_memory():
    recorder = Recorder(rate_hz=12000.0, seconds=3.0)
    wiring = wire("load_voltage", "temperature")
    whole = hold(recorder=recorder, wiring=wiring)
    blocks = list(hold_blocks(whole.truth, wiring, recorder, block=5000))
    assert [len(block) for block in blocks] == [5000] * 7 + [1000]
    np.testing.assert_array_equal(np.concatenate(blocks).T, whole.waveform.samples)


def test_long_hold_goes_to_disk(tmp_path):
    start = time.perf_counter()
    truth, bench = write_hold(tmp_path / "hold.wav", seconds=5.0, rate_hz=48000.0)
    assert time.perf_counter() - start < 60  # only a hang: it takes a second
    samples, rate_hz = soundfile.read(tmp_path / "hold.wav")
    assert (samples.shape, rate_hz) == ((240000, 8), 48000)
    assert [c.input for c in bench.channels] == list(range(1, 9))
    scales = {(c.role, c.output): (c.input - 1, c.scale) for c in bench.channels}
    (v, v_scale), (i, i_scale) = scales["load_voltage", "C"], scales["load_current", "C"]
    power = np.mean(samples[:48000, v] * v_scale * samples[:48000, i] * i_scale)
    assert_within(power, truth.energy_j(0, 1), relative=1e-4)
    assert np.abs(samples).max() < 0.99


def test_idle_noise_hum_and_current():
    recorder = Recorder(rate_hz=96000.0, seconds=10.0)
    capture = idle(density_v_per_rthz=2e-6, dc_v=0.003, hum=[(100.0, 5e-5)], recorder=recorder)
    truth, (volts, supply_v, supply_a) = capture.truth, capture.waveform.samples
    assert_within(volts.mean(), 0.003, absolute=5 * 2e-6 * np.sqrt(48000 / volts.size))
    spectrum = np.abs(np.fft.rfft(volts)) ** 2 / volts.size**2 * 2
    lines_hz = np.fft.rfftfreq(volts.size, 1 / 96000)
    band = (lines_hz >= 20) & (lines_hz <= 20000)
    # 200 000 bins of two degrees of freedom: the r.m.s. scatters by 0.11 %; five of those
    assert_within(np.sqrt(spectrum[band].sum()), truth.noise_rms(), relative=0.0056)
    assert_within(np.sqrt(spectrum[1000]), 5e-5, relative=0.1)
    assert (supply_v[0], supply_a[0]) == (14.4, 0.85)


def test_white_noise_loses_two_decibels_to_the_a_weighting():
    truth = idle(density_v_per_rthz=1e-6, recorder=Recorder(seconds=0.1)).truth
    assert truth.white_rms() == pytest.approx(np.sqrt(19980) * 1e-6)
    assert truth.noise_rms() == pytest.approx(truth.white_rms(), rel=1e-9)
    assert 20 * np.log10(truth.noise_rms(a_weighted=True) / truth.white_rms()) == pytest.approx(-2.05, abs=0.01)


def test_residue_folds_where_stated():
    capture = idle(
        density_v_per_rthz=0.0, residue_hz=397e3, residue_rms_v=0.2, wiring=wire("load_voltage"),
        recorder=Recorder(rate_hz=48000.0, seconds=1.0),
    )  # fmt: skip
    assert capture.truth.residue_alias_hz == 13000
    assert np.argmax(np.abs(np.fft.rfft(capture.waveform.samples[0]))[1:]) + 1 == 13000


@pytest.mark.parametrize("make", [clipped_ramp, burst_train, hold, idle])
def test_same_seed_same_samples(make):
    recorder = Recorder(rate_hz=16000.0, seconds=0.5, bits=16, noise_rms={"load_voltage": 0.01})
    first, second = (
        make(recorder=recorder, wiring=workshop_wiring("load_voltage", "load_current")).waveform.samples for _ in "ab"
    )
    assert np.array_equal(first, second)
