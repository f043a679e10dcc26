"""What was tested and what was found, in a few sentences computed from the results."""

from collections.abc import Iterator

from wattproof.measure import CaptureResult, Figure
from wattproof.publish.document import Paragraph, Words
from wattproof.publish.inputs import PublishedSession
from wattproof.publish.limits import LimitPower, by_load, leading_limit, limit_powers, typed_powers, weakest
from wattproof.publish.places import Places, load_text, number, supply_text, time_text
from wattproof.publish.rated import (
    Weighed,
    claim_text,
    margin_text,
    probability_text,
    quantity_text,
    weighed,
    weighed_figure,
)
from wattproof.publish.saying import counted, listed, number_word
from wattproof.publish.wording import LEAD, QUANTITIES
from wattproof.report import face_value

_MOST_LOADS = 4
_MOST_RATED = 3
_OUTCOMES = ("meets", "falls short", "depends", "cannot tell")


def lead(inputs: PublishedSession, places: Places) -> tuple[Paragraph, ...]:
    """Give the opening: the thing and the day, its power, its ratings and the rule; three to six sentences."""
    first = [(_what(inputs),), _powers(inputs, places)]
    held = _hold(inputs, places)
    if held:
        first.append(held)
    second = list(_ratings(inputs))
    return tuple(Paragraph(words=_sentences(part)) for part in (first, second))


def _sentences(parts: list[tuple[Words, ...]]) -> tuple[Words, ...]:
    words: list[Words] = []
    for part in parts:
        words += [*([" "] if words else []), *part]
    return tuple(words)


def _what(inputs: PublishedSession) -> str:
    amplifier, bench = inputs.amplifier, inputs.bench
    kind = LEAD["kind"].format(amplifier.class_) if amplifier.class_ else LEAD["plain_kind"]
    return LEAD["what"].format(
        name=f"{amplifier.maker} {amplifier.model}",
        kind=kind,
        outputs=counted(LEAD["outputs"], len(amplifier.outputs)),
        day=inputs.day,
        bench=LEAD["bench"].format(bench.name) if bench.name else LEAD["no_bench"],
        captures=_captures(inputs.results),
    )


def _captures(results: tuple[CaptureResult, ...]) -> str:
    typed = sum(result.kind == "readings" for result in results)
    recorded = len(results) - typed
    said = [counted(LEAD["captures"], recorded)] if recorded else []
    said += [counted(LEAD["readings"], typed)] if typed else []
    return listed(said) or LEAD["nothing"]


def _powers(inputs: PublishedSession, places: Places) -> tuple[Words, ...]:
    powers = limit_powers(inputs.results)
    limit = leading_limit(powers)
    if limit is None:
        return _typed(inputs, places)
    told = [power for power in powers if power.limit_percent == limit]
    chosen = [weakest(group) for group in by_load(told)][:_MOST_LOADS]
    one = all(power.driven == 1 for power in chosen) and len(inputs.amplifier.outputs) > 1
    before, after = LEAD["powers"].split("{powers}")
    return (
        before.format(limit=f"{limit:g} %"),
        *_joined([_power(power, places) for power in chosen]),
        after.format(driven=LEAD["one_driven"] if one else ""),
    )


def _power(power: LimitPower, places: Places) -> tuple[Words, ...]:
    text = LEAD["power"].format(value="", load=_load(power.figure), supply=_at(power.result, power.figure))
    many = LEAD["weakest"].format(number_word(power.driven)) if power.driven > 1 else ""
    return (*places.value(power.figure), f"{text}{many}")


def _load(figure: Figure) -> str:
    return load_text(figure) or LEAD["unknown_load"]


def _typed(inputs: PublishedSession, places: Places) -> tuple[Words, ...]:
    powers = typed_powers(inputs.results)
    if not powers:
        return (LEAD["no_power"],)
    chosen = [max(group, key=lambda one: one.figure.value) for group in by_load(powers)][:_MOST_LOADS]
    before, after = LEAD["typed"].split("{powers}")
    return (before, *_joined([_typed_power(power, places) for power in chosen]), after)


def _typed_power(power: LimitPower, places: Places) -> tuple[Words, ...]:
    thd = power.result.figure("thd_n", power.figure.output)
    limit = LEAD["no_typed_limit"] if thd is None else LEAD["typed_limit"].format(face_value(thd))
    text = LEAD["typed_power"].format(
        value="", load=_load(power.figure), supply=_at(power.result, power.figure), limit=limit
    )
    return (*places.value(power.figure), text)


def _at(result: CaptureResult, figure: Figure) -> str:
    supply = supply_text(result, figure)
    return LEAD["at"].format(supply) if supply else ""


