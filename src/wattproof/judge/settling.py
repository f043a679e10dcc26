"""What would settle an undecided verdict: computed from this figure's own budget."""

from math import sqrt

from wattproof.judge.carrying import without_correction
from wattproof.judge.conformity import Sense, guard_factor, line_needed_u, nearest_limit, wanted_u
from wattproof.judge.model import Reading, Rule, Settling
from wattproof.judge.powers import MeasuredPower
from wattproof.quantity import BudgetLine, Quantity, value_text

HOPELESS = 10.0
"""A bench that had to be so many times better is no advice."""
_WORTH = 0.05
"""A correction that makes less of the variance is not worth a step."""


def by_budget(figure: Quantity, claimed: float, sense: Sense, rule: Rule) -> list[Settling]:
    """Say which line of the budget must come down to what; or that none can, and how near the rating lies.

    The value is taken to stay what it is: a better bench may find another one.
    """
    enough_u = wanted_u(figure, claimed, sense, rule)
    if enough_u <= 0 or figure.u / enough_u > HOPELESS:
        return [_nothing(figure, claimed, sense, enough_u)]
    lines = sorted(figure.budget, key=lambda line: -line.u)
    if not lines:
        return []
    needed = line_needed_u(figure, lines[0].source, enough_u)
    if needed is not None:
        message = (
            f"{_named(lines[0], figure)}: from {_shown(lines[0].u, figure)} down to {_shown(needed, figure)} it "
            f"decides, if the value stays (u {_shown(figure.u, figure)}, needed {_shown(enough_u, figure)})."
        )
        return [_settling("budget", message, figure, source=lines[0].source, u_now=lines[0].u, u_needed=needed)]
    return [_two_lines(figure, lines, enough_u)]


def _two_lines(figure: Quantity, lines: list[BudgetLine], enough_u: float) -> Settling:
    """Say by how much the two largest lines must shrink together, or all of them."""
    pair = lines[:2]
    squares = sum(line.u**2 for line in pair)
    room = enough_u**2 - (figure.u**2 - squares)
    if len(pair) == 2 and room > 0:
        share = sqrt(room / squares)
        named = " and ".join(_named(line, figure) for line in pair)
        message = (
            f"No line of the budget suffices alone: {named}, both {1 / share:.2g} times smaller "
            f"({' and '.join(_shown(line.u * share, figure) for line in pair)}), decide if the value stays."
        )
        return _settling("budget", message, figure, source=pair[0].source, u_now=pair[0].u, u_needed=pair[0].u * share)
    message = (
        f"No two lines of the budget suffice: the whole u must come from {_shown(figure.u, figure)} down to "
        f"{_shown(enough_u, figure)}, {figure.u / enough_u:.2g} times smaller."
    )
    return _settling("budget", message, figure, u_now=figure.u, u_needed=enough_u)


def _nothing(figure: Quantity, claimed: float, sense: Sense, enough_u: float) -> Settling:
    limit = nearest_limit(figure, claimed, sense)
    away = figure.value - limit
    side = "above" if away > 0 else "below"
    times = "" if enough_u <= 0 else f": only a bench {figure.u / enough_u:.0f} times better could tell"
    message = (
        f"Nothing within reach: the figure lies {_shown(abs(away), figure)} {side} the limit of "
        f"{value_text(limit)}{_unit(figure)}, with u {_shown(figure.u, figure)}{times}."
    )
    return _settling("nothing", message, figure, u_now=figure.u, u_needed=enough_u)


def by_step(
    power: MeasuredPower, corrected: Quantity, claimed: float, reading: Reading, rule: Rule, *, share: float
) -> list[Settling]:
    """Say what a ramp under the rated conditions would change, where carrying makes much of the doubt."""
    if share < _WORTH:
        return []
    left_u = without_correction(corrected)
    decides = abs(corrected.value - claimed) >= guard_factor(corrected, rule) * left_u
    message = (
        f"A ramp into {reading.load_ohm:g} ohm at {reading.supply_v:g} V at the terminals, instead of "
        f"{power.load_ohm:.4g} ohm at {power.supply_v:.2f} V, needs no correction: u falls from "
        f"{_shown(corrected.u, corrected)} to {_shown(left_u, corrected)}, which "
        f"{'decides if the value stays' if decides else 'still does not decide'}."
    )
    return [_settling("step", message, corrected, u_now=corrected.u, u_needed=left_u)]


def missing_step(message: str) -> tuple[Settling, ...]:
    """Name the step that gives a figure which is not there."""
    return (Settling(kind="step", message=message),)


def _settling(
    kind: str, message: str, figure: Quantity, *, source: str | None = None, u_now: float, u_needed: float
) -> Settling:
    return Settling.model_validate(
        {"kind": kind, "message": message, "source": source, "u_now": u_now, "u_needed": u_needed, "unit": figure.unit}
    )


def _named(line: BudgetLine, figure: Quantity) -> str:
    return f"{line.label} ({100 * line.u**2 / figure.u**2:.0f} % of the variance)"


def _shown(u: float, figure: Quantity) -> str:
    return f"{value_text(u, uncertainty=u) if u > 0 else '0'}{_unit(figure)}"


def _unit(figure: Quantity) -> str:
    return "" if figure.unit in {"", "1"} else f" {figure.unit}"
