"""Numbers are written to the second figure of their uncertainty: no further, and never less."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.quantity import Quantity, interval_text, value_text


@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [
        (512.3456, 4.2, "512.3"),
        (51234.56, 420.0, "51230"),
        (0.000123456, 0.0000012, "0.0001235"),
        (-3.14159, 0.012, "-3.142"),
        (100.0, 1.0, "100.0"),
        (123456.0, 0.0, "123456"),
        (0.0, 0.5, "0.00"),
    ],
)
def test_a_value_ends_at_the_second_figure_of_its_uncertainty(value, uncertainty, text):
    assert value_text(value, uncertainty=uncertainty) == text


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e5))
@settings(max_examples=50, deadline=None)
def test_rounding_moves_a_value_by_less_than_a_twentieth_of_its_uncertainty(value, uncertainty):
    written = float(value_text(value, uncertainty=uncertainty))
    assert abs(written - value) <= 0.0501 * uncertainty + abs(value) * 1e-15


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e5), st.floats(1.9, 12.8))
@settings(max_examples=50, deadline=None)
def test_the_written_interval_is_the_interval(value, u, k95):
    quantity = Quantity(value=value, u=u, unit="W", k95=k95)
    number, half, unit = interval_text(quantity).replace("±", " ").split()
    low, high = quantity.interval95
    assert unit == "W"
    assert math.isclose(float(half), (high - low) / 2, rel_tol=0.06)
    assert abs(float(number) - value) <= 0.0501 * (high - low) / 2 + abs(value) * 1e-15


def test_a_ratio_has_no_unit_to_write():
    assert interval_text(Quantity(value=0.8, u=0.002, unit="1", k95=2.0)) == "0.8000 ± 0.0040"
    assert interval_text(Quantity(value=0.8, u=0.0, unit="W/W")) == "0.8 W/W"
