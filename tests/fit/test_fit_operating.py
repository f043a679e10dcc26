"""Operating points against closed forms: a constant load on a source, the collapse of a regulated amplifier, heat."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wattproof.errors import BeyondDataError
from wattproof.fit.losses import LossFit
from wattproof.fit.model import Asked
from wattproof.fit.operating import operating_point
from wattproof.fit.rail import Limit


def losses(**given):
    return LossFit(
        **{
            "idle_w": 12.0, "loss_v": 0.8, "loss_ohm": 0.07, "converter_v": 0.0, "converter_ohm": 0.0, "given": 1,
            "covariance": np.zeros((5, 5)), "scatter": 0.0, "reference_v": 14.4, "points": 9,
        }
        | given
    )  # fmt: skip


REGULATED = Limit(rail_v=50.0, rail_exponent=0.0, output_ohm=0.05, limit_a=None, knee=0.0, reference_v=14.4)
FOLLOWING = Limit(rail_v=48.0, rail_exponent=1.0, output_ohm=0.05, limit_a=None, knee=0.0, reference_v=14.4)


def test_a_regulated_amplifier_draws_constant_power_and_the_sag_is_a_quadratic():
    asked = Asked(load_ohm=2.0, supply_v=14.4, source_ohm=0.03)
    drawn_w = operating_point(REGULATED, losses(idle_w=0.0), Asked(load_ohm=2.0, supply_v=14.4)).supply_w
    settled = operating_point(REGULATED, losses(idle_w=0.0), asked)
    exact_v = (14.4 + np.sqrt(14.4**2 - 4 * 0.03 * drawn_w)) / 2
    assert settled.supply_v == pytest.approx(exact_v, rel=1e-8)
    assert settled.supply_a * settled.supply_v == pytest.approx(drawn_w, rel=1e-8)


def test_it_collapses_where_the_source_cannot_deliver_its_power():
    drawn_w = operating_point(REGULATED, losses(idle_w=0.0), Asked(load_ohm=2.0, supply_v=14.4)).supply_w
    most_ohm = 14.4**2 / (4 * drawn_w)
    operating_point(REGULATED, losses(idle_w=0.0), Asked(load_ohm=2.0, supply_v=14.4, source_ohm=0.98 * most_ohm))
    with pytest.raises(BeyondDataError, match="collapses"):
        operating_point(REGULATED, losses(idle_w=0.0), Asked(load_ohm=2.0, supply_v=14.4, source_ohm=1.02 * most_ohm))


def test_a_following_amplifier_without_losses_is_a_resistor_to_its_source():
    free = losses(idle_w=0.0, loss_v=0.0, loss_ohm=0.0)
    full = operating_point(FOLLOWING, free, Asked(load_ohm=2.0, supply_v=14.4))
    seen_ohm = 14.4**2 / full.supply_w
    settled = operating_point(FOLLOWING, free, Asked(load_ohm=2.0, supply_v=14.4, source_ohm=0.02))
    assert settled.supply_v == pytest.approx(14.4 * seen_ohm / (seen_ohm + 0.02), rel=1e-9)


@given(
    load_ohm=st.floats(1.0, 16.0),
    supply_v=st.floats(11.0, 15.5),
    source_ohm=st.floats(0.0, 0.02),
    driven=st.integers(1, 4),
    given_share=st.sampled_from([0, 1]),
)
def test_what_goes_in_comes_out_or_heats(load_ohm, supply_v, source_ohm, driven, given_share):
    lossy = losses(given=given_share, loss_v=0.8 if given_share else 48.0, loss_ohm=0.07 if given_share else 0.0)
    try:
        found = operating_point(
            FOLLOWING, lossy, Asked(load_ohm=load_ohm, supply_v=supply_v, source_ohm=source_ohm, driven=driven)
        )
    except BeyondDataError:
        return
    assert found.supply_w == pytest.approx(driven * found.power_w + found.heat_w, rel=1e-9)
    assert found.supply_v == pytest.approx(supply_v - source_ohm * found.supply_a, abs=1e-6)
    assert 0 < found.efficiency < 1


def test_a_reactive_load_costs_heat_and_not_volts():
    straight, turned = (
        operating_point(
            FOLLOWING, losses(given=0, loss_v=48.0, loss_ohm=0.0), Asked(load_ohm=4, supply_v=14, phase_rad=p)
        )
        for p in (0.0, 1.0)
    )
    assert turned.load_v_rms == straight.load_v_rms
    assert turned.power_w == pytest.approx(straight.power_w * np.cos(1.0))
    assert turned.heat_w - straight.heat_w == pytest.approx(straight.power_w - turned.power_w)
