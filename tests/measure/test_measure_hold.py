"""A tone held for long: power against time, events with their times, and a memory that does not grow."""

import math
import tracemalloc

import numpy as np
import pytest

from wattproof.bench import Bench, Load
from wattproof.errors import MeasureError, NoToneError
from wattproof.measure import lay_on_bench, measure
from wattproof.readers import open_recording
from wattproof.testing import (
    Capture,
    Harmonic,
    Recorder,
    Source,
    assert_within,
    hold,
    inductance_for_angle,
    steady_tone,
    wire,
    write_hold,
)
from wattproof.waveform import Channel, MemoryRecording, Waveform

PPM = 1e-6
ROLES = ("load_voltage", "load_current", "supply_voltage", "supply_current", "temperature")


def measured(capture, *, bench=None, load=None):
    bench = bench or capture.bench
    record, notices = lay_on_bench(capture.recording, bench=bench, load=load or capture.bench.loads[0])
    return measure(record, kind="hold", notices=notices)


def sustained(result, output="A"):
    return {f.conditions["at_s"]: f for f in result.figures if f.name == "sustained_power" and f.output == output}


def events(result):
    return [(w.code, dict(w.numbers)) for w in result.warnings if w.code.startswith("event-")]


@pytest.mark.parametrize("tone_hz", [47.0, 61.3, 997.0])
def test_sustained_power_is_that_of_its_second(tone_hz):
    capture = hold(tone_hz=tone_hz, recorder=Recorder(rate_hz=24_000, seconds=32.0))
    found = sustained(measured(capture))
    assert list(found) == [1.0, 5.0, 10.0, 15.0, 30.0]
    for at_s, figure in found.items():
        start, stop = (float(part) for part in figure.origin.split()[-2].split("-"))
        assert start <= at_s <= stop
        assert_within(
            figure, capture.truth.energy_j(start, stop) / (stop - start), relative=20 * PPM + 1e-4 * (tone_hz == 61.3)
        )


def test_the_curve_follows_power_supply_and_temperature():
    capture = hold(recorder=Recorder(rate_hz=12_000, seconds=20.0))
    result, truth = measured(capture), capture.truth
    assert len(result.curve) == 20
    for point in result.curve:
        t = np.array([point.t_s])
        assert_within(point.load_power, float(truth.power_at(t)[0]), relative=1e-4)
        volts, amps = truth.supply_at(t)
        assert_within(point.supply_voltage, float(volts[0]), relative=1e-5)
        assert_within(point.supply_current, float(amps[0]), relative=1e-4)
        assert_within(point.supply_power, float(volts[0] * amps[0]), relative=1e-4)
        assert_within(point.temperature, float(truth.temperature_at(t)[0]), relative=1e-4)
        assert_within(point.thd_n, truth.thd_f, relative=0.01)


def test_the_supplys_figures_are_means_over_the_hold():
    capture = hold(recorder=Recorder(rate_hz=12_000, seconds=20.0), source=Source(resistance_ohm=0.02))
    result, truth = measured(capture), capture.truth
    times_s = (np.arange(200_000) + 0.5) / 10_000.0
    volts, amps = truth.supply_at(times_s)
    assert_within(result.figure("supply_power", None), float(np.mean(volts * amps)), relative=20 * PPM)
    assert_within(
        result.figure("efficiency", None), truth.energy_j(0, 20) / 20 / float(np.mean(volts * amps)), relative=50 * PPM
    )
    assert_within(result.figure("supply_voltage_min", None), float(volts.min()), relative=20 * PPM)
    assert_within(
        result.figure("temperature_rise", None),
        float(np.ptp(truth.temperature_at(np.array([0.5, 19.5])))),
        relative=0.01,
    )


def test_ripple_and_minimum_of_a_held_tone_are_those_of_the_ripple():
    source = Source(ripple=0.4, resistance_ohm=0.02)
    capture = steady_tone(
        tone_hz=47.0, source=source, wiring=wire(*ROLES), recorder=Recorder(rate_hz=12_000, seconds=5.0)
    )
    result, truth = measured(capture), capture.truth.supply
    assert_within(result.figure("supply_ripple_rms", None), truth.ripple_rms_v, relative=1e-3)
    assert_within(result.figure("supply_voltage_min", None), truth.voltage_min_v, absolute=0.01 * truth.ripple_rms_v)
    assert_within(result.figure("supply_power", None), truth.power_w, relative=20 * PPM)


