"""The supply's side: means of v*i, sag, ripple, efficiency, heat, and the source's resistance."""

import math

import numpy as np
import pytest

from wattproof.measure import lay_on_bench, measure
from wattproof.measure.pieces import piece_edges, piece_means, scatter_of_mean
from wattproof.measure.source import source_resistance_of_frames
from wattproof.testing import Recorder, Source, assert_within, steady_tone, wire

ROLES = ("load_voltage", "load_current", "supply_voltage", "supply_current")
PPM = 1e-6


def measured(capture, *, bench=None, kind="steady"):
    record, notices = lay_on_bench(capture.recording, bench=bench or capture.bench, load=capture.bench.loads[0])
    return measure(record, kind=kind, notices=notices)


@pytest.mark.parametrize(("tone_hz", "seconds"), [(47.0, 1.03), (47.0, 0.08), (997.0, 0.0041), (997.0, 0.7)])
@pytest.mark.parametrize("ripple", [0.0, 0.3, 0.8])
def test_the_supplys_side_is_what_was_put_in(tone_hz, seconds, ripple):
    capture = steady_tone(
        tone_hz=tone_hz,
        source=Source(ripple=ripple, resistance_ohm=0.02),
        wiring=wire(*ROLES),
        recorder=Recorder(rate_hz=96_000, seconds=seconds),
    )
    result, truth = measured(capture), capture.truth.supply
    assert_within(result.figure("supply_voltage", None), truth.voltage_v, relative=20 * PPM)
    assert_within(result.figure("supply_current", None), truth.current_a, relative=20 * PPM)
    assert_within(result.figure("supply_power", None), truth.power_w, relative=20 * PPM)
    assert_within(result.figure("efficiency", None), 0.8, relative=20 * PPM)
    assert_within(result.figure("heat", None), truth.power_w * 0.2, relative=100 * PPM)
    assert_within(result.figure("supply_ripple_rms", None), truth.ripple_rms_v, relative=1e-4, absolute=1e-9)
    # the lowest mean over a hundredth of a cycle: of a sine at twice the tone sin(2 pi / 100) / (2 pi / 100) of it
    assert_within(
        result.figure("supply_voltage_min", None), truth.voltage_min_v, absolute=5e-3 * truth.ripple_rms_v + 1e-9
    )
    found = result.figure("source_resistance", None)
    if ripple:
        assert_within(found, 0.02, relative=1e-4)
        assert found.conditions["ripple_hz"] == pytest.approx(2 * tone_hz, abs=1e-2)
    else:
        assert found is None


def test_the_product_of_the_means_would_have_been_wrong():
    capture = steady_tone(source=Source(ripple=0.8, resistance_ohm=0.1), wiring=wire(*ROLES))
    result = measured(capture)
    power, volts, amps = (result.figure(f"supply_{what}", None).value for what in ("power", "voltage", "current"))
    covariance = -0.1 * (0.8 * capture.truth.supply.current_a) ** 2 / 2
    assert power == pytest.approx(volts * amps + covariance, rel=1e-6)
    assert abs(covariance) / power > 0.01


def test_skew_between_the_supplys_channels_is_undone_in_power_and_resistance():
    wiring = [
        channel.model_copy(update={"skew_s": skew})
        for channel, skew in zip(wire(*ROLES), (0.0, 0.0, 40e-6, -60e-6), strict=True)
    ]
    capture = steady_tone(source=Source(ripple=0.8, resistance_ohm=0.1), wiring=wiring)
    result = measured(capture)
    assert_within(result.figure("supply_power", None), capture.truth.supply.power_w, relative=20 * PPM)
    assert_within(result.figure("source_resistance", None), 0.1, relative=1e-4)


def test_the_budget_of_supply_power_scales_offsets_and_all():
    """P = v i: each scale counts once, an offset of the volts by the amperes and the reverse; R = v / i."""
    wiring = [
        channel.model_copy(update={"scale_u": scale_u, "offset_u": offset_u, "offset": offset})
        for channel, scale_u, offset_u, offset in zip(
            wire(*ROLES), (0, 0, 0.001, 0.002), (0, 0, 0.01, 0.05), (0, 0, 0.5, -1.0), strict=True
        )
    ]
    capture = steady_tone(wiring=wiring, source=Source(ripple=0.2))
    truth, result = capture.truth.supply, measured(capture)
    power = result.figure("supply_power", None)
    parts = {line.label: line.u for line in power.budget}
    # the scale acts on what was read, not on the offset that was added to it
    read_v, read_i = truth.power_w - 0.5 * truth.current_a, truth.power_w + 1.0 * truth.voltage_v
    assert parts["scale of supply_voltage"] == pytest.approx(0.001 * read_v, rel=1e-3)
    assert parts["scale of supply_current"] == pytest.approx(0.002 * read_i, rel=1e-3)
    assert parts["offset of supply_voltage"] == pytest.approx(0.01 * truth.current_a, rel=1e-3)
    assert parts["offset of supply_current"] == pytest.approx(0.05 * truth.voltage_v, rel=1e-3)
    resistance = result.figure("source_resistance", None)
    assert resistance.u / resistance.value == pytest.approx(math.hypot(0.001, 0.002), rel=1e-3)


def test_supply_figures_say_that_nothing_was_filtered():
    result = measured(steady_tone(wiring=wire(*ROLES)))
    for figure in result.figures:
        if figure.name.startswith("supply") or figure.name in {"efficiency", "heat"}:
            assert figure.conditions["bandwidth_hz"] == (0.0, 24_000.0), figure.name


