"""Measured powers that a rated one can be weighed against, and which of them was taken under the nearest conditions."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf, log, sqrt
from typing import Literal

from wattproof.judge.model import Reading
from wattproof.measure import CaptureResult, Figure
from wattproof.quantity import Ledger, Quantity

Bound = Literal["", "at least", "at most"]
_LIMIT = re.compile(r"power_at_thd_(\d+(?:_\d+)?)$")
_MOMENT_S = 1.0
_SECOND_S = 1.0
"""Length of the frames that a hold is read in."""
_SAME_LIMIT = 0.02
"""Limits of distortion that differ by less than this share are the same."""
_NEAR_LIMIT = 0.1
"""A tone whose distortion is off the limit by no more than this share (logarithm) stands at it."""
_LIMIT_SLOPE = 0.15
"""Power at a limit changes by less than this for one of the limit, relative: 0.09 for hard clipping from 1 to 10 %."""
_NO_DISTORTION = 1e-9
_LIMIT_LINE = "distortion a little off the limit"


@dataclass(frozen=True, kw_only=True)
class MeasuredPower:
    """A measured power with what it was measured under.

    Attributes
    ----------
    power : Quantity, W
    name : str
        Of the figure.
    file, origin : str
        Capture; and span of time in it.
    basis : str
        "v*i" or "v^2/r": how the load enters.
    load_ohm, supply_v : float
    supply : Quantity or None, V
        A supply voltage of the same channel, for its relative uncertainty.
    thd_n : float, V/V
        Limit at which it was read; for a bound the distortion that was measured.
    driven : int
        Outputs driven at once.
    bound : "", "at least" or "at most"
        Power at the wanted limit would be at least, or at most, this.
    said : str
        What more there is to say: "the weakest of 4 outputs".
    """

    power: Quantity
    name: str
    file: str
    origin: str
    basis: str
    load_ohm: float
    supply_v: float
    supply: Quantity | None
    thd_n: float
    driven: int
    frequency_hz: float | None = None
    bound: Bound = ""
    said: str = ""
    seconds: float | None = None

    @property
    def where(self) -> str:
        """Capture and conditions in words."""
        told = [
            self.origin,
            f"{self.load_ohm:.4g} ohm",
            f"{self.supply_v:.2f} V",
            f"{100 * self.thd_n:.3g} % distortion",
        ]
        if self.frequency_hz is not None:
            told.append(f"{self.frequency_hz:g} Hz")
        return ", ".join([*told, *([self.said] if self.said else [])])


def measured_powers(results: Sequence[CaptureResult], reading: Reading) -> list[MeasuredPower]:
    """Collect all powers that bear on a reading: ramps at a limit, tones and holds as bounds."""
    found: list[MeasuredPower] = []
    for result in results:
        supply = _supply_of(result) or next((one for one in map(_supply_of, results) if one is not None), None)
        found += _at_limits(result, supply, reading)
        found += _of_tones(result, supply, reading)
    return [power for power in found if power.driven == (reading.driven or power.driven)]


def nearest(powers: Sequence[MeasuredPower], reading: Reading) -> MeasuredPower | None:
    """Give the power measured under the nearest conditions; one that only bounds the rating where there is no other.

    Load and supply voltage count by their ratio to the wanted ones, the supply twice as power goes with its square.
    """
    return min(powers, key=lambda power: _distance(power, reading), default=None)


def _distance(power: MeasuredPower, reading: Reading) -> tuple[bool, float]:
    away = 0.0
    if reading.load_ohm is not None:
        away += abs(log(power.load_ohm / reading.load_ohm))
    if reading.supply_v is not None:
        away += 2 * abs(log(power.supply_v / reading.supply_v))
    if reading.thd_n is not None:
        away += 0.2 * abs(log(power.thd_n / reading.thd_n))
    if reading.frequency_hz is not None and power.frequency_hz:
        away += 0.05 * abs(log(power.frequency_hz / reading.frequency_hz))
    if reading.seconds is not None:
        away += abs(log((power.seconds or 1.0) / reading.seconds))
    return bool(power.bound) and reading.seconds is None, away


def same_limit(first: float, second: float) -> bool:
    """Say whether two limits of distortion are the same."""
    return abs(log(first / second)) < _SAME_LIMIT


def number_in(figure: Figure, key: str) -> float | None:
    """Give a condition that is a number, else None."""
    value = figure.conditions.get(key)
    return float(value) if isinstance(value, int | float) else None


def _supply_of(result: CaptureResult) -> Quantity | None:
    return result.figure("supply_voltage", None) or result.figure("supply_voltage_min", None)


def _at_limits(result: CaptureResult, supply: Quantity | None, reading: Reading) -> Iterator[MeasuredPower]:
    """Give one power a limit: of the weakest output, or of all of them added.

    A ramp is at its limit for moments: of a power that is rated for longer it only says what it is at most, and that
    only at the rated limit or past it.
    """
    bound: Bound = "at most" if (reading.seconds or 0.0) > _MOMENT_S else ""
    by_name: dict[str, list[Figure]] = {}
    for figure in result.figures:
        if _LIMIT.match(figure.name) and figure.output is not None and figure.value > 0:
            by_name.setdefault(figure.name, []).append(figure)
    driven = len({figure.output for figures in by_name.values() for figure in figures})
    for figures in by_name.values():
        if reading.added and len(figures) != driven:
            continue
        weakest = min(figures, key=lambda figure: figure.value)
        said = f"the weakest of {driven} outputs, {weakest.output}" if driven > 1 else ""
        power = _power(weakest, supply, thd_n=number_in(weakest, "thd_n"), driven=driven, bound=bound, said=said)
        if power is not None and not (bound and _short_of(power.thd_n, reading.thd_n)):
            yield _with_sum(power, figures) if reading.added else power


def _short_of(thd_n: float, limit: float | None) -> bool:
    """Say whether a limit of distortion lies below the wanted one."""
    return limit is not None and thd_n < limit and not same_limit(thd_n, limit)


def _with_sum(power: MeasuredPower, figures: Sequence[Figure]) -> MeasuredPower:
    ledger = Ledger()
    total = sum((ledger.restore(figure) for figure in figures[1:]), start=ledger.restore(figures[0]))
    told = {**vars(power), "power": ledger.quantity(total, unit="W"), "said": f"{len(figures)} outputs added"}
    return MeasuredPower(**told)


def _of_tones(result: CaptureResult, supply: Quantity | None, reading: Reading) -> Iterator[MeasuredPower]:
    """Give powers of steady tones, typed rows and holds: at the wanted limit of distortion, below it, or above it."""
    named = [figure for figure in result.figures if _is_tone(figure, reading) and figure.output is not None]
    powers = [figure for figure in named if _away_s(figure, reading) < inf]
    driven = len({figure.output for figure in powers})
    if not powers or reading.added:
        return
    weakest = min(powers, key=lambda figure: (_away_s(figure, reading), figure.value))
    thd = _distortion(result, weakest)
    if thd is None or reading.thd_n is None:
        return
    low, value, high = thd
    bound: Bound = "at least" if high <= reading.thd_n else "at most"
    off = max(abs(log(one / reading.thd_n)) for one in thd)
    if off <= _NEAR_LIMIT:
        weakest, bound, value = _doubted(weakest, off * _LIMIT_SLOPE / sqrt(3)), "", reading.thd_n
    elif low < reading.thd_n < high:
        return
    power = _power(weakest, supply, thd_n=value, driven=driven, bound=bound, seconds=number_in(weakest, "at_s"))
    if power is not None:
        yield power


def _distortion(result: CaptureResult, power: Figure) -> tuple[float, float, float] | None:
    """Give the distortion at a tone's power: low, value and high; of a hold in the second that the power is read in.

    The figure of a hold is its worst second, which is the first as a rule: there the tone is switched on.
    """
    at_s = number_in(power, "at_s")
    if at_s is not None:
        middle_s = at_s + _SECOND_S / 2
        points = [(abs(p.t_s - middle_s), p.thd_n) for p in result.curve if p.output == power.output and p.thd_n]
        _, value = min(points, default=(inf, None))
        return None if value is None else (value, value, value)
    thd = result.figure("thd_n", power.output) or result.figure("thd_f", power.output)
    if thd is None or thd.value <= 0:
        return None
    low, high = thd.interval95
    return max(low, _NO_DISTORTION), thd.value, high


def _doubted(figure: Figure, u: float) -> Figure:
    """Give a figure with one more relative standard uncertainty."""
    if u == 0:
        return figure
    ledger = Ledger()
    size = figure.value * u
    number = ledger.restore(figure) + ledger.source(
        f"verdict: {_LIMIT_LINE}", 0.0, size, label=_LIMIT_LINE, kind="B", dof=inf
    )
    return figure.model_copy(update=dict(ledger.quantity(number, unit=figure.unit)))


def _is_tone(figure: Figure, reading: Reading) -> bool:
    return figure.name == ("load_power" if reading.seconds is None else "sustained_power") and figure.value > 0


def _away_s(figure: Figure, reading: Reading) -> float:
    """Seconds by which a sustained power was taken earlier than rated; later ones prove it too."""
    at_s = number_in(figure, "at_s")
    if reading.seconds is None or at_s is None:
        return 0.0
    return at_s - reading.seconds if at_s >= reading.seconds else inf


def _power(
    figure: Figure,
    supply: Quantity | None,
    *,
    thd_n: float | None,
    driven: int,
    bound: Bound = "",
    said: str = "",
    seconds: float | None = None,
) -> MeasuredPower | None:
    load_ohm, supply_v = number_in(figure, "load_ohm"), number_in(figure, "supply_v")
    if load_ohm is None or supply_v is None or thd_n is None:
        return None
    return MeasuredPower(
        power=Quantity(**figure.model_dump(include=set(Quantity.model_fields))),
        name=figure.name,
        file=figure.origin.partition(" ")[0],
        origin=figure.origin,
        basis=str(figure.conditions.get("basis", "v*i")),
        load_ohm=load_ohm,
        supply_v=supply_v,
        supply=supply,
        thd_n=thd_n,
        driven=driven,
        frequency_hz=number_in(figure, "frequency_hz"),
        bound=bound,
        said=said,
        seconds=seconds,
    )