def _joined(items: list[tuple[Words, ...]]) -> Iterator[Words]:
    """Join parts that hold links as a sentence joins words."""
    signs = listed(["\0"] * len(items)).split("\0")
    for sign, item in zip(signs[:-1], items, strict=True):
        yield from ((sign,) if sign else ())
        yield from item


def _hold(inputs: PublishedSession, places: Places) -> tuple[Words, ...]:
    """Tell the longest hold; of equals the one that kept least, so that nothing is told in the maker's favour."""
    spans = [span for result in inputs.results if result.kind == "hold" for span in sustained_spans(result)]
    spans = [(first, last) for first, last in spans if last is not first]
    if not spans:
        return ()
    first, last = max(spans, key=lambda span: (number(span[1], "at_s") or 0.0, -span[1].value / span[0].value))
    told = LEAD["hold"].format(
        time=time_text(number(last, "at_s") or 0.0),
        load=_load(last),
        what=LEAD["hold_output"].format(last.output) if len(inputs.amplifier.outputs) > 1 else LEAD["hold_one"],
        last="\0",
        share=f"{100 * last.value / first.value:.3g} %",
        first=time_text(number(first, "at_s") or 0.0),
    )
    before, after = told.split("\0")
    return (before, *places.value(last), after)


def sustained_spans(result: CaptureResult) -> list[tuple[Figure, Figure]]:
    """Give the first and the last sustained power of each output of a hold: the same, where it has but one."""
    spans = []
    for output in dict.fromkeys(figure.output for figure in result.figures):
        own = [f for f in result.figures if (f.name, f.output) == ("sustained_power", output)]
        own.sort(key=lambda figure: number(figure, "at_s") or 0.0)
        if own and own[0].value > 0:
            spans.append((own[0], own[-1]))
    return spans


def _ratings(inputs: PublishedSession) -> Iterator[tuple[Words, ...]]:
    if inputs.judged is None or not inputs.judged.ratings:
        yield (LEAD["no_ratings"] if not inputs.amplifier.ratings else LEAD["not_judged"],)
        yield (LEAD["interval"],)
        return
    found = weighed(inputs.judged)
    yield (_count(found),)
    told = "; ".join(_rated(one, inputs) for one in _told_first(found))
    yield (f"{told[:1].upper()}{told[1:]}.",)
    yield (LEAD["rule"].format(confidence=f"{100 * inputs.judged.rule.confidence:g} %"),)


def _told_first(found: list[Weighed]) -> list[Weighed]:
    """Choose the ratings that are named: power, which is what is asked for, then what the amplifier falls short of."""
    powers = [one for one in found if one.judgements[0].quantity == "power"]
    failed = [one for one in found if one.outcome == "falls short" and one not in powers]
    return (powers + failed or found)[:_MOST_RATED]


def _count(found: list[Weighed]) -> str:
    if len(found) == 1:
        return LEAD["count_one"].format(LEAD[f"one_{found[0].outcome}"])
    counts = {outcome: sum(one.outcome == outcome for one in found) for outcome in _OUTCOMES}
    said = [counted(LEAD[outcome], count) for outcome, count in counts.items() if count]
    ratings = counted(LEAD["ratings"], len(found))
    if len(said) == 1:
        return LEAD[f"all_{found[0].outcome}"].format(ratings)
    return LEAD["count"].format(ratings, listed(said))


def _rated(one: Weighed, inputs: PublishedSession) -> str:
    rating = inputs.amplifier.ratings[one.number]
    several = rating.channels_driven if len(inputs.amplifier.outputs) > 1 else None
    quantity = one.judgements[0].quantity
    name = QUANTITIES.get(quantity, quantity.replace("_", " "))
    return LEAD["rated" if quantity == "power" else "rated_other"].format(
        quantity=f"{name[:1].lower()}{name[1:]}",
        claim=claim_text(rating),
        load=LEAD["into"].format(f"{rating.load_ohm:g} ohm") if rating.load_ohm else "",
        driven=LEAD["rated_driven"].format(number_word(several)) if several else "",
        seconds=LEAD["rated_seconds"].format(time_text(rating.seconds)) if rating.seconds else "",
        finding=_finding(one),
    )


def _finding(one: Weighed) -> str:
    best = one.best
    figure = weighed_figure(best)
    if one.outcome == "depends":
        return LEAD["found_depends"]
    if figure is None or best.margin is None:
        return LEAD["found_none"].format(why=best.why)
    key = f"found_{best.verdict}"
    if one.outcome == "falls short" and len(one.judgements) > 1:
        key = "found_every"
    elif f"{key}_{best.bound}" in LEAD:
        key = f"{key}_{best.bound}"
    return LEAD[key].format(
        value=quantity_text(figure, best),
        away=margin_text(best),
        probability=probability_text(best.probability or 0.0),
    )
