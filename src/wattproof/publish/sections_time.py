"""What time does to power: tones held until heat shows, and short bursts."""

from wattproof.measure import CaptureResult, Figure
from wattproof.publish.document import Block, Chart, Paragraph
from wattproof.publish.drawn import chart
from wattproof.publish.inputs import PublishedSession
from wattproof.publish.lead import sustained_spans
from wattproof.publish.places import Places, load_text, number, supply_text, time_text
from wattproof.publish.tables import Cell, cell, table
from wattproof.publish.wording import TIME
from wattproof.report import face_value, power_over_time, waveform_at_limit

_HOLD = ("capture", "output", "load", "first", "last", "kept", "lowest", "warmer")
_BURST = ("capture", "output", "load", "burst", "headroom", "length", "droop", "recovery", "supply")


def hold_blocks(inputs: PublishedSession, places: Places) -> tuple[Block, ...]:
    """Give each hold over time, and what was left at its end."""
    holds = [result for result in inputs.results if result.kind == "hold"]
    if not holds:
        return (Paragraph(words=(TIME["no_hold"],)),)
    several = len(inputs.amplifier.outputs) > 1
    rows = [
        _hold_row(result, first, last, places, several=several)
        for result in holds
        for first, last in sustained_spans(result)
    ]
    charts = [one for number, result in enumerate(holds, start=1) for one in _hold_chart(result, number)]
    return (*charts, *([table(TIME["hold"], _HOLD, rows, words=("output", "load"))] if rows else []))


def _hold_row(result: CaptureResult, first: Figure, last: Figure, places: Places, *, several: bool) -> list[Cell]:
    return [
        (places.file(result),),
        cell((first.output or "") if several else ""),
        cell(load_text(first)),
        (*places.value(first), f" at {time_text(number(first, 'at_s') or 0.0)}"),
        cell("") if last is first else (*places.value(last), f" at {time_text(number(last, 'at_s') or 0.0)}"),
        cell("" if last is first else f"{100 * last.value / first.value:.3g} %"),
        places.value(result.figure("supply_voltage_min", None)),
        places.value(result.figure("temperature_rise", None)),
    ]


def _hold_chart(result: CaptureResult, count: int) -> tuple[Chart, ...]:
    spans = sustained_spans(result)
    told = [
        TIME["hold_at"].format(value=face_value(figure), time=time_text(number(figure, "at_s") or 0.0))
        for span in spans[:1]
        for figure in (span if span[0] is not span[1] else span[:1])
    ]
    load = load_text(spans[0][0]) if spans else ""
    caption = TIME["hold_chart"].format(file=result.file, load=load, told=", ".join(told))
    return chart(f"hold-{count}", caption, lambda px: power_over_time(result, width_px=px))


def burst_blocks(inputs: PublishedSession, places: Places) -> tuple[Block, ...]:
    """Give what each burst train gave."""
    several = len(inputs.amplifier.outputs) > 1
    rows = [
        _burst_row(result, figure, places, several=several)
        for result in inputs.results
        if result.kind == "burst"
        for figure in result.figures
        if figure.name == "burst_power"
    ]
    if not rows:
        return (Paragraph(words=(TIME["no_burst"],)),)
    bursts = [result for result in inputs.results if result.kind == "burst"]
    charts = [one for count, result in enumerate(bursts, start=1) for one in _burst_chart(result, count)]
    return (*charts, table(TIME["burst"], _BURST, rows, words=("output", "load", "supply")))


def _burst_chart(result: CaptureResult, count: int) -> tuple[Chart, ...]:
    power = next((figure for figure in result.figures if figure.name == "burst_power"), None)
    told = "" if power is None else face_value(power)
    caption = TIME["burst_chart"].format(file=result.file, load=load_text(power), told=told)
    return chart(f"burst-{count}", caption, lambda px: waveform_at_limit(result, width_px=px))


def _burst_row(result: CaptureResult, power: Figure, places: Places, *, several: bool) -> list[Cell]:
    output = power.output
    return [
        (places.file(result),),
        cell((output or "") if several else ""),
        cell(load_text(power)),
        places.value(power),
        *(
            places.value(result.figure(name, output))
            for name in ("burst_headroom", "burst_duration", "burst_droop", "burst_recovery")
        ),
        cell(supply_text(result, power)),
    ]
