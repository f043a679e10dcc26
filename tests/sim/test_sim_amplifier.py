"""The simulated amplifier obeys physics: energy, the supply's line, the load, time constants."""

from dataclasses import replace

import numpy as np
import pytest

from wattproof.sim import drive, workshop
from wattproof.sim.amplifier import SimulatedAmplifier, SimulatedLoad, SimulatedSource, play
from wattproof.sim.recorder import Track, recorded

RATE_HZ = 96000.0
SILENT = {"noise_v_per_rthz": 0.0, "hum_v": 0.0, "dc_v": 0.0}


def steady(amplifier, *, drive_v_rms, seconds=1.25, load=workshop.LOAD_4, tone_hz=47.0, source=workshop.SOURCE):
    times_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    drives = drive.tone(times_s, tone_hz=tone_hz, drive_v_rms=drive_v_rms)[None]
    return play(amplifier, drives, RATE_HZ, source=source, loads=(load,)).cut(-int(RATE_HZ), times_s.size)


@pytest.mark.parametrize("drive_v_rms", [0.0, 0.3, 1.2, 2.2])
def test_the_supply_gives_all_that_goes_out_and_is_lost(drive_v_rms):
    amplifier = workshop.BITTERN_1
    played = steady(amplifier, drive_v_rms=drive_v_rms)
    supply_w = float(np.mean(played.supply_v * played.supply_a))
    size_a = np.abs(played.load_a[0])
    out_w = float(np.mean(played.load_v[0] * played.load_a[0]))
    lost_w = float(np.mean(amplifier.loss_v * size_a + amplifier.loss_ohm * size_a**2))
    primary_a = played.supply_a - amplifier.idle_a
    idle_w = float(np.mean(played.supply_v)) * amplifier.idle_a
    # the idle current is drawn at the sagging terminals, the converter's own loss is in its resistance
    converter_w = float(np.mean(primary_a**2)) * amplifier.converter_ohm
    # resistances grow by up to 0.3 % of themselves within the second
    assert supply_w == pytest.approx(out_w + lost_w + idle_w + converter_w, rel=1e-3)
    assert out_w < supply_w


def test_supply_voltage_follows_the_source_line():
    played = steady(workshop.BITTERN_1, drive_v_rms=1.5)
    slope, emf_v = np.polyfit(played.supply_a, played.supply_v, 1)
    assert -slope == pytest.approx(workshop.SOURCE.resistance_ohm, rel=1e-9)
    assert emf_v == pytest.approx(workshop.SOURCE.emf_v, rel=1e-9)


def test_supply_current_runs_at_twice_the_tone():
    spectrum = np.abs(np.fft.rfft(steady(workshop.BITTERN_1, drive_v_rms=1.2).supply_a))
    assert np.argmax(spectrum[1:]) + 1 == 94


def test_a_larger_store_smooths_the_supply_current_as_one_pole_does():
    source = SimulatedSource(emf_v=14.4, resistance_ohm=0.006)

    def ripple(store_f):
        amplifier = SimulatedAmplifier(**SILENT, store_f=store_f)
        played = steady(amplifier, drive_v_rms=0.6, source=source)
        return np.abs(np.fft.rfft(played.supply_a))[94]

    pole_s = 3.5**2 * (0.006 + 0.009)  # seconds per farad
    expected = np.hypot(1, 2 * np.pi * 94 * 0.02 * pole_s) / np.hypot(1, 2 * np.pi * 94 * 0.005 * pole_s)
    # the power drawn is the same but for the rail's own movement, under 1 % at this level
    assert ripple(0.005) / ripple(0.02) == pytest.approx(expected, rel=0.01)


def test_small_signal_gain_and_load_current_are_ohms_law():
    ideal = SimulatedAmplifier(**SILENT, dead_v=0.0, square=0.0, cube=0.0, rail_leak=0.0)
    load = SimulatedLoad(resistance_ohm=4.0, inductance_h=2e-6, tempco_per_k=0.0)
    played = steady(ideal, drive_v_rms=0.2, load=load, tone_hz=997.0)
    volts, amps, drive_v = (np.fft.rfft(x[0])[997] for x in (played.load_v, played.load_a, played.drive_v))
    assert abs(volts / drive_v) == pytest.approx(20.0 * 4.0 / 4.012, rel=1e-9)
    impedance = volts / amps
    # the series of the inductance ends after its first term: (w L / R)**2 = 1e-5 is missing
    assert impedance.real == pytest.approx(4.0, rel=2e-5)
    # a central difference at 96 kHz reads a slope at 997 Hz low by (w T)**2 / 6 = 0.07 %
    assert impedance.imag == pytest.approx(2 * np.pi * 997 * 2e-6, rel=2e-3)