def test_noise_makes_the_minimum_doubtful():
    capture = steady_tone(
        wiring=wire(*ROLES), recorder=Recorder(noise_rms={"supply_voltage": 0.02}), source=Source(ripple=0.2)
    )
    lowest = measured(capture).figure("supply_voltage_min", None)
    assert lowest.value < capture.truth.supply.voltage_min_v - 0.02, "the lowest of many noisy samples lies too low"
    assert_within(lowest, capture.truth.supply.voltage_min_v, times_u=2.0)


@pytest.mark.parametrize("role", ["supply_voltage", "supply_current"])
@pytest.mark.parametrize("kind", ["steady", "idle"])
def test_one_supply_channel_alone_gives_what_it_can(role, kind):
    result = measured(steady_tone(wiring=wire(role)), kind=kind)
    names = {figure.name for figure in result.figures}
    own = (
        {"supply_voltage", "supply_voltage_min", "supply_ripple_rms"}
        if role == "supply_voltage"
        else {"supply_current"}
    )
    assert names == ({"idle_current"} if (role, kind) == ("supply_current", "idle") else own)


def test_a_supply_alone_is_measured_without_any_output():
    capture = steady_tone(wiring=wire("supply_voltage", "supply_current"), source=Source(ripple=0.0))
    result = measured(capture)
    assert_within(result.figure("supply_power", None), capture.truth.supply.power_w, relative=20 * PPM)
    assert result.figure("efficiency", None) is None


@pytest.mark.parametrize(("n", "cycle"), [(12_263, 120.9), (4_096, 48.144), (1_000, 249.9), (9_999, 7.7), (64, 16.0)])
def test_pieces_are_whole_cycles_and_fit_the_record(n, cycle):
    edges = piece_edges(n, cycle_samples=cycle)
    assert edges is not None
    assert edges[0] == 0
    assert edges[-1] <= n
    assert 4 <= edges.size - 1 <= 16
    cycles = np.diff(edges) / cycle
    np.testing.assert_allclose(cycles, round(float(cycles[0])), atol=1.0 / cycle + 1e-9)
    values = np.arange(float(n))
    np.testing.assert_allclose(piece_means(values, edges), (edges[:-1] + edges[1:] - 1) / 2)


def test_a_record_too_short_for_pieces_has_none():
    assert piece_edges(100, cycle_samples=26.0) is None
    assert piece_edges(103, cycle_samples=26.0) is None


def test_scatter_of_the_mean_of_white_noise_is_sigma_over_root_n():
    """The mean square of many such estimates, each of 15 degrees of freedom, is sigma²/N within its own scatter."""
    rng, n, sigma, trials = np.random.default_rng(5), 4_800, 2.0, 200
    squares = [scatter_of_mean(rng.normal(0, sigma, n), 100.0)[0] ** 2 for _ in range(trials)]
    assert np.mean(squares) / (sigma**2 / n) == pytest.approx(1.0, abs=4 * math.sqrt(2 / 15 / trials))
    assert scatter_of_mean(rng.normal(0, sigma, n), 100.0)[1] == 15


class TestSourceOfFrames:
    """R and e.m.f. from a straight line through frames."""

    def record(self, **settings):
        capture = steady_tone(wiring=wire("load_voltage", "supply_voltage", "supply_current", **settings))
        return lay_on_bench(capture.recording, bench=capture.bench)[0]

    def test_the_line_gives_resistance_and_open_circuit_voltage(self):
        amps = np.linspace(2.0, 90.0, 12)
        rng = np.random.default_rng(1)
        volts = 14.4 - 0.012 * amps + rng.normal(0, 0.002, 12)
        (figure,) = source_resistance_of_frames(self.record(), list(zip(volts, amps, strict=True)), conditions={})
        slope, intercept = np.polyfit(amps, volts, 1)
        assert figure.value == pytest.approx(-slope, rel=1e-9)
        assert figure.conditions["emf_v"] == pytest.approx(intercept, abs=1e-3)
        left = volts - np.polyval([slope, intercept], amps)
        expected = math.sqrt((left @ left) / 10 / ((amps - amps.mean()) ** 2).sum())
        assert figure.u == pytest.approx(expected, rel=1e-9)
        assert figure.dof == 10
        assert_within(figure, 0.012, times_u=4)

    def test_the_interval_holds_the_truth(self):
        rng, held = np.random.default_rng(2), 0
        amps = np.linspace(2.0, 90.0, 6)
        for _ in range(200):
            volts = 14.4 - 0.012 * amps + rng.normal(0, 0.02, 6)
            (figure,) = source_resistance_of_frames(self.record(), list(zip(volts, amps, strict=True)), conditions={})
            low, high = figure.interval95
            held += low <= 0.012 <= high
        # 95 % of 200 within four standard deviations of a binomial
        assert abs(held - 190) <= 4 * math.sqrt(200 * 0.95 * 0.05)

    @pytest.mark.parametrize(
        "pairs", [[], [(14.0, 10.0)] * 3, [(14.0, 10 + n / 100) for n in range(8)],
                  [(13 + n / 10, n) for n in range(8)]],
        ids=["none", "too few", "no swing", "rising"],
    )  # fmt: skip
    def test_nothing_is_given_where_nothing_can_be_said(self, pairs):
        assert source_resistance_of_frames(self.record(), pairs, conditions={}) == []
