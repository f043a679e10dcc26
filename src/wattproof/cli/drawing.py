"""Drawings made of letters: where the supply's power goes, and a curve of distortion against power."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log10

LOAD_MARK, HEAT_MARK, ROOM_MARK = "█", "▒", "·"
LEAST_FULL_W = 1.0
"""Less than this is noise, of which no strip is drawn full, W."""

DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
"""Which bit of a braille letter is the dot in a row and column of its four by two."""

BRAILLE = 0x2800
THD_FROM, THD_TO = 1e-4, 0.3
DECADES_OF_POWER = 3


def flow_strip(*, output_w: float, supply_w: float, full_w: float, width: int) -> str:
    """Draw the supply's power as a strip: what the load gets, what stays as heat, and the room up to `full_w`.

    Parameters
    ----------
    output_w, supply_w, full_w : float, W
        Into the loads, from the supply, and the power at which the strip is full.
    width : int
        Letters.
    """
    most_w = max(full_w, supply_w, output_w, LEAST_FULL_W)
    to_load = round(width * max(0.0, output_w) / most_w)
    to_heat = round(width * max(0.0, supply_w - output_w) / most_w)
    to_heat = min(to_heat, width - to_load)
    return LOAD_MARK * to_load + HEAT_MARK * to_heat + ROOM_MARK * (width - to_load - to_heat)


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Points of a curve so far: power in watt, THD+N as a ratio."""

    points: tuple[tuple[float, float], ...] = ()

    def with_point(self, output_w: float, thd_n: float) -> "Curve":
        """Add a point; points without power or distortion have no place on it."""
        return Curve(points=(*self.points, (output_w, thd_n))) if output_w > 0 and thd_n > 0 else self


def curve_lines(curve: Curve, *, full_w: float, width: int, height: int) -> list[str]:
    """Draw THD+N against power, both logarithmic, with marks at the sides.

    Parameters
    ----------
    curve : Curve
    full_w : float, W
        Power at the right edge, if no point lies beyond it.
    width, height : int
        Letters of the field between the marks.
    """
    most_w = max([full_w, *(power_w for power_w, _ in curve.points)]) * 1.1
    rows = _dots(curve.points, most_w=most_w, width=width, height=height)
    marks = {_row(thd_n, height): f"{100 * thd_n:g} %" for thd_n in (0.1, 0.01, 0.001)}
    lines = [f"{marks.get(n, ''):>6} │{row}" for n, row in enumerate(rows)]
    left, right = f"{_watts(most_w / 10**DECADES_OF_POWER)}", f"{_watts(most_w)}"
    return [*lines, f"{'':>6} └{'─' * width}", f"{'':>8}{left}{right:>{width - len(left)}}"]


def _row(thd_n: float, height: int) -> int:
    return _place(thd_n, THD_FROM, THD_TO, 4 * height) // 4


def _place(value: float, low: float, high: float, n_dots: int) -> int:
    """Give the dot of a value on a logarithmic scale, from the top."""
    share = log10(min(max(value, low), high) / low) / log10(high / low)
    return min(n_dots - 1, int((1 - share) * n_dots))


def _dots(points: Sequence[tuple[float, float]], *, most_w: float, width: int, height: int) -> list[str]:
    field = [[BRAILLE] * width for _ in range(height)]
    for power_w, thd_n in points:
        if power_w < most_w / 10**DECADES_OF_POWER:
            continue
        across = 2 * width - 1 - _place(power_w, most_w / 10**DECADES_OF_POWER, most_w, 2 * width)
        down = _place(thd_n, THD_FROM, THD_TO, 4 * height)
        field[down // 4][across // 2] |= DOTS[down % 4][across % 2]
    return ["".join(chr(letter) for letter in row) for row in field]


def _watts(power_w: float) -> str:
    return f"{power_w:.0f} W" if power_w >= 10 else f"{power_w:.2g} W"
