"""What only bounds a rated power, and what one supply voltage leaves open: no verdict is bought by either."""

import re

import numpy as np
import pytest

from wattproof.fit import Parameter
from wattproof.judge import Rule, judge
from wattproof.judge.carrying import MODEL_LINE, RAIL_LINE
from wattproof.judge.conformity import probability_conforms, verdict_of
from wattproof.judge.model import Reading
from wattproof.judge.power_steps import STATED_S, hold_step, supply_set
from wattproof.measure import CaptureResult, CurvePoint, Figure
from wattproof.quantity import Quantity

HELD = {
    "quantity": "power", "unit": "W", "load_ohm": 4.0, "supply_v": 14.4, "thd_percent": 1, "channels_driven": 1,
    "seconds": 30,
}  # fmt: skip
AT_A_TENTH = 0.9
"""Power at 0.1 % over the power at the onset of clipping, for an amplifier whose distortion rises early."""


def one_voltage(world, true):
    """Give the model that ramps at 13.8 V alone would give: nothing tells how the rail follows."""
    rail_v = true.peak_v * (13.8 / 14.4) ** true.exponent
    ends = tuple({"rail_v": rail_v, "rail_exponent": end, "output_ohm": 0.2, "knee": 0.0} for end in (0.0, 1.1))
    model = world.model_of(true, ends=ends, supply_v=(13.79, 13.81), supply_levels_v=(13.8,), reference_v=13.8)
    numbers = {"rail_v": {"value": rail_v}, "rail_exponent": {"fixed_by": "prior", "low": 0.0, "high": 1.1}}
    parameters = tuple(one.model_copy(update=numbers.get(one.name, {})) for one in model.parameters)
    return model.model_copy(update={"parameters": parameters})


def ramp(world, true):
    limits = ((0.001, AT_A_TENTH), (0.01, 1.047545), (0.1, world.at_10_percent))
    return world.read_ramp(true, load_ohm=4.0, supply_v=14.4, limits=limits)


def held(watts, *, thd_n, seconds=30.0, worst=0.06):
    """Give what `measure` gives of a tone held for half a minute, its first second spoilt by switching it on."""
    conditions = {"load_ohm": 4.0, "supply_v": 14.4, "frequency_hz": 47.0, "basis": "v*i"}
    figures = [
        Figure(
            name="sustained_power", value=watts, u=0.002 * watts, unit="W", origin="hold.wav 30-31 s",
            conditions={**conditions, "at_s": seconds},
        ),
        Figure(name="thd_n", value=worst, u=0.01, unit="V/V", origin="hold.wav 0-1 s", conditions=conditions),
    ]  # fmt: skip
    curve = [CurvePoint(t_s=n + 0.5, load_power=watts, thd_n=worst if n == 0 else thd_n) for n in range(32)]
    return CaptureResult(file="hold.wav", kind="hold", figures=tuple(figures), curve=tuple(curve))


def verdict(world, claimed, *results, rating=HELD, models=()):
    [told] = judge(world.amplifier_with({**rating, "value": claimed}), results, models=models, rule=Rule()).judgements
    return told


def test_a_ramp_never_refutes_what_is_held_by_its_power_at_a_lower_limit(world):
    true = world.TrueAmplifier()
    watts = true.power_w(4.0, 14.4)
    between = watts * (AT_A_TENTH / 1.047545 + 1) / 2
    told = verdict(world, between, ramp(world, true))
    assert told.verdict == "cannot tell"
    assert told.measured.value == pytest.approx(watts, rel=1e-6)
    assert "moments only" in told.why
    assert "Hold 4 ohm for 31 s at 14.4 V" in told.settling[-1].message
    # above what the ramp shows for moments nothing can be held
    assert verdict(world, 1.05 * watts, ramp(world, true)).verdict == "falls short"


@pytest.mark.parametrize(
    ("share", "thd_n", "expected"),
    [
        (0.97, 0.0098, "meets"),
        (1.03, 0.0098, "falls short"),  # at the limit as near as makes no matter, and less than rated
        (0.97, 0.0103, "meets"),  # a trifle past the limit
        (1.03, 0.006, "cannot tell"),  # there may be more up to the limit
        (0.97, 0.006, "meets"),
        (1.03, 0.03, "falls short"),
        (0.97, 0.03, "cannot tell"),  # too much distortion to prove anything
    ],
)
def test_following_the_advice_to_hold_decides(world, share, thd_n, expected):
    told = verdict(world, share * 300.0, ramp(world, world.TrueAmplifier()), held(300.0, thd_n=thd_n))
    assert told.verdict == expected
    assert told.measured_name == "sustained_power"


