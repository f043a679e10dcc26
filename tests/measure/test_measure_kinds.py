"""Kinds are told apart by the level's course: a table of what a bench produces, each made on purpose."""

import numpy as np
import pytest

from wattproof.bench import Bench, BenchChannel
from wattproof.measure import lay_on_bench, measure, tell_kind
from wattproof.testing import Recorder, burst_train, clipped_ramp, hold, idle, steady_tone, wire
from wattproof.waveform import Channel, MemoryRecording, Waveform

NOISE = {"load_voltage": 1e-3}


def told(capture, *, benched=True) -> str:
    record, _ = lay_on_bench(capture.recording, bench=capture.bench if benched else None)
    return tell_kind(record)


@pytest.mark.parametrize("volts", [20.0, 0.5, 0.02])
@pytest.mark.parametrize(
    ("tone_hz", "seconds"),
    [(23.0, 1.0), (47.0, 0.2), (47.0, 19.0), (97.0, 5.0), (997.0, 0.01), (997.0, 5.0), (6_001.0, 1.0)],
)
def test_a_constant_tone_is_steady(tone_hz, seconds, volts):
    assert (
        told(steady_tone(tone_hz=tone_hz, load_v_rms=volts, recorder=Recorder(seconds=seconds, noise_rms=NOISE)))
        == "steady"
    )


@pytest.mark.parametrize("tone_hz", [30.0, 997.0])
@pytest.mark.parametrize("cycles", [3.1, 5.0, 7.9])
def test_a_few_cycles_on_a_scope_are_steady(tone_hz, cycles):
    recorder = Recorder(rate_hz=2_000 * tone_hz / cycles, seconds=cycles / tone_hz, noise_rms={"load_voltage": 0.1})
    assert told(steady_tone(tone_hz=tone_hz, recorder=recorder)) == "steady"
    assert told(steady_tone(tone_hz=tone_hz, recorder=recorder), benched=False) == "steady"


@pytest.mark.parametrize("tone_hz", [47.0, 997.0])
@pytest.mark.parametrize(
    "mutes", [(), ((10, 12),), ((0, 2),), ((6, 8), (12, 14), (18, 20)), ((18, 25),)],
    ids=["clean", "mute", "late start", "retries", "shut-down"],
)  # fmt: skip
def test_a_tone_of_25_seconds_is_a_hold_whatever_happens_in_it(tone_hz, mutes):
    assert told(hold(tone_hz=tone_hz, mutes_s=mutes, recorder=Recorder(rate_hz=12_000, seconds=25.0))) == "hold"


@pytest.mark.parametrize("start", [4.0, 0.4])
@pytest.mark.parametrize(("tone_hz", "slope"), [(47.0, 2.0), (47.0, 11.0), (997.0, 34.0), (97.0, 5.0)])
def test_a_rising_tone_is_a_ramp(tone_hz, slope, start):
    seconds = (20 * np.log10(40.0 / start) + 4) / slope
    recorder = Recorder(rate_hz=24_000, seconds=seconds, noise_rms=NOISE)
    assert told(clipped_ramp(tone_hz=tone_hz, slope_db_per_s=slope, start_v_peak=start, recorder=recorder)) == "ramp"


@pytest.mark.parametrize("low_db", [-6.0, -20.0, -40.0])
@pytest.mark.parametrize("seconds", [4.0, 30.0])
@pytest.mark.parametrize(("tone_hz", "on", "period"), [(47.0, 10, 47), (47.0, 4, 94), (997.0, 20, 499), (97.0, 10, 97)])
def test_bursts_are_bursts(tone_hz, on, period, seconds, low_db):
    recorder = Recorder(rate_hz=24_000, seconds=seconds, noise_rms=NOISE)
    train = burst_train(tone_hz=tone_hz, cycles_on=on, cycles_period=period, low_db=low_db, recorder=recorder)
    assert told(train) == "burst"


@pytest.mark.parametrize("density", [1e-6, 1e-5])
@pytest.mark.parametrize(
    "hum", [(), ((50.0, 1e-3),), ((100.0, 3e-3), (50.0, 1e-3)), ((60.0, 5e-3), (180.0, 1e-3)), ((50.0, 2e-2),)]
)
@pytest.mark.parametrize("seconds", [2.0, 25.0])
def test_a_silent_amplifier_is_idle_although_it_hums(hum, density, seconds):
    assert told(idle(density_v_per_rthz=density, hum=hum, recorder=Recorder(rate_hz=12_000, seconds=seconds))) == "idle"


def test_switching_residue_alone_is_idle():
    assert told(idle(residue_hz=400e3, residue_rms_v=0.1)) == "idle"


