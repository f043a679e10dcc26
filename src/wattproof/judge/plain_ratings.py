"""Efficiency, idle current, gain, sensitivity, output resistance, mass and size: one figure against one rating."""

from collections.abc import Sequence
from math import sqrt

from wattproof.amplifier import Rating
from wattproof.errors import WattproofError
from wattproof.fit import Asked, predict, resistance_of
from wattproof.judge.model import Judgement, Reading
from wattproof.judge.powers import number_in
from wattproof.judge.readings import LIMITS, STANDARD_OHM, loads_of, volts_of
from wattproof.judge.shaped import (
    distance,
    figures_named,
    found_as_it_is,
    not_measured,
    off_by,
    plain,
    times,
    where_of,
)
from wattproof.judge.weighing import Case, Found, weigh
from wattproof.measure import CaptureResult, Figure
from wattproof.quantity import Ledger, Quantity

_EFFICIENCY_SLOPE = 0.2
"""Efficiency at a limit changes by less than this for one of load or supply voltage, relative."""
_FAR = 0.25
"""Load and supply voltage further off than this are other conditions."""
_IDLE_SLOPE = 1.0
"""Idle current goes with the supply voltage, stays, or goes against it."""
_GAIN_SLOPE = 0.02


def judge_efficiency(case: Case) -> list[Judgement]:
    """Judge a rated efficiency at a limit of distortion into each plausible load."""
    claim = case.claim(case.rating.value_si, "W/W", "at least")
    limit = (case.rating.thd_percent or 100 * LIMITS[0]) / 100
    readings = [_at_limit(case, load_ohm, limit) for load_ohm in loads_of(case.rating, case.amplifier)]
    return [weigh(claim, _efficiency(case, reading), case.rule) for reading in readings]


def _at_limit(case: Case, load_ohm: float, limit: float) -> Reading:
    rating = case.rating
    volts, said = volts_of(rating, case.amplifier)
    assumed = [] if rating.load_ohm else [f"a load of {load_ohm:g} ohm"]
    assumed += [said] if said else []
    assumed += [] if rating.thd_percent else [f"at the power that gives {100 * limit:g} % distortion"]
    words = f"at {100 * limit:g} % distortion, {load_ohm:g} ohm, {volts:g} V"
    return Reading(words=words, assumed=tuple(assumed), load_ohm=load_ohm, supply_v=volts, thd_n=limit)


def _efficiency(case: Case, reading: Reading) -> Found:
    figures = [one for one in figures_named(case.results, "efficiency") if number_in(one, "thd_n") is not None]
    figure = min(figures, key=lambda one: distance(one, reading), default=None)
    step = f"Capture a ramp into {reading.load_ohm:g} ohm with the supply's voltage and current recorded."
    if figure is None:
        return not_measured(reading, "no ramp holds the power from the supply", step)
    found = _by_model(case, figure, reading)
    if found is not None:
        return found
    if off_by(figure, reading) > _FAR:
        return not_measured(reading, f"the nearest was measured at {where_of(figure)}, and no model carries it", step)
    return found_as_it_is(figure, reading, slope=_EFFICIENCY_SLOPE)


def _by_model(case: Case, figure: Figure, reading: Reading) -> Found | None:
    """Carry an efficiency by the ratio of two predictions; what that changes is doubted by all of itself."""
    here = [number_in(figure, key) for key in ("load_ohm", "supply_v", "thd_n", "outputs_measured")]
    driven = int(here[3] or 1)
    model = next((one for one in case.models if one.driven == driven), None)
    if model is None or here[0] is None or here[1] is None or here[2] is None:
        return None
    to = Asked(load_ohm=reading.load_ohm or here[0], supply_v=reading.supply_v or here[1], thd_n=here[2], driven=driven)
    try:
        at = predict(model, Asked(load_ohm=here[0], supply_v=here[1], thd_n=here[2], driven=driven)).efficiency
        there = predict(model, to).efficiency
    except WattproofError:
        return None  # the caller takes the figure as it is where it was measured near enough, or says what is missing
    if at is None or there is None:
        return None
    ratio = there.value / at.value
    doubt = abs(ratio - 1) / sqrt(3)
    corrected = times(figure, ratio, unit="W/W", lines=(("behaviour model", doubt),) if doubt > 0 else ())
    share = (corrected.value * doubt / corrected.u) ** 2 if corrected.u else 0.0
    return Found(
        reading=reading,
        measured=plain(figure),
        name=figure.name,
        where=where_of(figure),
        corrected=corrected,
        correction=ratio - 1,
        share=min(share, 1.0),
        why="carried by the model",
    )


