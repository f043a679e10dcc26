"""A behaviour model and its predictions as text: how good, each number with its doubt, what the data cannot say."""

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import log, log10, sqrt

from wattproof.errors import Notice
from wattproof.fit import BehaviourModel, Estimate, Parameter, Prediction
from wattproof.quantity import value_text

WIDEST = 116
K95 = 1.959964
SEVERAL = 0.01
"""Voltages of the bench's own source that scatter by more than this share were set apart."""
STRONG = 0.8
"""Correlations under this say little."""
_NAMES = {
    "rail_v": "rail",
    "rail_exponent": "rail exponent",
    "output_ohm": "output resistance",
    "limit_a": "current limit",
    "knee": "knee",
    "idle_w": "idle power",
    "loss_v": "loss with current",
    "loss_ohm": "loss with its square",
    "converter_v": "converter",
    "converter_ohm": "converter resistance",
}
_MEANINGS = {
    "rail_exponent": "0: regulated, 1: follows the supply",
    "output_ohm": "of stage, filter, wiring and converter together",
    "limit_a": "peak",
    "knee": "0: hard, in shares of the limit",
    "converter_v": "lost of the supply, whatever the current",
    "converter_ohm": "seen by the supply current",
}
_ESTIMATES = {
    "power": "power",
    "load_voltage": "voltage at the load, r.m.s.",
    "load_current": "current in the load, r.m.s.",
    "supply_voltage": "supply voltage at the terminals",
    "supply_current": "supply current",
    "supply_power": "supply power",
    "efficiency": "efficiency",
    "heat": "heat",
    "drive": "drive for it, r.m.s.",
    "damping_factor": "damping factor",
}


def model_text(model: BehaviourModel) -> str:
    """Write a fitted model.

    Parameters
    ----------
    model : BehaviourModel

    Returns
    -------
    str
        How many points and how well they fit; each parameter with its 95 % half width, unit and complaint; strong
        correlations only; the loads that were left out; the bench's own source apart.
    """
    lines = [_first_line(model), *_range_lines(model)]
    lines += [line for parameter in model.parameters for line in _parameter_lines(parameter, model)]
    lines += [*_small_lines(model), "  ± spans 95 %"]
    lines += [f"  correlation {pair}" for pair in _correlations(model)]
    lines += _left_out_lines(model)
    lines += _source_lines(model)
    told = [notice for notice in model.complaints if notice.code != "model-not-fixed"]
    return "\n".join([*lines, *_notice_lines(told)])


def _first_line(model: BehaviourModel) -> str:
    where = "all outputs alike" if model.output is None else f"output {model.output}"
    fitted = sum(name != "limit_a" or model.parameter(name).value is not None for name in model.varied)
    quality = "" if model.reduced_chi_square is None else f", reduced chi-square {model.reduced_chi_square:.3g}"
    points = f"{model.points} point" + ("s" if model.points != 1 else "")
    return f"Model of {model.amplifier}, {where}: {points}, {fitted} parameters{quality}"


def _range_lines(model: BehaviourModel) -> Iterator[str]:
    tones = "" if model.frequency_hz is None else f", {_span(model.frequency_hz, 'Hz')}"
    thds = _span((100 * model.thd_n[0], 100 * model.thd_n[1]), "% of distortion")
    yield f"  from {_span(model.load_ohm, 'ohm')}, {_span(model.supply_v, 'V')} at the terminals, {thds}{tones}"
    driven = "one output" if model.driven == 1 else f"{model.driven} outputs at once"
    scatter = f"; power scatters by {100 * model.scatter:.2g} % about the model" if model.scatter > 0 else ""
    yield f"  driven: {driven}{scatter}"


def _span(ends: tuple[float, float], unit: str) -> str:
    low, high = (f"{end:.3g}" for end in ends)
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


def _parameter_lines(parameter: Parameter, model: BehaviourModel) -> Iterator[str]:
    unit = "" if parameter.unit == "1" else parameter.unit
    meaning = _MEANINGS.get(parameter.name, "")
    if parameter.name == "rail_v":
        meaning = f"peak, without load, at {model.reference_v:.4g} V of supply"
    if parameter.name == "loss_v" and model.given == 0:
        meaning = "drawn whatever the load takes of it"
    line = f"  {_NAMES.get(parameter.name, parameter.name):<21}{_value(parameter):>20}  {unit:<4} {meaning}".rstrip()
    yield line
    if parameter.complaint:
        yield from _wrapped(f"! {parameter.complaint}", 6)


def _value(parameter: Parameter) -> str:
    if parameter.value is None:
        return "not seen"
    if parameter.fixed_by == "prior" and parameter.low is not None and parameter.high is not None:
        return f"{parameter.low:.3g} to {parameter.high:.3g}"
    half = K95 * (parameter.u or 0.0)
    if half <= 0:
        return f"{parameter.value:.4g}"
    return f"{value_text(parameter.value, uncertainty=half)} ± {value_text(half, uncertainty=half)}"


def _correlations(model: BehaviourModel) -> Iterator[str]:
    for first, name in enumerate(model.varied):
        for second, other in enumerate(model.varied[:first]):
            scale = sqrt(model.covariance[first][first] * model.covariance[second][second])
            if scale > 0 and abs(model.covariance[first][second]) > STRONG * scale:
                yield f"{_NAMES[other]} ~ {_NAMES[name]}: {model.covariance[first][second] / scale:+.2f}"


