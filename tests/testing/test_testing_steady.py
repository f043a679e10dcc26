"""Truth of the steady tone, verified from its samples by other means."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.testing import (
    Harmonic,
    Recorder,
    Source,
    assert_within,
    example,
    example_recording,
    inductance_for_angle,
    merge,
    steady_tone,
    wire,
    workshop_wiring,
)
from wattproof.testing.strategies import harmonic_lists, steady_captures, waveforms

ALL = ("load_voltage", "load_current", "supply_voltage", "supply_current", "drive_voltage")
WHOLE = Recorder(rate_hz=48000.0, seconds=1.0)  # whole cycles of 997 Hz and of 47 Hz
PARTS = (Harmonic(2, 0.01, 0.7), Harmonic(3, 0.03, -1.2), Harmonic(7, 0.002, 2.0))


def engineering(capture):
    rows = zip(capture.waveform.samples, capture.bench.channels, strict=True)
    return {channel.role: row * channel.scale + channel.offset for row, channel in rows}


def test_power_rms_and_distortion_are_those_of_the_samples():
    capture = steady_tone(
        tone_hz=997.0, harmonics=PARTS, dc_v=0.4, inductance_h=4e-4, recorder=WHOLE, source=Source(ripple=0.3),
        wiring=wire(*ALL),
    )  # fmt: skip
    got, truth = engineering(capture), capture.truth
    volts, amps = got["load_voltage"], got["load_current"]
    exact = 1e-12  # whole cycles, no alias: only rounding is left
    assert_within(np.mean(volts * amps), truth.load_power_w, relative=exact)
    assert_within(np.sqrt(np.mean(volts**2)), truth.load_v_rms, relative=exact)
    assert_within(np.sqrt(np.mean(amps**2)), truth.load_i_rms, relative=exact)
    assert_within(np.mean(volts**2) / 4.0, truth.load_power_v2r_w, relative=exact)
    assert_within(np.mean(got["supply_voltage"] * got["supply_current"]), truth.supply.power_w, relative=exact)
    assert_within(np.std(got["supply_voltage"]), truth.supply.ripple_rms_v, relative=exact)
    assert_within(truth.efficiency, 0.8, relative=exact)
    spectrum = np.abs(np.fft.rfft(volts)) / (volts.size / 2)
    orders = spectrum[997 * np.arange(1, 11)]
    assert_within(np.sqrt(np.sum(orders[1:] ** 2)) / orders[0], truth.thd_f, relative=1e-11)
    assert truth.load_power_w < truth.load_power_v2r_w


def test_current_obeys_the_load_as_a_differential_equation():
    capture = steady_tone(tone_hz=47.0, harmonics=PARTS, inductance_h=3e-3, recorder=WHOLE)
    volts, amps = capture.waveform.samples
    slope = np.fft.irfft(np.fft.rfft(amps) * 2j * np.pi * np.fft.rfftfreq(amps.size, 1 / 48000), amps.size)
    np.testing.assert_allclose(volts, 4.0 * amps + 3e-3 * slope, atol=1e-9 * np.abs(volts).max())


def test_angle_gives_its_inductance():
    inductance_h = inductance_for_angle(resistance_ohm=4.0, angle_rad=np.radians(50), tone_hz=30.0)
    truth = steady_tone(tone_hz=30.0, inductance_h=inductance_h).truth
    assert np.degrees(truth.load_angle_rad) == pytest.approx(50, rel=1e-12)
    assert truth.power_factor == pytest.approx(np.cos(np.radians(50)), rel=1e-12)


def test_scale_offset_and_skew_are_in_the_samples_and_nowhere_else():
    skew_s = 3.7e-6  # a fraction of a sample
    wired = workshop_wiring("load_voltage", offset=0.25, skew_s=skew_s)
    plain = steady_tone(tone_hz=997.0, phase_rad=0.3, wiring=wire("load_voltage"))
    scaled = steady_tone(tone_hz=997.0, phase_rad=0.3, wiring=wired)
    late = steady_tone(tone_hz=997.0, phase_rad=0.3 - 2 * np.pi * 997.0 * skew_s, wiring=wire("load_voltage"))
    np.testing.assert_allclose(42.0 * scaled.waveform.samples + 0.25, late.waveform.samples, atol=1e-12)
    assert scaled.truth == plain.truth
    assert scaled.waveform.channels[0].unit == "FS"
    assert plain.waveform.channels[0].unit == "V"


def test_drift_and_dc_are_added():
    still = steady_tone(recorder=WHOLE).waveform.samples[0]
    moved = steady_tone(recorder=WHOLE, dc_v=0.1, drift_v_per_s=0.2, drift_v_per_s2=0.3).waveform.samples[0]
    times_s = np.arange(48000) / 48000
    np.testing.assert_allclose(moved - still, 0.1 + 0.2 * times_s + 0.3 * times_s**2, atol=1e-12)


def test_bits_round_and_limit():
    wiring = workshop_wiring("load_voltage")
    (fine,) = steady_tone(load_v_rms=20.0, wiring=wiring, recorder=Recorder(bits=8)).waveform.samples
    assert np.all(fine * 128 == np.round(fine * 128))
    (over,) = steady_tone(load_v_rms=40.0, wiring=wiring, recorder=Recorder(bits=8)).waveform.samples
    assert (over.min(), over.max()) == (-1.0, 127 / 128)
    with pytest.raises(ValueError, match="full scale"):
        steady_tone(wiring=wire("load_voltage"), recorder=Recorder(bits=8))


def test_noise_has_its_size_and_its_seed():
    def noisy(seed):
        recorder = Recorder(noise_rms={"load_voltage": 0.01}, seed=seed)
        return steady_tone(recorder=recorder).waveform.samples

    clean = steady_tone().waveform.samples
    first = noisy(1)
    assert np.array_equal(first, noisy(1))
    assert not np.array_equal(first, noisy(2))
    # the standard deviation of 48000 draws scatters by 1/sqrt(2 n) = 0.32 %; five of those
    assert np.std(first[0] - clean[0]) == pytest.approx(0.01, rel=0.016)
    assert np.array_equal(first[1], clean[1])


def test_a_source_too_weak_is_refused():
    with pytest.raises(ValueError, match="cannot give"):
        steady_tone(load_v_rms=100.0, source=Source(resistance_ohm=0.1))


def test_two_outputs_share_a_clock():
    both = merge(steady_tone(output="A"), steady_tone(output="B", load_v_rms=5.0))
    assert [(c.input, c.role, c.output) for c in both.bench.channels] == [
        (1, "load_voltage", "A"), (2, "load_current", "A"), (3, "load_voltage", "B"), (4, "load_current", "B"),
    ]  # fmt: skip
    assert both.waveform.samples.shape == (4, 48000)
    assert both.truth[1].load_v_fundamental_rms == pytest.approx(5.0)
    assert len(both.bench.loads) == 1
    with pytest.raises(ValueError, match="clock"):
        merge(steady_tone(), steady_tone(recorder=Recorder(rate_hz=44100.0)))


@given(capture=steady_captures())
@settings(max_examples=25, deadline=None)
def test_any_drawn_capture_fits_its_truth_by_least_squares(capture):
    truth, wave = capture.truth, capture.waveform
    times_s = np.arange(wave.n_samples) / wave.rate_hz
    angles = 2 * np.pi * truth.tone_hz * np.outer(times_s, np.arange(1, 11))
    basis = np.hstack([np.sin(angles), np.cos(angles), np.ones((times_s.size, 1))])
    (volts, amps), *_ = np.linalg.lstsq(basis, wave.samples.T, rcond=None)[0].T[None]
    peak = np.hypot(volts[:10], volts[10:20])
    assert peak[0] / np.sqrt(2) == pytest.approx(truth.load_v_fundamental_rms, rel=1e-9)
    power = 0.5 * np.sum(volts[:20] * amps[:20]) + volts[20] * amps[20]
    assert power == pytest.approx(truth.load_power_w, rel=1e-9)


@given(parts=harmonic_lists(max_order=6))
@settings(max_examples=25, deadline=None)
def test_harmonic_lists_name_each_order_once(parts):
    orders = [part.order for part in parts]
    assert orders == sorted(set(orders))
    assert all(2 <= order <= 6 for order in orders)


@given(wave=waveforms(), data=st.data())
@settings(max_examples=25, deadline=None)
def test_waveforms_are_finite_and_within_their_limit(wave, data):
    assert wave.samples.shape[0] == len(wave.channels)
    assert np.abs(wave.samples).max() <= 100


def test_example_is_small_and_always_the_same():
    assert example().waveform.samples.nbytes < 1_000_000
    assert np.array_equal(example_recording().read().samples, example().waveform.samples)


def test_assert_within_can_fail():
    assert_within(1.0, 1.0, absolute=1e-9)
    for wrong in (None, float("nan"), 1.1):
        with pytest.raises(AssertionError):
            assert_within(wrong, 1.0, relative=0.05)
    with pytest.raises(AssertionError):
        assert_within(1.0, 1.0)  # an allowance of nothing is a forgotten one
