"""A calibration as text: the line, how far each point lies from it, and what is doubtful."""

from wattproof.bench import Calibration
from wattproof.quantity import value_text


def calibration_text(line: Calibration) -> str:
    """Write a fitted line in words and numbers.

    Parameters
    ----------
    line : Calibration

    Returns
    -------
    str
        Scale and offset with their 95 % half widths, the residuals point by point, and the notices.
    """
    k = 1.959964
    scale_half, offset_half = (
        k * line.stored_scale_u(swings=False) * abs(line.scale),
        k * line.stored_offset_u(swings=False),
    )
    lines = [
        f"Line through {len(line.readings)} points: reference = offset + scale x reading",
        f"  scale   {_pair(line.scale, scale_half)}   per unit of the file "
        f"(relative standard uncertainty {line.scale_u:.2e})",
        f"  offset  {_pair(line.offset, offset_half)}   (standard uncertainty {line.offset_u:.3g})",
        f"  scatter about the line {line.residual_sd:.3g}, {line.dof} degrees of freedom; "
        f"correlation of scale and offset {line.correlation:.3f}",
        "  ± spans 95 %, widened for the few degrees of freedom",
        "",
        f"  {'reading':>12} {'reference':>12} {'off the line':>14}",
    ]
    lines += [
        f"  {reading:>12.6g} {reference:>12.6g} {residual:>14.3g}"
        for reading, reference, residual in zip(line.readings, line.references, line.residuals, strict=True)
    ]
    lines += [f"  ! {notice.code}: {notice.message} {notice.hint}" for notice in line.notices]
    return "\n".join(lines)


def _pair(value: float, half: float) -> str:
    if half <= 0:
        return value_text(value)
    return f"{value_text(value, uncertainty=half)} ± {value_text(half, uncertainty=half)}"