def judge_idle_current(case: Case) -> list[Judgement]:
    """Judge a rated current at idle."""
    volts, said = volts_of(case.rating, case.amplifier)
    assumed = (said,) if said else ()
    reading = Reading(words=f"no signal, {volts:g} V", assumed=assumed, supply_v=volts)
    claim = case.claim(case.rating.value_si, "A", "at most")
    found = [figure for result in case.results for figure in _idle(result)]
    figure = min(found, key=lambda one: distance(one, reading), default=None)
    if figure is None:
        step = f"Capture five seconds without signal at {volts:g} V, the supply's current recorded."
        return [weigh(claim, not_measured(reading, "no idle capture holds the supply's current", step), case.rule)]
    return [weigh(claim, found_as_it_is(figure, reading, slope=_IDLE_SLOPE), case.rule)]


def _idle(result: CaptureResult) -> list[Figure]:
    """Give the idle current with the supply voltage it was measured at among its conditions."""
    figure, volts = result.figure("idle_current", None), result.figure("supply_voltage", None)
    if figure is None:
        return []
    known = {} if volts is None else {"supply_v": volts.value}
    return [figure.model_copy(update={"conditions": {**figure.conditions, **known}})]


def judge_gain(case: Case) -> list[Judgement]:
    """Judge a rated gain: within a tenth of it."""
    rating = case.rating
    claim = case.claim(ratio_of(rating), "V/V", "about")
    reading = Reading(words=_controls(case), load_ohm=rating.load_ohm, frequency_hz=rating.frequency_hz)
    figure = _nearest(case.results, "gain", reading)
    if figure is None:
        step = "Capture a steady tone of a few watts with the drive voltage recorded."
        return [weigh(claim, not_measured(reading, "no capture holds the drive voltage", step), case.rule)]
    return [weigh(claim, found_as_it_is(figure, reading, slope=_GAIN_SLOPE), case.rule)]


def judge_sensitivity(case: Case) -> list[Judgement]:
    """Judge a rated input voltage, which is for the rated power or for 1 W: within a tenth of it."""
    claim = case.claim(case.rating.value_si, "V", "about")
    return [weigh(claim, _sensitivity(case, *target), case.rule) for target in _targets(case)]


def _targets(case: Case) -> list[tuple[float, float, str]]:
    load = case.rating.load_ohm
    powers = [one for one in case.amplifier.ratings if one.quantity == "power" and one.load_ohm is not None]
    rated = next((one for one in powers if load in {None, one.load_ohm}), None)
    found = [(1.0, load or STANDARD_OHM, "1 W")]
    if rated is not None and rated.load_ohm is not None:
        found.insert(0, (rated.value_si, rated.load_ohm, f"the rated {rated.value:g} {rated.unit}"))
    return found


def _sensitivity(case: Case, watts: float, load_ohm: float, said: str) -> Found:
    reading = Reading(words=f"input for {said} into {load_ohm:g} ohm, {_controls(case)}", assumed=(f"for {said}",))
    figure = _nearest(case.results, "gain", Reading(words="", load_ohm=load_ohm, frequency_hz=case.rating.frequency_hz))
    if figure is None:
        step = "Capture a steady tone of a few watts with the drive voltage recorded."
        return not_measured(reading, "no capture holds the drive voltage", step)
    ledger = Ledger()
    input_v = ledger.quantity(sqrt(watts * load_ohm) / ledger.restore(figure), unit="V")
    return Found(reading=reading, measured=plain(figure), name=figure.name, where=where_of(figure), corrected=input_v)