def test_a_drive_that_is_recorded_decides():
    wiring = wire("load_voltage", "drive_voltage")
    humming = idle(hum=((50.0, 0.3),), wiring=wiring)
    assert told(humming) == "idle", "the drive is silent: 0.3 V of hum are no test tone"
    faint = steady_tone(tone_hz=50.0, load_v_rms=0.02, wiring=wiring)
    assert told(faint) == "steady", "the drive holds the tone"


@pytest.mark.parametrize("samples", [np.zeros(4_000), np.full(4_000, 2.0), np.full(4_000, np.nan), np.full(5, 1e300)])
def test_what_holds_no_tone_is_idle_and_nothing_breaks(samples):
    waveform = Waveform(samples=samples[np.newaxis], rate_hz=48_000.0, channels=(Channel(name="1"),))
    record, _ = lay_on_bench(MemoryRecording(waveform=waveform), bench=None)
    assert tell_kind(record) == "idle"


def test_a_record_too_long_to_read_is_glimpsed_at(monkeypatch):
    monkeypatch.setattr("wattproof.measure.kinds.READ_WHOLE", 10_000)
    recorder = Recorder(rate_hz=12_000, seconds=25.0)
    assert told(hold(recorder=recorder)) == "hold"
    assert told(idle(recorder=recorder)) == "idle"
    assert told(burst_train(recorder=Recorder(rate_hz=12_000, seconds=10.0, noise_rms=NOISE))) == "burst"


RATE_HZ = 12_000


def sounds(*stretches: tuple[float, float, float], tone_hz: float = 97.0, noise: float = 1e-5) -> MemoryRecording:
    """A tone whose level, in decibels of one, goes from the first to the second over so many seconds, one by one."""
    level_db = np.concatenate([np.linspace(a, b, round(s * RATE_HZ), endpoint=False) for s, a, b in stretches])
    t = np.arange(level_db.size) / RATE_HZ
    tone = 10 ** (level_db / 20) * np.sin(2 * np.pi * tone_hz * t)
    samples = np.clip(tone, -1, 1) + noise * np.random.default_rng(7).normal(size=t.size)
    wave = Waveform(samples=samples[np.newaxis], rate_hz=float(RATE_HZ), channels=(Channel(name="1"),))
    return MemoryRecording(waveform=wave)


SILENT_DB = -200.0


@pytest.mark.parametrize("tone_hz", [47.0, 997.0])
@pytest.mark.parametrize(
    ("stretches", "kind"),
    [
        (((1.0, SILENT_DB, SILENT_DB), (3.0, -50.0, 8.0), (1.0, SILENT_DB, SILENT_DB)), "ramp"),
        (((1.0, SILENT_DB, SILENT_DB), (1.6, -40.0, 8.0), (1.0, SILENT_DB, SILENT_DB)), "ramp"),
        (((25.0, -50.0, 8.0), (2.0, SILENT_DB, SILENT_DB)), "ramp"),
        (((2.0, SILENT_DB, SILENT_DB), (2.0, 0.0, 0.0)), "steady"),
        (((1.0, SILENT_DB, SILENT_DB), (3.0, 0.0, 0.0), (1.0, SILENT_DB, SILENT_DB)), "steady"),
        (((25.0, SILENT_DB, SILENT_DB), (25.0, 0.0, 0.0)), "hold"),
        (((0.5, SILENT_DB, SILENT_DB), (0.2, 0.0, 0.0), (0.5, SILENT_DB, SILENT_DB)), "burst"),
    ],
    ids=["ramp", "short ramp", "long ramp", "switched on", "on and off", "late hold", "burst"],
)
def test_silence_before_and_after_changes_nothing(stretches, kind, tone_hz):
    record, _ = lay_on_bench(sounds(*stretches, tone_hz=tone_hz), bench=None)
    assert tell_kind(record) == kind


REST = -20.0


@pytest.mark.parametrize(
    ("stretches", "kind"),
    [
        (((0.3, REST, REST), (0.2, 0.0, 0.0), (0.5, REST, REST), (0.1, 0.0, 0.0)), "burst"),
        (((0.3, REST, REST), (0.2, 0.0, 0.0), (0.5, REST, REST), (0.2, 0.0, 0.0)), "burst"),
        (((0.2, 0.0, 0.0), (0.5, REST, REST), (0.15, 0.0, 0.0)), "burst"),
        (((0.5, SILENT_DB, SILENT_DB), (0.3, 0.0, 0.0), (0.7, SILENT_DB, SILENT_DB), (0.1, 0.0, 0.0)), "burst"),
        (((0.1, -15.0, -15.0), (2.0, SILENT_DB, SILENT_DB), (1.0, 0.0, 0.0)), "steady"),
        (((0.1, 0.0, 0.0), (2.0, SILENT_DB, SILENT_DB), (1.0, 0.0, 0.0)), "steady"),
        (((0.3, REST, REST), (0.2, -8.0, -8.0), (0.5, REST, REST), (0.1, 0.0, 0.0)), "steady"),
        (((1.0, 0.0, 0.0), (0.2, SILENT_DB, SILENT_DB), (1.0, 0.0, 0.0)), "steady"),
    ],
    ids=[
        "cut short",
        "cut at its end",
        "from the first sample",
        "over silence",
        "thump",
        "false start",
        "unlike",
        "dropout",
    ],
)
def test_a_record_that_ends_inside_its_second_burst_is_bursts(stretches, kind):
    for tone_hz in (97.0, 997.0):
        record, _ = lay_on_bench(sounds(*stretches, tone_hz=tone_hz), bench=None)
        assert tell_kind(record) == kind


