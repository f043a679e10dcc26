"""Made-up amplifiers on benches whose calibrations are off: what is true, what is read, and a model of it."""

from dataclasses import dataclass, field
from math import hypot

import pytest

from wattproof.amplifier import Amplifier, Rating
from wattproof.fit import BehaviourModel, Parameter
from wattproof.measure import CaptureResult, Figure
from wattproof.quantity import BudgetLine

AT_1_PERCENT = 1.047545
"""Power of a sine clipped to 1 % of distortion over the largest clean one."""
AT_10_PERCENT = 1.287836


@dataclass(frozen=True, kw_only=True)
class TrueAmplifier:
    """A hard limit behind a resistance, on a rail that follows the supply by some power."""

    peak_v: float = 50.0
    exponent: float = 0.8
    output_ohm: float = 0.2

    def power_w(self, load_ohm, supply_v, share=AT_1_PERCENT):
        peak_v = self.peak_v * (supply_v / 14.4) ** self.exponent * load_ohm / (load_ohm + self.output_ohm)
        return share * peak_v**2 / (2 * load_ohm)


@dataclass(frozen=True, kw_only=True)
class Errors:
    """Relative errors of the channels of one bench, and their stated uncertainties."""

    voltage: float = 0.0
    current: float = 0.0
    supply: float = 0.0
    noise: float = 0.0
    voltage_u: float = 0.003
    current_u: float = 0.004
    supply_u: float = 0.002
    noise_u: float = 0.0005

    @classmethod
    def drawn(cls, rng, **stated):
        """Draw errors from the stated uncertainties."""
        at_rest = cls(**stated)
        return cls(
            voltage=at_rest.voltage_u * rng.normal(),
            current=at_rest.current_u * rng.normal(),
            supply=at_rest.supply_u * rng.normal(),
            noise=at_rest.noise_u * rng.normal(),
            **stated,
        )


def line(source, u, kind="B", **more):
    return BudgetLine(source=source, label=source.partition(": ")[2], u=u, type=kind, **more)


def read_ramp(
    true, *, load_ohm, supply_v, errors=Errors(), output="A", limits=((0.01, AT_1_PERCENT),), file="ramp.wav"
):
    """Give what `measure` would give of a ramp: read powers, loads and supply voltages, with their budgets."""
    load_read = load_ohm * (1 + errors.voltage) / (1 + errors.current)
    supply_read = supply_v * (1 + errors.supply)
    figures = []
    for thd_n, share in limits:
        watts = true.power_w(load_ohm, supply_v, share)
        watts *= (1 + errors.voltage) * (1 + errors.current) * (1 + errors.noise)
        budget = (
            line(f"bench: scale of load_voltage {output}", watts * errors.voltage_u),
            line(f"bench: scale of load_current {output}", watts * errors.current_u),
            line(f"{file}: scatter {thd_n:g}", watts * errors.noise_u, "A", dof=200),
        )
        figures.append(
            Figure(
                name=f"power_at_thd_{100 * thd_n:g}", output=output, value=watts, unit="W", budget=budget,
                u=watts * hypot(errors.voltage_u, errors.current_u, errors.noise_u), origin=f"{file} 1-2 s",
                conditions={
                    "load_ohm": load_read, "supply_v": supply_read, "thd_n": thd_n, "basis": "v*i", "frequency_hz": 47.0
                },
            )
        )  # fmt: skip
    volts_u = supply_read * errors.supply_u
    figures.append(
        Figure(
            name="supply_voltage_min", output=None, value=supply_read, u=volts_u, unit="V", origin=file,
            budget=(line("bench: scale of supply_voltage", volts_u),),
        )
    )  # fmt: skip
    return CaptureResult(file=file, kind="ramp", figures=tuple(figures))


def model_of(true, *, driven=1, exponent_u=0.0, **more):
    """Give the model that good data would give of the amplifier."""
    numbers = {"rail_v": true.peak_v, "rail_exponent": true.exponent, "output_ohm": true.output_ohm, "knee": 0.0}
    units = {"rail_v": "V", "rail_exponent": "1", "output_ohm": "ohm", "knee": "1"}
    parameters = [Parameter(name=name, value=value, u=0.0, unit=units[name]) for name, value in numbers.items()]
    parameters.append(Parameter(name="limit_a", value=None, unit="A", fixed_by="nothing"))
    told = {
        "amplifier": "Reed Marten", "output": None, "driven": driven, "reference_v": 14.4, "parameters": parameters,
        "varied": ("rail_exponent",), "covariance": ((exponent_u**2,),), "points": 12, "dof": 8,
        "reduced_chi_square": 1.0, "load_ohm": (1.0, 8.0), "supply_v": (12.0, 15.0),
        "supply_levels_v": (12.0, 13.5, 15.0), "thd_n": (0.01, 0.1),
    }  # fmt: skip
    return BehaviourModel.model_validate({**told, **more})


def amplifier_with(*ratings, **more):
    stated = tuple(Rating(**rating) for rating in ratings)
    return Amplifier(maker="Reed & Marten", model="Otter 4", ratings=stated, **more)


@dataclass(frozen=True, kw_only=True)
class World:
    """What the tests make their cases of."""

    TrueAmplifier: type = TrueAmplifier
    Errors: type = Errors
    read_ramp: object = field(default=staticmethod(read_ramp))
    model_of: object = field(default=staticmethod(model_of))
    amplifier_with: object = field(default=staticmethod(amplifier_with))
    line: object = field(default=staticmethod(line))
    at_10_percent: float = AT_10_PERCENT


@pytest.fixture(scope="session")
def world():
    """Give the makers of cases."""
    return World()