def judge_output_resistance(case: Case) -> list[Judgement]:
    """Judge an output resistance, or a damping factor by the resistance that it allows."""
    rating = case.rating
    against = rating.load_ohm or STANDARD_OHM
    assumed: tuple[str, ...] = ()
    claimed, words = rating.value_si, "resistance at the terminals"
    if rating.quantity == "damping_factor":
        claimed = against / rating.value_si
        words = f"a damping factor of {rating.value:g} re {against:g} ohm allows {1e3 * claimed:.3g} mohm"
        assumed = () if rating.load_ohm else (f"re {against:g} ohm",)
    reading = Reading(words=words, assumed=assumed, load_ohm=rating.load_ohm, frequency_hz=rating.frequency_hz)
    claim = case.claim(claimed, "ohm", "at most")
    return [weigh(claim, _output_resistance(case.results, reading), case.rule)]


def _output_resistance(results: Sequence[CaptureResult], reading: Reading) -> Found:
    figure = _nearest(results, "output_resistance", reading)
    if figure is not None:
        return found_as_it_is(figure, reading)
    pair = _two_loads(results)
    if pair is None:
        step = "Read the output's voltage at one drive with the load on and off, or capture ramps into two loads."
        return not_measured(reading, "no two captures at one frequency hold the gain into two loads", step)
    resistance, where = pair
    return Found(reading=reading, measured=resistance, name="gain into two loads", where=where, corrected=resistance)


def _two_loads(results: Sequence[CaptureResult]) -> tuple[Quantity, str] | None:
    """Give the output's resistance from the gains into the highest and the lowest load, at one frequency.

    The scales of voltage and drive drop out of their ratio.
    """
    found = [pair for result in results if result.kind == "ramp" for pair in _gain_and_load(result)]
    if len(found) < 2:
        return None
    (high, high_ohm), (low, low_ohm) = max(found, key=lambda one: one[1]), min(found, key=lambda one: one[1])
    if high_ohm < 1.2 * low_ohm or number_in(high, "frequency_hz") != number_in(low, "frequency_hz"):
        return None
    where = f"{high.origin}, {high_ohm:.4g} ohm; {low.origin}, {low_ohm:.4g} ohm"
    return resistance_of(high, low, high_ohm=high_ohm, low_ohm=low_ohm), where


def _gain_and_load(result: CaptureResult) -> list[tuple[Figure, float]]:
    figure = result.figure("gain")
    loads = [number_in(one, "load_ohm") for one in result.figures if one.name.startswith("power_at_thd")]
    load_ohm = next((load for load in loads if load is not None), None)
    return [] if figure is None or load_ohm is None else [(figure, load_ohm)]


def judge_typed(case: Case) -> list[Judgement]:
    """Judge mass and size against what was typed in the amplifier file: within a tenth."""
    size = case.amplifier.size_mm or (None, None, None)
    typed = dict(zip(("length", "width", "height"), size, strict=True)) | {"mass": case.amplifier.mass_kg}
    value = typed[case.rating.quantity]
    unit = "kg" if case.rating.quantity == "mass" else "mm"
    claim = case.claim(case.rating.value_si, unit, "about")
    reading = Reading(words="as typed in the amplifier file")
    if value is None:
        found = not_measured(reading, f"no {case.rating.quantity} is typed", "Weigh or measure it, and type it in.")
        return [weigh(claim, found, case.rule)]
    figure = Quantity(value=float(value), u=0.0, unit=unit)
    return [weigh(claim, Found(reading=reading, measured=figure, name="typed", corrected=figure), case.rule)]


def ratio_of(rating: Rating) -> float:
    """Give a rated ratio of voltages as one: 26 dB is 19.95.

    Examples
    --------
    >>> round(ratio_of(Rating(quantity="gain", value=26, unit="dB")), 2)
    19.95
    """
    return float(10 ** (rating.value / 20)) if rating.unit.startswith("dB") else rating.value_si


def _nearest(results: Sequence[CaptureResult], name: str, reading: Reading) -> Figure | None:
    return min(figures_named(results, name), key=lambda one: distance(one, reading), default=None)


def _controls(case: Case) -> str:
    told = ", ".join(f"{name} {position}" for name, position in case.amplifier.controls.items())
    return f"controls as noted: {told}" if told else "controls as they stood, which is not noted"
