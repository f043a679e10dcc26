"""What a pack publishes beside figures, against what is found again: curves, notices, the model, the verdicts."""

from collections.abc import Iterator, Sequence
from typing import Any

from pydantic import BaseModel, ConfigDict

from wattproof.archive.model import FiguresFile, MeasuredCapture
from wattproof.archive.pack_differ import Leaf, leaves, near
from wattproof.archive.pack_figures import FieldCompared, State, compare_quantity
from wattproof.archive.pack_model import HOME, Finding
from wattproof.fit import BehaviourModel
from wattproof.judge import Judged, Judgement
from wattproof.quantity import Quantity

MOST_TOLD = 6
"""Differences of one capture's curve that are told one by one."""

FITTED = 1e-4
"""A fit ends where its steps grow small, not at one number: beyond the fourth digit it says nothing."""

_STATES: tuple[State, ...] = ("same", "near", "differs")
_WORDS = frozenset({"reading", "measured_where", "why", "settling"})
"""Parts of a judgement that explain it: another version may explain it otherwise."""


class VerdictCompared(BaseModel):
    """One verdict as published and as judged again: a rating under one reading."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    rating: int
    words: str
    reading: str
    published: str | None
    again: str | None
    state: State
    fields: tuple[FieldCompared, ...] = ()


def compare_rest(
    published: FiguresFile, again: FiguresFile, *, unchecked: frozenset[int] = frozenset()
) -> Iterator[Finding]:
    """Find what differs beside the figures: kinds, lengths, channels, curves and notices of the captures.

    Another version may word a notice otherwise; its code and its numbers are held to the published ones all the same.
    """
    worded = published.wattproof == again.wattproof
    second = {capture.number: capture for capture in again.captures}
    for capture in published.captures:
        if capture.number in unchecked:
            continue
        other = second.get(capture.number)
        if other is None:
            yield _differs(f"capture {capture.number} is published, and the pack holds no such capture")
            continue
        there, here = (_rest(one, worded=worded) for one in (capture, other))
        found = list(leaves(there, here, place=f"capture {capture.number}"))
        yield from (_differs(leaf.words("published", "measured again")) for leaf in found[:MOST_TOLD])
        if len(found) > MOST_TOLD:
            yield _differs(f"capture {capture.number}: {len(found) - MOST_TOLD} more differences of this kind")


def _rest(capture: MeasuredCapture, *, worded: bool) -> list[dict[str, Any]]:
    without: dict[str, Any] = {"figures": True, "views": True}
    if not worded:
        without["warnings"] = {"__all__": {"message", "hint"}}
    return [result.model_dump(mode="json", exclude=without) for result in capture.results]


def _differs(detail: str, where: str = "figures.json") -> Finding:
    return Finding(where=HOME + where, what="differs", detail=detail)


def compare_models(published: Sequence[BehaviourModel], again: Sequence[BehaviourModel]) -> Iterator[Finding]:
    """Find what differs between the published models and those fitted again, output by output."""
    fitted = {model.output: model for model in again}
    for model in published:
        other = fitted.get(model.output)
        if other is None:
            yield _differs(f"no model can be fitted to output {model.output}", "model.json")
            continue
        there, here = (one.model_dump(mode="json", by_alias=True, exclude={"complaints"}) for one in (model, other))
        found = list(leaves(_by_name(there), _by_name(here), relative=FITTED))
        yield from (_differs(leaf.words("published", "fitted again"), "model.json") for leaf in found[:MOST_TOLD])


def _by_name(model: dict[str, Any]) -> dict[str, Any]:
    """Let the parameters stand under their names, so that a difference tells which of them it is of."""
    named = {parameter["name"]: parameter for parameter in model["parameters"]}
    return {**model, "parameters": named}


def compare_verdicts(published: Judged, again: Judged, *, worded: bool = True) -> tuple[VerdictCompared, ...]:
    """Lay the published verdicts beside those judged again, by the rating and the words of its reading.

    Parameters
    ----------
    published, again : Judged
    worded : bool
        One version judged both, so that they are to agree to the word; another may say the same otherwise.
    """
    second = {key: list(group) for key, group in _grouped(again).items()}
    compared = []
    for key, group in _grouped(published).items():
        for one in group:
            other = _partner(one, second.get(key, []))
            compared.append(_verdict(one, other, published.ratings, worded=worded))
    left = (other for group in second.values() for other in group)
    return (*compared, *(_verdict(None, other, again.ratings, worded=worded) for other in left))


def _grouped(judged: Judged) -> dict[int, list[Judgement]]:
    """Give the judgements by their rating."""
    found: dict[int, list[Judgement]] = {}
    for judgement in judged.judgements:
        found.setdefault(judgement.rating, []).append(judgement)
    return found


def _partner(one: Judgement, others: list[Judgement]) -> Judgement | None:
    """Take the judgement under the same reading out of those that are left; else one under other words."""
    for key in (lambda judgement: judgement.reading, lambda judgement: judgement.reading.words, lambda _: None):
        for other in others:
            if key(one) == key(other):
                others.remove(other)
                return other
    return None


def compare_readings(published: Judged, again: Judged, *, worded: bool = True) -> Iterator[Finding]:
    """Find what differs in the words around the verdicts: whose they are, the rule, the ratings as stated."""
    skipped = {"judgements"} if worded else {"judgements", "ratings", "true_under"}
    there, here = (judged.model_dump(mode="json", exclude=skipped) for judged in (published, again))
    for leaf in leaves(there, here):
        yield _differs(leaf.words("published", "judged again"), "verdicts.json")


def _verdict(
    one: Judgement | None, other: Judgement | None, ratings: Sequence[str], *, worded: bool
) -> VerdictCompared:
    there = one or other
    if there is None:
        raise ValueError  # a pair has at least one side
    known: dict[str, Any] = {
        "rating": there.rating,
        "reading": there.reading.words,
        "words": ratings[there.rating] if there.rating < len(ratings) else "",
        "published": one.verdict if one else None,
        "again": other.verdict if other else None,
    }
    if one is None or other is None:
        return VerdictCompared(state="left out" if one is None else "added", **known)
    ranked = list(_ranked_fields(one, other, worded=worded))
    worst = max([rank for rank, _ in ranked], default=0)
    return VerdictCompared(state=_STATES[worst], fields=tuple(field for _, field in ranked), **known)


def _ranked_fields(one: Judgement, other: Judgement, *, worded: bool) -> Iterator[tuple[int, FieldCompared]]:
    for name in ("measured", "corrected"):
        state, fields = _quantity(name, getattr(one, name), getattr(other, name))
        yield from ((_STATES.index(state), field) for field in fields)
    there, here = (judgement.model_dump(mode="json", exclude={"measured", "corrected"}) for judgement in (one, other))
    for leaf in leaves(there, here, relative=0.0):
        said = not worded and isinstance(leaf.there, str) and leaf.place.partition(".")[0].partition("[")[0] in _WORDS
        close = said or near(leaf.there, leaf.here, relative=FITTED)
        yield 1 if close else 2, _field(leaf)


def _quantity(name: str, published: Quantity | None, again: Quantity | None) -> tuple[State, tuple[FieldCompared, ...]]:
    if published is None or again is None:
        if published is again:
            return "same", ()
        there, here = (one and one.value for one in (published, again))
        return "differs", (FieldCompared(field=name, published=there, again=here),)
    state, fields = compare_quantity(published, again)
    return state, tuple(field.model_copy(update={"field": f"{name} {field.field}"}) for field in fields)


def _field(leaf: Leaf) -> FieldCompared:
    return FieldCompared(field=leaf.place, published=leaf.there, again=leaf.here)
