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

_RANK: dict[State, int] = {"same": 0, "near": 1, "differs": 2}


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
    """Find what differs beside the figures: kinds, lengths, channels, curves and notices of the captures."""
    second = {capture.number: capture for capture in again.captures}
    for capture in published.captures:
        if capture.number in unchecked:
            continue
        other = second.get(capture.number)
        if other is None:
            yield _differs(f"capture {capture.number} is published, and the pack holds no such capture")
            continue
        found = list(leaves(_rest(capture), _rest(other), place=f"capture {capture.number}"))
        yield from (_differs(leaf.words("published", "measured again")) for leaf in found[:MOST_TOLD])
        if len(found) > MOST_TOLD:
            yield _differs(f"capture {capture.number}: {len(found) - MOST_TOLD} more differences of this kind")


def _rest(capture: MeasuredCapture) -> list[dict[str, Any]]:
    without = {"figures", "views"}
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


def compare_verdicts(published: Judged, again: Judged) -> tuple[VerdictCompared, ...]:
    """Lay the published verdicts beside those judged again, by the rating and the words of its reading."""
    first, second = _keyed(published), _keyed(again)
    compared = []
    for key in [*first, *(key for key in second if key not in first)]:
        one, other = first.get(key), second.get(key)
        words = (published if one else again).ratings
        known = {"rating": key[0], "reading": key[1], "words": words[key[0]] if key[0] < len(words) else ""}
        if one is None or other is None:
            state: State = "added" if one else "left out"
            compared.append(
                VerdictCompared(
                    state=state, published=one.verdict if one else None, again=other.verdict if other else None, **known
                )
            )
        else:
            compared.append(_verdict(one, other, known))
    return tuple(compared)


def compare_readings(published: Judged, again: Judged) -> Iterator[Finding]:
    """Find what differs in the words around the verdicts: whose they are, the rule, the ratings as stated."""
    there, here = (judged.model_dump(mode="json", exclude={"judgements"}) for judged in (published, again))
    for leaf in leaves(there, here):
        yield _differs(leaf.words("published", "judged again"), "verdicts.json")


def _keyed(judged: Judged) -> dict[tuple[int, str, int], Judgement]:
    """Give the judgements by rating and reading; what stands there twice is told apart by its count."""
    found: dict[tuple[int, str, int], Judgement] = {}
    for judgement in judged.judgements:
        count = 0
        while (judgement.rating, judgement.reading.words, count) in found:
            count += 1
        found[judgement.rating, judgement.reading.words, count] = judgement
    return found


def _verdict(one: Judgement, other: Judgement, known: dict[str, Any]) -> VerdictCompared:
    fields: list[FieldCompared] = []
    worst: State = "same"
    for name in ("measured", "corrected"):
        state, more = _quantity(name, getattr(one, name), getattr(other, name))
        fields += more
        worst = max(worst, state, key=_RANK.__getitem__)
    skipped = {"measured", "corrected"}
    there, here = (judgement.model_dump(mode="json", exclude=skipped) for judgement in (one, other))
    for leaf in leaves(there, here, relative=0.0):
        close = near(leaf.there, leaf.here, relative=FITTED)
        worst = max(worst, "near" if close else "differs", key=_RANK.__getitem__)
        fields.append(_field(leaf))
    return VerdictCompared(published=one.verdict, again=other.verdict, state=worst, fields=tuple(fields), **known)


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
