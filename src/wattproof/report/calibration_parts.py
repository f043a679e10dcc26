"""A calibration for a page: its words, its points, and the line with what is left of each point drawn."""

from dataclasses import dataclass

from wattproof.bench import Calibration
from wattproof.quantity import value_text
from wattproof.report import drawing, palette
from wattproof.report.drawing import Spec
from wattproof.report.svg import draw_svg

_K95 = 1.959964
_WIDE_PX = 460
_HIGH_PX = (180, 110)


@dataclass(frozen=True, kw_only=True)
class CalibrationParts:
    """A fitted line in pieces.

    Attributes
    ----------
    facts : tuple of (str, str)
    points : tuple of (str, str, str)
        Reference, reading, how far off the line.
    notices : tuple of (str, str)
        What is doubtful, and what to do.
    svg : str
        The drawing.
    """

    facts: tuple[tuple[str, str], ...]
    points: tuple[tuple[str, str, str], ...]
    notices: tuple[tuple[str, str], ...]
    svg: str


def calibration_parts(line: Calibration, *, unit: str) -> CalibrationParts:
    """Write and draw a fitted line.

    Parameters
    ----------
    line : Calibration
    unit : str
        Of the reference.
    """
    scale_half = _K95 * line.stored_scale_u(swings=False) * abs(line.scale)
    offset_half = _K95 * line.stored_offset_u(swings=False)
    return CalibrationParts(
        facts=(
            ("Scale", f"{_pair(line.scale, scale_half)} {unit} for 1 in the file"),
            ("Offset", f"{_pair(line.offset, offset_half)} {unit}"),
            ("Scatter", f"{line.residual_sd:.3g} {unit} about the line, {line.dof} degrees of freedom"),
        ),
        points=tuple(
            (f"{reference:.6g}", f"{reading:.6g}", f"{residual:+.2g}")
            for reference, reading, residual in zip(line.references, line.readings, line.residuals, strict=True)
        ),
        notices=tuple((notice.message, notice.hint) for notice in line.notices),
        svg=draw_svg(calibration_chart(line, unit=unit)),
    )


def calibration_chart(line: Calibration, *, unit: str) -> Spec:
    """Draw reference over reading with the fitted line, and under it how far each point lies off."""
    low, high = min(line.readings), max(line.readings)
    ends = [(x, line.offset + line.scale * x) for x in (low, high)]
    across = drawing.linear_axis("reading, in the file's numbers", line.readings)
    up = drawing.linear_axis(f"reference, {unit}", line.references)
    off = drawing.linear_axis(f"off the line, {unit}", [*line.residuals, -line.residual_sd, line.residual_sd, 0.0])
    points = list(zip(line.readings, line.references, strict=True))
    left = list(zip(line.readings, line.residuals, strict=True))
    zero: Spec = {
        "data": {"values": [{"y": 0}]},
        "mark": {"type": "rule", "stroke": palette.LIMIT.light},
        "encoding": {"x": {"value": 0}, "x2": {"value": "width"}},
    }
    fitted = [drawing.line(ends, 0), *drawing.marks(points, points, 0)[1:]]
    panels = [
        drawing.panel(across, up, fitted, width_px=_WIDE_PX, height_px=_HIGH_PX[0], x_named=False),
        drawing.panel(across, off, [zero, *drawing.marks(left, left, 0)[1:]], width_px=_WIDE_PX, height_px=_HIGH_PX[1]),
    ]
    told = f"A line through {len(points)} points, and how far each lies off it, in {unit}."
    return drawing.chart("The line through the points, and what is left", told, panels)


def _pair(value: float, half: float) -> str:
    if half <= 0:
        return value_text(value)
    return f"{value_text(value, uncertainty=half)} ± {value_text(half, uncertainty=half)}"
