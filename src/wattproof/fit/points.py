"""What a fit is made of: points at a limit of distortion, and points of the losses, taken from measured captures."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt

from wattproof.measure import CaptureResult, Figure

_LIMIT = re.compile(r"power_at_thd_(\d+(?:_\d+)?)$")
_LEAST_THD = 0.005
"""Below half a per cent other errors than the limit's show in the distortion."""
_LEAST_SHARE = 0.02
"""Frames under this share of the highest power say little of the losses that go with the current."""
_SAME_LOAD = 0.05
_SAME_SUPPLY = 0.01
_SWITCHED_ON = 0.5
"""Below this share of the lowest supply voltage at a limit the amplifier was off: it is the recorder's own floor."""


@dataclass(frozen=True, kw_only=True)
class GainPoint:
    """An output's small-signal gain into a load, from a ramp."""

    output: str
    gain: Figure
    load_ohm: float
    frequency_hz: float | None
    driven: int


@dataclass(frozen=True, kw_only=True)
class LimitPoint:
    """An output at a limit of distortion, into a resistive load.

    Attributes
    ----------
    power : Figure, W
        With its budget, through which points are correlated.
    load_ohm, supply_v : float
        As they were at that moment.
    thd_n : float or None, V/V
        The limit; None for typed readings that do not say it.
    driven : int
        Outputs driven at once.
    """

    output: str
    power: Figure
    load_ohm: float
    supply_v: float
    thd_n: float | None
    driven: int
    frequency_hz: float | None
    origin: str

    @property
    def voltage_v_rms(self) -> float:
        """R.m.s. volts at the load."""
        return sqrt(self.power.value * self.load_ohm)

    def square_parts(self) -> dict[str, float]:
        """Give what each source of doubt moves the squared voltage by, relative and signed.

        The limit is one of voltage: a power from volts and amperes moves with both scales, the volts behind it with
        one. ``ln V² = ln P + ln R``, and where R was found as V/I as well, a scale of the volts counts twice there and
        one of the amperes not at all; where P is V²/R, the load's resistance drops out.
        """
        parts: dict[str, float] = {}
        by_amperes = str(self.power.conditions.get("basis", "")).startswith("v*i")
        for line in self.power.budget:
            moved = line.sign * line.u / self.power.value
            if "load_voltage" in line.source:
                moved *= 2.0 if by_amperes else 1.0
            elif "load_current" in line.source or ": load " in line.source:
                continue
            parts[line.source] = parts.get(line.source, 0.0) + moved
        return parts


@dataclass(frozen=True, kw_only=True)
class LossPoint:
    """What the whole amplifier draws and gives at one moment.

    Attributes
    ----------
    drawn_w, given_w : float
        From the supply, and into all loads.
    sum_a, sum_a2 : float
        R.m.s. load currents of all outputs added, A; and their squares added, A².
    supply_v : float
        Mean at the terminals, V.
    own_u : float, relative
        Of `drawn_w`, where one moment alone has it: a typed row's last digits.
    """

    drawn_w: float
    given_w: float
    sum_a: float
    sum_a2: float
    supply_v: float
    group: str
    own_u: float = 0.0


@dataclass(frozen=True, kw_only=True)
class IdlePoint:
    """What is drawn without drive; supply_v is None where it was not recorded."""

    power: Figure
    supply_v: float | None


@dataclass(frozen=True, kw_only=True)
class Points:
    """All that one fit uses.

    Attributes
    ----------
    drawn_u, given_u : float, relative
        Standard uncertainties of supply and load power that all points of the losses share.
    supply_u : float, relative
        Of the supply voltage at the terminals, shared by all points.
    """

    limits: tuple[LimitPoint, ...]
    losses: tuple[LossPoint, ...]
    idle: tuple[IdlePoint, ...] = ()
    gains: tuple[Figure, ...] = ()
    sources: tuple[Figure, ...] = ()
    drawn_u: float = 0.0
    given_u: float = 0.0
    supply_u: float = 0.0


