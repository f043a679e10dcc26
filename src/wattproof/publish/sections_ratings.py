"""Ratings and verdicts: each rating on a line, as claim and as measured, with all that was assumed and carried."""

from collections.abc import Iterator

from wattproof.amplifier import Rating
from wattproof.judge import Judgement, Verdict
from wattproof.publish.document import Block, Mark, Paragraph, Scale, Words
from wattproof.publish.inputs import PublishedSession
from wattproof.publish.places import Places
from wattproof.publish.rated import (
    SENSES,
    Weighed,
    doubtful_margin_text,
    margin_text,
    measured_text,
    most_favourable,
    probability_text,
    quantity_text,
    shown_unit,
    weighed,
    weighed_figure,
)
from wattproof.publish.wording import QUANTITIES, RATINGS
from wattproof.report import signed_text

_ROOM = 0.12
"""The line reaches past its outermost mark by this share of what lies between."""
_LOG_FROM = 20.0
_PROBABILITY = "the probability that"
"""How a reason begins that only tells the probability, which stands above it already."""
_VERDICTS: tuple[Verdict, ...] = ("meets", "falls short", "cannot tell")


def ratings_blocks(inputs: PublishedSession, places: Places) -> tuple[Block, ...]:
    """Give the rule and a line for every rating; a rating whose verdict depends on how it is read has several."""
    judged = inputs.judged
    if not inputs.amplifier.ratings:
        return (Paragraph(words=(RATINGS["none"],)),)
    if judged is None:
        return (Paragraph(words=(RATINGS["not_judged"],)),)
    rule = RATINGS["rule"].format(confidence=f"{100 * judged.rule.confidence:g} %")
    scales = [scale for one in weighed(judged) for scale in _scales(one, inputs, places)]
    return (Paragraph(words=(rule,)), *scales)


def _scales(one: Weighed, inputs: PublishedSession, places: Places) -> Iterator[Scale]:
    parted = [[j for j in one.judgements if j.verdict == verdict] for verdict in _VERDICTS]
    shown = [most_favourable(group) for group in parted if group]
    judged = inputs.judged
    true = judged.true_under.get(one.number) if judged else None
    for judgement in shown:
        others = [other for other in one.judgements if other is not judgement and other.verdict == judgement.verdict]
        details = list(_details(judgement, inputs.amplifier.ratings[one.number]))
        details += [_other(other) for other in others]
        if judgement is shown[-1]:
            details += _true(true)
        if len(shown) > 1 and judgement is shown[0]:
            details.insert(0, RATINGS["several"])
        yield _scale(_title(one, judgement, told_apart=len(shown) > 1), judgement, details, places)


def _title(one: Weighed, judgement: Judgement, *, told_apart: bool) -> str:
    """Say the rating as stated, by its quantity's own name; and how it is read, where it stands here twice."""
    name = judgement.quantity.replace("_", " ")
    title = one.words.removeprefix(name) if one.words.startswith(name) else f" {one.words}"
    title = f"{_quantity(judgement)}{title}"
    if not told_apart:
        return title
    return RATINGS["title_reading"].format(title=title, reading=judgement.reading.words)


def _quantity(judgement: Judgement) -> str:
    return QUANTITIES.get(judgement.quantity, judgement.quantity.replace("_", " ").capitalize())


def _scale(title: str, judgement: Judgement, details: list[str], places: Places) -> Scale:
    unit, of = shown_unit(judgement)
    figure = weighed_figure(judgement)
    claim = of(judgement.claimed)
    mark = Mark(value=None, low=None, high=None)
    if figure is not None and figure.unit == judgement.unit:
        low, high = figure.interval95
        mark = Mark(value=of(figure.value), low=of(low), high=of(high))
    low, high, log = _ends(claim, mark, unit)
    return Scale(
        title=title,
        verdict=judgement.verdict,
        quantity=_quantity(judgement),
        unit=unit,
        claim=claim,
        at_least=SENSES[judgement.sense],
        measured=mark,
        low=low,
        high=high,
        log=log,
        carried=judgement.corrected is not None and bool(judgement.correction),
        told=tuple(_told(judgement, places)),
        details=tuple(details),
    )


def _ends(claim: float, mark: Mark, unit: str) -> tuple[float, float, bool]:
    """Give a line's ends: claim and interval lie inside, and zero where they come near it."""
    values = [claim, *(end for end in (mark.low, mark.value, mark.high) if end is not None)]
    low, high = min(values), max(values)
    if low > 0 and high / low > _LOG_FROM:
        return low / 1.5, high * 1.5, True
    room = _ROOM * ((high - low) or abs(high) or 1.0)
    starts = 0.0 if unit != "dB" and 0 < low < high / 2 else low - room
    return starts, high + room, False


def _told(judgement: Judgement, places: Places) -> Iterator[Words]:
    """Say how it was read, what was found and where, and how probable it is that it is met."""
    yield RATINGS["reading"].format(judgement.reading.words)
    figure = weighed_figure(judgement)
    if judgement.measured is None or figure is None:
        yield f". {RATINGS['unmeasured']}"
        return
    yield ". " + RATINGS["measured"].format(value=measured_text(judgement))
    if judgement.measured_where:
        yield RATINGS["where"].format("")
        yield from places.found(judgement.measured_where)
    yield ". "
    if judgement.corrected is not None and judgement.correction:
        correction = f"{signed_text(100 * judgement.correction)} %"
        yield RATINGS["at_rated"].format(value=quantity_text(figure, judgement), correction=correction) + " "
    elif figure.unit != judgement.measured.unit:
        yield RATINGS["makes"].format(quantity_text(figure, judgement)) + " "
    yield _weight(judgement)


def _weight(judgement: Judgement) -> str:
    said = [RATINGS["margin"].format(doubtful_margin_text(judgement))] if judgement.margin is not None else []
    if judgement.probability is not None and not judgement.bound:
        said.append(RATINGS["probability"].format(probability_text(judgement.probability)))
    if judgement.bound:
        said.append(RATINGS[judgement.bound])
    text = "; ".join(said)
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def _details(judgement: Judgement, rating: Rating) -> Iterator[str]:
    if rating.source:
        yield RATINGS["source"].format(rating.source)
    if judgement.reading.assumed:
        yield RATINGS["assumed"].format(", ".join(judgement.reading.assumed))
    how = "; ".join(part for part in judgement.why.split("; ") if not part.startswith(_PROBABILITY))
    if how:
        yield f"{how[:1].upper()}{how[1:]}."
    for settling in judgement.settling:
        yield RATINGS["settle"].format(settling.message)


def _other(other: Judgement) -> str:
    figure = weighed_figure(other)
    value = f", {quantity_text(figure, other)}, {margin_text(other)}" if figure is not None else ""
    return RATINGS["other"].format(reading=other.reading.words, verdict=other.verdict, value=value)


def _true(readings: tuple[str, ...] | None) -> list[str]:
    if readings is None:
        return []
    return [RATINGS["true"].format("; ".join(readings))] if readings else [RATINGS["true_none"]]
