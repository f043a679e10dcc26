"""Cards of power: at a limit beside the claims, over time, and into other loads."""

from collections.abc import Iterable, Sequence

from wattproof.fit import Estimate, Prediction
from wattproof.judge import Judgement
from wattproof.measure import CaptureResult, Figure
from wattproof.publish.card import CardRow, Claim, Dot, Line, RowsCard
from wattproof.publish.inputs import PublishedSession
from wattproof.publish.picture_subject import other_loads, outputs_of
from wattproof.publish.picture_words import SAY
from wattproof.quantity import Quantity, value_text
from wattproof.report import face_value, linear_axis

LIMIT = 0.01
"""The limit of distortion that power cards are about, V/V."""
_NEAR = 0.1
_TICKS = 5
_TIMES_S = (1.0, 10.0, 30.0, 60.0)
"""Times of a hold that are told, beside the last one."""


def power_card(inputs: PublishedSession) -> RowsCard | None:
    """Give the power at 1 % distortion into each load, beside the claims; None where no ramp reached it."""
    ramps = [result for result in inputs.results if result.kind == "ramp"]
    found = [(result, f) for result in ramps for f in result.figures if f.name == "power_at_thd_1" and f.value > 0]
    if not found:
        return None
    judgements = _stated(inputs.judged.judgements if inputs.judged else ())
    claims = [_claim_on(figure, result, judgements) for result, figure in found]
    carried = [next((j for j in judgements if _is_of(j, figure)), None) for _, figure in found]
    values = [f.interval95[1] for _, f in found] + [claim.value for claim in claims if claim]
    line, ticks = _shared([*values, *(j.corrected.interval95[1] for j in carried if j and j.corrected)])
    rows = tuple(
        _power_row(result, figure, claim, judgement, line)
        for (result, figure), claim, judgement in zip(found, claims, carried, strict=True)
    )
    legend = ["claim"] if any(claims) else []
    legend += ["measured", *(["carried"] if any(len(row.dots) > 1 for row in rows) else [])]
    return RowsCard(rows=rows, legend=tuple(legend), ticks=ticks, axis=SAY["power_axis"])  # type: ignore[arg-type]


def _stated(judgements: Iterable[Judgement]) -> list[Judgement]:
    """Keep the judgements of powers whose claim states its conditions, for a sine at the limit."""
    return [
        j
        for j in judgements
        if j.quantity == "power" and j.reading.thd_n == LIMIT and j.reading.factor == 1
        and not (j.reading.stretched or j.reading.added or j.reading.assumed or j.reading.seconds)
    ]  # fmt: skip


def _claim_on(figure: Figure, result: CaptureResult, judgements: Sequence[Judgement]) -> Claim | None:
    """Find the claim about such a load with so many outputs driven."""
    load_ohm, driven = figure.conditions.get("load_ohm"), len(outputs_of(result))
    for judgement in judgements:
        wanted = judgement.reading.load_ohm
        near = isinstance(load_ohm, int | float) and wanted and abs(load_ohm / wanted - 1) < _NEAR
        if near and judgement.reading.driven in {None, driven}:
            text = SAY["claimed"].format(f"{judgement.claimed:.6g} {judgement.unit}")
            return Claim(value=judgement.claimed, at_least=True, text=text)
    return None


def _is_of(judgement: Judgement, figure: Figure) -> bool:
    return judgement.measured is not None and judgement.measured.value == figure.value


def _power_row(
    result: CaptureResult, figure: Figure, claim: Claim | None, judgement: Judgement | None, line: Line
) -> CardRow:
    dots, told = [_dot(figure)], []
    corrected = judgement.corrected if judgement else None
    if judgement and corrected and judgement.correction and judgement.reading.supply_v:
        dots.append(_dot(corrected, sort="carried"))
        told.append(SAY["carried_to"].format(said_as(corrected, "load_power"), judgement.reading.supply_v))
    return CardRow(
        head=SAY["number"].format(place_of(figure, result), face_value(figure)),
        told=(", ".join([*told, claim.text]),) if claim and judgement else (),
        verdict=judgement.verdict if judgement else None,
        dots=tuple(dots),
        claim=claim,
        line=line,
    )