def test_what_is_a_little_off_the_limit_is_doubted_for_it(world):
    at, off = (verdict(world, 280.0, held(300.0, thd_n=thd_n)) for thd_n in (0.01, 0.0108))
    assert off.corrected.u > at.corrected.u
    assert "distortion a little off the limit" in {line.label for line in off.corrected.budget}


@pytest.mark.parametrize("exponent", [0.0, 0.5, 1.0])
def test_one_supply_voltage_carries_to_the_middle_of_what_a_rail_may_do(world, exponent):
    # power at 14.4 V, measured at 13.8 V alone: the fit may lean to either end, the verdict must hold both
    rating = {key: value for key, value in HELD.items() if key != "seconds"}
    true = world.TrueAmplifier(exponent=exponent)
    model = one_voltage(world, true)
    measured = world.read_ramp(true, load_ohm=4.0, supply_v=13.8)
    told = verdict(world, 280.0, measured, rating=rating, models=[model])
    low, high = told.corrected.interval95
    assert low < true.power_w(4.0, 14.4) < high
    ratio = (14.4 / 13.8) ** 1.1
    assert told.corrected.value == pytest.approx(told.measured.value * ratio, rel=1e-3)


def test_a_step_decides_as_often_as_it_is_said_to(world):
    """Of values drawn from what is known today, figures of the doubt that is left decide in the share that is told."""
    rating = {key: value for key, value in HELD.items() if key != "seconds"}
    true = world.TrueAmplifier(exponent=0.5)
    model = one_voltage(world, true)
    measured = world.read_ramp(true, load_ohm=4.0, supply_v=13.8)
    claimed = 1.01 * verdict(world, 1.0, measured, rating=rating, models=[model]).corrected.value
    told = verdict(world, claimed, measured, rating=rating, models=[model])
    assert told.verdict == "cannot tell"
    [step] = [one for one in told.settling if one.kind == "step"]
    said = float(re.search(r"probability of ([\d.]+) %", step.message)[1]) / 100
    rng, n = np.random.default_rng(2031), 4000
    left_u = step.u_needed
    # the bench's own doubt stays what it is; what carrying adds is what the new figure moves by
    carried = [line.u for line in told.corrected.budget if line.label in {MODEL_LINE, RAIL_LINE}]
    new = told.corrected.value + np.linalg.norm(carried) * rng.normal(size=n)
    chances = (probability_conforms(Quantity(value=w, u=left_u, unit="W"), claimed, "at least") for w in new)
    share = np.mean([verdict_of(chance, Rule()) != "cannot tell" for chance in chances])
    assert share == pytest.approx(said, abs=4 * np.sqrt(said * (1 - said) / n) + 0.005)


def test_holds_are_asked_for_as_long_as_their_figures_need():
    """The times that measuring states are its own; the advice must name one of them, and the second after it."""
    from wattproof.measure.hold import FRAME_S, SUSTAINED_S

    assert STATED_S == SUSTAINED_S
    for rated_s, hold_s in ((30.0, 31), (20.0, 31), (60.0, 61), (7.0, 11)):
        reading = Reading(words="", load_ohm=4.0, supply_v=14.4, thd_n=0.01, seconds=rated_s)
        assert f"for {hold_s:g} s at" in hold_step(reading)
        assert any(rated_s <= stated <= hold_s - FRAME_S for stated in SUSTAINED_S)


def test_the_supply_is_set_higher_by_what_its_leads_lose(world):
    true = world.TrueAmplifier()
    source = {"emf_v": 14.4, "emf_u_v": 0.01, "resistance_ohm": 0.005, "resistance_u_ohm": 0.0001}
    losses = {"idle_w": 12.0, "loss_v": 1.0, "loss_ohm": 0.05, "converter_v": 0.3, "converter_ohm": 0.01}
    plain = world.model_of(true, source=source, given=1, loss_reference_v=14.4)
    more = tuple(Parameter(name=name, value=value, u=0.0, unit="") for name, value in losses.items())
    model = plain.model_copy(update={"parameters": (*plain.parameters, *more)})
    reading = Reading(words="", load_ohm=4.0, supply_v=14.4, thd_n=0.01, driven=1)
    volts, amps, mohm = map(float, re.findall(r"[\d.]+(?= V: | A | mohm)", supply_set(reading, [model])))
    # by hand: power in the load and what is lost on the way to it, over the volts at the terminals
    watts = true.power_w(4.0, 14.4)
    by_hand_a = watts / 14.4 / 0.87
    assert amps == pytest.approx(by_hand_a, rel=0.08)
    assert mohm == 5.0
    assert volts == pytest.approx(14.4 + 0.005 * amps, abs=0.011)
    assert supply_set(reading, []) == ""
    assert supply_set(reading, [plain.model_copy(update={"source": None})]) == ""
