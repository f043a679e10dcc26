"""Which pictures a session has, and what stands around each of them."""

from collections.abc import Sequence
from pathlib import PurePath

from wattproof.measure import CaptureResult
from wattproof.publish.card import RowsCard, StripsCard
from wattproof.publish.card_power import how_long_card, other_loads_card, power_card
from wattproof.publish.card_supply import strips_card
from wattproof.publish.card_verdicts import verdicts_card
from wattproof.publish.contents import session_document
from wattproof.publish.document import Chart
from wattproof.publish.inputs import PublishedSession
from wattproof.publish.picture import Picture
from wattproof.publish.picture_chart import shows_intervals
from wattproof.publish.picture_frame import Around
from wattproof.publish.picture_subject import amplifier_name, conditions_said, other_loads
from wattproof.publish.picture_words import SAY

_MODEL = "model"
"""What the report calls the chart of the model's predictions."""


def session_pictures(inputs: PublishedSession) -> tuple[Picture, ...]:
    """Give every picture that a session's results allow: cards of results, then the charts of its report.

    Parameters
    ----------
    inputs : PublishedSession

    Returns
    -------
    tuple of Picture
        A chart has the name that it has in the report.
    """
    blocks = [block for section in session_document(inputs).sections for block in section.blocks]
    return (*_cards(inputs), *(_chart(inputs, block) for block in blocks if isinstance(block, Chart)))


def _chart(inputs: PublishedSession, chart: Chart) -> Picture:
    """Put a chart into its frame; where it is of one capture, say which, and that one's conditions."""
    own = [result for result in inputs.results if result.file in chart.caption]
    results = own or [result for result in inputs.results if result.kind == "ramp"]
    title = str(chart.wide["title"]["text"])
    of = (PurePath(own[0].file).stem,) if len(own) == 1 else ()
    more = [SAY["interval"]] if shows_intervals(chart.wide) else []
    more += [SAY["model_note"]] if chart.name == _MODEL else []
    return Picture(
        name=chart.name,
        told=chart.caption,
        of="".join(of),
        around=Around(
            title=title,
            amplifier=amplifier_name(inputs),
            notes=(*of, *conditions_said(inputs, results), *more),
        ),
        content=chart,
    )


def _cards(inputs: PublishedSession) -> list[Picture]:
    of_kind = {kind: [r for r in inputs.results if r.kind == kind] for kind in ("ramp", "hold", "burst", "idle")}
    ramps = of_kind["ramp"]
    rule = _rule(inputs)
    cards = (
        ("power", power_card(inputs), ramps, rule),
        ("verdicts", verdicts_card(inputs), (), rule),
        ("strip", strips_card(inputs), ramps, (SAY["frame"],)),
        ("how-long", how_long_card(inputs), of_kind["hold"] + of_kind["burst"], (SAY["levels"],)),
        ("other-loads", other_loads_card(inputs), (), _predicted(inputs)),
    )
    return [_card(inputs, name, card, results, notes) for name, card, results, notes in cards if card is not None]


def _card(
    inputs: PublishedSession,
    name: str,
    card: RowsCard | StripsCard,
    results: Sequence[CaptureResult],
    notes: Sequence[str],
) -> Picture:
    key = name.replace("-", "_")
    said = conditions_said(inputs, results) if results else (SAY["day"].format(inputs.day),)
    return Picture(
        name=name,
        told=SAY[f"{key}_told"],
        around=Around(
            title=SAY[f"{key}_title"], amplifier=amplifier_name(inputs), notes=(*said, SAY["interval"], *notes)
        ),
        content=card,
    )


def _rule(inputs: PublishedSession) -> tuple[str, ...]:
    if inputs.judged is None:
        return ()
    return (SAY["rule"].format(f"{100 * inputs.judged.rule.confidence:g} %"),)


def _predicted(inputs: PublishedSession) -> tuple[str, ...]:
    predictions = other_loads(inputs)
    if not predictions:
        return ()
    asked = predictions[0].asked
    driven = SAY["driven_one"] if asked.driven == 1 else SAY["driven"].format(asked.driven)
    return (SAY["predicted_at"].format(100 * asked.thd_n, asked.supply_v, driven),)