def test_a_burst_that_the_record_s_end_cuts_off_is_left_out_of_the_figures():
    recording = sounds((0.3, REST, REST), (0.2, 0.0, 0.0), (0.5, REST, REST), (0.1, 0.0, 0.0), tone_hz=100.0)
    record, _ = lay_on_bench(recording, bench=Bench(channels=(BenchChannel(input=1, role="load_voltage"),)))
    result = measure(record)
    assert result.kind == "burst"
    assert "one-burst" in {notice.code for notice in result.warnings}


@pytest.mark.parametrize("noise", [0.0, 1e-4])
def test_silence_about_a_tone_is_left_out_of_its_figures(noise):
    recording = sounds((1.0, SILENT_DB, SILENT_DB), (3.0, -6.0, -6.0), (1.5, SILENT_DB, SILENT_DB), noise=noise)
    bench = Bench(channels=(BenchChannel(input=1, role="load_voltage"),))
    record, _ = lay_on_bench(recording, bench=bench)
    result = measure(record)
    figures = {figure.name: figure for figure in result.figures}
    assert figures["load_voltage_rms"].value == pytest.approx(10 ** (-6 / 20) / np.sqrt(2), rel=1e-5)
    (notice,) = (notice for notice in result.warnings if notice.code == "silence-left-out")
    assert 1.0 <= notice.numbers["start_s"] < 1.05
    assert 3.95 < notice.numbers["stop_s"] <= 4.0
    assert figures["load_voltage_rms"].origin.endswith(" s")
    assert (result.samples, result.duration_s) == (recording.n_samples, 5.5)


def test_a_record_without_silence_is_measured_whole():
    record, _ = lay_on_bench(sounds((2.0, -6.0, -6.5)), bench=None)
    result = measure(record, kind="steady")
    assert "silence-left-out" not in {notice.code for notice in result.warnings}
    assert {figure.origin for figure in result.figures} == {"memory"}


def test_the_output_that_is_driven_tells_the_kind_and_the_silent_one_is_said_to_be_silent():
    t = np.arange(RATE_HZ) / RATE_HZ
    noise = 1e-6 * np.random.default_rng(5).normal(size=(2, t.size))
    samples = noise + np.stack([np.zeros(t.size), np.sin(2 * np.pi * 97.0 * t)])
    wave = Waveform(samples=samples, rate_hz=float(RATE_HZ), channels=(Channel(name="1"), Channel(name="2")))
    outputs = tuple(BenchChannel(input=n, role="load_voltage", output=name) for n, name in ((1, "A"), (2, "B")))
    record, _ = lay_on_bench(MemoryRecording(waveform=wave), bench=Bench(channels=outputs))
    result = measure(record)
    assert result.kind == "steady"
    assert {figure.output for figure in result.figures} == {"B"}
    assert [notice.code for notice in result.warnings if "Channel A" in notice.message] == ["no-tone"]


def test_a_level_that_creeps_in_is_no_silence():
    record, _ = lay_on_bench(sounds((1.0, -50.0, -6.0), (1.0, -6.0, -6.0), (1.0, -6.0, -50.0)), bench=None)
    result = measure(record, kind="steady")
    assert "silence-left-out" not in {notice.code for notice in result.warnings}
    assert "unsteady-tone" in {notice.code for notice in result.warnings}


@pytest.mark.parametrize(("level", "told"), [(0.0, True), (1e-7, False)])
def test_a_channel_of_zeros_is_told(level, told):
    samples = level * np.random.default_rng(3).normal(size=(1, RATE_HZ))
    wave = Waveform(samples=samples, rate_hz=float(RATE_HZ), channels=(Channel(name="1"),))
    bench = Bench(channels=(BenchChannel(input=1, role="load_voltage", offset=0.5),))
    record, _ = lay_on_bench(MemoryRecording(waveform=wave), bench=bench)
    assert ("dead-channel" in {notice.code for notice in measure(record).warnings}) is told
