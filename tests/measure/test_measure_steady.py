"""Figures of a constant tone against what was put in: levels, powers, distortion, on any recorder, at any length."""

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.bench import Bench, BenchChannel, Load
from wattproof.errors import MeasureError, MissingChannelError
from wattproof.measure import CaptureResult, lay_on_bench, measure
from wattproof.quantity import correlation
from wattproof.testing import (
    Capture,
    Harmonic,
    Recorder,
    Source,
    assert_within,
    inductance_for_angle,
    merge,
    steady_tone,
    wire,
    workshop_wiring,
)
from wattproof.testing.strategies import steady_captures
from wattproof.waveform import Channel, MemoryRecording, Waveform

ALL = ("load_voltage", "load_current", "drive_voltage", "supply_voltage", "supply_current")
PPM = 1e-6


def measured(capture: Capture, *, bench: Bench | None = None, load: Load | None = None, **wishes) -> CaptureResult:
    bench = bench or capture.bench
    record, notices = lay_on_bench(
        capture.recording, bench=bench, load=load or (bench.loads[0] if bench.loads else None), **wishes
    )
    return measure(record, kind="steady", notices=notices)


def assert_truth(result: CaptureResult, truth, *, ppm=20.0, thd=1e-3, hz=0.1) -> None:
    within = ppm * PPM
    dc_square = truth.dc_v**2
    assert_within(result.figure("fundamental_frequency"), truth.tone_hz, relative=hz * PPM)
    assert_within(result.figure("load_voltage_rms"), math.sqrt(truth.load_v_rms**2 - dc_square), relative=within)
    assert_within(result.figure("load_voltage_fundamental"), truth.load_v_fundamental_rms, relative=within)
    watts = truth.load_power_w - dc_square / truth.resistance_ohm
    assert_within(result.figure("load_power"), watts, relative=within)
    assert_within(result.figure("load_resistance"), truth.resistance_ohm, relative=within)
    if truth.thd_f:
        assert_within(result.figure("thd_f"), truth.thd_f, relative=thd)
        assert_within(result.figure("thd_r"), truth.thd_r, relative=thd)


LEVELS = [0.1, 1e-3, 1e-5]


@pytest.mark.parametrize("thd", LEVELS, ids=["-20 dB", "-60 dB", "-100 dB"])
@pytest.mark.parametrize("angle_deg", [0.0, 50.0])
@pytest.mark.parametrize(
    ("tone_hz", "cycles"), [(30.0, 3.6), (30.0, 3.02), (47.0, 9.7), (997.0, 5.3), (997.0, 611.4), (6_001.0, 900.0)]
)
def test_power_frequency_and_distortion_are_what_was_put_in(tone_hz, cycles, angle_deg, thd):
    capture = steady_tone(
        tone_hz=tone_hz,
        harmonics=[Harmonic(2, 0.6 * thd, 0.4), Harmonic(3, 0.8 * thd, -1.0)],
        dc_v=0.15,
        drift_v_per_s=0.4,
        phase_rad=2.1,
        inductance_h=inductance_for_angle(resistance_ohm=4.0, angle_rad=math.radians(angle_deg), tone_hz=tone_hz),
        recorder=Recorder(rate_hz=96_000.0, seconds=cycles / tone_hz),
    )
    result = measured(capture)
    assert_truth(result, capture.truth)
    assert_within(
        result.figure("dc_offset"), 0.15 + 0.4 * (capture.recording.n_samples - 1) / 96_000 / 2, absolute=1e-6
    )
    assert_within(result.figure("load_impedance").conditions["phase_rad"], math.radians(angle_deg), absolute=1e-5)


@pytest.mark.parametrize("phase", np.linspace(-3.1, 3.1, 8))
def test_any_start_phase_gives_the_same_figures(phase):
    capture = steady_tone(
        tone_hz=47.0,
        harmonics=[Harmonic(3, 0.01), Harmonic(5, 0.002)],
        phase_rad=phase,
        recorder=Recorder(seconds=4.37 / 47.0),
        drift_v_per_s2=2.0,
    )
    assert_truth(measured(capture), capture.truth)


