"""A figure at the rated conditions against the rating: probability, verdict, margin, and what would settle it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from wattproof.amplifier import Amplifier, Rating
from wattproof.fit import BehaviourModel
from wattproof.judge.conformity import ABOUT, Sense, chance_text, probability_conforms, verdict_of
from wattproof.judge.model import Judgement, Reading, Rule, Settling, Verdict
from wattproof.judge.powers import Bound
from wattproof.judge.saying import said_value
from wattproof.judge.settling import by_budget
from wattproof.measure import CaptureResult
from wattproof.quantity import Quantity


@dataclass(frozen=True, kw_only=True)
class Case:
    """One rating of an amplifier with all that it may be weighed against.

    Attributes
    ----------
    number : int
        Of the rating in the amplifier file, from 0.
    models : sequence of BehaviourModel
        One for each number of outputs driven at once, as far as there are any.
    rule : Rule
        Fixed before the measurement.
    """

    number: int
    rating: Rating
    amplifier: Amplifier
    results: Sequence[CaptureResult]
    models: Sequence[BehaviourModel]
    rule: Rule

    def claim(self, claimed: float, unit: str, sense: Sense) -> "Claim":
        """Give the rating as a number to weigh."""
        return Claim(rating=self.number, quantity=self.rating.quantity, claimed=claimed, unit=unit, sense=sense)


@dataclass(frozen=True, kw_only=True)
class Claim:
    """What is claimed, as a number to weigh: which rating, in which unit, and in which direction it binds."""

    rating: int
    quantity: str
    claimed: float
    unit: str
    sense: Sense


@dataclass(frozen=True, kw_only=True)
class Found:
    """What was found for one reading; without `corrected` nothing can be weighed, and `why` says why."""

    reading: Reading
    measured: Quantity | None = None
    name: str = ""
    where: str = ""
    corrected: Quantity | None = None
    correction: float | None = None
    share: float | None = None
    bound: Bound = ""
    why: str = ""
    settling: tuple[Settling, ...] = ()


Steps = Callable[[Claim, Rule], list[Settling]]


def weigh(claim: Claim, found: Found, rule: Rule, *, steps: Steps | None = None) -> Judgement:
    """Judge one reading of a rating.

    Parameters
    ----------
    claim : Claim
    found : Found
    rule : Rule
        Fixed before the measurement.
    steps : callable or None
        Gives the steps to repeat, where the verdict is "cannot tell".
    """
    if found.corrected is None:
        return _judgement(claim, found, "cannot tell", found.why, found.settling, None)
    probability = probability_conforms(found.corrected, claim.claimed, claim.sense)
    verdict = _bounded(verdict_of(probability, rule), found.bound, claim.sense)
    settling = found.settling if verdict == "cannot tell" else ()
    if verdict == "cannot tell" and not found.bound:
        more = steps(claim, rule) if steps is not None else []
        budget = by_budget(found.corrected, claim.claimed, claim.sense, rule)
        # where a step takes most of the doubt away, that the budget as it stands cannot is no answer
        settling = (*(one for one in budget if not (more and one.kind == "nothing")), *more, *settling)
    why = _why(verdict, probability, found, rule, sense=claim.sense)
    return _judgement(claim, found, verdict, why, settling, probability)


def _bounded(verdict: Verdict, bound: Bound, sense: Sense) -> Verdict:
    """Let a power that is at least so large prove a rating and never refute it; and the reverse."""
    if not bound:
        return verdict
    proves: Verdict = "meets" if (bound == "at least") == (sense == "at least") else "falls short"
    return verdict if verdict == proves else "cannot tell"


def _why(verdict: Verdict, probability: float, found: Found, rule: Rule, *, sense: Sense) -> str:
    needed = f"{100 * rule.confidence:g} %"
    chance = chance_text(probability)
    extra = [found.why] if found.why else []
    word = f"it lies within {100 * ABOUT:g} % of the rating" if sense == "about" else "it conforms"
    word = "this figure lies on the rating's good side" if found.bound else word
    told = f"the probability that {word} is {chance}"
    if verdict == "cannot tell" and found.bound:
        told += ", and a figure that only bounds cannot show the other side"
    elif verdict == "cannot tell":
        told += f", between {100 * (1 - rule.confidence):.3g} % and {needed}"
    return "; ".join([told, *extra])


def _judgement(
    claim: Claim, found: Found, verdict: Verdict, why: str, settling: tuple[Settling, ...], probability: float | None
) -> Judgement:
    corrected = found.corrected
    return Judgement(
        rating=claim.rating,
        quantity=claim.quantity,
        claimed=claim.claimed,
        unit=claim.unit,
        sense=claim.sense,
        reading=found.reading,
        measured=found.measured,
        measured_name=found.name,
        measured_where=found.where,
        bound=found.bound,
        corrected=corrected,
        correction=found.correction,
        correction_share=found.share,
        probability=probability,
        margin=None if corrected is None or claim.claimed == 0 else corrected.value / claim.claimed - 1,
        verdict=verdict,
        why=why,
        settling=settling,
    )


def true_text(judgement: Judgement) -> str:
    """Say under which reading a number is true, with what it is there."""
    figure = judgement.corrected
    if figure is None:
        return judgement.reading.words
    return f"{judgement.reading.words}: {said_value(figure.value, figure, doubt=figure.k95 * figure.u)}"
