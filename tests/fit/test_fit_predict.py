"""Predictions: linear propagation against random draws, refusals whose hints cure, bounds where nothing is known."""

import re
from dataclasses import replace

import numpy as np
import pytest

from wattproof.errors import BeyondDataError
from wattproof.fit import Asked, behaviour, correction, fit_behaviour, predict
from wattproof.fit.points import Points
from wattproof.fit.predict import point_of
from wattproof.fit.rail import Limit
from wattproof.fit.within import rail_beyond, rail_doubt

FOLLOWING = Limit(rail_v=48.0, rail_exponent=1.0, output_ohm=0.12, limit_a=None, knee=0.04, reference_v=14.4)
REGULATED = replace(FOLLOWING, rail_exponent=0.0)


@pytest.fixture
def model(monkeypatch):
    """Give a function that fits a model to made points."""

    def made(limits, **more):
        monkeypatch.setattr(behaviour, "points_of", lambda _: Points(limits=tuple(limits), losses=(), **more))
        return fit_behaviour([], amplifier="Fieldfare 2")

    return made


def test_linear_propagation_agrees_with_random_draws(model, points):
    fitted = model(points(FOLLOWING, seed=4))
    asked = Asked(load_ohm=2.67, supply_v=13.2, thd_n=0.03)
    estimate = predict(fitted, asked).power
    draws = np.random.default_rng(47).multivariate_normal(
        [fitted.parameter(name).value for name in fitted.varied], fitted.covariance, size=2000
    )
    powers = [point_of(fitted, asked, dict(zip(fitted.varied, draw, strict=True))).power_w for draw in draws]
    other = (fitted.widening**2 + fitted.scatter**2) * estimate.value**2
    # 2,000 draws know a standard deviation to 1.6 %
    assert np.sqrt(estimate.u**2 - other) == pytest.approx(np.std(powers), rel=0.06)
    assert np.mean(powers) == pytest.approx(estimate.value, rel=1e-3)


def test_a_scale_of_volts_counts_twice_and_one_of_amperes_not_at_all(model, points):
    def u_of(source):
        made = points(FOLLOWING)
        spoilt = [
            replace(p, power=p.power.model_copy(update={"conditions": {"basis": "v*i"}, "budget": tuple(
                line.model_copy(update={"source": source}) if line.type == "B" else line for line in p.power.budget
            )}))
            for p in made
        ]  # fmt: skip
        found = predict(model(spoilt), Asked(load_ohm=3, supply_v=13.5)).power
        return found.u / found.value

    assert u_of("bench: scale of load_voltage A") == pytest.approx(0.006, rel=0.05)
    assert u_of("bench: scale of load_current A") < 0.001


def test_the_supplys_scale_counts_as_far_as_the_rail_follows(model, points):
    for limit, share in ((FOLLOWING, 2.0), (REGULATED, 0.0)):
        plain, doubted = (
            predict(model(points(limit), supply_u=u), Asked(load_ohm=3, supply_v=13.5)).power for u in (0.0, 0.01)
        )
        added = np.sqrt(doubted.u**2 - plain.u**2) / plain.value
        assert added == pytest.approx(share * 0.01, abs=2e-4)


@pytest.mark.parametrize(
    ("asked", "number"),
    [
        (Asked(load_ohm=1.2, supply_v=13.5), "load_ohm"),
        (Asked(load_ohm=4, supply_v=10.0), "supply_v"),
        (Asked(load_ohm=4, supply_v=16.4), "supply_v"),
    ],
)
def test_following_the_hint_cures_a_refusal(model, points, asked, number):
    fitted = model(points(FOLLOWING))
    with pytest.raises(BeyondDataError) as refused:
        predict(fitted, asked)
    offered = [
        float(text) for text in re.findall(r"[\d.]+(?= to| V,| ohm or)", refused.value.hint.split(" or capture")[0])
    ]
    assert offered
    for value in offered:
        predict(fitted, asked.model_copy(update={number: value}))


def test_more_outputs_or_another_limit_are_refused(model, points):
    fitted = model(points(FOLLOWING))
    with pytest.raises(BeyondDataError, match="2 outputs"):
        predict(fitted, Asked(load_ohm=4, supply_v=13.5, driven=2))
    with pytest.raises(BeyondDataError, match="30 %"):
        predict(fitted, Asked(load_ohm=4, supply_v=13.5, thd_n=0.3))


def test_a_source_without_losses_in_the_model_is_refused(model, points):
    with pytest.raises(BeyondDataError, match="sags"):
        predict(model(points(FOLLOWING)), Asked(load_ohm=4, supply_v=14, source_ohm=0.01))


def test_one_supply_voltage_is_bounded_by_holding_and_following(model, points):
    for limit in (FOLLOWING, REGULATED):
        found = predict(model(points(limit, volts=(14.4,))), Asked(load_ohm=4, supply_v=12.8))
        for truth in (FOLLOWING, REGULATED):
            true_w = truth.voltage_v_rms(12.8, 4.0, 0.01) ** 2 / 4
            assert found.power.low < true_w < found.power.high
        assert found.basis == "bounded"


def test_past_the_voltages_a_rail_may_only_hold_above_and_fall_below(model, points):
    following, held = model(points(FOLLOWING)), model(points(REGULATED))
    assert rail_beyond(following, 15.0) == pytest.approx(14.4 / 15.0, rel=1e-3)
    assert rail_beyond(following, 12.0) == pytest.approx(1.0, abs=1e-3)
    assert rail_beyond(held, 15.0) == pytest.approx(1.0, abs=1e-3)
    assert rail_beyond(held, 12.0) == pytest.approx(12.0 / 12.5, rel=1e-3)
    assert rail_doubt(following, 13.5) < 1e-3
    between = model(points(replace(FOLLOWING, rail_exponent=0.5)))
    assert 0.01 < rail_doubt(between, 13.4) < 0.05


def test_a_correction_knows_more_than_the_prediction(model, points):
    fitted = model(points(FOLLOWING, seed=2))
    at, to = Asked(load_ohm=4, supply_v=13.2), Asked(load_ohm=4, supply_v=14.4)
    found = correction(fitted, at=at, to=to)
    assert found.factor == pytest.approx((14.4 / 13.2) ** 2, rel=3 * found.u + 1e-3)
    power = predict(fitted, to).power
    assert found.u < power.u / power.value
    assert correction(fitted, at=at, to=at).factor == 1.0
    there = correction(fitted, at=to, to=at)
    assert found.factor * there.factor == pytest.approx(1.0, rel=1e-9)


@pytest.mark.parametrize("knee", [0.0, 1e-4, 8e-4, 3e-3])
def test_a_knee_that_is_nearly_hard_makes_no_prediction_wide(model, points, knee):
    hard = Limit(rail_v=48.0, rail_exponent=1.0, output_ohm=0.06, limit_a=None, knee=knee, reference_v=14.4)
    for seed in (1, 2, 3):
        found = predict(model(points(hard, seed=seed)), Asked(load_ohm=3.0, supply_v=13.5)).power
        # the scale that all points share is 0.3 %; nothing else comes near it
        assert found.u / found.value < 0.005
