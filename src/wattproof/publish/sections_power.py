"""Powers at the limits: as measured, on common terms, and the curves of distortion over power."""

from collections.abc import Iterator

from wattproof.judge import Comparison, NotCompared, Value
from wattproof.measure import Condition
from wattproof.publish.document import Block, Bullets, Paragraph, Words
from wattproof.publish.drawn import chart
from wattproof.publish.inputs import PublishedSession
from wattproof.publish.limits import LimitPower, limit_powers, typed_powers
from wattproof.publish.places import Places, load_text, supply_text
from wattproof.publish.tables import Cell, cell, table
from wattproof.publish.wording import POWER
from wattproof.quantity import interval_text
from wattproof.report import distortion_against_power, face_value, figure_name, limit_percent, signed_text

_HEADS = ("load", "output", "limit", "power", "supply", "capture")


def power_blocks(inputs: PublishedSession, places: Places) -> tuple[Block, ...]:
    """Give all powers at limits as they were measured, then on common terms, with what cannot be put there."""
    powers = [*limit_powers(inputs.results), *typed_powers(inputs.results)]
    if not powers:
        return (Paragraph(words=(POWER["none"],)),)
    several = len(inputs.amplifier.outputs) > 1
    rows = [_row(power, places, several=several) for power in powers]
    measured = table(POWER["measured"], _HEADS, rows, words=("output", "limit", "supply", "capture"))
    terms = [block for one in inputs.on_terms for block in _on_terms(one, inputs, places)]
    return (measured, *terms)


def _row(power: LimitPower, places: Places, *, several: bool) -> list[Cell]:
    output = power.figure.output or ""
    shown = f"{output} {POWER['of_power'].format(power.driven)}" if power.driven > 1 else output
    return [
        cell(load_text(power.figure)),
        cell(shown if several else ""),
        cell(_limit(power)),
        places.value(power.figure),
        cell(supply_text(power.result, power.figure) or POWER["no_supply"]),
        (places.file(power.result),),
    ]


def _limit(power: LimitPower) -> str:
    if power.clipping:
        return POWER["clip"]
    if power.result.kind != "readings":
        return f"{power.limit_percent:g} %"
    thd = power.result.figure("thd_n", power.figure.output)
    return POWER["no_limit"] if thd is None else POWER["typed_limit"].format(face_value(thd))


def _on_terms(one: Comparison, inputs: PublishedSession, places: Places) -> Iterator[Block]:
    """Give the table of what is on the terms, marked by how it came there, and the list of what is refused."""
    driven = _driven_text(one.terms.driven or 1)
    rows = [
        [cell(_load(row.conditions)), cell(_limit_of(row.name)), *_value(value, places)]
        for row in one.rows
        if limit_percent(row.name) is not None
        for value in row.values
        if value is not None
    ]
    why = POWER[f"terms_why_{inputs.terms_by}"]
    notes = [why]
    notes += [POWER["terms_mean"]] if (one.terms.driven or 1) > 1 else []
    notes += [POWER["bounded_note"]] if any(value and value.bounded for row in one.rows for value in row.values) else []
    caption = POWER["terms"].format(supply=f"{one.terms.supply_v or 0.0:g} V", driven=driven)
    if rows:
        yield table(caption, ("load", "limit", "power", "how", "origin"), rows, words=("limit", "how", "origin"),
                    notes=notes)  # fmt: skip
    refused = [other for other in one.not_compared if limit_percent(other.name) is not None]
    if refused:
        yield Bullets(items=tuple((text,) for text in _refusals(refused, driven)), title=POWER["refused"])


def _value(value: Value, places: Places) -> tuple[Cell, Cell, Cell]:
    by = "" if value.correction is None else f"{signed_text(100 * value.correction)} %"
    how = "as_measured" if value.basis == "measured" else "bounded" if value.bounded else "carried"
    return (cell(interval_text(value.quantity)), cell(POWER[how].format(by=by)), tuple(_origin(value, places)))


def _origin(value: Value, places: Places) -> Iterator[Words]:
    for number, where in enumerate(value.where.split(", ")):
        yield from ((", ",) if number else ())
        yield from (word for word in places.found(where) if word)


def _refusals(refused: list[NotCompared], driven: str) -> list[str]:
    """Say each reason once, with all that it holds for."""
    groups: dict[tuple[str, str], list[NotCompared]] = {}
    for one in refused:
        groups.setdefault((one.why, one.hint), []).append(one)
    return [
        POWER["refused_one"].format(
            what=", ".join(dict.fromkeys(figure_name(one.name) for one in group)),
            load=", ".join(dict.fromkeys(_load(one.conditions) for one in group)),
            driven=driven,
            why=why,
            hint=hint,
        )
        for (why, hint), group in groups.items()
    ]


def _driven_text(driven: int) -> str:
    return POWER["one_driven"] if driven == 1 else POWER["all_driven"].format(driven)


def _load(conditions: dict[str, Condition]) -> str:
    load = conditions.get("load_ohm")
    return f"{load:g} ohm" if isinstance(load, int | float) else ""


def _limit_of(name: str) -> str:
    return f"{limit_percent(name):g} %"


def distortion_blocks(inputs: PublishedSession, _places: Places) -> tuple[Block, ...]:
    """Give distortion over power of all ramps together; nothing where there is no ramp."""
    drawn = distortion_against_power(inputs.results)
    if drawn is None:
        return ()
    caption = str(drawn["description"])
    return chart("distortion", caption, lambda px: distortion_against_power(inputs.results, width_px=px))
