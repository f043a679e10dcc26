"""Powers at the limits of distortion, sorted as a report tells them: by load, outputs driven and limit."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from wattproof.measure import CaptureResult, Figure
from wattproof.publish.places import number
from wattproof.report import limit_percent

_SAME_LOAD = 0.1
_CLIPPING = "power_at_clip_onset"
_USUAL = 1.0


@dataclass(frozen=True, kw_only=True)
class LimitPower:
    """A power with the limit of distortion it was read at, %; None where clipping begins or nothing is known of it."""

    figure: Figure
    result: CaptureResult
    limit_percent: float | None
    driven: int

    @property
    def load_ohm(self) -> float:
        """Load, ohm; 0 where it is not known."""
        return number(self.figure, "load_ohm") or 0.0

    @property
    def clipping(self) -> bool:
        """True: the power where clipping begins."""
        return self.figure.name == _CLIPPING


def limit_powers(results: Iterable[CaptureResult]) -> list[LimitPower]:
    """Give the powers at limits of all ramps, highest load first."""
    found = [power for result in results if result.kind == "ramp" for power in _of_ramp(result)]
    groups = by_load(sorted(found, key=lambda one: -one.load_ohm))
    return [power for group in groups for power in sorted(group, key=_within_load)]


def typed_powers(results: Iterable[CaptureResult]) -> list[LimitPower]:
    """Give the powers that were typed from meters, with the distortion that was read beside them."""
    found = []
    for result in results:
        if result.kind != "readings":
            continue
        for figure in result.figures:
            if figure.name == "load_power" or (figure.name == "load_power_v2r" and not _true_power(result, figure)):
                thd = result.figure("thd_n", figure.output)
                percent = None if thd is None else 100 * thd.value
                found.append(LimitPower(figure=figure, result=result, limit_percent=percent, driven=1))
    return sorted(found, key=lambda one: -one.load_ohm)


def _true_power(result: CaptureResult, figure: Figure) -> bool:
    return result.figure("load_power", figure.output) is not None


def _of_ramp(result: CaptureResult) -> list[LimitPower]:
    named = [f for f in result.figures if f.name == _CLIPPING or limit_percent(f.name) is not None]
    driven = len({figure.output for figure in named})
    return [
        LimitPower(figure=figure, result=result, limit_percent=limit_percent(figure.name), driven=driven)
        for figure in named
    ]


def _within_load(power: LimitPower) -> tuple[int, str, str, float]:
    return power.driven, power.result.file, power.figure.output or "", power.limit_percent or 0.0


def by_load(powers: Sequence[LimitPower]) -> list[list[LimitPower]]:
    """Gather powers whose loads are one nominal load."""
    groups: list[list[LimitPower]] = []
    for power in powers:
        if groups and power.load_ohm > 0 and groups[-1][0].load_ohm / power.load_ohm - 1 < _SAME_LOAD:
            groups[-1].append(power)
        else:
            groups.append([power])
    return groups


def leading_limit(powers: Sequence[LimitPower]) -> float | None:
    """Give the limit that a summary tells: 1 %, else the lowest that was reached; None where none was."""
    limits = sorted({power.limit_percent for power in powers if power.limit_percent is not None})
    return _USUAL if _USUAL in limits else next(iter(limits), None)


def weakest(powers: Sequence[LimitPower]) -> LimitPower:
    """Give the weakest output of those with the most driven at once."""
    most = max(power.driven for power in powers)
    return min((power for power in powers if power.driven == most), key=lambda one: one.figure.value)
