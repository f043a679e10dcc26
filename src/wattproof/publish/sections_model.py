"""What the model says of loads and supply voltages that were not measured, with its interval, range and refusals."""

from collections.abc import Iterator, Sequence

from wattproof.fit import BehaviourModel, Estimate, Parameter
from wattproof.publish.document import Block, Bullets, Paragraph, Table
from wattproof.publish.drawn import chart
from wattproof.publish.inputs import Foreseen, PublishedSession
from wattproof.publish.limits import LimitPower, limit_powers, weakest
from wattproof.publish.places import Places, supply_of
from wattproof.publish.saying import counted, listed, number_word
from wattproof.publish.tables import Cell, cell, table
from wattproof.publish.wording import HEADS, MODEL, PARAMETERS, POWER
from wattproof.quantity import value_text
from wattproof.report import predicted_power

_K95 = 1.959964
_MOST_TOLD = 3


def model_blocks(inputs: PublishedSession, _places: Places) -> tuple[Block, ...]:
    """Give what was fitted, a table and a chart of predictions, and what the captures cannot say."""
    if not inputs.models:
        return (Paragraph(words=(MODEL["none"],)),)
    model = inputs.models[0]
    blocks: list[Block] = [Paragraph(words=(_what(model),))]
    blocks += _powers(inputs)
    blocks += _drawn(inputs)
    blocks += _chart(inputs)
    blocks.append(_parameters(model))
    told = [f"{_named(one.message)} {one.hint}" for one in model.complaints]
    if told:
        blocks.append(Bullets(items=tuple((text,) for text in told), title=MODEL["complaints"]))
    if model.left_out:
        worst = max(abs(one.error) for one in model.left_out)
        blocks.append(Paragraph(words=(MODEL["checked"].format(f"{100 * worst:.2g} %"),)))
    return tuple(blocks)


def _named(complaint: str) -> str:
    """Call a parameter that is complained of as the table calls it."""
    name, colon, rest = complaint.partition(":")
    return f"{PARAMETERS[name].partition(' (')[0]}{colon}{rest}" if name in PARAMETERS else complaint


def _what(model: BehaviourModel) -> str:
    driven = POWER["one_driven"] if model.driven == 1 else POWER["all_driven"].format(model.driven)
    return MODEL["what"].format(
        points=counted(MODEL["points"], model.points),
        loads=_span(model.load_ohm, "{:.3g} ohm"),
        volts=_span(model.supply_v, "{:.2f} V"),
        driven=driven,
    )


def _span(ends: tuple[float, float], written: str) -> str:
    low, high = (written.format(end) for end in ends)
    return low if low == high else MODEL["span"].format(low=low.partition(" ")[0], high=high)


def _powers(inputs: PublishedSession) -> Iterator[Table]:
    """Give loads down, supply voltages across; what is refused carries the number of its reason."""
    if not any(one.prediction for one in inputs.foreseen):
        return
    loads = list(dict.fromkeys(one.load_ohm for one in inputs.foreseen))
    volts = list(dict.fromkeys(one.supply_v for one in inputs.foreseen))
    reasons = list(dict.fromkeys(one.why for one in inputs.foreseen if one.prediction is None))
    known = {(one.load_ohm, one.supply_v): one for one in inputs.foreseen}
    rows = [[cell(f"{load:g} ohm"), *(_power(known[load, volt], reasons) for volt in volts)] for load in loads]
    heads = [HEADS["load"], *(HEADS["at_v"].format(f"{volt:g} V") for volt in volts)]
    notes = [MODEL["refusal"].format(number=n, why=why) for n, why in enumerate(reasons, start=1)]
    yield table(MODEL["table"].format(limit=_limit(inputs)), heads, rows, notes=notes, say=False)


def _limit(inputs: PublishedSession) -> str:
    told = next(one.prediction for one in inputs.foreseen if one.prediction)
    return f"{100 * told.asked.thd_n:g} %"


def _power(one: Foreseen, reasons: Sequence[str]) -> Cell:
    if one.prediction is None:
        return cell(MODEL["refused"].format(reasons.index(one.why) + 1))
    return cell(_estimate(one.prediction.power))