def points_of(results: Sequence[CaptureResult]) -> Points:
    """Collect the points of captures and typed rows; what a capture does not hold is left out.

    Typed rows that state no distortion count only where nothing states any: nobody says that they are at a limit.
    """
    found = [point for result in results for point in _limit_points(result)]
    stated = [point for point in found if point.thd_n is not None]
    ramps = [result for result in results if result.kind == "ramp"]
    losses = [point for result in ramps for point in _loss_points(result)]
    named = [figure for result in results for figure in result.figures]
    return Points(
        limits=tuple(stated or _highest(found)),
        losses=tuple(losses or [point for result in results for point in _typed_loss(result)]),
        idle=tuple(_idle(results, least_v=_SWITCHED_ON * min((point.supply_v for point in found), default=0.0))),
        gains=tuple(figure for figure in named if figure.name == "gain"),
        sources=tuple(
            figure for figure in named if figure.name == "source_resistance" and "emf_v" in figure.conditions
        ),
        drawn_u=max(_shared(named, "efficiency", "supply_"), _shared(named, "supply_power", "scale of supply_")),
        given_u=_shared(named, "power_at_thd_1", "load"),
        supply_u=max(_shared(named, name, "supply_voltage") for name in ("efficiency", "supply_power")),
    )


def _highest(points: Sequence[LimitPoint]) -> list[LimitPoint]:
    """Keep of rows that state no limit those that nothing shows to be under it.

    A row is on the way up where the same output gave more into the same load from no higher a supply voltage.
    """
    return [
        point
        for point in points
        if not any(
            other.output == point.output
            and abs(other.load_ohm / point.load_ohm - 1) < _SAME_LOAD
            and other.power.value > point.power.value
            and other.supply_v <= point.supply_v * (1 + _SAME_SUPPLY)
            for other in points
        )
    ]


def gain_points(results: Sequence[CaptureResult]) -> list[GainPoint]:
    """Take the small-signal gains of ramps, each with the load that its points at a limit were read at."""
    found = []
    for result in results:
        limits = _limit_points(result) if result.kind == "ramp" else []
        for output in dict.fromkeys(point.output for point in limits):
            point = next(one for one in limits if one.output == output)
            gain = result.figure("gain", output)
            if gain is not None and gain.value > 0:
                found.append(
                    GainPoint(
                        output=output, gain=gain, load_ohm=point.load_ohm, frequency_hz=point.frequency_hz,
                        driven=point.driven,
                    )
                )  # fmt: skip
    return found


def _limit_points(result: CaptureResult) -> list[LimitPoint]:
    if result.kind == "readings":
        return _typed_point(result)
    found = [figure for figure in result.figures if _LIMIT.match(figure.name) and figure.output is not None]
    driven = len({figure.output for figure in found})
    points = (_limit_point(figure, driven) for figure in found)
    return [point for point in points if point is not None and (point.thd_n or 0.0) >= _LEAST_THD]


def _limit_point(figure: Figure, driven: int) -> LimitPoint | None:
    stated = (figure.conditions.get(key) for key in ("load_ohm", "supply_v", "thd_n"))
    load_ohm, supply_v, thd_n = (float(value) if isinstance(value, int | float) else None for value in stated)
    if load_ohm is None or supply_v is None or thd_n is None or figure.output is None or figure.value <= 0:
        return None
    tone_hz = figure.conditions.get("frequency_hz")
    return LimitPoint(
        output=figure.output,
        power=figure,
        load_ohm=load_ohm,
        supply_v=supply_v,
        thd_n=thd_n,
        driven=driven,
        frequency_hz=float(tone_hz) if isinstance(tone_hz, int | float) else None,
        origin=figure.origin,
    )


