"""The supply's side of ramps and bursts, from a supply whose voltage and current follow the load's power exactly."""

import numpy as np
import pytest

from wattproof.bench import Bench, BenchChannel, Load
from wattproof.measure import lay_on_bench, measure
from wattproof.waveform import Channel, MemoryRecording, Waveform

RATE_HZ = 48_000.0
LOAD_OHM = 4.0
EMF_V, IDLE_A, VOLTS_A_WATT, AMPS_A_WATT = 14.0, 1.0, -0.002, 0.09
ROLES = ("load_voltage", "load_current", "supply_voltage", "supply_current")


def measured(volts, *, kind):
    amps = volts / LOAD_OHM
    watts = volts * amps
    samples = np.stack([volts, amps, EMF_V + VOLTS_A_WATT * watts, IDLE_A + AMPS_A_WATT * watts])
    names = tuple(Channel(name=str(n + 1)) for n in range(4))
    wave = Waveform(samples=samples, rate_hz=RATE_HZ, channels=names)
    bench = Bench(channels=tuple(BenchChannel(input=n + 1, role=role) for n, role in enumerate(ROLES)))
    load = Load(name="4 ohm", resistance_ohm=LOAD_OHM)
    record, _ = lay_on_bench(MemoryRecording(waveform=wave), bench=bench, load=load)
    return measure(record, kind=kind)


def named(result):
    return {figure.name: figure for figure in result.figures}


def drawn(mean_w, mean_square_w):
    """Mean of the supply's v·i, W, from the mean and the mean square of the load's instantaneous power."""
    steady = EMF_V * (IDLE_A + AMPS_A_WATT * mean_w)
    return steady + VOLTS_A_WATT * (IDLE_A * mean_w + AMPS_A_WATT * mean_square_w)


@pytest.mark.parametrize(("tone_hz", "slope"), [(997.0, 34.0), (47.0, 5.0)])
def test_a_ramp_tells_power_drawn_efficiency_heat_and_source_resistance(tone_hz, slope):
    t_s = np.arange(round(40.0 / slope * RATE_HZ)) / RATE_HZ
    level = 28.0 * 10 ** ((-34.0 + slope * t_s) / 20)
    result = measured(np.clip(level * np.sin(2 * np.pi * tone_hz * t_s), -28.0, 28.0), kind="ramp")
    figures = named(result)
    # a sine cut at a share c of its peak: over a quarter of its cycle, finely
    at_limit = 28.0 * _clipped_sine(0.01) / LOAD_OHM**0.5
    truth = drawn(np.mean(at_limit**2), np.mean(at_limit**4))
    assert figures["supply_power"].value == pytest.approx(truth, rel=4e-3)
    assert figures["efficiency"].value == pytest.approx(np.mean(at_limit**2) / truth, rel=1e-3)
    assert figures["heat"].value == pytest.approx(truth - np.mean(at_limit**2), rel=4e-3)
    assert figures["source_resistance"].value == pytest.approx(-VOLTS_A_WATT / AMPS_A_WATT, rel=1e-4)
    for point in result.curve:
        if point.load_power > 5:
            assert point.supply_current == pytest.approx(IDLE_A + AMPS_A_WATT * point.load_power, rel=1e-3)


def _clipped_sine(thd_n):
    sine = np.sin(np.pi / 2 * (np.arange(20_000) + 0.5) / 20_000)

    def distortion(drive):
        wave = np.minimum(drive * sine, 1.0)
        return np.sqrt(1 - 2 * np.mean(wave * sine) ** 2 / np.mean(wave**2))

    drives = np.linspace(1.0, 1.3, 3_001)
    drive = drives[np.argmin([abs(distortion(drive) - thd_n) for drive in drives])]
    return np.minimum(drive * sine, 1.0)


def test_bursts_tell_power_drawn_efficiency_and_heat_while_they_last():
    t_s = np.arange(round(2.3 * RATE_HZ)) / RATE_HZ
    on = (t_s + 0.2) % 0.5 < 0.02
    result = measured(np.where(on, 28.0, 2.8) * np.sin(2 * np.pi * 1_000.0 * t_s), kind="burst")
    figures = named(result)
    peak_w = 28.0**2 / LOAD_OHM
    truth = drawn(peak_w / 2, 3 / 8 * peak_w**2)
    assert figures["supply_power"].value == pytest.approx(truth, rel=1e-4)
    assert figures["efficiency"].value == pytest.approx(peak_w / 2 / truth, rel=1e-4)
    assert figures["heat"].value == pytest.approx(truth - peak_w / 2, rel=1e-3)
