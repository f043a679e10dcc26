"""Fits the behaviour model to what was measured: limit, losses and source, with all that the data cannot fix."""

from collections import Counter
from collections.abc import Sequence
from math import sqrt
from typing import Literal

import numpy as np

from wattproof.errors import MeasureError, Notice
from wattproof.fit.leaving import left_out, widening_of
from wattproof.fit.limiting import (
    SAME_LOAD,
    SAME_SUPPLY,
    UNITS,
    UNKNOWN_LIMIT,
    LimitFit,
    Prior,
    distinct,
    fit_limit,
    held_exponent,
    priors_of_direct,
)
from wattproof.fit.losses import NAMES as LOSS_NAMES
from wattproof.fit.losses import UNITS as LOSS_UNITS
from wattproof.fit.losses import LossFit, fit_losses
from wattproof.fit.model import BehaviourModel, BenchSource, Parameter
from wattproof.fit.points import LimitPoint, Points, gain_points, points_of
from wattproof.fit.small import fit_small
from wattproof.measure import CaptureResult

Fed = Literal["unknown", "direct"]
"""What is known of the stage's feed: nothing that counts, or that it is bridged straight across the supply."""

_CONTRADICTED = 3.0
_CONTRADICTED_SCATTER = 0.1


def fit_behaviour(
    results: Sequence[CaptureResult],
    *,
    amplifier: str,
    output: str | None = None,
    driven: int | None = None,
    fed: Fed = "unknown",
) -> BehaviourModel:
    """Fit a model to captures and typed readings.

    Parameters
    ----------
    results : sequence of CaptureResult
        Ramps, idle captures and typed rows; others are passed over.
    amplifier : str
        What to call it.
    output : str or None
        One output only; None takes all of them for alike.
    driven : int or None
        Outputs driven at once; None takes what most points have.
    fed : Fed
        "direct": a bridged stage without a converter, whose rail is the supply. That a maker calls a supply regulated
        or not is a claim and never a datum.

    Raises
    ------
    MeasureError
        No capture holds a power at a limit together with load and supply voltage.
    """
    points = points_of(results)
    limits = _chosen(points.limits, output, driven)
    reference_v = _reference_v(limits)
    known = priors_of_direct(limits, reference_v=reference_v) if fed == "direct" else None
    fit = fit_limit(limits, reference_v=reference_v, priors=known)
    losses = fit_losses(points, rail_exponent=fit.limit.rail_exponent)
    lost = left_out(fit, priors=known)
    thds = [point.thd_n or UNKNOWN_LIMIT for point in limits]
    tones = [point.frequency_hz for point in limits if point.frequency_hz is not None]
    return BehaviourModel(
        amplifier=amplifier,
        output=output,
        driven=limits[0].driven,
        reference_v=fit.limit.reference_v,
        parameters=(*_limit_parameters(fit), *_loss_parameters(losses)),
        varied=(*fit.names, *(LOSS_NAMES if losses is not None else ())),
        covariance=_covariance(fit, losses),
        given=None if losses is None else losses.given,
        ends=_ends(fit),
        points=len(limits),
        dof=fit.dof,
        reduced_chi_square=fit.chi_square / fit.dof if fit.dof > 0 else None,
        load_ohm=(min(p.load_ohm for p in limits), max(p.load_ohm for p in limits)),
        supply_v=(min(p.supply_v for p in limits), max(p.supply_v for p in limits)),
        supply_levels_v=tuple(distinct([p.supply_v for p in limits], SAME_SUPPLY)),
        supply_u=points.supply_u,
        thd_n=(min(thds), max(thds)),
        frequency_hz=(min(tones), max(tones)) if tones else None,
        scatter=fit.scatter,
        left_out=tuple(lost),
        widening=widening_of(lost),
        widening_dof=len({one.load_ohm for one in lost}),
        loss_scatter=None if losses is None else losses.scatter,
        loss_reference_v=None if losses is None else losses.reference_v,
        source=_source(points),
        small=fit_small([p for p in gain_points(results) if p.driven == limits[0].driven], output=output),
        complaints=_complaints(fit, losses, limits, checked=bool(lost)),
    )


