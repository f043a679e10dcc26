"""Seconds, joules and kelvins of a step, each found another way."""

from math import exp, log10, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from wattproof.bench import Load
from wattproof.plan import SheetWishes, make_run_sheet, stepping_cost, stepping_of
from wattproof.plan.heat import LoadNode, load_node
from wattproof.plan.level import RampLaw, delivered_w, ramp_power
from wattproof.plan.losses import Losses, losses_of
from wattproof.plan.powers import stop_overdrive
from wattproof.testing import clipped_power, overdrive_at

LAW = RampLaw(from_v=0.4, to_v=60.0, knee_v=40.0)


def test_the_level_is_fast_to_3_db_below_the_knee_and_slow_from_there():
    turn_s = LAW.time_at(LAW.slow_from_v)
    assert 20 * log10(40.0 / LAW.slow_from_v) == pytest.approx(3.0)
    assert turn_s == pytest.approx((20 * log10(40.0 / 0.4) - 3) / 12)
    assert LAW.seconds == pytest.approx(turn_s + (3 + 20 * log10(1.5)) / 2)


@given(st.floats(0.4, 60.0))
@settings(max_examples=50, deadline=None)
def test_level_and_time_are_each_other_s_inverse(level_v):
    assert LAW.level_at(np.array([LAW.time_at(level_v)]))[0] == pytest.approx(level_v)


def test_without_a_knee_it_is_slow_all_the_way():
    law = RampLaw(from_v=1.0, to_v=10.0, knee_v=None)
    assert law.seconds == pytest.approx(10.0)
    assert law.level_at(np.array([5.0]))[0] == pytest.approx(10**0.5)


def test_the_power_is_that_of_a_sampled_wave_clipped_at_the_knee():
    angle = 2 * np.pi * (np.arange(100000) + 0.5) / 100000
    levels = np.array([10.0, 39.9, 42.0, 54.0, 80.0])
    waves = np.clip(sqrt(2) * levels[:, None] * np.sin(angle), -sqrt(2) * 40, sqrt(2) * 40)
    assert delivered_w(levels, knee_v=40.0, load_ohm=4.0) == pytest.approx(np.mean(waves**2, 1) / 4.0, rel=1e-6)


def seconds_above_by_quadrature(law, threshold_w, load_ohm, end_v):
    """Count thin slices of time whose power lies above."""
    t_s = np.linspace(0, law.time_at(end_v), 400001)
    power_w = delivered_w(law.level_at(t_s[::40]), knee_v=law.knee_v, load_ohm=load_ohm)
    return float(np.mean(power_w > threshold_w)) * t_s[-1]


@pytest.mark.parametrize("ohm", [1.0, 2.01, 4.03, 8.0])
@pytest.mark.parametrize("thd", [0.01, 0.1])
def test_a_ramp_costs_at_most_3_s_above_half_power(amplifier, bench, make_power, ohm, thd):
    load = Load(name="it", resistance_ohm=ohm, continuous_w=2000, rise_k=80)
    rating = make_power(300, ohm, supply_v=14.4, thd_percent=100 * thd)
    sheet = make_run_sheet(amplifier(rating, minimum_load_ohm=0.5), bench(loads=(load,)))
    ramp = next(step for step in sheet.steps if step.kind == "ramp")
    assert ramp.tone_hz == 47.0
    assert 2.0 < ramp.expected.full_power_s <= 3.0
    law = RampLaw(from_v=ramp.from_v_rms, to_v=ramp.to_v_rms, knee_v=ramp.knee_v_rms)
    end_v = ramp.knee_v_rms * overdrive_at(0.12, form="r")
    half_w = ramp.knee_v_rms**2 / ohm * clipped_power(overdrive_at(0.01)) / 2
    found_s = seconds_above_by_quadrature(law, half_w, ohm, end_v)
    assert ramp.expected.full_power_s == pytest.approx(found_s, abs=0.005)
    closed_s = 20 * log10(end_v / sqrt(half_w * ohm)) / 2
    assert ramp.expected.full_power_s == pytest.approx(closed_s, abs=0.005)


def test_the_end_of_a_ramp_is_where_a_clipped_sine_has_12_per_cent():
    assert stop_overdrive() == pytest.approx(overdrive_at(0.12, form="r"), rel=1e-6)


