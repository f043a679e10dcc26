"""The card of strips: what the supply gave at idle, at about half power and at the limit, and what it became."""

from collections.abc import Sequence

from wattproof.measure import CaptureResult, CurvePoint, Figure
from wattproof.publish.card import CardPart, CardStrip, StripsCard
from wattproof.publish.card_power import LIMIT, place_of
from wattproof.publish.inputs import PublishedSession
from wattproof.publish.picture_subject import listed, loads_stated
from wattproof.publish.picture_words import SAY
from wattproof.quantity import value_text
from wattproof.report import face_value, linear_axis

_TICKS = 5


def strips_card(inputs: PublishedSession) -> StripsCard | None:
    """Give a strip for idle and two for each ramp with a supply channel; None where no ramp has one."""
    strips = [strip for result in inputs.results if result.kind == "idle" and (strip := _idle(result))][:1]
    loaded = [strip for result in inputs.results if result.kind == "ramp" for strip in _loaded(result)]
    if not loaded:
        return None
    axis = linear_axis("", [0.0, *(strip.watts for strip in loaded)], ticks=_TICKS)
    return StripsCard(strips=(*strips, *loaded), ticks=axis.ticks, axis=SAY["strip_axis"])


def _idle(result: CaptureResult) -> CardStrip | None:
    """Give the strip of an idle capture, unless it cannot be told from nothing, as that of a recorder alone."""
    power = result.figure("supply_power", None)
    if power is None or power.interval95[0] <= 0:
        return None
    heat = CardPart(watts=power.value, heat=True, text=SAY["strip_idle_heat"])
    return CardStrip(head=SAY["strip_idle"].format(face_value(power)), parts=(heat,))


def _loaded(result: CaptureResult) -> list[CardStrip]:
    """Give the strips of a ramp at about half the power of the limit, and at the limit."""
    loads = [figure for figure in result.figures if figure.name == "power_at_thd_1"]
    supply, heat, efficiency = (_at_limit(result, name) for name in ("supply_power", "heat", "efficiency"))
    if not loads or supply is None or heat is None or efficiency is None:
        return []
    place = place_of(loads[0], result)
    if len(loads) > 1:
        place = SAY["outputs"].format(len(loads), listed(loads_stated(loads)))
    full = CardStrip(
        head=SAY["strip_full"].format(100 * LIMIT, place, face_value(supply)),
        parts=(*_load_parts(loads, efficiency), _heat_part(heat, supply)),
    )
    half = _half(result, sum(load.value for load in loads), place)
    return [half, full] if half else [full]


def _at_limit(result: CaptureResult, name: str) -> Figure | None:
    """Give a figure of the whole amplifier at the limit."""
    named = (f for f in result.figures if f.name == name and f.output is None)
    return next((f for f in named if f.conditions.get("thd_n") == LIMIT and f.value > 0), None)


def _load_parts(loads: Sequence[Figure], efficiency: Figure) -> list[CardPart]:
    percent = 100 * efficiency.value
    if len(loads) == 1:
        text = SAY["strip_load_full"].format(face_value(loads[0]), percent)
        return [CardPart(watts=loads[0].value, heat=False, text=text)]
    each = ", ".join(
        SAY["strip_each"].format(load.output, value_text(load.value, uncertainty=load.k95 * load.u)) for load in loads
    )
    first, *others = loads
    text = SAY["strip_loads"].format(each, percent)
    return [CardPart(watts=first.value, heat=False, text=text), *(CardPart(watts=o.value, heat=False) for o in others)]


def _heat_part(heat: Figure, supply: Figure) -> CardPart:
    text = SAY["strip_heat_full"].format(face_value(heat), 100 * heat.value / supply.value)
    return CardPart(watts=heat.value, heat=True, text=text)


def _half(result: CaptureResult, power_w: float, place: str) -> CardStrip | None:
    """Take the frame of a ramp whose power is nearest to half, for all its outputs."""
    frames: dict[float, list[CurvePoint]] = {}
    for point in result.curve:
        if point.load_power is not None and point.supply_power is not None and point.efficiency is not None:
            frames.setdefault(point.t_s, []).append(point)
    if not frames:
        return None
    points = min(frames.values(), key=lambda frame: abs(sum(p.load_power or 0.0 for p in frame) - power_w / 2))
    supply_w, share = points[0].supply_power or 0.0, points[0].efficiency or 0.0
    load_w = share * supply_w
    parts = [CardPart(watts=load_w, heat=False, text=SAY["strip_load"].format(load_w, 100 * share))]
    parts.append(
        CardPart(
            watts=supply_w - load_w, heat=True, text=SAY["strip_heat"].format(supply_w - load_w, 100 * (1 - share))
        )
    )
    return CardStrip(head=SAY["strip_half"].format(place, f"{supply_w:.3g}"), parts=tuple(parts))