def _left_out_lines(model: BehaviourModel) -> Iterator[str]:
    if not model.left_out:
        return
    yield "  each load left out and predicted from the others:"
    for one in model.left_out:
        yield (
            f"    {one.load_ohm:.3g} ohm at {one.supply_v:.2f} V: measured {one.measured_w:.4g} W, predicted "
            f"{one.predicted_w:.4g} W, {round(100 * one.error, 1) + 0.0:+.1f} % (stated ±{100 * K95 * one.u:.1f} %)"
        )
    if model.widening > 0:
        yield f"    more than stated: predictions are widened by ±{100 * K95 * model.widening:.1f} % of power for it"


def _source_lines(model: BehaviourModel) -> Iterator[str]:
    source = model.source
    if source is not None:
        emf = f"{source.emf_v:.2f} ± {max(K95 * source.emf_u_v, 0.005):.2f} V"
        if source.emf_u_v > SEVERAL * source.emf_v:
            emf = "set to several voltages,"
        ohm = f"{1e3 * source.resistance_ohm:.2f} ± {max(1e3 * K95 * source.resistance_u_ohm, 0.005):.2f} mohm"
        yield f"  the bench's own source, no part of the amplifier: {emf} behind {ohm}"


def _small_lines(model: BehaviourModel) -> Iterator[str]:
    small = model.small
    if small is None:
        return
    half = K95 * 20 / log(10) * small.gain_u / small.gain
    decibel = 20 * log10(small.gain)
    gain = (
        f"{value_text(decibel, uncertainty=half)} ± {value_text(half, uncertainty=half)}" if half else f"{decibel:.2f}"
    )
    yield f"  {'gain':<21}{gain:>20}  dB   of small signals, into {small.reference_ohm:.3g} ohm"
    if small.output_ohm is None or small.output_ohm_u is None:
        yield from _wrapped("! one load only: the output's small-signal resistance, and so damping, is not known.", 6)
        return
    half = 1e3 * K95 * small.output_ohm_u
    ohm = value_text(1e3 * small.output_ohm, uncertainty=half)
    number = f"{ohm} ± {value_text(half, uncertainty=half)}" if half else ohm
    yield f"  {'resistance then':<21}{number:>20}  mohm of the output for small signals: damping"


@dataclass(frozen=True, kw_only=True)
class PredictionParts:
    """A prediction in words, part by part.

    Attributes
    ----------
    told : str
        Into what, from what, at which limit.
    rows : tuple of (name, value, low, high, unit)
        Each number with the ends of its 95 % interval.
    basis : str
        What limits it, and on what it rests.
    notes : tuple of Notice
    """

    told: str
    rows: tuple[tuple[str, str, str, str, str], ...]
    basis: str
    notes: tuple[Notice, ...]


def prediction_parts(prediction: Prediction, *, amplifier: str) -> PredictionParts:
    """Put a prediction into words, part by part.

    Parameters
    ----------
    prediction : Prediction
    amplifier : str
        What to call it.
    """
    asked = prediction.asked
    at = f"{asked.supply_v:.4g} V at its terminals"
    if asked.source_ohm > 0:
        at = f"a source of {asked.supply_v:.4g} V behind {1e3 * asked.source_ohm:g} mohm"
    each = "" if asked.driven == 1 else f", {asked.driven} outputs driven: load figures are of each"
    found: list[tuple[str, Estimate | None]] = [
        (words, getattr(prediction, name)) for name, words in _ESTIMATES.items()
    ]
    if asked.source_ohm == 0:
        found = [one for one in found if one[0] != _ESTIMATES["supply_voltage"]]
    limit = "rail" if prediction.limited_by == "rail" else "current limit"
    return PredictionParts(
        told=f"{amplifier} into {asked.load_ohm:.4g} ohm from {at}, at {100 * asked.thd_n:g} % of distortion{each}",
        rows=tuple(_estimate(words, estimate) for words, estimate in found if estimate is not None),
        basis=f"limited by its {limit}; {_basis(prediction)}",
        notes=tuple(prediction.notes),
    )


def prediction_text(prediction: Prediction, *, amplifier: str) -> str:
    """Write a prediction: each number with its 95 % interval, on what it rests, and what to note.

    Parameters
    ----------
    prediction : Prediction
    amplifier : str
        What to call it.
    """
    parts = prediction_parts(prediction, amplifier=amplifier)
    lines = [
        f"  {name:<32}{value:>8} {unit:<3} 95 %: {low} to {high} {unit}".rstrip()
        for name, value, low, high, unit in parts.rows
    ]
    return "\n".join([parts.told, *lines, f"  {parts.basis}", *_notice_lines(parts.notes)])


def _estimate(name: str, estimate: Estimate) -> tuple[str, str, str, str, str]:
    scale, unit = (100.0, "%") if estimate.unit == "W/W" else (1.0, "" if estimate.unit == "1" else estimate.unit)
    half = scale * max(estimate.high - estimate.low, 1e-9 * abs(estimate.value)) / 2
    value, low, high = (value_text(scale * x, uncertainty=half) for x in (estimate.value, estimate.low, estimate.high))
    return name, value, low, high, unit


def _basis(prediction: Prediction) -> str:
    if prediction.basis == "bounded":
        return "bounded between a regulated and a following rail, for one supply voltage was measured"
    return "by a model of measured loads and supply voltages"


def _notice_lines(notices: Sequence[Notice]) -> Iterator[str]:
    for notice in notices:
        yield from _wrapped(f"! {notice.code}: {notice.message} {notice.hint}", 2)


def _wrapped(text: str, indent: int) -> list[str]:
    return textwrap.wrap(text, WIDEST, initial_indent=" " * indent, subsequent_indent=" " * (indent + 2))
