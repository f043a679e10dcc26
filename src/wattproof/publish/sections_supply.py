"""What the amplifier draws from its supply, and what becomes of it."""

from collections.abc import Iterator
from itertools import pairwise

from wattproof.measure import CaptureResult, Figure
from wattproof.publish.document import Block, Chart, Paragraph, Part, Strip
from wattproof.publish.drawn import chart
from wattproof.publish.inputs import PublishedSession
from wattproof.publish.places import Places, load_text, number
from wattproof.publish.saying import listed
from wattproof.publish.tables import Cell, cell, table
from wattproof.publish.wording import LEAD, SUPPLY
from wattproof.report import KINDS, efficiency_against_power, face_value, strip, supply_sag

_HEADS = ("capture", "load", "power", "from_supply", "current", "efficiency", "heat", "lowest")
_LEADING_KINDS = ("ramp", "hold", "readings", "steady", "burst")
_MOST_STRIPS = 4
_SAME_LOAD = 0.1
_LEAST_W = 1.0
"""Below this a supply gave nothing: it was off."""


def supply_blocks(inputs: PublishedSession, places: Places) -> tuple[Block, ...]:
    """Give supply and efficiency over power, a table capture by capture, and where the supply's power went."""
    drawn = [result for result in inputs.results if _from_supply(result) and result.kind != "idle"]
    idle = _idle(inputs, places)
    if not drawn and not idle:
        return (Paragraph(words=(SUPPLY["none"],)),)
    rows = [_row(result, places) for result in drawn]
    shown = [table(SUPPLY["caption"], _HEADS, rows, words=("load",))] if rows else []
    return (*idle, *_charts(inputs.results), *_strips(drawn, places), *shown)


def _from_supply(result: CaptureResult) -> Figure | None:
    found = result.figure("supply_power", None)
    return found if found is not None and found.value > _LEAST_W else None


def _idle(inputs: PublishedSession, places: Places) -> list[Paragraph]:
    """Tell the current without a signal; that of a recorder's floor, with the supply off, is none."""
    told = []
    for result in inputs.results:
        current, supply = result.figure("idle_current", None), result.figure("supply_voltage", None)
        if current is None or (result.kind == "idle" and _from_supply(result) is None):
            continue
        at = LEAD["at"].format(f"{supply.value:.2f} V") if supply is not None else ""
        before, after = SUPPLY["idle"].split("{value}")
        told.append(Paragraph(words=(before, *places.value(current), after.format(at=at))))
    return told


def _charts(results: tuple[CaptureResult, ...]) -> Iterator[Chart]:
    lowest = [
        SUPPLY["lowest_into"].format(value=face_value(figure), load=_load(result))
        for result in results
        if result.kind == "ramp" and (figure := result.figure("supply_voltage_min", None)) is not None
    ]
    told = SUPPLY["supply_chart"].format(listed(lowest)) if lowest else SUPPLY["supply_chart_plain"]
    yield from chart("supply", told, lambda px: supply_sag(results, width_px=px))
    reached = [
        SUPPLY["efficiency_into"].format(value=face_value(figure), load=_load(result))
        for result in results
        if result.kind == "ramp" and (figure := result.figure("efficiency", None)) is not None
    ]
    said = f"{SUPPLY['at_limit']}: {listed(reached)}"
    told = SUPPLY["efficiency_chart"].format(said) if reached else SUPPLY["efficiency_chart_plain"]
    yield from chart("efficiency", told, lambda px: efficiency_against_power(results, width_px=px))


def _load(result: CaptureResult) -> str:
    return load_text(next((figure for figure in result.figures if number(figure, "load_ohm")), None))


def _row(result: CaptureResult, places: Places) -> list[Cell]:
    return [
        (places.file(result), f", {KINDS[result.kind]}"),
        cell(_load(result)),
        places.value(_power(result)),
        *(
            places.value(result.figure(name, None))
            for name in ("supply_power", "supply_current", "efficiency", "heat", "supply_voltage_min")
        ),
    ]


def _power(result: CaptureResult) -> Figure | None:
    """Give the power that a capture's supply figures belong to, where one output alone gave it."""
    name = {"ramp": "power_at_thd_1", "burst": "burst_power", "hold": "sustained_power"}.get(result.kind, "load_power")
    found = [figure for figure in result.figures if figure.name == name]
    outputs = {figure.output for figure in found}
    return found[-1] if len(outputs) == 1 else None


def _strips(drawn: list[CaptureResult], places: Places) -> list[Strip]:
    """Part the supply's power of the leading captures, one for each load."""
    ordered = sorted(drawn, key=lambda result: _LEADING_KINDS.index(result.kind))
    chosen: dict[str, tuple[CaptureResult, Strip]] = {}
    for result in ordered:
        made = _strip(result, places)
        load = _load(result)
        if made is not None and load and load not in chosen and not _near(load, chosen):
            chosen[load] = (result, made)
    return [made for _, made in chosen.values()][:_MOST_STRIPS]


def _near(load: str, chosen: dict[str, tuple[CaptureResult, Strip]]) -> bool:
    ohm = float(load.split()[0])
    return any(abs(float(other.split()[0]) / ohm - 1) < _SAME_LOAD for other in chosen)


def _strip(result: CaptureResult, places: Places) -> Strip | None:
    """Take the house's strip; its parts are shares of their sum, so that they fill it."""
    found = strip(result)
    total = _from_supply(result)
    if found is None or total is None:
        return None
    parts = [part for part in found["parts"] if isinstance(part, dict)] if isinstance(found["parts"], list) else []
    whole = sum(part["width"] for part in parts)
    shares = _shares([part["width"] / whole for part in parts])
    made = tuple(Part(name=p["name"], share=share, text=p["text"]) for p, share in zip(parts, shares, strict=True))
    what = f"{KINDS[result.kind].capitalize()}, {_load(result)}"
    return Strip(
        title=SUPPLY["strip"].format(what=what, total=face_value(total)),
        parts=made,
        told=places.found(str(found["told"])),
    )


def _shares(shares: list[float]) -> list[float]:
    """Let the shares sum to 1 to the last bit: each is the distance between two ends."""
    ends = [0.0]
    for share in shares[:-1]:
        ends.append(ends[-1] + share)
    return [after - before for before, after in pairwise([*ends, 1.0])]
