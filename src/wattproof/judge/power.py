"""Rated powers: each reading weighed against the power measured under the nearest conditions."""

from collections.abc import Sequence
from dataclasses import replace

from wattproof.errors import WattproofError
from wattproof.judge.carrying import carried
from wattproof.judge.model import Judgement, Reading, Rule, Settling
from wattproof.judge.powers import MeasuredPower, measured_powers, nearest
from wattproof.judge.readings import power_readings
from wattproof.judge.settling import by_step, missing_step
from wattproof.judge.weighing import Case, Claim, Found, weigh
from wattproof.measure import CaptureResult

_BOUND_WHY = {
    "at least": "measured below the limit of distortion, so that the power at the limit is at least this",
    "at most": "measured past the limit of distortion, so that the power at the limit is at most this",
}
_MOMENTS = "a ramp is there for moments only, so that what is held for {:g} s is at most this"
_BRIDGED = "no capture says that it was taken with outputs bridged"


def judge_power(case: Case, *, stretched: bool) -> list[Judgement]:
    """Judge a rated power under every plausible reading, or under those that only stretch it."""
    readings = power_readings(case.rating, case.amplifier)
    return [_judged(case, reading) for reading in readings if reading.stretched == stretched]


def _judged(case: Case, reading: Reading) -> Judgement:
    claim, rule = case.claim(case.rating.value_si, "W", "at least"), case.rule
    if case.rating.bridged and len(case.amplifier.outputs) > 1:
        step = missing_step(
            f"Bridge the outputs, and name the pair as one output in an amplifier file of its own. {_ramp(reading)}."
        )
        return weigh(claim, Found(reading=reading, why=_BRIDGED, settling=step), rule)
    power = nearest(measured_powers(case.results, reading), reading)
    if power is None:
        return weigh(claim, _nothing_measured(reading, case.results), rule)
    try:
        way = carried(power, reading, case.models)
    except WattproofError as error:
        found = replace(
            _measured(power, reading),
            why=f"{error.message} {error.why}".strip().rstrip("."),
            settling=missing_step(f"{_ramp(reading)}: then nothing has to be carried."),
        )
        return weigh(claim, found, rule)
    found = replace(
        _measured(power, reading),
        corrected=way.power,
        correction=way.correction,
        share=way.share,
        why="; ".join(filter(None, (_bound_why(power, reading), way.said if way.correction or way.share else ""))),
        settling=_past_the_bound(power, reading),
    )

    def steps(claim: Claim, rule: Rule) -> list[Settling]:
        return by_step(power, way.power, claim.claimed, reading, rule, share=way.share)

    return weigh(claim, found, rule, steps=steps)


def _bound_why(power: MeasuredPower, reading: Reading) -> str:
    """Say why a power only bounds what is rated."""
    if power.bound and reading.seconds is not None and power.seconds is None:
        return _MOMENTS.format(reading.seconds)
    return _BOUND_WHY.get(power.bound, "")


def _measured(power: MeasuredPower, reading: Reading) -> Found:
    return Found(reading=reading, measured=power.power, name=power.name, where=power.where, bound=power.bound)


def _ramp(reading: Reading) -> str:
    """Name the ramp that shows a reading's power directly."""
    said = f"Capture a ramp into {reading.load_ohm:g} ohm at {reading.supply_v:g} V at the terminals"
    if reading.thd_n is not None:
        said += f", up past {100 * reading.thd_n:g} % distortion"
    if (reading.driven or 1) > 1:
        said += f", {reading.driven} outputs driven"
    return said


def _nothing_measured(reading: Reading, results: Sequence[CaptureResult]) -> Found:
    """Say what is missing: captures at all, or only those with so many outputs driven."""
    any_driven = measured_powers(results, reading.model_copy(update={"driven": None}))
    why = "no capture holds a power at a limit of distortion together with its load and its supply voltage"
    if any_driven:
        counts = sorted({power.driven for power in any_driven})
        told = "one output" if counts == [1] else f"{' or '.join(map(str, counts))} outputs"
        why = f"captures have {told} driven, and outputs share the supply's rails"
        step = f"{_ramp(reading)}{', one output driven' if reading.driven == 1 else ''}."
        return Found(reading=reading, why=why, settling=missing_step(step))
    return Found(reading=reading, why=why, settling=missing_step(f"{_ramp(reading)}."))


def _past_the_bound(power: MeasuredPower, reading: Reading) -> tuple[Settling, ...]:
    """Name the step that shows the power itself where only a bound is there."""
    if not power.bound:
        return ()
    if reading.seconds is not None:
        step = f"Hold {reading.load_ohm:g} ohm for {reading.seconds:g} s at the level that just gives"
        return missing_step(f"{step} {100 * (reading.thd_n or 0.01):g} % distortion.")
    return missing_step(f"{_ramp(reading)}; the tone at hand has {100 * power.thd_n:.3g} %.")
