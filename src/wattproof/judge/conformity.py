"""How probable it is that a true value conforms, and what verdict a rule fixed beforehand makes of that."""

from math import sqrt
from typing import Literal

from wattproof.judge.model import Rule, Verdict
from wattproof.quantity import Quantity

Sense = Literal["at least", "at most", "about"]

_UNLIKELY, _RARE = 1e-3, 0.01

ABOUT = 0.1
"""A rating that is neither a floor nor a ceiling is met within this share of itself."""


def probability_conforms(figure: Quantity, claimed: float, sense: Sense, *, tolerance: float = ABOUT) -> float:
    """Give the probability that the true value conforms to a rating.

    The figure's value and uncertainty describe what is known of the true value: normal, or Student's t of the figure's
    degrees of freedom; nothing else is assumed of it beforehand [1]_.

    Parameters
    ----------
    figure : Quantity
    claimed : float, unit of the figure
    sense : "at least", "at most" or "about"
    tolerance : float, relative
        For "about".

    References
    ----------
    .. [1] JCGM 106:2012, 7.2 to 7.5; docs/methods/verdict.md.
    """
    if sense == "at least":
        return 1 - _below(figure, claimed)
    if sense == "at most":
        return _below(figure, claimed)
    half = tolerance * abs(claimed)
    return _below(figure, claimed + half) - _below(figure, claimed - half)


def _below(figure: Quantity, limit: float) -> float:
    """Probability that the true value lies below a limit."""
    if figure.u == 0:
        return 1.0 if figure.value < limit else (0.5 if figure.value == limit else 0.0)
    from scipy.special import ndtr, stdtr

    away = (limit - figure.value) / figure.u
    return float(ndtr(away) if figure.dof is None else stdtr(figure.dof, away))


def verdict_of(probability: float, rule: Rule) -> Verdict:
    """Give the verdict that a rule makes of a probability."""
    if probability >= rule.confidence:
        return "meets"
    if probability <= 1 - rule.confidence:
        return "falls short"
    return "cannot tell"


def chance_text(probability: float) -> str:
    """Write a probability; one that no uncertainty is known well enough for is only bounded.

    Examples
    --------
    >>> chance_text(0.0004), chance_text(0.00792), chance_text(0.5), chance_text(0.9997)
    ('under 0.1 %', '0.79 %', '50 %', 'over 99.9 %')
    """
    if probability < _UNLIKELY:
        return f"under {100 * _UNLIKELY:g} %"
    if probability > 1 - _UNLIKELY:
        return f"over {100 * (1 - _UNLIKELY):g} %"
    # two digits of the smaller side: 97.3 % says as much as 2.7 %
    places = 2 if probability < _RARE else (1 if min(probability, 1 - probability) < 0.1 else 0)
    return f"{100 * probability:.{places}f} %"


def guard_factor(figure: Quantity, rule: Rule) -> float:
    """How many standard uncertainties a figure must keep from a one-sided limit to be told (ILAC-G8's guard band)."""
    from scipy.special import ndtri, stdtrit

    return float(ndtri(rule.confidence) if figure.dof is None else stdtrit(figure.dof, rule.confidence))


def nearest_limit(figure: Quantity, claimed: float, sense: Sense, *, tolerance: float = ABOUT) -> float:
    """Give the limit that a figure has to keep away from: the rating, or the nearer edge of what it may be about."""
    if sense != "about":
        return claimed
    half = tolerance * abs(claimed)
    return claimed + half if figure.value >= claimed else claimed - half


def wanted_u(figure: Quantity, claimed: float, sense: Sense, rule: Rule) -> float:
    """Give the largest standard uncertainty at which this value would decide a rating of any sense, its unit."""
    return largest_deciding_u(figure, nearest_limit(figure, claimed, sense), rule)


def largest_deciding_u(figure: Quantity, claimed: float, rule: Rule) -> float:
    """Give the largest standard uncertainty at which this value would still decide a one-sided rating, its unit."""
    return abs(figure.value - claimed) / guard_factor(figure, rule)


def line_needed_u(figure: Quantity, source: str, wanted_u: float) -> float | None:
    """Give what one budget line must come down to for a wanted combined uncertainty; None where it cannot suffice."""
    line = next((line for line in figure.budget if line.source == source), None)
    if line is None:
        return None
    rest = figure.u**2 - line.u**2
    room = wanted_u**2 - rest
    return sqrt(room) if room > 0 else None