def test_limit_is_asymmetric_and_follows_the_rail():
    played = steady(replace(workshop.BITTERN_1, **SILENT), drive_v_rms=2.5)
    top, bottom = played.load_v[0].max(), -played.load_v[0].min()
    assert 0.99 < bottom / top < 0.999
    assert top < 0.97 * played.rail_v.max()
    low = steady(
        replace(workshop.BITTERN_1, **SILENT), drive_v_rms=2.5, source=SimulatedSource(emf_v=12.6, resistance_ohm=0.006)
    )
    # everything but the idle current's share of the sag scales with the supply
    assert low.load_v[0].max() / top == pytest.approx(12.6 / workshop.SOURCE.emf_v, rel=0.01)


def test_distortion_rises_toward_small_levels_when_the_feedback_has_a_dead_zone():
    def thd(drive_v_rms):
        lines = np.abs(np.fft.rfft(steady(workshop.BITTERN_1, drive_v_rms=drive_v_rms).load_v[0]))[47:800:47]
        return np.linalg.norm(lines[1:]) / lines[0]

    assert thd(0.2) > 1.5 * thd(0.9)
    assert thd(1.9) > 50 * thd(0.9)


def test_heat_lowers_power_then_the_protection_steps_in():
    rate_hz = 6000.0
    times_s = np.arange(round(80 * rate_hz)) / rate_hz
    drives = drive.tone(times_s, tone_hz=47.0, drive_v_rms=1.64)[None]
    played = play(workshop.BITTERN_1, drives, rate_hz, source=workshop.SOURCE, loads=(workshop.LOAD_2,))
    power_w = (played.load_v[0] * played.load_a[0]).reshape(80, -1).mean(axis=1)
    assert np.all(np.diff(power_w[1:]) < 0)
    assert np.all(np.diff(played.amplifier_c[6000::6000]) > 0)
    turned_down = int(np.argmax(played.amplifier_c > workshop.BITTERN_1.foldback_c) / rate_hz)
    assert 10 < turned_down < 60
    before, after = power_w[turned_down - 10] - power_w[turned_down], power_w[turned_down] - power_w[turned_down + 10]
    assert after > 3 * before


def test_outputs_share_one_rail():
    times_s = np.arange(48000) / RATE_HZ
    loud = drive.tone(times_s, tone_hz=47.0, drive_v_rms=1.0)
    loads = (workshop.LOAD_4, workshop.LOAD_4_B)
    both, one = (
        play(workshop.FIELDFARE_2, np.array([loud, share * loud]), RATE_HZ, source=workshop.SOURCE, loads=loads)
        for share in (1.0, 0.0)
    )
    assert both.rail_v.min() < one.rail_v.min()
    assert np.mean(both.load_v[0] ** 2) < np.mean(one.load_v[0] ** 2)


def test_recorder_scales_lags_and_filters():
    played = steady(replace(workshop.BITTERN_1, **SILENT), drive_v_rms=0.5, tone_hz=997.0)
    tracks = (
        Track(role="drive_voltage", scale=4.0, noise=0.0),
        Track(role="drive_voltage", scale=2.0, scale_error=0.01, offset=0.5, skew_s=4.2e-6, noise=0.0),
    )
    rows = recorded(played, tracks, ("A",), every=2, seed=1)
    assert rows.shape == (48000, 2)
    middle = slice(4800, 4800 + 960 * 40)
    times_s = np.arange(48000)[middle] / 48000
    basis = np.exp(-2j * np.pi * 997 * times_s)
    first, second = (2 * np.mean(basis * rows[middle, k]) for k in (0, 1))
    assert abs(first) * 4 == pytest.approx(np.sqrt(2) * 0.5, rel=1e-3)
    assert abs(second) / abs(first) == pytest.approx(2 * 1.01, rel=1e-3)
    assert np.angle(first / second) / (2 * np.pi * 997) == pytest.approx(4.2e-6, rel=1e-2)
    assert rows[middle, 1].mean() == pytest.approx(-0.25, abs=1e-3)
    with pytest.raises(ValueError, match="lag"):
        recorded(played, (Track(role="drive_voltage", scale=1.0, skew_s=1e-3),), ("A",), every=2, seed=1)
