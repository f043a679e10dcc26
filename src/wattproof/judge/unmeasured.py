"""Ratings that no figure of today's captures answers: what to measure instead of a guess."""

from wattproof.judge.model import Judgement, Reading
from wattproof.judge.powers import number_in
from wattproof.judge.settling import missing_step
from wattproof.judge.shaped import figures_named
from wattproof.judge.weighing import Case, Found, weigh

_STEPS = {
    "crosstalk": "Drive one output, load and terminate the other, and read both at the stated frequency.",
    "input_overload": "Ramp the drive with the gain at its lowest, and read the drive at 1 % distortion.",
    "input_impedance": "Read the drive with and without a known resistor in series with the input.",
    "boost": "Read the gain at the boost's frequency with the boost at its ends, at about a watt.",
    "standby_current": "Read the supply's current with the remote wire off, with a meter that resolves microamperes.",
    "supply_current": "Capture a ramp or a hold at the stated power with the supply's current recorded.",
    "supply_voltage_low": "Lower the supply at a watt or so until the amplifier switches off, and read its voltage.",
    "supply_voltage_high": "This is a limit that can destroy: take the maker's word.",
    "fuse": "Read the rating printed on the fuse itself.",
}


def judge_unmeasured(case: Case) -> list[Judgement]:
    """Say that nothing was measured for this rating, and what would be."""
    quantity = case.rating.quantity
    step = _STEPS.get(quantity, f"Measure the {quantity.replace('_', ' ')} by a way of your own, and note it.")
    found = Found(
        reading=Reading(words="as stated"), why="nothing that was captured bears on it", settling=missing_step(step)
    )
    return [weigh(case.claim(case.rating.value_si, case.rating.unit, "about"), found, case.rule)]


def judge_minimum_load(case: Case) -> list[Judgement]:
    """Judge a lowest load: whether a ramp into one as low came to 10 % distortion."""
    least_ohm = case.rating.value_si
    reading = Reading(words=f"a ramp into {least_ohm:g} ohm or less comes to 10 % distortion", load_ohm=least_ohm)
    claim = case.claim(least_ohm, "ohm", "at most")
    ramps = [(number_in(one, "load_ohm"), one) for one in figures_named(case.results, "power_at_thd_10")]
    low = [(load, figure) for load, figure in ramps if load is not None and load <= least_ohm * 1.02]
    step = missing_step(f"Capture a ramp into {least_ohm:g} ohm, up past 10 % distortion.")
    if not low:
        return [weigh(claim, Found(reading=reading, why="no ramp into so low a load did", settling=step), case.rule)]
    load, figure = min(low, key=lambda one: one[0])
    told = weigh(claim, Found(reading=reading, name=figure.name, where=f"{figure.origin}, {load:.4g} ohm"), case.rule)
    return [told.model_copy(update={"verdict": "meets", "why": "the ramp came to 10 % distortion without a stop"})]
