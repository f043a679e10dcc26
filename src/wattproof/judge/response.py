"""Rated frequency limits and filters, from the gains of tones at several frequencies."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import product
from math import exp, log, log10, sqrt

import numpy as np
from numpy.typing import NDArray

from wattproof.judge.model import Judgement, Reading
from wattproof.judge.powers import number_in
from wattproof.judge.shaped import figures_named, not_measured
from wattproof.judge.weighing import Case, Found, weigh
from wattproof.measure import CaptureResult, Figure
from wattproof.quantity import BudgetLine, Ledger, Quantity

HALF_POWER = sqrt(0.5)
_SAME_TONE = 0.02
_OCTAVE = log(2)
_FEWEST = 5
"""Tones from which a filter's order, corner and level are found, with two to spare."""
_CLEARLY = 2.0
"""The order is told where every other one misses the gains by so many times more."""
_ORDERS = (1, 2, 3, 4, 6, 8)


@dataclass(frozen=True, kw_only=True)
class _Gain:
    frequency_hz: float
    figure: Figure


def judge_frequency_limit(case: Case) -> list[Judgement]:
    """Judge a rated frequency limit by the gain at it, against half power re the largest gain."""
    rating = case.rating
    claim = case.claim(HALF_POWER, "V/V", "at least")
    reading = Reading(
        words=f"-3 dB or less at {rating.value_si:g} Hz, re the largest gain",
        assumed=("-3 dB re the largest gain",),
        frequency_hz=rating.value_si,
    )
    return [weigh(claim, _at_limit(case, reading, rating.value_si), case.rule)]


def _at_limit(case: Case, reading: Reading, limit_hz: float) -> Found:
    gains = _gains(case.results)
    inside = [one for one in gains if abs(log(one.frequency_hz / limit_hz)) > _OCTAVE]
    if len(gains) < 2 or not inside:
        step = f"Capture steady tones of about a watt at {limit_hz:g} Hz and well inside the band, the drive recorded."
        return not_measured(reading, f"gains were measured at {_listed(gains)} only", step)
    reference = max(gains, key=lambda one: one.figure.value)
    outside = case.rating.quantity == "frequency_low"
    here = next((one for one in gains if abs(log(one.frequency_hz / limit_hz)) < _SAME_TONE), None)
    if here is not None:
        return _relative(here, reference, reading, "")
    beyond = [one for one in gains if (one.frequency_hz < limit_hz) == outside]
    within = [one for one in gains if (one.frequency_hz < limit_hz) != outside]
    nearest = sorted((*beyond, *within), key=lambda one: abs(log(one.frequency_hz / limit_hz)))
    for one in nearest:
        relative = one.figure.value / reference.figure.value
        if (one in beyond) == (relative >= HALF_POWER):
            # further out and still above, or further in and already below: the gain falls on from here
            return _relative(one, reference, reading, "at least" if one in beyond else "at most")
    step = f"Capture a steady tone of about a watt at {limit_hz:g} Hz."
    return not_measured(
        reading,
        f"gains were measured at {_listed(gains)}, and none of them tells on which side of -3 dB the limit lies",
        step,
    )


def _relative(one: _Gain, reference: _Gain, reading: Reading, bound: str) -> Found:
    ratio = _ratio(one.figure, reference.figure)
    return Found(
        reading=reading,
        measured=ratio,
        name="gain",
        where=f"{one.figure.origin} at {one.frequency_hz:g} Hz, re {reference.figure.origin} at "
        f"{reference.frequency_hz:g} Hz",
        corrected=ratio,
        bound="at least" if bound == "at least" else ("at most" if bound else ""),
        why="" if not bound else f"the tone lies {'beyond' if bound == 'at least' else 'within'} the rated limit",
    )


def _ratio(first: Figure, second: Figure) -> Quantity:
    """Give the ratio of two gains; the scales that both share drop out."""
    ledger = Ledger()
    if first == second:
        return Quantity(value=1.0, u=0.0, unit="V/V")
    return ledger.quantity(ledger.restore(first) / ledger.restore(second), unit="V/V")


def _gains(results: Sequence[CaptureResult]) -> list[_Gain]:
    """Give the gains by frequency, of the first output that has any, one a frequency."""
    found: dict[float, _Gain] = {}
    outputs: list[str | None] = []
    for figure in figures_named([one for one in results if one.kind in {"steady", "ramp"}], "gain"):
        outputs.append(figure.output)
        tone_hz = number_in(figure, "frequency_hz")
        if tone_hz and figure.value > 0 and figure.output == outputs[0]:
            found.setdefault(round(tone_hz, 1), _Gain(frequency_hz=tone_hz, figure=figure))
    return sorted(found.values(), key=lambda one: one.frequency_hz)


def _listed(gains: Sequence[_Gain]) -> str:
    return ", ".join(f"{one.frequency_hz:g} Hz" for one in gains) or "no frequency"


@dataclass(frozen=True, kw_only=True)
class _Fit:
    """A filter fitted to gains: its family, its corner and how far it misses them."""

    family: str
    order: int
    high_pass: bool
    natural_hz: float
    natural_u: float
    miss_db: float
    dof: int

    def corner_hz(self, fall_db: float) -> float:
        """Give the frequency at which the response has fallen by so much."""
        ratio = _fallen(self.family, self.order, fall_db)
        return self.natural_hz / ratio if self.high_pass else self.natural_hz * ratio