@pytest.mark.parametrize(("bits", "ppm", "floor"), [(24, 1.0, 1e-7), (16, 20.0, 2e-5)])
def test_a_recorder_of_few_bits_is_right_within_what_its_bits_allow(bits, ppm, floor):
    capture = steady_tone(
        harmonics=[Harmonic(3, 1e-3)],
        wiring=workshop_wiring("load_voltage", "load_current"),
        recorder=Recorder(bits=bits, seconds=0.5),
    )
    result = measured(capture)
    assert_truth(result, capture.truth, ppm=ppm)
    # the floor that is printed beside it: q / sqrt(12) in the share of the band, over 20 V
    step_v = 42.0 / 2 ** (bits - 1)
    expected = step_v / math.sqrt(12) * math.sqrt((20_000 - 20) / 24_000) / 20.0
    assert result.figure("thd_n").conditions["floor"] == pytest.approx(expected, rel=0.01)
    assert expected < floor


def test_skew_offset_and_a_negative_scale_are_undone():
    wiring = (
        BenchChannel(input=1, role="load_voltage", scale=-42.0, offset=0.3, skew_s=12.5e-6),
        BenchChannel(input=2, role="load_current", scale=30.0, offset=-0.2, skew_s=-41e-6),
        BenchChannel(input=3, role="drive_voltage", scale=3.5, skew_s=7e-6),
    )
    capture = steady_tone(
        tone_hz=1_997.0,
        harmonics=[Harmonic(2, 0.02, 0.5)],
        inductance_h=inductance_for_angle(resistance_ohm=4.0, angle_rad=0.9, tone_hz=1_997.0),
        wiring=wiring,
    )
    result = measured(capture)
    assert_truth(result, capture.truth)
    assert_within(result.figure("gain"), 20.0, relative=20 * PPM)
    assert abs(result.figure("gain").conditions["phase_rad"]) < 1e-6


def test_the_sign_of_skew_is_that_of_a_channel_that_lags():
    """Current recorded late looks inductive: its power at 60 degrees is cos(60 + late) / cos(60) of the truth."""
    angle, late_s, hz = math.radians(60), 20e-6, 997.0
    inductance = inductance_for_angle(resistance_ohm=4.0, angle_rad=angle, tone_hz=hz)
    wiring = wire("load_voltage", "load_current")
    late = (wiring[0], wiring[1].model_copy(update={"skew_s": late_s}))
    capture = steady_tone(tone_hz=hz, inductance_h=inductance, wiring=late)
    blind = measured(capture, bench=capture.bench.model_copy(update={"channels": wiring}))
    ratio = math.cos(angle + 2 * math.pi * hz * late_s) / math.cos(angle)
    assert_within(blind.figure("load_power"), capture.truth.load_power_w * ratio, relative=PPM)
    assert_within(measured(capture).figure("load_power"), capture.truth.load_power_w, relative=PPM)


def test_skew_uncertainty_counts_as_the_tangent_of_the_angle():
    hz, skew_u, angle = 997.0, 2e-6, math.radians(50)
    wiring = wire("load_voltage", "load_current", skew_u_s=skew_u)
    capture = steady_tone(
        tone_hz=hz,
        inductance_h=inductance_for_angle(resistance_ohm=4.0, angle_rad=angle, tone_hz=hz),
        wiring=wiring,
    )
    power = measured(capture).figure("load_power")
    expected = power.value * math.tan(angle) * 2 * math.pi * hz * skew_u * math.sqrt(2)
    assert power.u == pytest.approx(expected, rel=1e-3)


def test_noise_across_the_phasor_counts_at_an_angle():
    """At 75 degrees the noise of v*i is that of the volt-amperes, 1/cos as much of the power as on a resistor."""
    angle, noise = math.radians(75), {"load_voltage": 0.2, "load_current": 0.0}
    capture = steady_tone(
        inductance_h=inductance_for_angle(resistance_ohm=4.0, angle_rad=angle, tone_hz=997.0),
        recorder=Recorder(seconds=0.2, noise_rms=noise),
    )
    power = measured(capture).figure("load_power")
    of_volts = math.sqrt(2 / 9_600) * 0.2 / (20 * math.sqrt(2))
    assert power.u / power.value == pytest.approx(of_volts / math.cos(angle), rel=0.1)


