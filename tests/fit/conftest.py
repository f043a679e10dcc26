"""Points of made-up amplifiers for the fit: known limit, calibrations that are off, noise."""

from math import sqrt

import numpy as np
import pytest

from wattproof.fit.points import LimitPoint
from wattproof.measure import Figure
from wattproof.quantity import BudgetLine


def _point(limit, supply_v, load_ohm, thd_n, *, scale_error=0.0, noise=0.0, scale_u=0.003, noise_u=0.0008):
    true_w = limit.voltage_v_rms(supply_v, load_ohm, thd_n) ** 2 / load_ohm
    read_w = true_w * (1 + scale_error) * (1 + noise)
    where = f"ramp-{load_ohm:g}-{supply_v:g}.wav"
    budget = (
        BudgetLine(source="bench: scales", label="scales", u=scale_u * read_w, type="B"),
        BudgetLine(source=f"{where}: {thd_n:g}", label="scatter", u=noise_u * read_w, type="A", dof=50),
    )
    power = Figure(
        name="power_at_thd",
        value=read_w,
        u=read_w * sqrt(scale_u**2 + noise_u**2),
        unit="W",
        budget=budget,
        origin=where,
    )
    return LimitPoint(
        output="A", power=power, load_ohm=load_ohm, supply_v=supply_v, thd_n=thd_n, driven=1, frequency_hz=47.0,
        origin=f"{where} 1-2 s",
    )  # fmt: skip


def _points(limit, *, volts=(14.4, 12.5), loads=(8.0, 4.0, 2.0), thds=(0.01, 0.03, 0.1), seed=None):
    rng = np.random.default_rng(seed)
    scale = 0.0 if seed is None else 0.003 * rng.normal()
    return [
        _point(limit, v, r, d, scale_error=scale, noise=0.0 if seed is None else 0.0008 * rng.normal())
        for v in volts
        for r in loads
        for d in thds
    ]


@pytest.fixture
def point():
    """Give a function that makes one point."""
    return _point


@pytest.fixture
def points():
    """Give a function that makes the points of a bench day."""
    return _points