def place_of(figure: Figure, result: CaptureResult) -> str:
    """Name the load, and the output where there are several."""
    load_ohm = figure.conditions.get("load_ohm")
    said = f"{load_ohm:.3g}" if isinstance(load_ohm, int | float) else "?"
    many = len(outputs_of(result)) > 1
    return SAY["place_output"].format(figure.output, said) if many else SAY["place"].format(said)


def said_as(quantity: Quantity, name: str) -> str:
    """Write a quantity as the trade writes a figure of that name."""
    kept = quantity.model_dump(include=set(Quantity.model_fields))
    return face_value(Figure(**kept, name=name, origin=""))


def _dot(quantity: Quantity, *, sort: str = "measured") -> Dot:
    low, high = quantity.interval95
    return Dot(value=quantity.value, low=low, high=high, sort=sort)  # type: ignore[arg-type]


def _shared(values: Iterable[float]) -> tuple[Line, tuple[float, ...]]:
    """Give the line that all rows share, from zero, and its ticks."""
    axis = linear_axis("", [0.0, *values], ticks=_TICKS)
    return Line(low=axis.low, high=axis.high), axis.ticks


def how_long_card(inputs: PublishedSession) -> RowsCard | None:
    """Give burst powers and powers sustained, in the order of time for each load; None where nothing was held."""
    found = [
        (result, figure)
        for result in inputs.results
        for figure in _lasting(result)
    ]  # fmt: skip
    if not any(result.kind == "hold" for result, _ in found):
        return None
    line, ticks = _shared(figure.interval95[1] for _, figure in found)
    rows = tuple(
        CardRow(head=_lasting_said(result, figure), dots=(_dot(figure),), line=line) for result, figure in found
    )
    return RowsCard(rows=rows, legend=("measured",), ticks=ticks, axis=SAY["power_axis"])


def _lasting(result: CaptureResult) -> list[Figure]:
    if result.kind == "burst":
        return [figure for figure in result.figures if figure.name == "burst_power"]
    held = [(f, at_s) for f in result.figures if f.name == "sustained_power" and (at_s := _time(f)) is not None]
    last_s = max((at_s for _, at_s in held), default=0.0)
    told = [(f, at_s) for f, at_s in held if at_s in _TIMES_S or at_s == last_s]
    return [figure for figure, _ in sorted(told, key=lambda pair: (str(pair[0].output), pair[1]))]


def _time(figure: Figure) -> float | None:
    at_s = figure.conditions.get("at_s")
    return float(at_s) if isinstance(at_s, int | float) else None


def _lasting_said(result: CaptureResult, figure: Figure) -> str:
    place, said = place_of(figure, result), face_value(figure)
    if result.kind == "hold":
        return SAY["held"].format(place, _time(figure), said)
    duration = result.figure("burst_duration", figure.output)
    return SAY["burst"].format(place, duration.value, said) if duration else SAY["number"].format(place, said)


def other_loads_card(inputs: PublishedSession) -> RowsCard | None:
    """Give the power the model predicts into the usual loads; None where it knows fewer than two."""
    predictions = other_loads(inputs)
    if len(predictions) < 2:
        return None
    line, ticks = _shared(prediction.power.high for prediction in predictions)
    rows = tuple(
        CardRow(
            head=SAY["other"].format(prediction.asked.load_ohm, _estimate_said(prediction.power)),
            dots=(_estimate_dot(prediction),),
            line=line,
        )
        for prediction in predictions
    )
    return RowsCard(rows=rows, legend=("predicted",), ticks=ticks, axis=SAY["power_axis"])


def _estimate_dot(prediction: Prediction) -> Dot:
    power = prediction.power
    return Dot(value=power.value, low=power.low, high=power.high, sort="predicted")


def _estimate_said(estimate: Estimate) -> str:
    """Write a prediction with its ends, which need not lie alike about it."""
    half = (estimate.high - estimate.low) / 2
    value, low, high = (value_text(v, uncertainty=half) for v in (estimate.value, estimate.low, estimate.high))
    return f"{value} {estimate.unit} ({low} to {high})"