def _covariance(fit: LimitFit, losses: LossFit | None) -> tuple[tuple[float, ...], ...]:
    """Put both covariances along one diagonal: what the fits share, the calibration of loads, is small in losses."""
    first, second = len(fit.names), 0 if losses is None else len(LOSS_NAMES)
    whole = np.zeros((first + second, first + second))
    whole[:first, :first] = fit.covariance
    if losses is not None:
        whole[first:, first:] = losses.covariance
    return tuple(tuple(float(value) for value in row) for row in whole)


def _chosen(limits: Sequence[LimitPoint], output: str | None, driven: int | None) -> list[LimitPoint]:
    found = [point for point in limits if output is None or point.output == output]
    if limits and not found:
        raise _none_such(limits, output=output)
    if driven is None and found:
        driven = Counter(point.driven for point in found).most_common(1)[0][0]
    chosen = [point for point in found if point.driven == driven]
    if found and not chosen:
        raise _none_such(found, driven=driven)
    if not found:
        raise MeasureError(
            "No model can be fitted.",
            why="no capture holds a power at a limit of distortion together with its load and its supply voltage",
            hint="Measure ramps into two loads or more, with the supply voltage recorded; or type readings with load, "
            "volts and supply volts.",
        )
    return chosen


def _none_such(limits: Sequence[LimitPoint], *, output: str | None = None, driven: int | None = None) -> MeasureError:
    """Say which outputs, or how many driven at once, the captures have instead of those asked for."""
    if output is not None:
        names = sorted({point.output for point in limits})
        return MeasureError(
            f"No model of output {output} can be fitted.",
            why=f"the captures hold powers of {', '.join(names)}",
            hint=f"Take one of these, --output {names[0]}, or leave --output out: then all are taken for alike.",
        )
    counts = sorted({point.driven for point in limits})
    told = "one output" if counts == [1] else f"{' or '.join(map(str, counts))} outputs"
    return MeasureError(
        f"No model with {driven} driven can be fitted.",
        why=f"the captures have {told} driven at once, and outputs share the supply's rails",
        hint=f"Ask with --driven {counts[0]}, or capture ramps with {driven} driven.",
    )


def _reference_v(limits: Sequence[LimitPoint]) -> float:
    """Take the middle of the supply voltages: there the rail and its exponent are least entangled."""
    volts = [point.supply_v for point in limits]
    return round(sqrt(min(volts) * max(volts)), 3)


def _limit_parameters(fit: LimitFit) -> list[Parameter]:
    held: dict[str, Prior] = {prior.name: prior for prior in fit.priors}
    sizes = dict(zip(fit.names, np.sqrt(np.diag(fit.covariance)), strict=True))
    parameters = []
    for name, unit in UNITS.items():
        value = getattr(fit.limit, name)
        prior = held.get(name)
        parameters.append(
            Parameter(
                name=name,
                value=value,
                u=float(sizes[name]) if name in sizes else None,
                unit=unit,
                fixed_by=_fixed_by(value, prior),
                low=prior.low if prior is not None else None,
                high=prior.high if prior is not None else None,
                complaint=prior.complaint if prior is not None else _bound(name, value),
            )
        )
    return parameters


def _fixed_by(value: float | None, prior: Prior | None) -> Literal["data", "prior", "stated", "nothing"]:
    if value is None:
        return "nothing"
    if prior is None:
        return "data"
    return "stated" if prior.stated else "prior"


def _ends(fit: LimitFit) -> tuple[dict[str, float], ...]:
    """Fit the regulated and the following rail too, where the data cannot tell between them."""
    prior = next((prior for prior in fit.priors if prior.name == "rail_exponent" and not prior.stated), None)
    if prior is None:
        return ()
    ends = (held_exponent(fit, exponent).limit for exponent in (prior.low, prior.high))
    return tuple({name: getattr(end, name) for name in UNITS if getattr(end, name) is not None} for end in ends)