@pytest.mark.parametrize("angle_deg", [0.0, 50.0])
def test_skew_is_undone_in_a_holds_power(angle_deg):
    skewed = [
        channel.model_copy(update={"skew_s": skew})
        for channel, skew in zip(wire("load_voltage", "load_current"), (5e-6, -35e-6), strict=True)
    ]
    capture = steady_tone(
        inductance_h=inductance_for_angle(resistance_ohm=4.0, angle_rad=math.radians(angle_deg), tone_hz=997.0),
        harmonics=[Harmonic(3, 1e-3)],
        wiring=skewed,
        recorder=Recorder(seconds=3.0),
    )
    assert_within(sustained(measured(capture))[1.0], capture.truth.load_power_w, relative=20 * PPM)


def test_the_doubt_of_skew_counts_with_the_angle():
    angle = math.radians(50)
    capture = steady_tone(
        inductance_h=inductance_for_angle(resistance_ohm=4.0, angle_rad=angle, tone_hz=997.0),
        wiring=wire("load_voltage", "load_current", skew_u_s=2e-6, scale_u=0.001),
        recorder=Recorder(seconds=3.0),
    )
    power = sustained(measured(capture))[1.0]
    expected = math.hypot(0.001 * math.sqrt(2), math.tan(angle) * 2 * math.pi * 997.0 * 2e-6 * math.sqrt(2))
    assert power.u / power.value == pytest.approx(expected, rel=0.01)


def test_offsets_of_the_supply_count_in_its_power():
    wiring = [c.model_copy(update={"offset_u": 0.05} if c.role == "supply_current" else {}) for c in wire(*ROLES)]
    result = measured(hold(wiring=wiring, recorder=Recorder(rate_hz=6_000, seconds=6.0)))
    power, volts = result.figure("supply_power", None), result.figure("supply_voltage", None)
    assert power.u == pytest.approx(0.05 * volts.value, rel=1e-3)
    assert result.figure("efficiency", None).u > 0


def test_the_bands_are_stated():
    result = measured(hold(recorder=Recorder(rate_hz=12_000, seconds=6.0)))
    assert sustained(result)[1.0].conditions["bandwidth_hz"] == (0.0, 6_000.0)
    assert result.figure("thd_n").conditions["bandwidth_hz"] == (10.0, 0.49 * 12_000)
    assert result.figure("supply_power", None).conditions["bandwidth_hz"] == (0.0, 6_000.0)


def test_the_worst_distortion_has_a_doubt():
    noise = {"load_voltage": 0.05}
    figure = measured(hold(recorder=Recorder(rate_hz=12_000, seconds=12.0, noise_rms=noise))).figure("thd_n")
    assert figure.u > 0
    assert figure.dof is not None


@pytest.mark.parametrize(
    ("mutes", "codes"),
    [
        ((), []),
        (((5.0, 6.5),), ["event-mute"]),
        (((14.0, 20.0),), ["event-shut-down"]),
        (((3.0, 4.0), (7.0, 8.0), (11.0, 12.0)), ["event-retry", "event-mute", "event-mute", "event-mute"]),
    ],
    ids=["clean", "mute", "shut-down", "retries"],
)  # fmt: skip
def test_events_have_their_times(mutes, codes):
    result = measured(hold(mutes_s=mutes, recorder=Recorder(rate_hz=12_000, seconds=20.0)))
    found = events(result)
    assert [code for code, _ in found] == codes
    for (start_s, stop_s), (code, numbers) in zip(mutes, [e for e in found if e[0] != "event-retry"], strict=True):
        assert numbers["start_s"] == pytest.approx(start_s, abs=1.1 / 47)
        if code == "event-mute":
            assert numbers["stop_s"] == pytest.approx(stop_s, abs=1.1 / 47)


