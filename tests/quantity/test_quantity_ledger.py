"""Doubts that share a source stay one doubt: through arithmetic, through files, in any order."""

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.quantity import BudgetLine, Ledger, Quantity, correlation

NAMES = ("scale of volts", "scale of amps", "resistance", "noise 1", "noise 2")


@st.composite
def pairs_of_numbers(draw):
    """Two numbers made of shared sources, as (value, {source: (u, dof)}, weights of each)."""
    sources = {
        name: (draw(st.floats(1e-6, 10.0)), draw(st.sampled_from([math.inf, 1.0, 3.0, 17.0])))
        for name in draw(st.lists(st.sampled_from(NAMES), min_size=1, max_size=5, unique=True))
    }
    weights = [
        {name: draw(st.floats(0.1, 10.0)) * draw(st.sampled_from([-1.0, 1.0])) for name in sources} for _ in range(2)
    ]
    values = [draw(st.floats(1.0, 1e3)) for _ in range(2)]
    return sources, weights, values


def made(ledger, sources, weights, value):
    number = value
    for name, weight in weights.items():
        u, dof = sources[name]
        number = number + weight * ledger.source(name, 0.0, u, label=name, kind="B", dof=dof)
    return number


@given(pairs_of_numbers())
@settings(max_examples=40, deadline=None)
def test_restored_numbers_give_the_same_u_of_sums_differences_and_ratios(drawn):
    sources, weights, values = drawn
    ledger = Ledger()
    first, second = (made(ledger, sources, w, v) for w, v in zip(weights, values, strict=True))
    stored = [
        Quantity.model_validate_json(ledger.quantity(number, unit="W").model_dump_json()) for number in (first, second)
    ]
    later = Ledger()
    again = [later.restore(quantity) for quantity in stored]
    for combine in (lambda a, b: a + b, lambda a, b: a - b, lambda a, b: a / b, lambda a, b: a * b):
        before = ledger.quantity(combine(first, second), unit="W")
        after = later.quantity(combine(*again), unit="W")
        assert after.value == pytest.approx(before.value, rel=1e-12, abs=1e-12)
        # lines under a millionth of the whole are not stored: of a difference that cancels, that share is left
        largest = stored[0].u * max(1.0, values[1]) + stored[1].u * max(1.0, values[0])
        assert after.u == pytest.approx(before.u, rel=1e-9, abs=1e-5 * largest)


@given(pairs_of_numbers())
@settings(max_examples=40, deadline=None)
def test_correlation_survives_the_file_and_is_that_of_the_covariance_matrix(drawn):
    sources, weights, values = drawn
    ledger = Ledger()
    numbers = [made(ledger, sources, w, v) for w, v in zip(weights, values, strict=True)]
    stored = [Quantity.model_validate(json.loads(ledger.quantity(n, unit="V").model_dump_json())) for n in numbers]
    rows = np.array([[w[name] * sources[name][0] for name in sources] for w in weights])
    covariance = rows @ rows.T
    expected = covariance[0, 1] / math.sqrt(covariance[0, 0] * covariance[1, 1])
    assert correlation(*stored) == pytest.approx(expected, abs=1e-5)


def test_a_number_restored_first_does_not_change_what_is_measured_later_with_the_same_calibration():
    old = Ledger()
    factor = old.source("bench: scale of load_voltage", 1.0, 0.002, label="scale", kind="B")
    stored = old.quantity((20.0 * factor) ** 2 / 4.0, unit="W")

    ledger = Ledger()
    restored = ledger.restore(stored)
    fresh = (10.0 * ledger.source("bench: scale of load_voltage", 1.0, 0.002, label="scale", kind="B")) ** 2 / 4.0
    measured = ledger.quantity(fresh, unit="W")
    assert (measured.value, measured.u) == pytest.approx((25.0, 0.1), rel=1e-12)
    # both move with the one scale: it cancels out of their ratio
    assert ledger.quantity(restored / fresh, unit="1").u == pytest.approx(0.0, abs=1e-12)


def test_two_values_of_one_source_keep_their_own_values():
    ledger = Ledger()
    one = ledger.source("shared", 1.0, 0.1, label="shared", kind="B")
    two = ledger.source("shared", 5.0, 0.2, label="shared", kind="B")
    assert float(two.x) == 5.0
    assert ledger.quantity(two - 2 * one, unit="V").u == pytest.approx(0.0, abs=1e-15)


@given(st.lists(st.tuples(st.floats(1e-3, 1e3), st.sampled_from([1.0, 1.5, 4.0, math.inf])), min_size=1, max_size=6))
@settings(max_examples=40, deadline=None)
def test_the_factor_follows_the_effective_degrees_of_freedom(parts):
    """Welch-Satterthwaite (JCGM 100, G.2b) by hand, and Student's quantile from scipy."""
    from scipy.stats import t

    ledger = Ledger()
    number = 0.0
    for n, (u, dof) in enumerate(parts):
        number = number + ledger.source(f"part {n}", 0.0, u, label="part", kind="A", dof=dof)
    quantity = ledger.quantity(number, unit="V")
    u_4 = sum(u**2 for u, _ in parts) ** 2
    loss = sum(u**4 / dof for u, dof in parts)
    effective = u_4 / loss if loss > 0 else math.inf
    assert quantity.u == pytest.approx(math.sqrt(math.sqrt(u_4)), rel=1e-12)
    if effective > 1e6:
        assert quantity.dof is None
        assert quantity.k95 == pytest.approx(1.959964, abs=1e-5)
    else:
        assert quantity.dof == pytest.approx(max(effective, 1.0), rel=1e-6)
        assert quantity.k95 == pytest.approx(t.ppf(0.975, max(effective, 1.0)), rel=1e-5)


def test_a_budget_adds_up_to_the_combined_u_and_leads_with_the_largest():
    ledger = Ledger()
    volts = ledger.source("v", 20.0, 0.04, label="volts", kind="B")
    amps = ledger.source("i", 5.0, 0.03, label="amperes", kind="A", dof=9)
    quantity = ledger.quantity(volts * amps, unit="W")
    assert [line.label for line in quantity.budget] == ["amperes", "volts"]
    assert math.hypot(*(line.u for line in quantity.budget)) == pytest.approx(quantity.u, rel=1e-12)
    assert quantity.budget[0].dof == 9


def test_a_source_without_doubt_is_a_plain_number():
    ledger = Ledger()
    assert ledger.source("exact", 4.0, 0.0, label="exact", kind="B") == 4.0
    quantity = ledger.quantity(4.0, unit="ohm")
    assert (quantity.u, quantity.budget, quantity.interval95) == (0.0, (), (4.0, 4.0))


def test_the_sign_says_in_which_direction_each_moves():
    ledger = Ledger()
    shared = ledger.source("s", 0.0, 1.0, label="s", kind="B")
    up, down = ledger.quantity(3.0 + shared, unit="V"), ledger.quantity(3.0 - shared, unit="V")
    assert correlation(up, down) == -1.0
    assert correlation(up, up) == 1.0
    assert correlation(up, Quantity(value=1.0, u=0.0, unit="V")) == 0.0


def test_quantities_and_lines_are_frozen_and_refuse_unknown_fields():
    line = BudgetLine(source="s", label="s", u=1.0, type="A")
    with pytest.raises(ValueError, match="frozen"):
        line.u = 2.0
    with pytest.raises(ValueError, match="Extra inputs"):
        Quantity(value=1.0, u=0.1, unit="V", colour="red")
    with pytest.raises(ValueError, match="greater than or equal to 0"):
        Quantity(value=1.0, u=-0.1, unit="V")
