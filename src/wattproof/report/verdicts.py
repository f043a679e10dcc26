"""Verdicts as text: a block for each rating, what was measured where, how it was carried, and what would settle it."""

import textwrap
from collections.abc import Iterator
from math import log, log10

from wattproof.judge import Judged, Judgement
from wattproof.measure import Figure
from wattproof.quantity import Quantity, value_text
from wattproof.report.faces import face_name, face_value
from wattproof.report.words import counted

WIDEST = 116
RATINGS = "one rating|{} ratings"
_LONG = 99.5
_FACES = {
    "power": "load_power", "thd": "thd_n", "efficiency": "efficiency", "gain": "gain", "snr": "snr",
    "frequency_low": "gain", "frequency_high": "gain",
}  # fmt: skip
"""As which figure a rating's number is written: gains and signal over noise in dB, efficiency in per cent."""
_DECIBELS = {"power": 10, "thd": 20, "gain": 20, "snr": 20, "noise": 20, "sensitivity": 20, "frequency_low": 20,
             "frequency_high": 20}  # fmt: skip
"""Quantities whose margin people also say in dB, with the factor of the logarithm."""
_ONLY_DECIBELS = frozenset({"snr", "frequency_low", "frequency_high"})


def verdicts_text(judged: Judged) -> str:
    """Write all verdicts on an amplifier.

    Parameters
    ----------
    judged : Judged

    Returns
    -------
    str
        The rule first, then each rating with its readings.
    """
    confidence = f"{100 * judged.rule.confidence:g} %"
    lines = [
        f"{judged.amplifier}: {counted(RATINGS, len(judged.ratings))}",
        *_wrapped(
            "Rule, fixed beforehand: a rating is met, or fallen short of, where that is at least "
            f"{confidence} probable; between the two nobody can tell. ± spans 95 %.",
            "",
        ),
    ]
    for number, words in enumerate(judged.ratings):
        lines += ["", words]
        for judgement in (one for one in judged.judgements if one.rating == number):
            lines += _judgement_lines(judgement)
        lines += _true_lines(judged, number)
    return "\n".join(lines)


def _judgement_lines(judgement: Judgement) -> Iterator[str]:
    yield from _wrapped(f"{judgement.verdict.upper()}: {judgement.reading.words}", "  ", "    ")
    if judgement.reading.assumed:
        yield from _wrapped(f"not stated, assumed: {', '.join(judgement.reading.assumed)}", "    ")
    if judgement.measured is not None:
        yield from _wrapped(f"measured: {_measured(judgement.measured, judgement)}", "    ")
    if judgement.corrected is not None:
        yield from _weighed_lines(judgement.corrected, judgement)
    if judgement.why:
        yield from _wrapped(f"why: {judgement.why}", "    ")
    for settling in judgement.settling:
        yield from _wrapped(f"to settle it: {settling.message}", "    ")


def _true_lines(judged: Judged, number: int) -> Iterator[str]:
    if number not in judged.true_under:
        return
    readings = judged.true_under[number]
    if not readings:
        yield from _wrapped("The number is true under no reading that was tried.", "  ")
    for words in readings:
        yield from _wrapped(f"true for: {words}", "  ")


def _weighed_lines(corrected: Quantity, judgement: Judgement) -> Iterator[str]:
    number = _number(corrected, judgement.quantity)
    if judgement.correction:
        yield from _wrapped(f"at the rated conditions: {number}, {_carried(judgement)}", "    ")
    elif _other_kind(judgement):
        yield from _wrapped(f"which makes: {number}", "    ")
    if judgement.margin is not None:
        yield from _wrapped(f"margin: {_margin(judgement.margin, corrected, judgement)}", "    ")


def _measured(measured: Quantity, judgement: Judgement) -> str:
    """Write what was measured and where; by its name, where it is of another kind than the rating."""
    where = f", {judgement.measured_where}" if judgement.measured_where else ""
    if not _other_kind(judgement):
        return _number(measured, judgement.quantity) + where
    figure = _as_figure(measured, judgement.measured_name)
    return f"{face_name(figure)} {face_value(figure)}{where}"


def _other_kind(judgement: Judgement) -> bool:
    """Say whether a rating is weighed against what was made of a figure: signal over noise of a noise voltage."""
    measured, corrected = judgement.measured, judgement.corrected
    return measured is not None and corrected is not None and measured.unit != corrected.unit


def _carried(judgement: Judgement) -> str:
    share = 100 * (judgement.correction_share or 0.0)
    told = f"{share:.0f} %" if share >= 1 else "under 1 %"
    percent = signed_text(100 * (judgement.correction or 0.0))
    return f"carried by {percent} %, which makes {told} of the variance"


def _margin(margin: float, figure: Quantity, judgement: Judgement) -> str:
    """Write how far the number lies above (+) or below (-) the rating, rounded to its doubt."""
    half = figure.k95 * figure.u / abs(judgement.claimed)
    told = (
        []
        if judgement.quantity in _ONLY_DECIBELS
        else [f"{signed_with_doubt(100 * margin, 100 * half)} % of the rating"]
    )
    factor = _DECIBELS.get(judgement.quantity)
    if factor is not None and 1 + margin > 0:
        slope = factor / log(10) / (1 + margin)
        told.append(f"{signed_with_doubt(factor * log10(1 + margin), slope * half)} dB")
    return ", ".join(told)


def signed_with_doubt(value: float, half: float) -> str:
    """Write a number with its sign, and with half of its 95 % interval where that is known.

    Parameters
    ----------
    value, half : float
        Both in one unit; `half` is 0 where there is no doubt to state.

    Examples
    --------
    >>> signed_with_doubt(5.391, 0.953), signed_with_doubt(-412.0, 0.0)
    ('+5.39 ± 0.95', '-412')
    """
    return f"{signed_text(value, half)} ± {value_text(half, uncertainty=half)}" if half > 0 else signed_text(value)


def signed_text(value: float, half: float = 0.0) -> str:
    """Write a number with its sign, rounded to its doubt, or without one to two digits and never in powers of ten.

    Parameters
    ----------
    value, half : float
        Both in one unit; `half` is half of the 95 % interval, 0 where there is no doubt to round to.

    Examples
    --------
    >>> signed_text(2.06), signed_text(412.0), signed_text(-5.391, 0.953)
    ('+2.1', '+412', '-5.39')
    """
    if half > 0:
        text = value_text(value, uncertainty=half)
        return text if text.startswith("-") else f"+{text}"
    return f"{value:+.0f}" if abs(value) >= _LONG else f"{value:+.2g}"


def _number(figure: Quantity, quantity: str) -> str:
    return face_value(_as_figure(figure, _FACES.get(quantity, quantity)))


def _as_figure(figure: Quantity, name: str) -> Figure:
    return Figure(**{**dict(figure), "name": name, "output": None, "origin": ""})


def _wrapped(text: str, first: str, more: str | None = None) -> list[str]:
    later = first + "  " if more is None else more
    return textwrap.wrap(text, WIDEST, initial_indent=first, subsequent_indent=later, break_on_hyphens=False)
