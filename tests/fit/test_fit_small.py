"""Gain and output resistance below the limits, and the drive that a power asks for: against closed forms."""

import numpy as np
import pytest

from wattproof.dsp import clipped_fundamental, overdrive_for_thd
from wattproof.fit import Asked, Estimate, fit_behaviour, predict, resistance_of
from wattproof.fit.knee import at_limit
from wattproof.fit.points import GainPoint
from wattproof.fit.rail import Limit
from wattproof.fit.small import LEVEL_U, damping_factor, drive_for, fit_small, gain_into
from wattproof.measure import CaptureResult, Figure
from wattproof.quantity import BudgetLine

OPEN, OHM = 24.0, 0.02
LIMIT = Limit(rail_v=50.0, rail_exponent=0.0, output_ohm=0.1, limit_a=None, knee=0.0, reference_v=14.4)


def true_gain(load_ohm, gain=OPEN, ohm=OHM):
    return gain * load_ohm / (load_ohm + ohm)


def point(load_ohm, *, read=1.0, noise=0.0, scale_u=0.002, noise_u=5e-5, output="A", gain=OPEN, ohm=OHM):
    value = true_gain(load_ohm, gain, ohm) * read * (1 + noise)
    budget = (
        BudgetLine(source=f"bench: scale of load_voltage {output}", label="scale", u=scale_u * value, type="B"),
        BudgetLine(source=f"ramp-{load_ohm:g}-{output}: noise", label="noise", u=noise_u * value, type="A", dof=90),
    )
    figure = Figure(
        name="gain", output=output, value=value, unit="V/V", u=value * float(np.hypot(scale_u, noise_u)),
        budget=budget, origin=f"ramp-{load_ohm:g}.wav",
    )  # fmt: skip
    return GainPoint(output=output, gain=figure, load_ohm=load_ohm, frequency_hz=47.0, driven=1)


def test_exact_gains_give_gain_and_resistance_whatever_the_scale():
    for read in (1.0, 0.97):
        small = fit_small([point(load, read=read) for load in (8.0, 4.0, 2.0)], output=None)
        assert small.output_ohm == pytest.approx(OHM, rel=1e-9)
        assert small.reference_ohm == pytest.approx(4.0)
        for load_ohm in (1.0, 4.0, 16.0):
            assert gain_into(small, load_ohm)[0] == pytest.approx(read * true_gain(load_ohm), rel=1e-9)


def test_the_resistance_is_doubted_for_noise_and_level_and_not_for_the_scales():
    found = resistance_of(point(8.0).gain, point(2.0).gain, high_ohm=8.0, low_ohm=2.0)
    # by hand: d R_o / d ratio = R_h R_l / (R_h - R_l) near a ratio of one
    by_hand = 8.0 * 2.0 / 6.0 * np.sqrt(2 * 5e-5**2 + LEVEL_U**2)
    assert found.u == pytest.approx(by_hand, rel=0.02)


def test_intervals_hold_the_truth_over_draws():
    rng, held = np.random.default_rng(2031), []
    for _ in range(300):
        read = 1 + 0.002 * rng.normal()
        level = LEVEL_U * rng.normal()  # what a lower load takes of the gain beside its resistance
        points = [point(8.0, read=read, noise=5e-5 * rng.normal())]
        points += [point(load, read=read, noise=5e-5 * rng.normal() - level) for load in (4.0, 2.0)]
        small = fit_small(points, output=None)
        gain, gain_u = gain_into(small, 4.0)
        within = abs(small.output_ohm - OHM) < 1.96 * small.output_ohm_u, abs(gain / true_gain(4.0) - 1) < 1.96 * gain_u
        held.append(within)
    shares = np.mean(held, axis=0)
    assert (shares > 0.92).all(), shares


def test_one_load_gives_no_resistance_and_outputs_that_differ_widen_the_gain():
    assert fit_small([], output=None) is None
    alone = fit_small([point(4.0)], output=None)
    assert (alone.output_ohm, alone.output_ohm_u) == (None, None)
    assert alone.gain == pytest.approx(true_gain(4.0))
    apart = fit_small([point(4.0), point(4.0, output="B", gain=1.02 * OPEN)], output=None)
    assert apart.gain_u > 2 * alone.gain_u
    one = fit_small([point(4.0), point(4.0, output="B", gain=1.02 * OPEN)], output="B")
    assert one.gain == pytest.approx(1.02 * true_gain(4.0))


@pytest.fixture(scope="module")
def model():
    """Fit a hard-clipping amplifier with known gain from three ramps, whose drive voltage was recorded."""
    return fit_behaviour([ramp(load) for load in (8.0, 4.0, 2.0)], amplifier="Sorrel Thaw Dunlin 1")


def ramp(load_ohm):
    figures = [point(load_ohm).gain]
    for thd_n in (0.01, 0.03, 0.1):
        watts = LIMIT.voltage_v_rms(14.4, load_ohm, thd_n) ** 2 / load_ohm
        budget = (BudgetLine(source="bench: scales", label="scales", u=0.002 * watts, type="B"),)
        conditions = {"load_ohm": load_ohm, "supply_v": 14.4, "thd_n": thd_n, "basis": "v*i", "frequency_hz": 47.0}
        figures.append(
            Figure(
                name=f"power_at_thd_{100 * thd_n:g}", value=watts, u=0.002 * watts, unit="W", budget=budget,
                origin=f"ramp-{load_ohm:g}.wav", conditions=conditions,
            )
        )  # fmt: skip
    return CaptureResult(file=f"ramp-{load_ohm:g}.wav", kind="ramp", figures=tuple(figures))


@pytest.mark.parametrize("thd_n", [0.01, 0.1])
def test_the_drive_for_a_power_is_that_of_a_clipped_sine(model, thd_n):
    told = predict(model, Asked(load_ohm=3.0, supply_v=14.4, thd_n=thd_n))
    # of all that is there `thd_n` is not the tone: over the tone that is thd/sqrt(1 - thd²)
    overdrive = overdrive_for_thd(thd_n / np.sqrt(1 - thd_n**2))
    by_hand = overdrive * LIMIT.peak_v(14.4, 3.0) / np.sqrt(2) / true_gain(3.0)
    assert told.drive.value == pytest.approx(by_hand, rel=2e-3)
    assert told.drive.low < by_hand < told.drive.high
    assert told.damping_factor.value == pytest.approx(3.0 / OHM, rel=1e-6)
    assert told.damping_factor.low < 150 < told.damping_factor.high


def test_the_overdrive_of_a_hard_clip_is_that_of_the_closed_form():
    for thd_n in (0.01, 0.1):
        bent = at_limit(thd_n, 0.0)
        assert bent.overdrive == pytest.approx(overdrive_for_thd(bent.thd_f), rel=1e-4)
        assert np.sqrt(2) * bent.fundamental_rms == pytest.approx(clipped_fundamental(bent.overdrive), rel=1e-4)


def test_without_drive_or_where_the_resistance_may_be_nothing_there_is_no_figure(model):
    asked = Asked(load_ohm=4.0, supply_v=14.4)
    volts = Estimate(value=30.0, u=0.1, low=29.8, high=30.2, unit="V")
    bare = model.model_copy(update={"small": None})
    assert drive_for(bare, asked, volts, overdrive=1.0) is None
    assert damping_factor(bare, asked) is None
    unknown = model.model_copy(update={"small": model.small.model_copy(update={"output_ohm_u": 0.5 * OHM + 0.01})})
    assert damping_factor(unknown, asked) is None
