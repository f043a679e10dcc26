"""The card of verdicts: each rating on a line of its own, with what was found and what follows."""

from collections import Counter
from collections.abc import Sequence

from wattproof.judge import Judgement
from wattproof.publish.card import CardRow, Claim, Dot, Line, RowsCard, Verdict
from wattproof.publish.inputs import PublishedSession
from wattproof.publish.picture_words import SAY
from wattproof.publish.rated import SENSES, quantity_text, shown_unit, weighed_figure
from wattproof.quantity import Quantity
from wattproof.report import linear_axis

_PAD, _LEAST_PAD, _TICKS = 0.15, 0.01, 5
_SHORT = {"snr", "thd"}


def verdicts_card(inputs: PublishedSession) -> RowsCard | None:
    """Give every rating with what was found and its verdict; None where the maker states none."""
    if inputs.judged is None or not inputs.judged.judgements:
        return None
    rows = []
    for number, words in enumerate(inputs.judged.ratings):
        own = [j for j in inputs.judged.judgements if j.rating == number and not j.reading.stretched]
        rows += [_row(words, own)] if own else []
    drawn = any(row.line for row in rows)
    return RowsCard(rows=tuple(rows), legend=("claim", "found") if drawn else ())


def _row(words: str, own: Sequence[Judgement]) -> CardRow:
    judgement = own[0]
    claimed = Quantity(value=judgement.claimed, u=0.0, unit=judgement.unit)
    weighed = [(j, found) for j in own if (found := _found(j)) is not None]
    if not weighed:
        return CardRow(head=_headed(words), verdict=_verdict(own), told=(_told(own, weighed),))
    unit, shown = shown_unit(judgement)
    dots = tuple(_dot(j, found) for j, found in weighed)
    claim = Claim(
        value=shown(claimed.value),
        at_least=SENSES[judgement.sense],
        text=SAY["claimed"].format(quantity_text(claimed, judgement)),
    )
    line = _line([claim.value, *(end for dot in dots for end in (dot.low, dot.value, dot.high))])
    return CardRow(
        head=_headed(words),
        verdict=_verdict(own),
        told=(_told(own, weighed),),
        dots=dots,
        claim=claim,
        line=line,
        ends=tuple(SAY["end"].format(end, unit).rstrip() for end in (line.low, line.high)),
    )


def _found(judgement: Judgement) -> Quantity | None:
    """Give the figure that is weighed, where it is in the claim's own unit."""
    found = weighed_figure(judgement)
    return found if found is not None and found.unit == judgement.unit else None


def _verdict(own: Sequence[Judgement]) -> Verdict:
    """Give the verdict that all readings share; where they do not, which one the maker means cannot be told."""
    verdicts = {judgement.verdict for judgement in own}
    return verdicts.pop() if len(verdicts) == 1 else "cannot tell"


def _told(own: Sequence[Judgement], weighed: Sequence[tuple[Judgement, Quantity]]) -> str:
    counts = Counter(judgement.verdict for judgement in own)
    if len(counts) > 1:
        return ", ".join(SAY["mixed"].format(verdict, n, len(own)) for verdict, n in counts.items())
    if not weighed:
        return SAY["not_measured"]
    if len(own) > 1:
        return SAY["all_readings"].format(len(own))
    judgement, found = weighed[0]
    bound = f"{judgement.bound} " if judgement.bound else ""
    said = bound + quantity_text(found, judgement)
    return SAY["at_rated"].format(said) if judgement.correction else said


def _dot(judgement: Judgement, found: Quantity) -> Dot:
    _, shown = shown_unit(judgement)
    low, high = (shown(end) for end in found.interval95)
    return Dot(value=shown(found.value), low=low, high=high, sort=judgement.verdict)


def _line(values: Sequence[float]) -> Line:
    """Give a line with round ends on which all values lie well inside."""
    low, high = min(values), max(values)
    pad = max(_PAD * (high - low), _LEAST_PAD * abs(high))
    axis = linear_axis("", [low - pad if low <= 0 or low > 2 * pad else 0.0, high + pad], ticks=_TICKS)
    return Line(low=axis.low, high=axis.high)


def _headed(words: str) -> str:
    """Begin a rating's words as a heading does."""
    name, _, rest = words.partition(" ")
    return f"{name.upper() if name in _SHORT else name[:1].upper() + name[1:]} {rest}"
