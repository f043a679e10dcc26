"""The room's door: one call for any kind, the same answer every time, and figures that survive a file."""

import math

import pytest

from wattproof.errors import MeasureError
from wattproof.measure import CaptureResult, lay_on_bench, measure, tell_kind
from wattproof.testing import (
    Harmonic,
    Recorder,
    assert_within,
    burst_train,
    clipped_ramp,
    hold,
    idle,
    steady_tone,
    wire,
    workshop_wiring,
)

MADE = {
    "steady": lambda: steady_tone(recorder=Recorder(seconds=0.5)),
    "ramp": lambda: clipped_ramp(),
    "burst": lambda: burst_train(recorder=Recorder(rate_hz=24_000, seconds=4.0)),
    "hold": lambda: hold(recorder=Recorder(rate_hz=6_000, seconds=21.0)),
    "idle": lambda: idle(recorder=Recorder(rate_hz=24_000, seconds=1.0)),
}


def measured(capture, kind=None):
    record, notices = lay_on_bench(capture.recording, bench=capture.bench, load=capture.bench.loads[0])
    return measure(record, kind=kind, notices=notices)


@pytest.mark.parametrize("kind", ["steady", "hold", "idle", "burst"])
def test_the_kind_is_found_and_measured(kind):
    result = measured(MADE[kind]())
    assert result.kind == kind
    assert result.figures
    assert result.samples == MADE[kind]().recording.n_samples


@pytest.mark.parametrize("kind", sorted(MADE))
def test_measuring_again_gives_the_same_and_a_file_keeps_it(kind):
    capture = MADE[kind]()
    first, second = measured(capture, kind), measured(capture, kind)
    assert first == second
    assert CaptureResult.model_validate_json(first.model_dump_json()) == first


@pytest.mark.parametrize("kind", sorted(MADE))
def test_every_figure_is_finite_named_and_placed(kind):
    for figure in measured(MADE[kind](), kind).figures:
        assert math.isfinite(figure.value), figure.name
        assert math.isfinite(figure.u), figure.name
        assert figure.k95 >= 1.95
        assert figure.origin.startswith(MADE[kind]().recording.source)
        assert figure.unit in {"V", "A", "W", "VA", "V/V", "W/W", "ohm", "Hz", "1", "K", "s"}, figure.unit


def test_channels_tell_their_peaks_and_what_clipped():
    wiring = workshop_wiring("load_voltage", "load_current")
    low = (wiring[0].model_copy(update={"scale": 20.0}), wiring[1])
    result = measured(steady_tone(wiring=low, recorder=Recorder(seconds=0.1)), "steady")
    volts, amps = result.channels
    assert (volts.role, volts.peak) == ("load_voltage", pytest.approx(20.0))
    assert volts.clipped > 1_000
    assert (amps.clipped, amps.peak) == (0, pytest.approx(5 * math.sqrt(2), rel=1e-3))


@pytest.mark.parametrize("kind", ["steady", "ramp", "burst", "idle", "hold"])
def test_a_missing_sample_is_refused_whatever_the_kind(kind):
    capture = MADE[kind]()
    capture.waveform.samples[0, 1_000:1_010] = float("nan")
    with pytest.raises(MeasureError) as refused:
        measured(capture, kind)
    assert "not a number" in refused.value.why
    record, _ = lay_on_bench(capture.recording, bench=capture.bench)
    assert tell_kind(record) == "idle"


def test_a_drive_alone_has_no_output_to_measure():
    capture = steady_tone(wiring=wire("drive_voltage"))
    with pytest.raises(MeasureError):
        measured(capture)


def test_what_reading_had_to_say_comes_first():
    capture = steady_tone(wiring=wire("load_voltage", "load_current", "supply_voltage"))
    bench = capture.bench.model_copy(update={"channels": (*capture.bench.channels, *wire("drive_voltage"))})
    extra = bench.channels[-1].model_copy(update={"input": 9})
    bench = bench.model_copy(update={"channels": (*capture.bench.channels, extra)})
    record, notices = lay_on_bench(capture.recording, bench=bench)
    result = measure(record, kind="steady", notices=notices)
    assert result.warnings[0].code == "channel-absent"


def test_the_views_draw_what_was_measured():
    capture = steady_tone(
        tone_hz=997.0,
        harmonics=[Harmonic(3, 0.01)],
        wiring=wire("load_voltage", "load_current", "supply_voltage", "supply_current"),
        recorder=Recorder(seconds=0.2),
    )
    views = measured(capture, "steady").views
    for trace in (*views.waveform, *views.spectrum, *views.supply):
        assert len(trace.x) == len(trace.y) <= 1_000
        assert all(b > a for a, b in zip(trace.x, trace.x[1:], strict=False)), trace.name
    (spectrum,) = views.spectrum
    near = {round(x): y for x, y in zip(spectrum.x, spectrum.y, strict=True)}
    assert_within(near[997], 1.0, relative=1e-4)
    assert_within(near[2_991], 0.01, relative=1e-4)
    volts = next(trace for trace in views.waveform if trace.name == "load_voltage")
    assert_within(max(map(abs, volts.y)), 20 * math.sqrt(2), relative=0.02)