def _typed_point(result: CaptureResult) -> list[LimitPoint]:
    """Take a typed row for a point at a limit: its own distortion, where one was typed and says that it is at one."""
    powers = _typed_powers(result)
    points = []
    for figure in powers:
        thd = result.figure("thd_n", figure.output)
        if thd is not None and thd.value < _LEAST_THD:
            continue
        stated = {**figure.conditions, "thd_n": thd.value if thd is not None else 0.0}
        point = _limit_point(figure.model_copy(update={"conditions": stated}), len(powers))
        if point is not None:
            points.append(point if thd is not None else replace(point, thd_n=None))
    return points


def _typed_powers(result: CaptureResult) -> list[Figure]:
    """Give each output's power: from volts and amperes or a wattmeter, else from volts and the load's ohms."""
    found: dict[str, Figure] = {}
    for name in ("load_power_v2r", "load_power"):
        found |= {figure.output: figure for figure in result.figures if figure.name == name and figure.output}
    return list(found.values())


def _typed_loss(result: CaptureResult) -> list[LossPoint]:
    powers = _typed_powers(result)
    volts, drawn = result.figure("supply_voltage", None), result.figure("supply_power", None)
    if result.kind != "readings" or not powers or volts is None or drawn is None or drawn.value <= 0:
        return []
    ohms = [figure.conditions.get("load_ohm") for figure in powers]
    amps = [sqrt(p.value / ohm) for p, ohm in zip(powers, ohms, strict=True) if isinstance(ohm, int | float)]
    if len(amps) < len(powers):
        return []
    return [
        LossPoint(
            drawn_w=drawn.value,
            given_w=sum(figure.value for figure in powers),
            sum_a=sum(amps),
            sum_a2=sum(ampere**2 for ampere in amps),
            supply_v=volts.value,
            group=result.file,
            own_u=drawn.u / drawn.value,
        )
    ]


def _loss_points(result: CaptureResult) -> list[LossPoint]:
    """Sum the outputs of each frame; the supply's columns are the same for all of them."""
    by_time: dict[float, list[tuple[float, float]]] = {}
    drawn: dict[float, tuple[float, float]] = {}
    for point in result.curve:
        known = (point.load_power, point.load_current_rms, point.supply_power, point.supply_voltage)
        power_w, current_a, supply_w, supply_v = known
        if power_w is None or current_a is None or supply_w is None or supply_v is None:
            continue
        by_time.setdefault(point.t_s, []).append((power_w, current_a))
        drawn[point.t_s] = (supply_w, supply_v)
    highest_w = max((sum(power for power, _ in outputs) for outputs in by_time.values()), default=0.0)
    return [
        LossPoint(
            drawn_w=drawn[t_s][0],
            given_w=sum(power for power, _ in outputs),
            sum_a=sum(amps for _, amps in outputs),
            sum_a2=sum(amps**2 for _, amps in outputs),
            supply_v=drawn[t_s][1],
            group=result.file,
        )
        for t_s, outputs in by_time.items()
        if sum(power for power, _ in outputs) > _LEAST_SHARE * highest_w
    ]


def _idle(results: Sequence[CaptureResult], *, least_v: float) -> list[IdlePoint]:
    """Powers drawn without drive from a supply that is on: of idle captures and of typed rows that say idle."""
    found = []
    for result in results:
        volts = result.figure("supply_voltage", None)
        if volts is not None and volts.value < least_v:
            continue
        found += [
            IdlePoint(power=figure, supply_v=None if volts is None else volts.value)
            for figure in result.figures
            if figure.name == "supply_power" and "idle" in (result.kind, figure.conditions.get("kind"))
        ]
    return found


def _shared(figures: Sequence[Figure], name: str, of: str) -> float:
    """Give the relative standard uncertainty that the calibrations of some channels (type B) bring to a figure.

    The median over its occurrences.
    """
    shares = sorted(
        sqrt(sum(line.u**2 for line in figure.budget if line.type == "B" and of in line.source)) / abs(figure.value)
        for figure in figures
        if figure.name == name and figure.value
    )
    return shares[len(shares) // 2] if shares else 0.0
