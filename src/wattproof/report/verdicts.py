"""Verdicts as text: a block for each rating, what was measured where, how it was carried, and what would settle it."""

import textwrap
from collections.abc import Iterator
from math import log10

from wattproof.judge import Judged, Judgement
from wattproof.quantity import Quantity, value_text

WIDEST = 116
_POWERS = frozenset({"power"})


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
        f"{judged.amplifier}: {len(judged.ratings)} ratings",
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
        where = f", {judgement.measured_where}" if judgement.measured_where else ""
        yield from _wrapped(f"measured: {_number(judgement.measured)}{where}", "    ")
    if judgement.corrected is not None and judgement.correction:
        share = f"; {100 * (judgement.correction_share or 0.0):.0f} % of the variance"
        carried = (
            f"at the rated conditions: {_number(judgement.corrected)} ({100 * judgement.correction:+.2g} %{share})"
        )
        yield from _wrapped(carried, "    ")
    if judgement.margin is not None:
        yield from _wrapped(f"margin: {_margin(judgement)}", "    ")
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


def _margin(judgement: Judgement) -> str:
    margin = judgement.margin or 0.0
    percent = f"{100 * margin:+.2g} %"
    if 1 + margin <= 0:
        return percent
    return f"{percent}, {(10 if judgement.quantity in _POWERS else 20) * log10(1 + margin):+.2g} dB"


def _number(figure: Quantity) -> str:
    half = figure.k95 * figure.u
    if half == 0:
        return f"{figure.value:.6g} {figure.unit}"
    return f"{value_text(figure.value, uncertainty=half)} ± {value_text(half, uncertainty=half)} {figure.unit}"


def _wrapped(text: str, first: str, more: str | None = None) -> list[str]:
    later = first + "  " if more is None else more
    return textwrap.wrap(text, WIDEST, initial_indent=first, subsequent_indent=later, break_on_hyphens=False)
