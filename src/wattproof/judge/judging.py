"""All ratings of an amplifier, judged against what was measured by a rule fixed beforehand."""

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType

from wattproof.amplifier import Amplifier, Rating
from wattproof.bench import Bench
from wattproof.fit import BehaviourModel
from wattproof.judge.distortion import judge_thd
from wattproof.judge.model import Judged, Judgement, Rule
from wattproof.judge.noise import judge_noise, judge_snr
from wattproof.judge.plain_ratings import (
    judge_efficiency,
    judge_gain,
    judge_idle_current,
    judge_output_resistance,
    judge_sensitivity,
    judge_typed,
)
from wattproof.judge.power import judge_power
from wattproof.judge.response import judge_filter, judge_frequency_limit
from wattproof.judge.unmeasured import judge_minimum_load, judge_unmeasured
from wattproof.judge.weighing import Case, true_text
from wattproof.measure import CaptureResult

_MOST_TRUE = 8
"""So many readings under which a number would be true are told, the least stretched first."""


def judge(
    amplifier: Amplifier,
    results: Sequence[CaptureResult],
    *,
    models: Sequence[BehaviourModel] = (),
    rule: Rule | None = None,
) -> Judged:
    """Judge every rating of an amplifier: meets, falls short, cannot tell.

    A rating that states its conditions has one reading; one that does not is judged under each plausible one. The
    figure measured under the nearest conditions is carried to the rated ones by the model of as many driven outputs;
    without one, or beyond its data, nobody can tell, and the judgement says why.

    Parameters
    ----------
    amplifier : Amplifier
    results : sequence of CaptureResult
        Measured captures and typed rows.
    models : sequence of BehaviourModel
        One for each number of outputs driven at once, as far as there are any.
    rule : Rule or None
        As it was fixed before the measurement; None takes a confidence of 0.95.

    Returns
    -------
    Judged
    """
    chosen = rule or Rule()
    judgements: list[Judgement] = []
    true_under: dict[int, tuple[str, ...]] = {}
    for number, rating in enumerate(amplifier.ratings):
        case = Case(number=number, rating=rating, amplifier=amplifier, results=results, models=models, rule=chosen)
        plausible = _judged(case)
        judgements += plausible
        # readings that stretch a rating cost time, and nobody asks for them where it holds as it stands
        if any(one.verdict != "meets" for one in plausible):
            every = [*plausible, *_stretched(case)]
            true = tuple(true_text(one) for one in every if one.verdict == "meets")
            if true or _never_true(every):
                true_under[number] = true[:_MOST_TRUE]
    return Judged(
        amplifier=f"{amplifier.maker} {amplifier.model}",
        rule=chosen,
        ratings=tuple(rating_words(rating) for rating in amplifier.ratings),
        judgements=tuple(judgements),
        true_under=true_under,
    )


def _never_true(every: Sequence[Judgement]) -> bool:
    """Say whether several readings were tried and the number falls short under all that could be judged."""
    weighed = [one for one in every if one.probability is not None]
    return len(weighed) > 1 and all(one.verdict == "falls short" for one in weighed)


_JUDGES: Mapping[str, Callable[[Case], list[Judgement]]] = MappingProxyType(
    {
        "power": lambda case: judge_power(case, stretched=False),
        "thd": judge_thd,
        "efficiency": judge_efficiency,
        "idle_current": judge_idle_current,
        "gain": judge_gain,
        "sensitivity": judge_sensitivity,
        "snr": judge_snr,
        "noise": judge_noise,
        "frequency_low": judge_frequency_limit,
        "frequency_high": judge_frequency_limit,
        "filter": judge_filter,
        "filter_slope": judge_filter,
        "damping_factor": judge_output_resistance,
        "output_resistance": judge_output_resistance,
        "minimum_load": judge_minimum_load,
        **dict.fromkeys(("mass", "length", "width", "height"), judge_typed),
    }
)
"""What judges a rating, by its quantity; any other is one that nothing measured answers."""


def _judged(case: Case) -> list[Judgement]:
    return _JUDGES.get(case.rating.quantity, judge_unmeasured)(case)


def _stretched(case: Case) -> list[Judgement]:
    return judge_power(case, stretched=True) if case.rating.quantity == "power" else []


def rule_of(bench: Bench) -> Rule:
    """Give the rule that a bench file fixes.

    Examples
    --------
    >>> rule_of(Bench())
    Rule(confidence=0.95)
    """
    return Rule(confidence=bench.rule.confidence)


def rating_words(rating: Rating) -> str:
    """Write a rating with the conditions stated beside it, in the maker's units: ``power 520 W, 2 ohm, 14.4 V``."""
    stated = [
        (rating.load_ohm, "{:g} ohm"),
        (rating.supply_v, "{:g} V"),
        (rating.thd_percent, "{:g} % distortion"),
        (rating.frequency_hz, "{:g} Hz"),
        (rating.channels_driven, "{:g} driven"),
        (rating.seconds, "{:g} s"),
    ]
    first = f"{rating.quantity.replace('_', ' ')} {rating.value:g}{'' if rating.unit == '1' else ' ' + rating.unit}"
    told = [first, *(text.format(value) for value, text in stated if value is not None)]
    return ", ".join([*told, *(["bridged"] if rating.bridged else []), *([rating.note] if rating.note else [])])