def test_the_budget_is_the_scales_and_nothing_is_counted_twice():
    """Scales of 0.2 % and 0.3 %: rms 0.2 %, v*i sqrt(0.2² + 0.3²) %, V²/R of the same R likewise, R likewise."""
    wiring = tuple(
        channel.model_copy(update={"scale_u": u})
        for channel, u in zip(wire("load_voltage", "load_current"), (0.002, 0.003), strict=True)
    )
    result = measured(steady_tone(wiring=wiring))
    relative = {f.name: f.u / f.value for f in result.figures if f.value}
    both = math.hypot(0.002, 0.003)
    expected = {"load_voltage_rms": 0.002, "load_current_rms": 0.003, "load_power": both, "apparent_power": both,
                "load_power_v2r": both, "load_resistance": both, "load_impedance": both}  # fmt: skip
    for name, share in expected.items():
        assert relative[name] == pytest.approx(share, rel=1e-3), name
    # their ratio knows nothing of the scales, nor do shapes
    assert result.figure("power_factor").u < 1e-9
    assert result.figure("thd_n").u < 1e-9
    labels = {line.label for line in result.figure("load_power").budget}
    assert {"scale of load_voltage A", "scale of load_current A"} <= labels


def test_figures_of_one_calibration_stay_correlated_through_json():
    wiring = wire(*ALL, scale_u=0.002)
    result = CaptureResult.model_validate_json(measured(steady_tone(wiring=wiring)).model_dump_json())
    volts, amps, power = (result.figure(name) for name in ("load_voltage_rms", "load_current_rms", "load_power"))
    assert correlation(volts, amps) == pytest.approx(0.0, abs=1e-6)
    assert correlation(volts, power) == pytest.approx(1 / math.sqrt(2), rel=1e-4)
    # efficiency = P / supply power: up with the one, down with the other
    efficiency, drawn = result.figure("efficiency", None), result.figure("supply_power", None)
    assert correlation(power, efficiency) == pytest.approx(1 / math.sqrt(2), rel=1e-4)
    assert correlation(drawn, efficiency) == pytest.approx(-1 / math.sqrt(2), rel=1e-4)


def test_captures_of_one_name_share_calibration_but_no_noise():
    from wattproof.quantity import Ledger

    ledger, results = Ledger(), []
    for seed in (1, 2):
        recorder = Recorder(seconds=0.1, seed=seed, noise_rms={"load_voltage": 0.05, "load_current": 0.01})
        capture = steady_tone(tone_hz=997.0 + 10 * seed, wiring=wire("load_voltage", "load_current"), recorder=recorder)
        record, _ = lay_on_bench(capture.recording, bench=capture.bench, ledger=ledger)
        results.append(measure(record, kind="steady"))
    first, second = (r.figure("load_voltage_rms") for r in results)
    assert correlation(first, second) == 0.0
    assert results[1].figure("fundamental_frequency").value == pytest.approx(1_017.0, rel=1e-4)


def test_two_outputs_each_give_their_own_figures_and_one_efficiency():
    recorder = Recorder(seconds=0.5)
    one = steady_tone(load_v_rms=20.0, harmonics=[Harmonic(3, 0.01)], wiring=wire(*ALL), recorder=recorder, output="A")
    two = steady_tone(load_v_rms=2.0, harmonics=[Harmonic(2, 0.05)], recorder=recorder, output="B")
    both = merge(one, two)
    result = measured(both)
    for truth, output in zip(both.truth, "AB", strict=True):
        assert_within(result.figure("load_power", output), truth.load_power_w, relative=20 * PPM)
        assert_within(result.figure("thd_f", output), truth.thd_f, relative=1e-3)
    total = sum(truth.load_power_w for truth in both.truth)
    efficiency = result.figure("efficiency", None)
    assert efficiency.conditions["outputs_measured"] == 2
    assert_within(efficiency, total / one.truth.supply.power_w, relative=20 * PPM)
    assert_within(result.figure("heat", None), one.truth.supply.power_w - total, relative=100 * PPM)