def _estimate(estimate: Estimate, *, scale: float = 1.0) -> str:
    half = scale * max(estimate.high - estimate.low, 1e-9 * abs(estimate.value)) / 2
    value, low, high = (value_text(scale * x, uncertainty=half) for x in (estimate.value, estimate.low, estimate.high))
    return MODEL["cell"].format(value=value, low=low, high=high)


def _drawn(inputs: PublishedSession) -> Iterator[Table]:
    """Give what is drawn for those powers, at the supply voltage of the chart."""
    if not inputs.curve:
        return
    supply_v = inputs.curve[0].asked.supply_v
    told = [one.prediction for one in inputs.foreseen if one.prediction and one.supply_v == supply_v]
    told = [one for one in told if one.supply_current is not None]
    if not told:
        return
    rows = [
        [
            cell(f"{one.asked.load_ohm:g} ohm"),
            cell(_with_unit(one.power, "W")),
            cell(_with_unit(one.supply_current, "A")),
            cell(_with_unit(one.efficiency, "%", scale=100.0)),
            cell(_with_unit(one.heat, "W")),
        ]
        for one in told
    ]
    driven = inputs.models[0].driven
    notes = [MODEL["each"].format(number_word(driven))] if driven > 1 else []
    heads = ("load", "power", "current", "efficiency", "heat")
    yield table(MODEL["drawn"].format(supply=f"{supply_v:g} V"), heads, rows, notes=notes)


def _with_unit(estimate: Estimate | None, unit: str, *, scale: float = 1.0) -> str:
    return "" if estimate is None else f"{_estimate(estimate, scale=scale)} {unit}"


def _chart(inputs: PublishedSession) -> tuple[Block, ...]:
    if not inputs.curve:
        return ()
    asked = inputs.curve[0].asked
    driven = inputs.models[0].driven
    fitting = [
        power
        for power in limit_powers(inputs.results)
        if power.driven == driven and power.limit_percent is not None and _same(power, asked.thd_n)
    ]
    volts = [volt for power in fitting if (volt := supply_of(power.result, power.figure)) is not None]
    at = MODEL["marks_at"].format(_span((min(volts), max(volts)), "{:.2f} V")) if volts else ""
    caption = MODEL["chart"].format(
        supply=f"{asked.supply_v:g} V",
        limit=f"{100 * asked.thd_n:g} %",
        told=listed(_told(inputs, asked.supply_v)),
        marks=MODEL["marks"].format(at=at) if fitting else "",
    )
    marks = [weakest([power]).figure for power in fitting]
    return chart("model", caption.strip(), lambda px: predicted_power(inputs.curve, marks, told=caption, width_px=px))


def _same(power: LimitPower, thd_n: float) -> bool:
    return power.limit_percent is not None and abs(power.limit_percent / (100 * thd_n) - 1) < 1e-6


def _told(inputs: PublishedSession, supply_v: float) -> list[str]:
    said = [
        MODEL["chart_at"].format(value=f"{_estimate(one.prediction.power)} W", load=f"{one.load_ohm:g} ohm")
        for one in inputs.foreseen
        if one.prediction and one.supply_v == supply_v
    ]
    return said[:_MOST_TOLD]


def _parameters(model: BehaviourModel) -> Table:
    rows = [[cell(_meaning(one, model)), cell(_value(one))] for one in model.parameters if one.name in PARAMETERS]
    return table(MODEL["fit"], ("parameter", "value"), rows)


def _meaning(parameter: Parameter, model: BehaviourModel) -> str:
    return PARAMETERS[parameter.name].format(f"{model.reference_v:.4g} V")


def _value(parameter: Parameter) -> str:
    unit = "" if parameter.unit == "1" else f" {parameter.unit}"
    if parameter.value is None:
        return MODEL["not_seen"]
    if parameter.fixed_by == "prior" and parameter.low is not None and parameter.high is not None:
        return MODEL["not_fixed"].format(low=f"{parameter.low:.3g}", high=f"{parameter.high:.3g}{unit}")
    half = _K95 * (parameter.u or 0.0)
    if half <= 0:
        return f"{parameter.value:.4g}{unit}"
    return f"{value_text(parameter.value, uncertainty=half)} ± {value_text(half, uncertainty=half)}{unit}"