def test_a_step_down_that_stays_is_limiting():
    capture = hold(decline=0.02, recorder=Recorder(rate_hz=12_000, seconds=20.0))
    samples = np.array(capture.waveform.samples)
    samples[:2, 96_000:] *= 0.8
    wave = Waveform(samples=samples, rate_hz=12_000.0, channels=capture.waveform.channels)
    limited = Capture(recording=MemoryRecording(waveform=wave), bench=capture.bench, truth=capture.truth)
    ((code, numbers),) = events(measured(limited))
    assert code == "event-limiting"
    assert numbers["at_s"] == pytest.approx(8.0, abs=1.1 / 47)
    assert numbers["ratio"] == pytest.approx(0.8, abs=0.01)


def test_a_hold_that_begins_muted_still_finds_its_tone():
    result = measured(hold(mutes_s=((0.0, 3.0),), recorder=Recorder(rate_hz=12_000, seconds=20.0)))
    assert sustained(result)[5.0].value > 100
    assert sustained(result)[1.0].value == pytest.approx(0.0, abs=1e-6)


def test_without_a_current_channel_power_is_that_of_the_named_load():
    capture = hold(wiring=wire("load_voltage"), recorder=Recorder(rate_hz=12_000, seconds=6.0))
    load = Load(name="bank", resistance_ohm=2.0, resistance_u_ohm=0.01)
    figure = sustained(measured(capture, load=load))[1.0]
    assert figure.conditions["basis"] == "v^2/r"
    assert_within(figure, float(capture.truth.power_at(np.array([1.5]))[0]), relative=1e-3)
    assert figure.u / figure.value == pytest.approx(0.005, rel=0.05)


def test_without_a_bench_distortion_is_still_followed():
    capture = hold(recorder=Recorder(rate_hz=12_000, seconds=6.0))
    record, _ = lay_on_bench(capture.recording, bench=None)
    result = measure(record, kind="hold")
    assert_within(result.figure("thd_n", "1"), 0.004, relative=0.01)
    assert sustained(result, "1") == {}


def test_a_record_of_less_than_a_frame_is_refused():
    capture = hold(recorder=Recorder(rate_hz=12_000, seconds=0.5))
    with pytest.raises(MeasureError, match="too short for a hold") as refused:
        measured(capture)
    assert "--kind steady" in refused.value.hint


@pytest.mark.parametrize("bad", [np.nan, np.inf, 1e37])
def test_numbers_that_are_none_are_refused(bad):
    capture = hold(recorder=Recorder(rate_hz=12_000, seconds=6.0))
    capture.waveform.samples[1, 50_000] = bad
    with pytest.raises(MeasureError, match="cannot be measured") as refused:
        measured(capture)
    assert "after 4" in refused.value.why


def test_silence_is_no_hold():
    wave = Waveform(samples=np.zeros((1, 60_000)), rate_hz=12_000.0, channels=(Channel(name="1"),))
    record, _ = lay_on_bench(MemoryRecording(waveform=wave), bench=Bench(channels=wire("load_voltage")))
    with pytest.raises(NoToneError):
        measure(record, kind="hold")


def test_a_long_file_is_read_with_one_frame_in_memory(tmp_path):
    """60 s of eight channels at 24 kHz are 92 MB as float64; what is held at once is a few frames of 1 s."""
    pytest.importorskip("soundfile")
    path = tmp_path / "hold.wav"
    truth, bench = write_hold(path, seconds=60.0, rate_hz=24_000.0)
    record, notices = lay_on_bench(open_recording(path), bench=bench, load=bench.loads[0])
    measure(lay_on_bench(hold().recording, bench=hold().bench)[0], kind="hold")  # imports are not what is measured
    tracemalloc.start()
    result = measure(record, kind="hold", notices=notices)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    frame_bytes = 24_000 * 8 * 8
    assert peak < 8 * frame_bytes
    for output in "ABC":
        for figure in sustained(result, output).values():
            start, stop = (float(part) for part in figure.origin.split()[-2].split("-"))
            assert_within(figure, truth.energy_j(start, stop) / (stop - start), relative=40 * PPM)