def test_a_silent_second_output_is_told_and_does_not_stop_the_first():
    recorder = Recorder(seconds=0.2)
    one = steady_tone(recorder=recorder, output="A")
    two = steady_tone(recorder=recorder, output="B")
    quiet = np.array(two.waveform.samples) * 0
    both = merge(one, Capture(
        recording=MemoryRecording(waveform=Waveform(samples=quiet, rate_hz=48_000.0, channels=two.waveform.channels)),
        bench=two.bench, truth=two.truth,
    ))  # fmt: skip
    result = measured(both)
    assert_within(result.figure("load_power", "A"), one.truth.load_power_w, relative=20 * PPM)
    assert result.figure("load_power", "B") is None
    assert "no-tone" in {w.code for w in result.warnings}


def test_without_a_bench_only_what_needs_no_scale_is_given():
    capture = steady_tone(harmonics=[Harmonic(3, 0.01)])
    record, notices = lay_on_bench(capture.recording, bench=None)
    result = measure(record, kind="steady", notices=notices)
    names = {f.name for f in result.figures if f.output == "1"}
    assert {"fundamental_frequency", "crest_factor", "thd_f", "thd_n"} <= names
    assert not {n for n in names if n.startswith(("load_", "supply_", "noise", "dc"))}
    assert_within(result.figure("thd_f", "1"), 0.01, relative=1e-3)
    assert result.warnings[0].code == "no-bench"


def test_without_a_current_channel_power_is_that_of_the_named_load():
    capture = steady_tone(wiring=wire("load_voltage", scale_u=0.001))
    load = Load(name="bank", resistance_ohm=4.0, resistance_u_ohm=0.008)
    result = measured(capture, load=load)
    power = result.figure("load_power_v2r")
    assert_within(power, 100.0, relative=PPM)
    assert power.u / power.value == pytest.approx(math.hypot(2 * 0.001, 0.008 / 4.0), rel=1e-3)
    assert result.figure("load_power") is None
    record, _ = lay_on_bench(capture.recording, bench=capture.bench)
    assert measure(record, kind="steady").figure("load_power_v2r") is None


def test_crest_factor_is_that_of_the_wave():
    """sin x + sin 3x / 3 peaks at 0.9428 at 45 degrees; its r.m.s. is sqrt((1 + 1/9) / 2)."""
    capture = steady_tone(harmonics=[Harmonic(3, 1 / 3)])
    expected = math.sqrt(8 / 9) / math.sqrt((1 + 1 / 9) / 2)
    assert_within(measured(capture).figure("crest_factor"), expected, relative=1e-4)
    assert_within(measured(steady_tone()).figure("crest_factor"), math.sqrt(2), relative=1e-4)


@pytest.mark.parametrize("seed", range(4))
def test_noise_thd_n_and_sinad_are_those_of_the_noise_in_the_band(seed):
    noise = 0.02
    capture = steady_tone(recorder=Recorder(seconds=0.5, seed=seed, noise_rms={"load_voltage": noise}))
    result = measured(capture)
    in_band = noise * math.sqrt((20_000 - 20) / 24_000)
    assert_within(result.figure("noise_rms"), in_band, times_u=4.0)
    assert result.figure("noise_rms").u / in_band == pytest.approx(0.5 * math.sqrt(2 / 10_000), rel=0.5)
    assert_within(result.figure("thd_n"), in_band / math.hypot(20.0, in_band), times_u=4.0)
    assert result.figure("sinad").value == pytest.approx(1 / result.figure("thd_n").value, rel=1e-12)


def test_thd_n_is_over_the_total_and_thd_in_both_bases():
    """A 30 % harmonic: 0.3 of the fundamental, 0.3 / sqrt(1.09) of the total."""
    result = measured(steady_tone(harmonics=[Harmonic(2, 0.3)]))
    total = 0.3 / math.sqrt(1.09)
    assert_within(result.figure("thd_f"), 0.3, relative=1e-6)
    assert_within(result.figure("thd_r"), total, relative=1e-6)
    assert_within(result.figure("thd_n"), total, relative=1e-6)
    assert_within(result.figure("sinad"), 1 / total, relative=1e-6)


