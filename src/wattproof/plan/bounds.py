"""Where the guard stops a step: the bench's limits, drawn closer where the step needs less."""

from math import sqrt

from wattproof.bench import Bench
from wattproof.plan.model import Expected, StepLimits
from wattproof.plan.powers import OutputPower

PEAK_MARGIN = 1.25
"""Peak volts and amperes may pass what the largest clean sine reckoned with has by so much."""

SUPPLY_MARGIN = 1.5
"""The guard judges the mean over half a cycle of the tone, so that pulses at twice the tone need no room."""

SUPPLY_ADDED_A = 5.0
"""Idle currents are guesses before they are measured."""

TIME_MARGIN, TIME_ADDED_S = 1.25, 1.0
ENERGY_MARGIN, ENERGY_ADDED_J = 2.0, 100.0
IDLE_MARGIN_A = 3.0
"""So much more than was guessed an amplifier may idle at; in a burst train that is most of what it draws."""


def step_limits(
    bench: Bench,
    power: OutputPower,
    expected: Expected,
    *,
    outputs: int,
    supply_v: float,
    seconds: float,
    spare_s: float = 0.0,
) -> StepLimits:
    """Draw a step's limits.

    Parameters
    ----------
    bench : Bench
    power : OutputPower
        Of one output.
    expected : Expected
        Of the step.
    outputs : int >= 1
        Driven at once.
    supply_v : float, V
    seconds : float, s
        The step lasts.
    spare_s : float, s
        A ramp may go on for so long past its expected end, where the amplifier has more than it is rated for.

    Returns
    -------
    StepLimits
        None past the bench's own; what neither bounds is None.
    """
    limits = bench.limits
    peak_v = PEAK_MARGIN * sqrt(2) * max(power.ceiling_v_rms, power.knee_v_rms or 0.0)
    known = peak_v > 0
    more = power.ceiling_w / power.clean_w if power.clean_w else 1.0
    supply_a = SUPPLY_MARGIN * expected.supply_current_a * more + SUPPLY_ADDED_A
    full_s = expected.full_power_s + spare_s
    energy_j = expected.energy_j * (full_s / expected.full_power_s if expected.full_power_s > 0 else 1.0)
    return StepLimits(
        load_voltage_v=_closer(limits.load_voltage_v, peak_v if known else None),
        load_dc_v=limits.load_dc_v,
        load_current_a=_closer(limits.load_current_a, peak_v / power.load.resistance_ohm if known else None),
        supply_current_a=_closer(limits.supply_current_a, supply_a if known else None),
        supply_voltage_v=limits.supply_voltage_v,
        temperature_c=limits.temperature_c,
        full_power_w=outputs * power.expected_w / 2 if known else None,
        full_power_s=_closer(limits.full_power_s, TIME_MARGIN * full_s + TIME_ADDED_S),
        energy_j=ENERGY_MARGIN * energy_j + ENERGY_ADDED_J + IDLE_MARGIN_A * supply_v * seconds if known else None,
    )


def _closer(bench_limit: float | None, step_limit: float | None) -> float | None:
    given = [limit for limit in (bench_limit, step_limit) if limit is not None]
    return min(given, default=None)


def quiet_limits(bench: Bench) -> StepLimits:
    """Give the limits of a step in which nothing is driven: the bench's own of supply and temperature."""
    limits = bench.limits
    return StepLimits(
        load_dc_v=limits.load_dc_v,
        supply_current_a=limits.supply_current_a,
        supply_voltage_v=limits.supply_voltage_v,
        temperature_c=limits.temperature_c,
    )


def held_to(limits: StepLimits, bench: Bench, *, full_power_w: float) -> StepLimits:
    """Draw limits that a person wrote in to the bench's own, and to what is full power, where they pass them."""
    own = bench.limits
    names = ("load_voltage_v", "load_dc_v", "load_current_a", "supply_current_a", "temperature_c", "full_power_s")
    held: dict[str, object] = {name: _closer(getattr(own, name), getattr(limits, name)) for name in names}
    bands = [band for band in (own.supply_voltage_v, limits.supply_voltage_v) if band is not None]
    if bands:
        held["supply_voltage_v"] = max(band[0] for band in bands), min(band[1] for band in bands)
    held["full_power_w"] = _closer(limits.full_power_w, full_power_w)
    return limits.model_copy(update=held)
