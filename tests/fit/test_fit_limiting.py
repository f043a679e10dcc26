"""The fit gives back what was put in, states how well it knows it, and complains of what it cannot know."""

from dataclasses import replace

import numpy as np
import pytest

from wattproof.fit.leaving import left_out, widening_of
from wattproof.fit.limiting import fit_limit, priors_for
from wattproof.fit.rail import Limit

HONEST = Limit(rail_v=48.0, rail_exponent=1.0, output_ohm=0.06, limit_a=None, knee=0.04, reference_v=14.4)


@pytest.mark.parametrize(
    "true",
    [
        HONEST,
        replace(HONEST, rail_exponent=0.0, knee=0.01),
        replace(HONEST, rail_exponent=0.4, output_ohm=0.3, knee=0.12),
        replace(HONEST, limit_a=18.0),
    ],
)
def test_what_was_put_in_comes_out(true, points):
    fit = fit_limit(points(true, loads=(8.0, 4.0, 2.67, 2.0, 1.33)), reference_v=14.4)
    for name in ("rail_v", "rail_exponent", "output_ohm", "knee"):
        assert getattr(fit.limit, name) == pytest.approx(getattr(true, name), rel=2e-3, abs=2e-4), name
    if true.limit_a is None:
        assert fit.limit.limit_a is None
    else:
        assert fit.limit.limit_a == pytest.approx(true.limit_a, rel=1e-3)


def test_stated_doubts_hold_the_truth_as_often_as_they_say(points):
    names = ("rail_v", "rail_exponent", "output_ohm", "knee")
    inside = np.zeros(len(names))
    n = 60
    for seed in range(n):
        fit = fit_limit(points(replace(HONEST, reference_v=13.4), seed=seed), reference_v=13.4)
        u = np.sqrt(np.diag(fit.covariance))
        errors = np.array([getattr(fit.limit, name) - getattr(HONEST, name) for name in names])
        inside += np.abs(errors) < 1.96 * u
    # 60 binomial draws at 95 %: fewer than 52 come once in 300 runs
    assert np.all(inside >= 52), dict(zip(names, inside, strict=True))


def test_a_shared_scale_moves_the_rail_and_nothing_else(point, points):
    plain = fit_limit(points(HONEST), reference_v=14.4).limit
    high = fit_limit(
        [point(HONEST, v, r, d, scale_error=0.02) for v in (14.4, 12.5) for r in (8, 4, 2) for d in (0.01, 0.03, 0.1)],
        reference_v=14.4,
    ).limit
    assert high.rail_v / plain.rail_v == pytest.approx(1.02**0.5, rel=1e-4)
    assert high.output_ohm == pytest.approx(plain.output_ohm, rel=1e-3)
    assert high.rail_exponent == pytest.approx(plain.rail_exponent, abs=1e-4)


@pytest.mark.parametrize(
    ("kept", "complains"),
    [
        ({"loads": (4.0,)}, {"output_ohm"}),
        ({"volts": (14.4,)}, {"rail_exponent"}),
        ({"thds": (0.01,)}, {"knee"}),
        ({"loads": (4.0,), "volts": (14.4,), "thds": (0.01,)}, {"output_ohm", "rail_exponent", "knee"}),
        ({}, set()),
    ],
)
def test_what_the_data_cannot_fix_is_said(kept, complains, points):
    made = points(HONEST, **kept)
    assert {prior.name for prior in priors_for(made)} == complains
    fit = fit_limit(made, reference_v=14.4)
    sizes = dict(zip(fit.names, np.sqrt(np.diag(fit.covariance)), strict=True))
    for prior in fit.priors:
        # the prior's own width and hardly less: the data add next to nothing
        assert sizes[prior.name] > 0.8 * prior.u


def test_no_current_limit_is_seen_where_none_bites(points):
    fit = fit_limit(points(HONEST, seed=5), reference_v=14.4)
    assert fit.limit.limit_a is None
    two_loads = fit_limit(points(replace(HONEST, limit_a=18.0), loads=(4.0, 2.0)), reference_v=14.4)
    assert two_loads.limit.limit_a is None


def test_leaving_a_load_out_finds_a_model_that_fits_and_one_that_does_not(points):
    good = left_out(fit_limit(points(HONEST, seed=3), reference_v=14.4))
    assert [round(one.load_ohm) for one in good] == [2, 2, 4, 4, 8, 8]
    assert widening_of(good) < 0.002
    # the middle load gives less than a rail and a resistance between the two others allow, by an error of wiring say
    kept = points(HONEST, seed=3)
    spoilt = [replace(p, power=p.power.model_copy(update={"value": 0.9 * p.power.value})) if p.load_ohm == 4 else p
              for p in kept]  # fmt: skip
    bad = left_out(fit_limit(spoilt, reference_v=14.4))
    assert widening_of(bad) > 0.08


def test_a_load_that_alone_shows_the_current_limit_is_not_left_out(points):
    fit = fit_limit(points(replace(HONEST, limit_a=18.0), loads=(8.0, 4.0, 2.67, 1.5), seed=3), reference_v=14.4)
    assert fit.limit.limit_a == pytest.approx(18.0, rel=0.01)
    assert sorted({round(one.load_ohm, 2) for one in left_out(fit)}) == [2.67, 4.0, 8.0]
    assert widening_of(left_out(fit)) < 0.003
    # beside the limited load only one other would be left: that fixes no resistance, and is no prediction
    three = fit_limit(points(replace(HONEST, limit_a=18.0), loads=(8.0, 4.0, 1.5), seed=3), reference_v=14.4)
    assert three.limit.limit_a == pytest.approx(18.0, rel=0.01)
    assert left_out(three) == []
