"""Rated powers: each reading weighed against the power measured under the nearest conditions."""

from collections.abc import Sequence
from dataclasses import replace

from wattproof.errors import WattproofError
from wattproof.fit import BehaviourModel
from wattproof.judge.carrying import carried
from wattproof.judge.model import Judgement, Reading, Rule, Settling
from wattproof.judge.power_steps import hold_step, ramp_step, supply_set
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
        bridge = "Bridge the outputs, and name the pair as one output in an amplifier file of its own."
        step = missing_step(f"{bridge} {ramp_step(reading)}.")
        return weigh(claim, Found(reading=reading, why=_BRIDGED, settling=step), rule)
    power = nearest(measured_powers(case.results, reading), reading)
    if power is None:
        return weigh(claim, _nothing_measured(reading, case.results), rule)
    try:
        way = carried(power, reading, case.models)
    except WattproofError as error:
        found = replace(
            _measured(power, reading),
            why=_refusal(error),
            settling=missing_step(f"{ramp_step(reading, case.models)}: then nothing has to be carried."),
        )
        return weigh(claim, found, rule)
    found = replace(
        _measured(power, reading),
        corrected=way.power,
        correction=way.correction,
        share=way.share,
        why="; ".join(filter(None, (_bound_why(power, reading), way.said if way.correction or way.share else ""))),
        settling=_past_the_bound(power, reading, case.models),
    )

    def steps(claim: Claim, rule: Rule) -> list[Settling]:
        return by_step(
            power, way.power, claim.claimed, reading, rule, share=way.share, setting=supply_set(reading, case.models)
        )

    return weigh(claim, found, rule, steps=steps)


def _bound_why(power: MeasuredPower, reading: Reading) -> str:
    """Say why a power only bounds what is rated."""
    if power.bound and reading.seconds is not None and power.seconds is None:
        return _MOMENTS.format(reading.seconds)
    return _BOUND_WHY.get(power.bound, "")


def _measured(power: MeasuredPower, reading: Reading) -> Found:
    return Found(reading=reading, measured=power.power, name=power.name, where=power.where, bound=power.bound)


def _nothing_measured(reading: Reading, results: Sequence[CaptureResult]) -> Found:
    """Say what is missing: captures at all, or only those with so many outputs driven."""
    any_driven = measured_powers(results, reading.model_copy(update={"driven": None}))
    why = "no capture holds a power at a limit of distortion together with its load and its supply voltage"
    if any_driven:
        counts = sorted({power.driven for power in any_driven})
        told = "one output" if counts == [1] else f"{' or '.join(map(str, counts))} outputs"
        why = f"captures have {told} driven, and outputs share the supply's rails"
    step = ramp_step(reading, also_one=bool(any_driven) and reading.driven == 1)
    return Found(reading=reading, why=why, settling=missing_step(f"{step}."))


def _past_the_bound(power: MeasuredPower, reading: Reading, models: Sequence[BehaviourModel]) -> tuple[Settling, ...]:
    """Name the step that shows the power itself where only a bound is there."""
    if not power.bound:
        return ()
    if reading.seconds is not None:
        return missing_step(hold_step(reading, models))
    return missing_step(f"{ramp_step(reading, models)}; the tone at hand has {100 * power.thd_n:.3g} %.")


def _refusal(error: WattproofError) -> str:
    """Give an error's words as part of a sentence."""
    said = error.message.rstrip(".")
    return f"{said[:1].lower()}{said[1:]}: {error.why.rstrip('.')}" if error.why else said