@pytest.mark.parametrize("order", range(2, 11))
def test_each_harmonic_has_its_size_and_phase(order):
    capture = steady_tone(tone_hz=97.0, harmonics=[Harmonic(order, 0.01, 0.7)], phase_rad=1.9)
    figure = measured(capture).figure(f"harmonic_{order}")
    assert_within(figure, 0.01, relative=1e-6)
    # sine convention put in, cosine convention measured: h w t + phi as sines is shifted by (h - 1) quarter turns
    expected = math.remainder(0.7 - math.pi / 2 + order * math.pi / 2, 2 * math.pi)
    assert math.remainder(figure.conditions["phase_rad"] - expected, 2 * math.pi) == pytest.approx(0.0, abs=2e-4)


def test_near_its_floor_thd_says_so():
    noise = 0.05
    capture = steady_tone(recorder=Recorder(seconds=0.1, noise_rms={"load_voltage": noise}))
    figure = measured(capture).figure("thd_f")
    line = math.sqrt(2 / 4_800) * noise / (20 * math.sqrt(2))
    assert figure.conditions["floor"] == pytest.approx(line * math.sqrt(2 * 9), rel=0.1)
    assert figure.interval95[0] <= 0.0, "a tone without distortion: the interval must reach 0"


@pytest.mark.parametrize("rate_hz", [8_000.0, 44_100.0, 192_000.0])
def test_the_band_ends_at_20_khz_or_where_the_record_ends(rate_hz):
    capture = steady_tone(recorder=Recorder(rate_hz=rate_hz, seconds=0.2))
    low_hz, high_hz = measured(capture).figure("thd_n").conditions["bandwidth_hz"]
    assert (low_hz, high_hz) == (20.0, min(20_000.0, 0.49 * rate_hz))


@pytest.mark.parametrize("band", [{"low_hz": 1_500.0}, {"high_hz": 500.0}])
def test_a_tone_outside_the_band_is_refused_and_the_hint_cures_it(band):
    capture = steady_tone(recorder=Recorder(seconds=0.2))
    with pytest.raises(MeasureError, match="outside the measuring band") as refused:
        measured(capture, **band)
    low_hz, high_hz = (
        float(refused.value.hint.split(f"--{edge}-hz ")[1].split()[0].strip(",")) for edge in ("low", "high")
    )
    assert_truth(measured(capture, low_hz=low_hz, high_hz=high_hz), capture.truth)


@given(steady_captures())
@settings(max_examples=25, deadline=None)
def test_any_tone_is_measured_right(capture):
    result = measured(capture)
    truth = capture.truth
    highest = max((h.order for h in truth.harmonics), default=1)
    assert_within(result.figure("fundamental_frequency"), truth.tone_hz, relative=1e-7)
    if highest * truth.tone_hz < 19_000:
        assert_truth(result, truth)


BROKEN = st.one_of(
    st.just("nan"), st.just("zeros"), st.just("constant"), st.just("one cycle"), st.just("tiny"), st.just("huge"),
    st.just("noise"), st.just("step"), st.just("spike"), st.just("clipped"), st.just("slope"),
)  # fmt: skip


