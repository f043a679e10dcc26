"""What keeps a calibration from being used, and what makes it doubtful."""

from collections.abc import Sequence
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import Notice, SettingsError

Real = NDArray[np.float64]
_ROUNDING = 1e-12
"""Residuals below this share of the largest reference are the computer's rounding, no finding about the bench."""

LARGEST_RELATIVE_U = 0.5
"""Nobody uses a scale that may well be off by half: such a number is a percentage."""

_SMALLEST = 1e-100
"""Spans below this lose themselves when squared."""


def refuse_pairs(
    pairs: Sequence[tuple[float, float]], u_reference: float, u_reference_relative: float
) -> tuple[Real, Real]:
    """Give references and readings, each of shape (n_pairs,), or refuse what no line can be drawn through.

    Raises
    ------
    SettingsError
        Too few pairs, numbers that are not finite, no spread, negative uncertainties.
    """
    if len(pairs) < 3:
        raise SettingsError(
            "Cannot fit a calibration line.",
            why=f"{len(pairs)} point{'s' if len(pairs) != 1 else ''} given; two fix a line, the third shows its doubt",
            hint="Take 3 points or more; 5 to 11, spread evenly over the range and on both sides of zero, are better.",
        )
    table = np.asarray(pairs, dtype=np.float64)
    if not np.isfinite(table).all():
        raise SettingsError(
            "Cannot fit a calibration line.",
            why="a reference or a reading is not a finite number",
            hint="Leave out the points that were not read.",
        )
    for name, u in (("u_reference", u_reference), ("u_reference_relative", u_reference_relative)):
        if not (isfinite(u) and u >= 0):
            raise SettingsError(f"{name} is {u:g}.", why="a standard uncertainty is 0 or more", hint=f"Mend {name}.")
    if u_reference_relative >= LARGEST_RELATIVE_U:
        raise SettingsError(
            f"u_reference_relative is {u_reference_relative:g}.",
            why=f"it is a ratio, and would be {100 * u_reference_relative:g} %",
            hint=f"{u_reference_relative:g} % is written {u_reference_relative / 100:g}.",
        )
    references, readings = table[:, 0], table[:, 1]
    _refuse_no_spread("readings of the channel", readings)
    _refuse_no_spread("reference readings", references)
    return references, readings


def _refuse_no_spread(name: str, values: Real) -> None:
    span = float(np.ptp(values))
    if span <= max(_ROUNDING * float(np.max(np.abs(values))), _SMALLEST):
        raise SettingsError(
            "Cannot fit a calibration line.",
            why=f"the {name} are all {values[0]:g}: there is no slope to find",
            hint="Take points spread over the range that the channel will be used in.",
        )


def refuse_flat(scale: float, readings: Real, references: Real) -> None:
    """Refuse a line without slope: the channel does not see what the reference sees.

    Raises
    ------
    SettingsError
        The reading does not follow the reference at all.
    """
    if abs(scale) * float(np.ptp(readings)) <= _ROUNDING * float(np.ptp(references)):
        raise SettingsError(
            "Cannot fit a calibration line.",
            why="the readings do not follow the reference: the slope is 0",
            hint="Check that reference and channel saw the same signal, and that the pairs belong together.",
        )


def refuse_loose(stored_scale_u: float) -> None:
    """Refuse a scale that no bench file would take: its points hardly settle it, or not even its sign.

    Raises
    ------
    SettingsError
        The relative uncertainty that would be written reaches a half.
    """
    if stored_scale_u >= LARGEST_RELATIVE_U:
        raise SettingsError(
            "The points do not settle a scale.",
            why=f"its relative uncertainty, widened for the few points, is {stored_scale_u:.2g}; "
            f"under {LARGEST_RELATIVE_U:g} is of use",
            hint="Check that reference and reading of each pair belong together, and take 5 points or more over a "
            "wider range.",
        )


