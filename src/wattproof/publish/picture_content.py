"""Which pictures a session has, and what stands around each of them."""

import re
from collections.abc import Callable, Sequence
from pathlib import PurePath

from wattproof.measure import CaptureResult
from wattproof.publish.card import RowsCard, StripsCard
from wattproof.publish.card_power import how_long_card, other_loads_card, power_card
from wattproof.publish.card_supply import strips_card
from wattproof.publish.card_verdicts import verdicts_card
from wattproof.publish.document import Spec
from wattproof.publish.picture import Picture
from wattproof.publish.picture_chart import ChartDrawn
from wattproof.publish.picture_frame import Around
from wattproof.publish.picture_subject import PictureSubject, conditions_said
from wattproof.publish.picture_words import SAY
from wattproof.report import (
    distortion_against_power,
    efficiency_against_power,
    power_over_time,
    spectrum,
    supply_sag,
    waveform_at_limit,
)

_WIDE_PX = 640
_Drawer = Callable[[int], Spec | None]


def session_pictures(subject: PictureSubject) -> tuple[Picture, ...]:
    """Give every picture that a session's results allow.

    Parameters
    ----------
    subject : PictureSubject

    Returns
    -------
    tuple of Picture
        What all captures show together comes first, what each shows alone after it.
    """
    return (*_cards(subject), *_charts(subject))


def _cards(subject: PictureSubject) -> list[Picture]:
    of_kind = {kind: [r for r in subject.captures if r.kind == kind] for kind in ("ramp", "hold", "burst", "idle")}
    ramps = of_kind["ramp"]
    rule = _rule(subject)
    cards = (
        ("power", power_card(subject), ramps, rule),
        ("verdicts", verdicts_card(subject), (), rule),
        ("strip", strips_card(subject), ramps, (SAY["frame"],)),
        ("how-long", how_long_card(subject), of_kind["hold"] + of_kind["burst"], (SAY["levels"],)),
        ("other-loads", other_loads_card(subject), (), _predicted(subject)),
    )
    return [_card(subject, name, card, results, notes) for name, card, results, notes in cards if card is not None]


def _card(
    subject: PictureSubject,
    name: str,
    card: RowsCard | StripsCard,
    results: Sequence[CaptureResult],
    notes: Sequence[str],
) -> Picture:
    key = name.replace("-", "_")
    said = conditions_said(subject, results) if results else (SAY["day"].format(subject.date),)
    return Picture(
        name=name,
        told=SAY[f"{key}_told"],
        around=Around(title=SAY[f"{key}_title"], amplifier=subject.name, notes=(*said, SAY["interval"], *notes)),
        content=card,
    )


def _rule(subject: PictureSubject) -> tuple[str, ...]:
    if subject.judged is None:
        return ()
    return (SAY["rule"].format(f"{100 * subject.judged.rule.confidence:g} %"),)


def _predicted(subject: PictureSubject) -> tuple[str, ...]:
    if not subject.predictions:
        return ()
    asked = subject.predictions[0].asked
    driven = SAY["driven_one"] if asked.driven == 1 else SAY["driven"].format(asked.driven)
    return (SAY["predicted_at"].format(100 * asked.thd_n, asked.supply_v, driven),)


def _charts(subject: PictureSubject) -> list[Picture]:
    ramps = [result for result in subject.captures if result.kind == "ramp"]
    drawn = [
        _chart(subject, ramps, "distortion", lambda width_px: distortion_against_power(ramps, width_px=width_px)),
        _chart(subject, ramps, "supply", lambda width_px: supply_sag(ramps, width_px=width_px)),
        _chart(subject, ramps, "efficiency", lambda width_px: efficiency_against_power(ramps, width_px=width_px)),
    ]
    for result in subject.captures:
        drawn += _charts_of(subject, result)
    return [picture for picture in drawn if picture is not None]


def _charts_of(subject: PictureSubject, result: CaptureResult) -> list[Picture | None]:
    """Draw what one capture shows alone."""
    stem = re.sub(r"[^A-Za-z0-9]+", "-", PurePath(result.file).stem).strip("-")
    return [
        _chart(subject, [result], f"{what}-{stem}", _of_one(draw, result))
        for what, draw in (("over-time", power_over_time), ("waveform", waveform_at_limit), ("spectrum", spectrum))
    ]


def _of_one(draw: Callable[..., Spec | None], result: CaptureResult) -> _Drawer:
    return lambda width_px: draw(result, width_px=width_px)


def _chart(subject: PictureSubject, results: Sequence[CaptureResult], name: str, draw: _Drawer) -> Picture | None:
    report = draw(_WIDE_PX)
    if report is None:
        return None

    def spec(width_px: int) -> Spec:
        return draw(width_px) or report

    title = str(report["title"]["text"])
    return Picture(
        name=name,
        told=str(report["description"]),
        around=Around(title=title, amplifier=subject.name, notes=(*conditions_said(subject, results), SAY["interval"])),
        content=ChartDrawn(name=name, title=title, spec=spec),
    )