def test_the_heat_of_a_clean_slow_ramp_is_the_integral_of_an_exponential():
    law = RampLaw(from_v=2.0, to_v=20.0, knee_v=None)
    t_s, power_w = ramp_power(law, end_v=20.0, load_ohm=4.0)
    per_s = 2 * np.log(10) / 20 * 2.0  # of power
    closed_j = (20.0**2 - 2.0**2) / 4.0 / per_s
    assert np.trapezoid(power_w, t_s) == pytest.approx(closed_j, rel=1e-5)


def test_the_energy_of_a_ramp_is_the_integral_of_what_is_drawn(amplifier, bench, make_stated):
    thing = amplifier(make_stated(300, 4))
    sheet = make_run_sheet(thing, bench(), wishes=SheetWishes(loads=("4 ohm",)))
    ramp = next(step for step in sheet.steps if step.kind == "ramp")
    law = RampLaw(from_v=ramp.from_v_rms, to_v=ramp.to_v_rms, knee_v=ramp.knee_v_rms)
    knee_w = ramp.knee_v_rms**2 / ramp.load_ohm
    losses = losses_of(thing, full_w=knee_w * clipped_power(overdrive_at(0.01)), supply_v=14.4)

    def drawn_w(t_s):
        x = float(law.level_at(np.array(t_s))) / ramp.knee_v_rms
        return losses.supply_at(knee_w * clipped_power(x))

    turns = [law.time_at(law.slow_from_v), law.time_at(ramp.knee_v_rms)]
    energy_j, _ = quad(drawn_w, 0, law.time_at(ramp.knee_v_rms * stop_overdrive()), points=turns, limit=200)
    assert ramp.expected.energy_j == pytest.approx(energy_j, rel=1e-3)


@pytest.mark.parametrize("kind", ["burst", "hold"])
def test_ohm_s_law_holds_in_every_step(amplifier, bench, make_stated, kind):
    sheet = make_run_sheet(amplifier(make_stated(520, 2), make_stated(300, 4)), bench())
    for step in (step for step in sheet.steps if step.kind == kind):
        seen = step.expected
        assert seen.load_voltage_v_rms / seen.load_current_a_rms == pytest.approx(step.load_ohm)
        assert seen.load_voltage_v_rms * seen.load_current_a_rms == pytest.approx(seen.power_w)
        assert seen.supply_current_a * 14.4 == pytest.approx(seen.supply_power_w)
        assert seen.efficiency == pytest.approx(seen.power_w / seen.supply_power_w)
        assert seen.energy_j == pytest.approx(seen.load_heat_j + seen.amplifier_heat_j)


@pytest.mark.parametrize(("switched", "efficiency"), [(True, 0.85), (False, 0.6)])
def test_losses_meet_the_efficiency_at_full_power_and_the_idle_power_at_none(switched, efficiency):
    losses = Losses(full_w=500.0, efficiency=efficiency, idle_w=10.0, switched=switched)
    assert losses.supply_at(500.0) == pytest.approx(500.0 / efficiency)
    assert losses.supply_at(0.0) == pytest.approx(10.0)
    powers = np.linspace(0, 660, 200)
    assert (np.diff(losses.supply_w(powers)) > 0).all()
    assert (losses.supply_w(powers) >= powers).all()


def test_a_switched_stage_loses_half_with_the_current_and_half_with_its_square():
    losses = Losses(full_w=400.0, efficiency=0.8, idle_w=20.0, switched=True)
    lost_w = [losses.supply_at(w) - w for w in (0.0, 100.0, 400.0)]
    assert lost_w == pytest.approx([20.0, 20.0 + 80.0 * (0.5 + 0.25) / 2, 100.0])


def test_a_class_b_stage_draws_half_its_current_at_a_quarter_of_its_power():
    losses = Losses(full_w=400.0, efficiency=0.785, idle_w=0.0, switched=False)
    assert losses.supply_at(100.0) == pytest.approx(losses.supply_at(400.0) / 2)


NODE = LoadNode(k_per_w=0.08, tau_s=120.0, allowed_k=80.0)


