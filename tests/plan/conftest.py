"""Amplifiers and benches of the boathouse, made with what a test needs and nothing else."""

from datetime import date

import pytest

from wattproof.amplifier import Amplifier, Rating
from wattproof.bench import Bench, BenchChannel, Limits, Load, RigSettings, Supply


def power(value, load_ohm=None, **more):
    return Rating(quantity="power", value=value, unit="W", load_ohm=load_ohm, **more)


def stated(value, load_ohm, **more):
    return power(value, load_ohm, supply_v=14.4, thd_percent=1, **more)


def rated(quantity, value, unit, **more):
    return Rating(quantity=quantity, value=value, unit=unit, **more)


@pytest.fixture
def amplifier():
    def make(*ratings, **more):
        more = {"class": "D", "supply": "unregulated", "fuse_a": 60, "minimum_load_ohm": 2, **more}
        return Amplifier(maker="Sorrel Thaw", model="Dunlin 1", ratings=ratings, **more)

    return make


def channels_of(outputs="A", full_v=90.0, full_a=60.0):
    day = {"scale_u": 0.001, "offset_u": 0.002, "full_scale": 1.0, "calibrated": date(2031, 3, 2)}
    found, number = [], 0
    for output in outputs:
        for role, scale in (("load_voltage", full_v), ("load_current", full_a)):
            number += 1
            found.append(BenchChannel(input=number, role=role, output=output, scale=scale, **day))
    for role, scale in (("supply_voltage", 20.0), ("supply_current", 160.0), ("drive_voltage", 4.0)):
        number += 1
        found.append(BenchChannel(input=number, role=role, scale=scale, **day))
    return tuple(found)


LOADS = tuple(
    Load(name=f"{ohm} ohm", resistance_ohm=ohm * 1.005, resistance_u_ohm=0.002 * ohm, rise_k=80, continuous_w=1000)
    for ohm in (2, 8, 1, 4)
)


@pytest.fixture
def bench():
    def make(outputs="A", **more):
        settings = {
            "name": "Boathouse bench",
            "channels": channels_of(outputs),
            "loads": LOADS,
            "supply": Supply(nominal_v=14.4, max_current_a=200),
            "limits": Limits(
                load_voltage_v=90, load_dc_v=1, load_current_a=60, supply_current_a=180, supply_voltage_v=(10.5, 16.0),
                temperature_c=85, full_power_s=60,
            ),
            "rig": RigSettings(kind="simulated", drive_outputs={o: n for n, o in enumerate(outputs, start=1)}),
        }  # fmt: skip
        return Bench(**{**settings, **more})

    return make


@pytest.fixture
def make_power():
    return power


@pytest.fixture
def make_stated():
    return stated


@pytest.fixture
def make_rated():
    return rated