def judge_filter(case: Case) -> list[Judgement]:
    """Judge a dial's corner as -3 dB and as -6 dB, or a slope, by a filter fitted to the gains."""
    slope = case.rating.quantity == "filter_slope"
    claim = case.claim(case.rating.value_si, "dB/octave" if slope else "Hz", "about")
    gains = _gains(case.results)
    fits = _fits(gains) if len(gains) >= _FEWEST else []
    readings = (
        [("the steepest slope", 0.0)] if slope else [("the dial means -3 dB", 3.0103), ("the dial means -6 dB", 6.0206)]
    )
    return [weigh(claim, _filter(words, fall, fits, gains, slope=slope), case.rule) for words, fall in readings]


def _filter(words: str, fall_db: float, fits: Sequence[_Fit], gains: Sequence[_Gain], *, slope: bool) -> Found:
    reading = Reading(words=words, assumed=() if slope else (words,))
    if not fits:
        step = "Capture steady tones of about a watt at five frequencies or more, from an octave inside to two outside."
        return not_measured(reading, f"gains were measured at {_listed(gains)} only", step)
    best = fits[0]
    others = [one for one in fits if one.order != best.order]
    if slope and others and others[0].miss_db < _CLEARLY * best.miss_db:
        step = "Capture tones further outside the band: two and three octaves past the corner."
        misses = f"{best.miss_db:.2g} and {others[0].miss_db:.2g} dB"
        why = f"{_named(best)} and {_named(others[0])} fit about alike ({misses})"
        return not_measured(reading, why, step)
    value = 6.0206 * best.order if slope else best.corner_hz(fall_db)
    u = 0.0 if slope else value * best.natural_u
    line = BudgetLine(source="verdict: filter fit", label="fit of the filter", u=u, type="A", dof=best.dof)
    figure = Quantity(
        value=value, u=u, unit="dB/octave" if slope else "Hz", dof=best.dof if u else None, budget=(line,) if u else ()
    )
    return Found(
        reading=reading, measured=figure, name="filter", where=f"tones at {_listed(gains)}", corrected=figure,
        why=f"{_named(best)}, which misses the gains by {best.miss_db:.2g} dB; "
        f"-3 dB at {best.corner_hz(3.0103):.4g} Hz, -6 dB at {best.corner_hz(6.0206):.4g} Hz",
    )  # fmt: skip


def _named(fit: _Fit) -> str:
    kind = "high-pass" if fit.high_pass else "low-pass"
    return f"a {fit.family} {kind} of {6 * fit.order} dB/octave"


def _response_db(family: str, order: int) -> Callable[[NDArray[np.float64]], NDArray[np.float64]]:
    """Give a low-pass's response over frequency/natural frequency, dB; Linkwitz-Riley is half the order squared."""
    if family == "Butterworth":
        return lambda x: -10 * np.log10(1 + x ** (2 * order))
    return lambda x: -20 * np.log10(1 + x**order)


def _fallen(family: str, order: int, fall_db: float) -> float:
    """Give the frequency over the natural one at which a low-pass has fallen by so much."""
    if family == "Butterworth":
        return float((10 ** (fall_db / 10) - 1) ** (1 / (2 * order)))
    return float((10 ** (fall_db / 20) - 1) ** (1 / order))


def _fits(gains: Sequence[_Gain]) -> list[_Fit]:
    """Fit every family, order and side; the best first. Those that the gains hardly see fall are left out."""
    tones = np.array([one.frequency_hz for one in gains])
    level_db = np.array([20 * log10(one.figure.value) for one in gains])
    found = []
    for family, order, high_pass in product(("Butterworth", "Linkwitz-Riley"), _ORDERS, (False, True)):
        if family == "Linkwitz-Riley" and order % 2:
            continue
        fit = _fitted(tones, level_db, family, order, high_pass=high_pass)
        if fit is not None:
            found.append(fit)
    return sorted(found, key=lambda one: one.miss_db)


def _fitted(
    tones: NDArray[np.float64], level_db: NDArray[np.float64], family: str, order: int, *, high_pass: bool
) -> _Fit | None:
    from scipy.optimize import least_squares

    response = _response_db(family, order)

    def missed(numbers: NDArray[np.float64]) -> NDArray[np.float64]:
        ratio = tones / exp(numbers[0])
        return np.asarray(numbers[1] + response(1 / ratio if high_pass else ratio) - level_db)

    starts = [least_squares(missed, [log(tone), float(level_db.max())]) for tone in tones[1:-1]]
    best = min(starts, key=lambda one: one.cost)
    natural_hz, dof = exp(best.x[0]), tones.size - 2
    if not tones[0] / 2 < natural_hz < tones[-1] * 2:
        return None
    miss_db = sqrt(2 * best.cost / dof)
    jacobian = np.asarray(best.jac, dtype=np.float64)
    normal = jacobian.T @ jacobian
    if np.linalg.matrix_rank(normal) < 2:
        return None
    # a fit that misses by nothing knows its corner no better than the gains are read
    natural_u = max(miss_db, 0.01) * sqrt(float(np.linalg.inv(normal)[0, 0]))
    return _Fit(
        family=family, order=order, high_pass=high_pass, natural_hz=natural_hz, natural_u=natural_u,
        miss_db=miss_db, dof=dof,
    )  # fmt: skip