def _bound(name: str, value: float | None) -> str:
    if name == "limit_a" and value is None:
        return "no load of the captures was low enough to show a current limit."
    if name == "output_ohm" and value is not None and value < 1e-6:
        return "at its bound of 0: the limit does not fall with the load in these data."
    return ""


def _loss_parameters(losses: LossFit | None) -> list[Parameter]:
    if losses is None:
        return []
    sizes = np.sqrt(np.diag(losses.covariance))
    return [
        Parameter(name=name, value=getattr(losses, name), u=float(size), unit=LOSS_UNITS[name])
        for name, size in zip(LOSS_NAMES, sizes, strict=True)
    ]


def _source(points: Points) -> BenchSource | None:
    """Give the bench's own supply, the mean over the captures that show it."""
    if not points.sources:
        return None
    emfs = [float(figure.conditions["emf_v"]) for figure in points.sources]  # type: ignore[arg-type]
    ohms = [figure.value for figure in points.sources]
    return BenchSource(
        emf_v=sum(emfs) / len(emfs),
        emf_u_v=max(float(np.std(emfs)), points.supply_u * sum(emfs) / len(emfs)),
        resistance_ohm=sum(ohms) / len(ohms),
        resistance_u_ohm=max(max(figure.u for figure in points.sources), float(np.std(ohms))),
    )


def _complaints(
    fit: LimitFit, losses: LossFit | None, limits: Sequence[LimitPoint], *, checked: bool
) -> tuple[Notice, ...]:
    told = [
        Notice(code="model-not-fixed", message=f"{prior.name}: {prior.complaint}", hint=_between(prior))
        for prior in fit.priors
        if not prior.stated
    ]
    told += [
        Notice(
            code="model-contradicted",
            message=f"{prior.name} comes out at {getattr(fit.limit, prior.name):.4g}; fed straight from the supply it "
            f"would be {prior.low:.4g} to {prior.high:.4g}.",
            hint="The stage is not bridged straight across the supply, or a scale or a supply voltage is wrong.",
        )
        for prior in fit.priors
        if prior.stated and abs(getattr(fit.limit, prior.name) - prior.middle) > _CONTRADICTED * prior.u
    ]
    if fit.scatter > _CONTRADICTED_SCATTER and any(prior.stated for prior in fit.priors):
        told.append(
            Notice(
                code="model-contradicted",
                message=f"A stage fed straight from the supply gives other powers, {100 * fit.scatter:.0f} % off.",
                hint="The stage is not bridged straight across the supply, or a scale or a supply voltage is wrong.",
            )
        )
    if any(point.thd_n is None for point in limits):
        told.append(
            Notice(
                code="model-limit-unknown",
                message="Readings state no distortion: the model holds for the limit at which they were taken.",
                hint="Type the distortion in thd_percent, or capture ramps.",
            )
        )
    if losses is None:
        told.append(
            Notice(
                code="model-no-losses",
                message="No ramp holds supply voltage and current: current, efficiency and heat cannot be predicted.",
                hint="Record the supply's voltage and current in the ramps.",
            )
        )
    loads = distinct([point.load_ohm for point in limits], SAME_LOAD)
    if len(loads) >= 2 and not checked:
        known = "rail and resistance" if fit.limit.limit_a is None else "rail, resistance and current limit"
        told.append(
            Notice(
                code="model-unchecked",
                message=f"{len(loads)} loads fix {known} exactly: nothing shows how well the model predicts another.",
                hint="A ramp into one more load checks the model and states its own error.",
            )
        )
    return tuple(told)


def _between(prior: Prior) -> str:
    return f"Taken for anything from {prior.low:g} to {prior.high:g}; predictions are widened by it."
