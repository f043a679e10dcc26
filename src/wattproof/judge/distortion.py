"""Rated distortion: at the power that the rating leaves open, from ramps' curves and steady tones."""

from collections.abc import Iterator, Sequence
from math import exp, log, sqrt

import numpy as np

from wattproof.judge.model import Judgement, Reading
from wattproof.judge.powers import number_in
from wattproof.judge.readings import STANDARD_OHM
from wattproof.judge.shaped import not_measured, off_by, plain, where_of
from wattproof.judge.weighing import Case, Found, weigh
from wattproof.measure import CaptureResult, CurvePoint, Figure
from wattproof.quantity import BudgetLine, Quantity

_NEAR_POWER = 0.25
"""A steady tone within this share of the wanted power is taken (logarithm)."""
_NEAR_LOAD = 0.1
_WITH_NOISE = "harmonics and noise re the total, so that the harmonics alone are at most this"
_NEIGHBOURS = 2
"""Frames on each side by whose scatter a point of a ramp's curve is doubted."""


def judge_thd(case: Case) -> list[Judgement]:
    """Judge a rated distortion at the rated power, and at 1 W, where the rating does not say at which."""
    value = case.rating.value
    claim = case.claim(10 ** (value / 20) if case.rating.unit == "dB" else case.rating.value_si, "V/V", "at most")
    return [weigh(claim, _found(case, reading, watts), case.rule) for reading, watts in _readings(case)]


def _readings(case: Case) -> Iterator[tuple[Reading, float]]:
    rating = case.rating
    powers = [one for one in case.amplifier.ratings if one.quantity == "power" and one.load_ohm is not None]
    loads = [rating.load_ohm] if rating.load_ohm else sorted({one.load_ohm for one in powers if one.load_ohm})
    for load_ohm in loads or [STANDARD_OHM]:
        rated = next((one.value_si for one in powers if one.load_ohm == load_ohm), None)
        at = [(rated, f"the rated {rated:g} W")] if rated else []
        for watts, said in (*at, (1.0, "1 W")):
            assumed = [f"at {said}", *([] if rating.load_ohm else [f"a load of {load_ohm:g} ohm"])]
            words = f"at {said} into {load_ohm:g} ohm"
            yield (
                Reading(words=words, assumed=tuple(assumed), load_ohm=load_ohm, frequency_hz=rating.frequency_hz),
                watts,
            )


def _found(case: Case, reading: Reading, watts: float) -> Found:
    steady = _steady(case.results, reading, watts)
    if steady is not None:
        harmonics = steady.name == "thd_f"
        return Found(
            reading=reading,
            measured=plain(steady),
            name=steady.name,
            where=where_of(steady),
            corrected=plain(steady),
            bound="" if harmonics else "at most",
            why="harmonics re the fundamental" if harmonics else _WITH_NOISE,
        )
    for result in case.results:
        found = _on_ramp(result, reading, watts)
        if found is not None:
            return found
    step = f"Capture a steady tone of {watts:.4g} W into {reading.load_ohm:g} ohm."
    return not_measured(reading, f"no steady tone is near {watts:.4g} W, and no ramp's curve passes it", step)


def _steady(results: Sequence[CaptureResult], reading: Reading, watts: float) -> Figure | None:
    """Give the harmonic distortion of the steady tone nearest to the power, if it is near."""
    found = []
    for result in results:
        power = result.figure("load_power") if result.kind in {"steady", "readings"} else None
        thd = result.figure("thd_f") or result.figure("thd_n")
        if power is None or thd is None or power.value <= 0 or off_by(power, reading) > _NEAR_LOAD:
            continue
        found.append((abs(log(power.value / watts)), thd))
    away, figure = min(found, key=lambda one: one[0], default=(1.0, None))
    return figure if away <= _NEAR_POWER else None


def _on_ramp(result: CaptureResult, reading: Reading, watts: float) -> Found | None:
    """Interpolate a ramp's curve, logarithms of distortion over power; doubted by the scatter of the frames nearby."""
    loads = [number_in(one, "load_ohm") for one in result.figures if one.name.startswith("power_at_thd")]
    load_ohm = next((load for load in loads if load), None)
    if load_ohm is None or reading.load_ohm is None or abs(log(load_ohm / reading.load_ohm)) > _NEAR_LOAD:
        return None
    curve = sorted(_known(result.curve))
    after = next((n for n, (power, _) in enumerate(curve) if power >= watts), 0)
    if after == 0:
        return None
    near = curve[max(after - 1 - _NEIGHBOURS, 0) : after + 1 + _NEIGHBOURS]
    x, y = np.log([power for power, _ in near]), np.log([thd for _, thd in near])
    slope, middle = np.polyfit(x, y, 1) if len(near) > 2 else (0.0, float(np.mean(y)))
    value = exp(float(np.interp(log(watts), x, y)))
    dof = max(len(near) - 2, 1)
    scatter = sqrt(float(((y - slope * x - middle) ** 2).sum()) / dof)
    line = BudgetLine(
        source=f"verdict: {result.file}: frames at {watts:.4g} W", label="scatter of the frames nearby",
        u=value * scatter, type="A", dof=dof,
    )  # fmt: skip
    from scipy.special import stdtrit

    k95 = float(stdtrit(dof, 0.975))
    figure = Quantity(value=value, u=value * scatter, unit="V/V", k95=k95, dof=dof, budget=(line,))
    return Found(
        reading=reading,
        measured=figure,
        name="thd_n",
        where=f"{result.file}, {load_ohm:.4g} ohm, on the ramp's curve",
        corrected=figure,
        bound="at most",
        why=_WITH_NOISE,
    )


def _known(curve: Sequence[CurvePoint]) -> Iterator[tuple[float, float]]:
    for point in curve:
        if point.load_power and point.thd_n and point.load_power > 0:
            yield point.load_power, point.thd_n