def line_notices(readings: Real, references: Real) -> tuple[Notice, ...]:
    """Tell of few points, of one that stands out of the line, and of a bend in it."""
    found = [_few(len(readings)), _bend(readings, references) or _outlier(readings, references)]
    return tuple(notice for notice in found if notice is not None)


def _few(points: int) -> Notice | None:
    if points >= 5:
        return None
    return Notice(
        code="calibration-few-points",
        message=f"{points} points leave {points - 2} degree{'s' if points > 3 else ''} of freedom: "
        "the scatter is hardly known.",
        hint="Take 5 points or more.",
        numbers={"points": float(points)},
    )


def _design(readings: Real, degree: int) -> Real:
    """Powers of the readings, brought to -1 to 1 so that their squares stay well apart; shape (n, degree + 1)."""
    middle = (readings.max() + readings.min()) / 2
    return np.vander((readings - middle) / (np.ptp(readings) / 2), degree + 1, increasing=True)


def _fit(design: Real, references: Real) -> tuple[Real, Real, float]:
    found = np.asarray(np.linalg.lstsq(design, references)[0], dtype=np.float64)
    residuals = references - design @ found
    return found, residuals, float(residuals @ residuals) / (len(references) - design.shape[1])


def _bend(readings: Real, references: Real) -> Notice | None:
    """Test the square term of a parabola: a chance below 1 in 100 is told (needs five points)."""
    from scipy.stats import t

    design = _design(readings, 2)
    # readings that differ by less than rounding are one place on the line: a parabola needs places apart
    if len(np.unique(design[:, 1].round(9))) < 5:
        return None
    found, _, variance = _fit(design, references)
    smallest = (_ROUNDING * float(np.max(np.abs(references)))) ** 2
    if abs(found[2]) <= smallest**0.5:
        return None
    u = float(np.sqrt(max(variance, smallest) * np.linalg.inv(design.T @ design)[2, 2]))
    score = abs(float(found[2])) / u
    if score <= float(t.ppf(1 - 0.005, len(references) - 3)):
        return None
    return Notice(
        code="calibration-bent",
        message=f"The points bend away from the line by {abs(found[2]):.3g} at the ends of the range, "
        f"{score:.1f} times its standard uncertainty.",
        hint="Look for an overloaded input, a warm shunt or divider, or a wrong range; calibrate a narrower range.",
        numbers={"bend": float(found[2]), "score": score},
    )


def _outlier(readings: Real, references: Real) -> Notice | None:
    """Test the largest residual against the scatter of the others (t test, chance 5 % over all points)."""
    from scipy.stats import t

    points = len(readings)
    if points < 4:
        return None
    design = _design(readings, 1)
    _, residuals, variance = _fit(design, references)
    leverage = np.einsum("ij,jk,ik->i", design, np.linalg.inv(design.T @ design), design)
    free = np.clip(1 - leverage, 1e-9, None)
    smallest = (_ROUNDING * float(np.max(np.abs(references)))) ** 2
    others = np.maximum(((points - 2) * variance - residuals**2 / free) / (points - 3), smallest)
    scores = np.abs(residuals) / np.sqrt(others * free)
    worst = int(np.argmax(scores))
    if abs(residuals[worst]) <= smallest**0.5 or scores[worst] <= t.ppf(1 - 0.025 / points, points - 3):
        return None
    return Notice(
        code="calibration-outlier",
        message=f"Point {worst + 1} (reference {references[worst]:g}, reading {readings[worst]:g}) lies "
        f"{residuals[worst]:.3g} off the line, {_times(scores[worst])} the scatter of the others.",
        hint="Read that point again; leave it out only where the reason is known.",
        numbers={"point": float(worst + 1), "residual": float(residuals[worst]), "score": float(scores[worst])},
    )


def _times(score: float) -> str:
    """Say how many times; past a thousand the others lie on the line as well as anyone can read."""
    return f"{score:.1f} times" if score < 1000 else "more than 1000 times"