@pytest.mark.parametrize("power_w", [100.0, 900.0])
@pytest.mark.parametrize("start_k", [0.0, 33.0])
def test_the_rise_under_constant_power_is_the_closed_exponential(power_w, start_k):
    closed_k = power_w * 0.08 * (1 - exp(-500 / 120)) + start_k * exp(-500 / 120)
    for n_times in (2, 3, 2001):
        t_s = np.linspace(0, 500, n_times)
        assert NODE.rise_after(t_s, np.full(n_times, power_w), start_k=start_k) == pytest.approx(closed_k, rel=1e-9)


def test_the_rise_of_a_ramp_is_what_a_solver_of_differential_equations_finds():
    law = RampLaw(from_v=0.4, to_v=60.0, knee_v=40.0)
    t_s, power_w = ramp_power(law, end_v=54.0, load_ohm=4.0)
    solved = solve_ivp(
        lambda t, rise: (np.interp(t, t_s, power_w) * 0.08 - rise) / 120.0,
        (0, t_s[-1]), [5.0], rtol=1e-9, atol=1e-12, max_step=0.005,
    )  # fmt: skip
    assert NODE.rise_after(t_s, power_w, start_k=5.0) == pytest.approx(solved.y[0, -1], rel=1e-5)


@given(st.floats(10, 5000), st.floats(1, 79))
@settings(max_examples=50, deadline=None)
def test_seconds_to_a_rise_bring_that_rise(power_w, rise_k):
    seconds = NODE.seconds_to(rise_k, power_w=power_w)
    if np.isfinite(seconds):
        assert power_w * 0.08 * (1 - exp(-seconds / 120)) == pytest.approx(rise_k)
    else:
        assert power_w * 0.08 <= rise_k


def test_a_rest_brings_the_fall_that_is_wanted():
    assert 80 * exp(-NODE.rest_for(80, to_k=13) / 120) == pytest.approx(13)
    assert NODE.rest_for(10, to_k=13) == 0


def test_a_load_without_a_rating_has_no_node():
    assert load_node(Load(name="it", resistance_ohm=4), tau_s=120) is None


def test_stepping_counts_one_second_at_each_tenth_of_a_decibel(amplifier, bench, make_stated):
    thing = amplifier(make_stated(300, 4))
    sheet = make_run_sheet(thing, bench(), wishes=SheetWishes(loads=("4 ohm",)))
    ramp = next(step for step in sheet.steps if step.kind == "ramp")
    cost = stepping_of(ramp, thing, supply_v=14.4)
    range_db = 20 * log10(overdrive_at(0.12, form="r") / sqrt(clipped_power(overdrive_at(0.01)) / 2))
    assert cost.full_power_s == int(range_db / 0.1) + 1
    # nearly the same as the mean of what the ramp draws there, times its seconds
    full_w = 2 * ramp.limits.full_power_w
    losses = losses_of(thing, full_w=full_w, supply_v=14.4)
    levels = np.linspace(0, range_db, 5000)
    first_v = sqrt(full_w / 2 * ramp.load_ohm)
    drawn = losses.supply_w(delivered_w(first_v * 10 ** (levels / 20), knee_v=ramp.knee_v_rms, load_ohm=ramp.load_ohm))
    assert cost.energy_j == pytest.approx(cost.full_power_s * drawn.mean(), rel=0.02)
    alike = stepping_cost(range_db=range_db, mean_supply_w=float(drawn.mean()))
    assert alike.full_power_s == cost.full_power_s
    assert cost.full_power_s > 15 * ramp.expected.full_power_s
    assert sheet.stepping == cost


def test_only_ramps_are_stepped(amplifier, bench, make_stated):
    thing = amplifier(make_stated(300, 4))
    hold = next(step for step in make_run_sheet(thing, bench()).steps if step.kind == "hold")
    assert stepping_of(hold, thing, supply_v=14.4).full_power_s == 0


def test_an_amplifier_that_idles_at_more_than_was_guessed_is_not_stopped_for_it(amplifier, bench, make_stated):
    steps = [step for step in make_run_sheet(amplifier(make_stated(300, 4)), bench()).steps if step.limits.energy_j]
    assert {"ramp", "burst", "hold"} <= {step.kind for step in steps}
    for step in steps:
        # 3 A more than any guess, for as long as the step lasts
        assert step.limits.energy_j > step.expected.energy_j + 3.0 * 14.4 * step.seconds
