"""The model as a page lets one move it: sliders with their ends, and what a prediction looks like."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import exp, log
from pathlib import Path
from typing import TYPE_CHECKING

from wattproof.errors import WattproofError
from wattproof.fit import Asked, BehaviourModel, Prediction
from wattproof.fit import predict as predict_with
from wattproof.measure import Figure
from wattproof.tasks.foreseeing import high_supply
from wattproof.tasks.modelling import model, predict

if TYPE_CHECKING:
    from markupsafe import Markup

    from wattproof.report import PredictionParts

_WIDTHS_PX = (640, 340)
_POINTS = 29
_LOW, _HIGH = 0.45, 2.2
"""So far below and above the captures' loads the curve looks."""


@dataclass(frozen=True, kw_only=True)
class Slider:
    """A condition that a page lets one move.

    Attributes
    ----------
    name, label, unit : str
    low, high, step, usual : float
        Where it ends, how fine it is and where it begins.
    """

    name: str
    label: str
    unit: str
    low: float
    high: float
    step: float
    usual: float


@dataclass(frozen=True, kw_only=True)
class ForeseenShown:
    """What the model says of conditions that were asked about, or why it says nothing.

    Attributes
    ----------
    parts : PredictionParts or None
    refusal : WattproofError or None
    told : str
        What the drawing shows.
    wide, narrow : Markup
        Power over load under these conditions; empty where it cannot be drawn.
    """

    parts: "PredictionParts | None" = None
    refusal: WattproofError | None = None
    told: str = ""
    wide: "Markup | str" = ""
    narrow: "Markup | str" = ""


def sliders_of(fitted: BehaviourModel) -> Iterator[Slider]:
    """Let each condition be moved a little beyond what was measured: a refusal is worth reading too."""
    double = 2 if high_supply(fitted) else 1
    low, high = fitted.load_ohm
    limit = min(max(1.0, 100 * fitted.thd_n[0]), 100 * fitted.thd_n[1])
    yield Slider(
        name="load", label="Load at each output", unit="ohm", low=max(0.1, round(0.4 * low, 1)),
        high=round(2.5 * high, 1), step=0.01, usual=round(low, 2),
    )  # fmt: skip
    yield Slider(
        name="supply", label="Supply voltage", unit="V", low=9.0 * double, high=16.0 * double, step=0.1,
        usual=round(fitted.supply_v[1], 1),
    )  # fmt: skip
    yield Slider(name="cable_mohm", label="Cable, both leads", unit="mohm", low=0, high=40, step=0.5, usual=0)
    yield Slider(name="thd", label="Distortion limit", unit="%", low=0.1, high=10, step=0.1, usual=round(limit, 1))


def foreseen_shown(archive: Path, session: str, asked: Mapping[str, float]) -> ForeseenShown:
    """Ask a session's model; a refusal is an answer too.

    Parameters
    ----------
    archive : Path
    session : str
    asked : mapping of str to float
        By the sliders' names.
    """
    from wattproof.report import prediction_parts

    try:
        found = predict(
            session, load=asked["load"], supply=asked["supply"], thd=asked["thd"], cable_mohm=asked["cable_mohm"],
            archive=archive,
        )  # fmt: skip
    except WattproofError as error:
        return ForeseenShown(refusal=error)
    parts = prediction_parts(found.prediction, amplifier=found.amplifier)
    curve = _curve(model(session, archive=archive).model, found.prediction.asked)
    power = found.prediction.power
    told = (
        f"Predicted power over load, within its 95 % interval, from {found.prediction.asked.supply_v:.4g} V at "
        f"{100 * found.prediction.asked.thd_n:g} % of distortion; the mark is at {asked['load']:.4g} ohm, "
        f"{power.value:.3g} W."
    )
    wide, narrow = (_drawn(curve, found.prediction, told, width_px) for width_px in _WIDTHS_PX)
    return ForeseenShown(parts=parts, told=told, wide=wide, narrow=narrow)


def _curve(fitted: BehaviourModel, asked: Asked) -> tuple[Prediction, ...]:
    """Predict over the load, all else as asked, as far as the model goes."""
    low, high = (log(factor * ohm) for factor, ohm in zip((_LOW, _HIGH), fitted.load_ohm, strict=True))
    found = []
    for number in range(_POINTS):
        load_ohm = exp(low + (high - low) * number / (_POINTS - 1))
        try:
            found.append(predict_with(fitted, asked.model_copy(update={"load_ohm": load_ohm})))
        except WattproofError:
            continue
    return tuple(found)


def _drawn(curve: tuple[Prediction, ...], asked: Prediction, told: str, width_px: int) -> "Markup | str":
    from markupsafe import Markup

    from wattproof.report import draw_svg, predicted_power

    mark = Figure(
        name="load_power", value=asked.power.value, u=asked.power.u, unit="W", output=None, origin="predicted",
        conditions={"load_ohm": asked.asked.load_ohm},
    )  # fmt: skip
    spec = predicted_power(curve, (mark,), told=told, width_px=width_px)
    return "" if spec is None else Markup(draw_svg(spec))  # the drawing escapes the names it is given
