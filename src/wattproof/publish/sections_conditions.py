"""Under which conditions all this holds, what is doubtful about it, and on what bench it was found."""

from collections.abc import Iterable

from wattproof.measure import CaptureResult
from wattproof.publish.document import Block, Bullets, Facts, Paragraph
from wattproof.publish.inputs import PublishedSession
from wattproof.publish.limits import limit_powers, typed_powers
from wattproof.publish.places import Places, number, supply_of
from wattproof.publish.saying import listed
from wattproof.publish.tables import cell, table
from wattproof.publish.wording import BENCH, CONDITIONS
from wattproof.report import Doubt, amplifier_facts, bench_facts, bench_tables, conditions_text, doubts_of, sized

_FULL_POWER = ("ramp", "burst", "hold")
_NEARLY_ONE = 0.05
"""Values that differ by no more are one nominal value, measured several times."""
_DISTORTED = ("thd_n", "power_at_thd_1", "power_at_thd_10")


def conditions_blocks(inputs: PublishedSession, _places: Places) -> tuple[Block, ...]:
    """Give the conditions, the amplifier as its file states it, and every doubt."""
    results = inputs.results
    pairs = [
        ("supply", _supply(results)),
        ("sensed", inputs.answers.get("sensed-at-terminals", "")),
        ("loads", _each(results, "load_ohm")),
        ("tone", _each(results, "frequency_hz")),
        ("bandwidth", _bandwidth(results)),
        ("driven", _driven(results)),
        ("bridged", inputs.answers.get("bridged", "")),
        ("controls", ", ".join(f"{name.replace('_', ' ')} {text}" for name, text in inputs.amplifier.controls.items())),
        ("controls_said", inputs.answers.get("controls", "")),
        ("temperature", _temperature(results)),
        ("before", _before(inputs)),
        ("note", inputs.note),
    ]
    always = {"supply", "loads", "bandwidth", "controls", "temperature"}
    absent = {"controls": CONDITIONS["not_noted"]}
    shown = [
        (CONDITIONS[key], (text or absent.get(key, CONDITIONS["not_recorded"]),))
        for key, text in pairs
        if text or key in always
    ]
    stated = tuple((name, (text,)) for name, text in amplifier_facts(inputs.amplifier))
    return (
        Facts(pairs=tuple(shown)),
        *_doubts(results),
        Facts(pairs=stated, title=CONDITIONS["amplifier"]),
    )


def _supply(results: Iterable[CaptureResult]) -> str:
    kept = list(results)
    powers = [*limit_powers(kept), *typed_powers(kept)]
    volts = [volt for power in powers if (volt := supply_of(power.result, power.figure)) is not None]
    if not volts:
        return ""
    return CONDITIONS["supply_span"].format(low=f"{min(volts):.2f}", high=f"{max(volts):.2f} V")


def _each(results: Iterable[CaptureResult], key: str) -> str:
    """List the values of a condition, those that are nearly one as a span."""
    unit = {"load_ohm": "ohm", "frequency_hz": "Hz"}[key]
    groups: list[list[float]] = []
    for value in sorted(v for r in results for f in r.figures if (v := number(f, key)) is not None and v > 0):
        if groups and value / groups[-1][0] - 1 < _NEARLY_ONE:
            groups[-1].append(value)
        else:
            groups.append([value])
    ends = [(f"{group[0]:.3g}", f"{group[-1]:.3g}") for group in groups]
    return listed(
        [
            f"{low} {unit}" if low == high else CONDITIONS["span"].format(low=low, high=high, unit=unit)
            for low, high in ends
        ]
    )


def _bandwidth(results: Iterable[CaptureResult]) -> str:
    told = [
        conditions_text({"bandwidth_hz": figure.conditions["bandwidth_hz"]})
        for result in results
        for figure in result.figures
        if figure.name in _DISTORTED and "bandwidth_hz" in figure.conditions
    ]
    return listed(list(dict.fromkeys(told)))


def _driven(results: Iterable[CaptureResult]) -> str:
    counts = sorted({power.driven for power in limit_powers(results)})
    return listed([f"{count}" for count in counts])


def _temperature(results: Iterable[CaptureResult]) -> str:
    rises = [rise for r in results if (rise := r.figure("temperature_rise", None)) is not None]
    if not rises:
        return ""
    return CONDITIONS["temperature_rise"].format(f"{max(rise.value for rise in rises):.2g} K")


def _before(inputs: PublishedSession) -> str:
    """Say what the run sheet puts before the first full power."""
    if inputs.sheet is None:
        return CONDITIONS["before_none"] if inputs.results else ""
    steps = []
    for step in inputs.sheet.steps:
        if step.kind in _FULL_POWER:
            break
        steps.append(step)
    if not steps or len(steps) == len(inputs.sheet.steps):
        return ""
    names = listed([f"{step.name} ({sized(step.seconds, 's')})" for step in steps])
    return CONDITIONS["steps"].format(steps=names, rest=sized(steps[-1].rest_s, "s"))


def _doubts(results: Iterable[CaptureResult]) -> tuple[Block, ...]:
    items = []
    for doubt in doubts_of(results):
        items.append((CONDITIONS["doubt"].format(messages=_messages(doubt), hint=doubt.hint),))
    if not items:
        return (Paragraph(words=(CONDITIONS["no_doubts"],)),)
    return (Bullets(items=tuple(items), title=CONDITIONS["doubts"]),)


def bench_blocks(inputs: PublishedSession, _places: Places) -> tuple[Block, ...]:
    """Give the bench's facts, and its channels, loads and meters with their calibration."""
    facts = tuple((name, (text,)) for name, text in bench_facts(inputs.bench))
    tables = [
        table(title, heads, [[cell(text) for text in line] for line in lines], words=heads, say=False)
        for title, heads, lines in bench_tables(inputs.bench)
        if lines
    ]
    if not facts and not tables:
        return (Paragraph(words=(BENCH["none"],)),)
    shown = (Facts(pairs=facts, title=BENCH["facts"]),) if facts else ()
    return (*shown, Paragraph(words=(BENCH["interval"],), tone="aside"), *tables)


def _messages(doubt: Doubt) -> str:
    """Say all that was told, and once what several messages begin with."""
    begun: dict[str, list[str]] = {}
    for one in doubt.told:
        start, colon, rest = one.message.partition(": ")
        head, message = (f"{start}{colon}", rest) if colon else ("", one.message)
        begun.setdefault(head, []).append(
            CONDITIONS["doubt_of"].format(message=message.removesuffix("."), places=", ".join(one.places))
        )
    return " ".join(f"{head}{'; '.join(told)}." for head, told in begun.items())