def broken_samples(kind: str, n: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    t = np.arange(n)
    sine = np.sin(2 * np.pi * t / max(n / 7.3, 2.1))
    return {
        "nan": np.where(rng.random(n) < 0.1, np.nan, sine),
        "zeros": np.zeros(n),
        "constant": np.full(n, 3.3),
        "one cycle": np.sin(2 * np.pi * t / n),
        "tiny": sine * 10.0 ** -rng.uniform(20, 320),
        "huge": sine * 10.0 ** rng.uniform(6, 300),
        "noise": rng.normal(0, 1, n),
        "step": (t > n // 2).astype(float),
        "spike": (t == n // 3).astype(float),
        "clipped": np.clip(3 * sine, -1, 1),
        "slope": t / n,
    }[kind]


@given(
    kinds=st.lists(BROKEN, min_size=5, max_size=5),
    n=st.sampled_from([2, 3, 7, 9, 40, 333, 2_000]),
    seed=st.integers(0, 2**31),
    kind=st.sampled_from([None, "steady", "idle", "hold"]),
    benched=st.booleans(),
    tone_hz=st.sampled_from([None, 997.0, 11.0, 1e-3, 23_999.0, 1e9]),
    rate_hz=st.sampled_from([48_000.0, 200.0]),
)
@settings(max_examples=120, deadline=None)
def test_whatever_was_recorded_gets_an_answer_or_a_refusal(kinds, n, seed, kind, benched, tone_hz, rate_hz):
    samples = np.stack([broken_samples(k, n, seed + i) for i, k in enumerate(kinds)])
    channels = tuple(Channel(name=str(i)) for i in range(1, 6))
    recording = MemoryRecording(waveform=Waveform(samples=samples, rate_hz=rate_hz, channels=channels))
    bench = Bench(channels=wire(*ALL, scale_u=0.001, full_scale=1.0)) if benched else None
    record, _ = lay_on_bench(recording, bench=bench, tone_hz=tone_hz)
    try:
        result = measure(record, kind=kind)
    except MeasureError as refusal:
        told = refusal
    else:
        told = None
        for figure in result.figures:
            assert all(map(math.isfinite, (figure.value, figure.u, figure.k95))), figure
            assert all(math.isfinite(line.u) for line in figure.budget), figure
    assert told is None or (told.message and told.hint)


def test_an_empty_record_is_refused():
    waveform = Waveform(samples=np.zeros((1, 1)), rate_hz=48_000.0, channels=(Channel(name="1"),))
    record, _ = lay_on_bench(MemoryRecording(waveform=waveform), bench=None)
    with pytest.raises(MeasureError, match="holds no record"):
        measure(record)


def test_a_hold_of_a_supply_alone_is_refused_by_name():
    capture = steady_tone(wiring=wire("supply_voltage", "supply_current"))
    record, _ = lay_on_bench(capture.recording, bench=capture.bench)
    with pytest.raises(MissingChannelError):
        measure(record, kind="hold")


def test_ripple_of_short_records_does_not_reach_the_means():
    """Three cycles of 997 Hz are no whole number of samples: plain means would be a thousandth of the ripple off."""
    capture = steady_tone(
        wiring=wire(*ALL), source=Source(ripple=0.5, resistance_ohm=0.02), recorder=Recorder(seconds=3.4 / 997.0)
    )
    result, truth = measured(capture), capture.truth.supply
    for name, expected in (("supply_voltage", truth.voltage_v), ("supply_current", truth.current_a),
                           ("supply_power", truth.power_w), ("supply_ripple_rms", truth.ripple_rms_v)):  # fmt: skip
        assert_within(result.figure(name, None), expected, relative=20 * PPM)


@pytest.mark.parametrize(
    ("tone_hz", "highest"), [(6_601.0, 3), (7_001.0, 2), (9_001.0, 2), (11_003.0, 1), (19_001.0, 1)]
)
def test_a_tone_whose_harmonics_lie_above_the_band_has_no_thd_rather_than_one_of_0(tone_hz, highest):
    noise = Recorder(rate_hz=96_000.0, seconds=0.2, noise_rms={"load_voltage": 1e-3})
    result = measured(steady_tone(tone_hz=tone_hz, harmonics=[Harmonic(2, 0.01), Harmonic(3, 0.02)], recorder=noise))
    names = {figure.name for figure in result.figures}
    assert ({"thd_f", "thd_r", "harmonic_2"} <= names) is (highest >= 2)
    assert ("harmonic_3" in names) is (highest >= 3)
    assert "thd_n" in names
    told = [notice for notice in result.warnings if notice.code == "harmonics-out-of-band"]
    assert [notice.numbers["highest_harmonic"] for notice in told] == ([highest] if highest < 3 else [])
    if highest == 2:
        assert_within(result.figure("thd_f"), 0.01, relative=0.01)
    if told:
        under_hz = float(re.search(r"under ([\d.]+) Hz", told[0].hint)[1])
        lower = measured(steady_tone(tone_hz=under_hz - 1, recorder=noise))
        assert "harmonics-out-of-band" not in {notice.code for notice in lower.warnings}
