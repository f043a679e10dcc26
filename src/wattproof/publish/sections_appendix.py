"""The appendices: every figure with its origin and its budget, the captures they come from, and the cautions."""

from collections.abc import Iterator

from wattproof.measure import CaptureResult, Figure
from wattproof.publish.document import Block, Bullets, Link, Paragraph, Table, Words
from wattproof.publish.inputs import PublishedSession
from wattproof.publish.places import Places, time_text
from wattproof.publish.tables import Cell, cell, table
from wattproof.publish.wording import APPENDIX
from wattproof.report import CAUTIONS, KINDS, FigureGroup, budget_lines, captured_lines, figure_groups, spread_text

_LITTLE = 0.001
_LEAST_SHARE = 0.005
"""Sources of doubt with less of the variance are told together."""


def figure_blocks(inputs: PublishedSession, places: Places) -> tuple[Block, ...]:
    """Give a table for each output of each capture."""
    groups = figure_groups(inputs.results)
    if not groups:
        return (Paragraph(words=(APPENDIX["no_figures"],)),)
    return (Paragraph(words=(APPENDIX["figures"],)), *(_group(group, places) for group in groups))


def _group(group: FigureGroup, places: Places) -> Table:
    rows, anchors = [], []
    for row in group.rows:
        said = "; ".join(part for part in (row.remarks, row.own_conditions) if part)
        origin = Link(text=row.origin or APPENDIX["whole"], to=places.capture(group.result))
        rows.append([cell(row.name), cell(row.value), cell(said), (origin,), cell(_budget(row.figure))])
        anchors.append(places.figure(row.figure))
    heads = ("figure", "value", "conditions", "origin", "budget")
    notes = (group.shared,) if group.shared else ()
    return table(group.heading, heads, rows, words=("conditions", "origin", "budget"), anchors=anchors, notes=notes)


def _budget(figure: Figure) -> str:
    """Say how u becomes the interval, then every source with its share, the small ones together."""
    if figure.u <= 0:
        return APPENDIX["exact"]
    lines = list(zip(figure.budget, budget_lines(figure), strict=True))
    large = [text for line, text in lines if (line.u / figure.u) ** 2 >= _LEAST_SHARE]
    small = [(line.u / figure.u) ** 2 for line, _ in lines if (line.u / figure.u) ** 2 < _LEAST_SHARE]
    parts = [f"{label} {u} ({kind}, {share})" for u, share, kind, label in large]
    if small:
        share = f"{100 * sum(small):.1g} %" if sum(small) > _LITTLE else APPENDIX["little"]
        parts.append(APPENDIX["rest"].format(len(small), share))
    return "; ".join([spread_text(figure), *parts])


def capture_blocks(inputs: PublishedSession, places: Places) -> tuple[Block, ...]:
    """Give a row for each capture, to which all figures lead."""
    if not inputs.results:
        return (Paragraph(words=(APPENDIX["no_captures"],)),)
    rows = [_capture(result, places) for result in inputs.results]
    heads = ("capture", "kind", "seconds", "rate", "channels")
    anchors = [places.capture(result) for result in inputs.results]
    return (table(APPENDIX["captures"], heads, rows, words=("kind", "channels"), anchors=anchors),)


def _capture(result: CaptureResult, places: Places) -> list[Cell]:
    name: Words = places.file(result).text
    return [
        (name,),
        cell(KINDS[result.kind]),
        cell("" if result.duration_s is None else time_text(result.duration_s)),
        cell("" if result.sample_rate_hz is None else f"{result.sample_rate_hz:g}"),
        cell(", ".join(_channels(result))),
    ]


def _channels(result: CaptureResult) -> Iterator[str]:
    for role, _, largest, clipped in captured_lines(result.channels):
        at_limit = "" if clipped == "0" else f" ({APPENDIX['clipped'].format(clipped)})"
        yield f"{role} {largest}{at_limit}"


def caution_blocks(_inputs: PublishedSession, _places: Places) -> tuple[Block, ...]:
    """Give what whoever repeats this must know, set apart as cautions."""
    return (
        Paragraph(words=(CAUTIONS[0],), tone="caution"),
        Bullets(items=tuple((caution,) for caution in CAUTIONS[1:])),
    )
